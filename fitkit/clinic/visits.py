"""A folder of session files as one table of visits."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fitkit import house, session
from fitkit.assessment.inputs import Visit, study_path
from fitkit.house import House
from fitkit.session import Session, SessionProblems
from fitkit.session.study import FitterStudy, load_study

__all__ = ["NOTE", "Clinic", "clinic_of", "load"]

NOTE = "overview.json"
_NAME = re.compile(r"[a-z0-9-]{1,40}_\d{4}-\d{2}-\d{2}_[a-z0-9-]{1,40}\.json", re.ASCII)


@dataclass(frozen=True)
class Clinic:
    """All visits of a clinic, in the order of client, set-up and day."""

    visits: tuple[Visit, ...]  # the visits, each with the house rules and the fitter's own study
    house: House  # the house rules and parts in force
    day: date  # the day against which follow-ups are counted
    not_counted: tuple[str, ...] = ()  # files that could not be read, each with its reason

    @property
    def sessions(self) -> tuple[Session, ...]:
        """The sessions alone."""
        return tuple(visit.session for visit in self.visits)

    @property
    def small(self) -> int:
        """Counts below this are not shown, by the house rule."""
        return self.house.rules.small_numbers_below

    @property
    def is_demonstration(self) -> bool:
        """Whether any rider is invented."""
        return any(one.demonstration for one in self.sessions)

    def courses(self) -> list[tuple[Visit, ...]]:
        """Return the visits of each client and set-up, oldest first."""
        found: dict[tuple[str, str], list[Visit]] = defaultdict(list)
        for visit in self.visits:
            found[visit.session.client_id, visit.session.setup].append(visit)
        return [tuple(course) for course in found.values()]


def clinic_of(
    sessions: Iterable[Session],
    rules: House,
    *,
    day: date,
    studies: dict[str, FitterStudy] | None = None,
    not_counted: tuple[str, ...] = (),
) -> Clinic:
    """Return the clinic of these sessions; riders who did not agree to a record are left out."""
    studies = studies or {}
    kept = [one for one in sessions if one.consent.record is not False]
    kept.sort(key=lambda one: (one.client_id, one.setup, one.visit_date))
    visits = tuple(Visit(session.key(one), one, rules, None, studies.get(session.key(one))) for one in kept)
    return Clinic(visits, rules, day, not_counted)


def load(folder: str | Path) -> Clinic:
    """Read every session file in a folder and the folders inside it."""
    folder = Path(folder)
    note = _note(folder)
    sessions, studies, wrong = [], {}, list(note.get("not_counted", []))
    for path in sorted(folder.rglob("*.json")):
        if not _NAME.fullmatch(path.name):
            continue
        try:
            opened = session.load(path)
            found = study_path(path, opened.fitter_id)
            if found is not None:
                studies[session.key(opened)] = load_study(found)
            sessions.append(opened)
        except SessionProblems as error:
            wrong.append(f"{path.name}: {error.problems[0]}")
    day = note.get("day") or date.today().isoformat()
    return clinic_of(sessions, house.load(), day=date.fromisoformat(day), studies=studies, not_counted=tuple(wrong))


def _note(folder: Path) -> dict:
    path = folder / NOTE
    return json.loads(path.read_bytes()) if path.is_file() else {}
