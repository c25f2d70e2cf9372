"""Which session files there are, what is wrong with them, what belongs to each, and the house files beside."""

from __future__ import annotations

import json
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path, PurePosixPath
from typing import TextIO

from fitkit import house, session
from fitkit.batch.folder import KEY_PATTERN, is_report_folder
from fitkit.batch.job import Input
from fitkit.files import make_folder, os_reason, write_new
from fitkit.house import House, HouseProblems
from fitkit.problems import WrongCallError
from fitkit.session import Session, SessionProblems
from fitkit.session.bike import RIDE_FILES
from fitkit.session.checks import doubts
from fitkit.session.reading import LIMIT_BYTES, is_empty
from fitkit.session.study import load_study
from fitkit.vocabulary import FORMAT
from fitkit.words import count, one_line

_STUDIES = "fitters"
_PREVIOUS = "previous"
_MOST_NAMED = 5
_OURS = "cleat-stance-"  # how the format of each of the kit's files begins


@dataclass(frozen=True)
class Visit:
    """A session file that can be worked on."""

    key: str
    path: Path
    session: Session
    inputs: tuple[Input, ...]

    @property
    def missing_files(self) -> tuple[str, ...]:
        """The files the session names that are not there."""
        return tuple(i.name for i in self.inputs if not i.required and not Path(i.source).is_file())


@dataclass(frozen=True)
class Refused:
    """A file that cannot be worked on, with every reason."""

    path: Path
    problems: tuple[str, ...]
    is_withdrawn: bool = False

    @property
    def key(self) -> str | None:
        """The visit it should have been, by its name; None where the name is none of ours."""
        return self.path.stem if KEY_PATTERN.fullmatch(self.path.stem) else None

    @property
    def reason(self) -> str:
        """All problems in one line."""
        return "; ".join(self.problems)


@dataclass(frozen=True)
class Found:
    """What a search found, each in the order of names."""

    visits: tuple[Visit, ...]
    refused: tuple[Refused, ...]
    beside: tuple[Path, ...] = ()  # house rules and other files of the kit that lie among the sessions: left alone

    def say_beside(self, screen: TextIO) -> None:
        """Say what was left alone, in one line."""
        if self.beside:
            named = ", ".join(one_line(path.name) for path in self.beside[:_MOST_NAMED])
            more = f" and {len(self.beside) - _MOST_NAMED} more" if len(self.beside) > _MOST_NAMED else ""
            screen.write(f"no visits, left alone: {named}{more}\n")


def find(places: Sequence[Path | str], *, apart: Path | None = None) -> Found:
    """Return the visits and the refused files among files and folders."""
    seen = {apart.resolve()} if apart else set()
    met = [each for place in places for each in _met(Path(os.path.abspath(place)), seen)]
    if not met:
        searched = ", ".join(one_line(place) for place in places)
        raise WrongCallError(
            f"no session file found in {searched}; expected files named like rider-042_2026-03-04_road.json"
        )
    beside = tuple(each for each in met if isinstance(each, Path) and _is_another_of_ours(each))
    loaded, refused = _load(each for each in met if isinstance(each, Path) and each not in beside)
    visits, outside = _with_inputs(loaded, [item.path for item in refused if item.key and not item.is_withdrawn])
    everything = [*(each for each in met if isinstance(each, Refused)), *refused, *outside]
    return Found(visits, tuple(sorted(everything, key=lambda item: (item.path.name, str(item.path)))), beside)


def _met(place: Path, seen: set[Path]) -> Iterator[Path | Refused]:
    """Give the files at a place; one reached twice, over a link for instance, counts once."""
    if place.is_dir():
        yield from _in_folder(place, seen)
    elif not os.path.lexists(place):
        raise WrongCallError(f"{one_line(place)} is not there; expected a session file or a folder with session files")
    else:
        yield from _file(place, seen)


def _in_folder(folder: Path, seen: set[Path]) -> Iterator[Path | Refused]:
    resolved = folder.resolve()
    if resolved in seen or folder.name == _STUDIES or is_report_folder(folder):
        return
    seen.add(resolved)
    try:
        names = sorted(name for name in os.listdir(folder) if not name.startswith("."))
    except OSError as error:
        yield Refused(folder, (f"the folder cannot be read: {os_reason(error)}",))
        return
    for path in (folder / name for name in names):
        if path.name.lower().endswith(".json"):
            yield from _file(path, seen)
        elif path.is_dir():
            yield from _in_folder(path, seen)


def _file(path: Path, seen: set[Path]) -> Iterator[Path | Refused]:
    problem = _not_a_file(path)
    if problem:
        yield Refused(path, (problem,))
    elif (resolved := path.resolve()) not in seen:
        seen.add(resolved)
        yield path


def _not_a_file(path: Path) -> str | None:
    # Opening a pipe would wait for ever, so that the kind is looked at first.
    if path.is_file():
        return None
    if path.is_dir():
        return "is a folder; expected a session file"
    if path.is_symlink():
        return "is a link to a file that is not there"
    return "is not an ordinary file; expected a session file"


def _is_another_of_ours(path: Path) -> bool:
    """Whether a file says of itself that it is another of the kit's kinds, as house rules do."""
    if KEY_PATTERN.fullmatch(path.stem):
        return False
    try:
        with path.open("rb") as file:
            tree = json.loads(file.read(LIMIT_BYTES))
    except (OSError, ValueError, RecursionError):
        return False
    kind = tree.get("format") if isinstance(tree, dict) else None
    return isinstance(kind, str) and kind.startswith(_OURS) and kind != FORMAT


def _load(candidates: Iterable[Path]) -> tuple[dict[str, tuple[Path, Session]], list[Refused]]:
    by_stem: dict[str, list[Path]] = defaultdict(list)
    for path in candidates:
        by_stem[path.stem].append(path)
    loaded, refused = {}, []
    for stem, paths in sorted(by_stem.items()):
        if len(paths) > 1 and KEY_PATTERN.fullmatch(stem):
            refused += _same_key(paths)
            continue
        for path in paths:
            opened = _open(path)
            if isinstance(opened, Refused):
                refused.append(opened)
            else:
                loaded[session.key(opened)] = (path, opened)
    return loaded, refused


def _same_key(paths: list[Path]) -> Iterator[Refused]:
    named = " and ".join(one_line(path) for path in paths)
    for path in paths:
        yield Refused(
            path, (f"one visit in {count(len(paths), 'file')}: {named}; expected one file. Keep one of them",)
        )


def _open(path: Path) -> Session | Refused:
    try:
        opened = session.load(path)
    except SessionProblems as error:
        return Refused(path, tuple(one_line(problem) for problem in error.problems))
    if opened.consent.record is False:
        return Refused(path, ("the rider does not agree to a record (consent.record is false)",), is_withdrawn=True)
    return opened


def _with_inputs(
    loaded: dict[str, tuple[Path, Session]], unreadable: list[Path]
) -> tuple[tuple[Visit, ...], list[Refused]]:
    from fitkit.assessment.inputs import study_path  # draws in the numerical packages

    histories: dict[tuple[str, str], list[tuple[str, Path]]] = defaultdict(list)
    # A last visit that cannot be read is the last one all the same: nothing is compared with an older one.
    # One in which nothing was measured or said is no last visit.
    filled = (path for path, opened in loaded.values() if not is_empty(opened))
    for path in (*filled, *unreadable):
        client, day, setup = path.stem.split("_")
        histories[client, setup].append((day, path))
    problems_of_study = cache(_problems_of_study)  # each fitter's own study is read once for all visits
    visits, refused = [], []
    for key, (path, opened) in sorted(loaded.items()):
        own, problems = [Input(path.name, str(path))], []
        earlier = [item for item in histories[opened.client_id, opened.setup] if item[0] < opened.visit_date]
        if earlier:
            before = max(earlier)[1]
            own.append(Input(f"{_PREVIOUS}/{before.name}", str(before)))
        if study := study_path(path, opened.fitter_id):
            own.append(Input(f"{_STUDIES}/{study.name}", str(study)))
            problems += problems_of_study(study)
        named, wrong_names = _named_files(path, opened)
        if problems or wrong_names:
            refused.append(Refused(path, (*problems, *wrong_names)))
        else:
            visits.append(Visit(key, path, opened, (*own, *named)))
    return tuple(visits), refused


def _problems_of_study(path: Path) -> tuple[str, ...]:
    try:
        load_study(path)
    except SessionProblems as error:
        return tuple(f"{_STUDIES}/{path.name}: {one_line(problem)}" for problem in error.problems)
    return ()


def _named_files(path: Path, opened: Session) -> tuple[tuple[Input, ...], tuple[str, ...]]:
    named, problems = {}, []
    for field in RIDE_FILES:
        for index, entry in enumerate(getattr(opened.ride, field)):
            problem = _misplaced(entry.file, path)
            if problem:
                where = f"ride.{field}.{index}.file"
                problems.append(f"{where} is {one_line(entry.file, longest=120)!r}; {problem}")
            else:
                name = PurePosixPath(entry.file).as_posix()
                named[name] = Input(name, str(path.parent / name), required=False)
    return tuple(named.values()), tuple(problems)


def _misplaced(name: str, path: Path) -> str | None:
    """Return why a file named in a session cannot be taken, None where it can."""
    parts = PurePosixPath(name).parts
    if not parts or "\0" in name or "\\" in name or name.startswith("/") or ".." in parts:
        return "expected a file in the session's own folder, named from there, without '..'"
    if parts[0] in (_PREVIOUS, _STUDIES) or name == path.name:
        return f"expected a film or a power file, not one of '{_PREVIOUS}', '{_STUDIES}' or the session itself"
    if not Path(os.path.realpath(path.parent / name)).is_relative_to(os.path.realpath(path.parent)):
        return "is a link out of the session's folder; expected the file itself"
    return None


def load_house(rules: Path | None, parts: Path | None) -> House:
    """Return the house rules and the parts table; a file that cannot be used is a wrong call, every problem said."""
    try:
        return house.load(rules, parts)
    except HouseProblems as error:
        raise WrongCallError(*(one_line(problem) for problem in error.problems)) from None
    except OSError as error:
        raise WrongCallError(f"{one_line(error.filename)} could not be read: {os_reason(error)}") from None


def staged_house(rules: Path | None, parts: Path | None, making: Path) -> tuple[House, dict[str, str]]:
    """Copy replaced files into the run's own folder, so that all visits are made with the same."""
    environment = {}
    for variable, given in {"FITKIT_RULES": rules, "FITKIT_PARTS": parts}.items():
        asked = given or os.environ.get(variable)
        if asked:
            copy = making / variable / Path(asked).name
            make_folder(copy.parent)
            write_new(copy, Path(asked).read_bytes(), lasting=False)
            environment[variable] = str(copy)
    return load_house(environment.get("FITKIT_RULES"), environment.get("FITKIT_PARTS")), environment


def check(session_places: Sequence[Path | str], *, screen: TextIO) -> int:
    """Tell of each file whether it is fine, its problems, and questions about unusual values; make nothing."""
    # Assessment draws in the numerical packages, which looking for files alone does not need.
    from fitkit.assessment.inputs import unknown_parts

    found = find(session_places)
    found.say_beside(screen)
    wrong, kept = len(found.refused), house.load()
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
