"""Says everything that is wrong with session files, and what is unusual in them, without making anything."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TextIO

from fitkit import session
from fitkit.assessment.inputs import unknown_parts
from fitkit.batch import inputs
from fitkit.batch.inputs import Visit
from fitkit.house import load as load_house
from fitkit.session.checks import doubts
from fitkit.words import count, one_line

__all__ = ["check"]


def check(session_places: Sequence[Path | str], *, screen: TextIO) -> int:
    """Tell of each file whether it is fine, its problems, and questions about unusual values."""
    found = inputs.find(session_places)
    wrong, kept = len(found.refused), load_house()
    for visit in found.visits:
        if unknown := unknown_parts(visit.session, kept):
            wrong += 1
            _say(screen, visit.path, count(len(unknown), "problem"), [one_line(problem) for problem in unknown])
            continue
        questions = list(_questions(visit))
        said = f"fine, {count(len(questions), 'question')}" if questions else "fine"
        if visit.session.demonstration:
            said += " (marked as a demonstration: an invented rider)"
        _say(screen, visit.path, said, questions)
    for refused in found.refused:
        _say(screen, refused.path, count(len(refused.problems), "problem"), refused.problems)
    fine = len(found.visits) + len(found.refused) - wrong
    screen.write(f"{count(fine, 'file')} fine, {count(wrong, 'file')} with problems\n")
    return 1 if wrong else 0


def _questions(visit: Visit) -> Iterator[str]:
    for problem in (*session.unusual(visit.session), *doubts(visit.session)):
        yield one_line(problem)
    for name in visit.missing_files:
        yield f"{one_line(name)} is named in the session and not there; expected beside the session file. Copied yet?"


def _say(screen: TextIO, path: Path, said: str, lines: Sequence[str]) -> None:
    screen.write(f"{one_line(path)}: {said}\n")
    screen.writelines(f"  - {line}\n" for line in lines)
