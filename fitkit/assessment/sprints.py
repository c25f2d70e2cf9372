"""The power files a session names: sprints by setting, and what so many of them can show."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit import cautions, constants
from fitkit.assessment.films import Unread, named_file, position_words, problem_words
from fitkit.assessment.inputs import Inputs
from fitkit.calculations.sprint import Effort, SprintFile, read_sprints
from fitkit.calculations.sprint_settings import (
    Difference,
    Screen,
    SettingSprints,
    by_setting,
    compare,
    exertion_screen,
)
from fitkit.readers.power import read_power

__all__ = ["Compared", "Sprint", "Sprints", "read_power_files"]


@dataclass(frozen=True)
class Sprint:
    """One sprint: its number in the visit, its setting, what was found, and whether it counts."""

    number: int
    setting: str
    effort: Effort
    is_counted: bool


@dataclass(frozen=True)
class Compared:
    """Two settings side by side, the second against the first."""

    first: str
    second: str
    difference: Difference


@dataclass(frozen=True)
class Sprints:
    """All sprints of a visit, by setting and compared; nothing is compared while a sign is open."""

    screen: Screen
    ridden: tuple[Sprint, ...]
    settings: tuple[SettingSprints, ...]
    compared: tuple[Compared, ...]
    unread: tuple[Unread, ...]
    notes: tuple[str, ...]


def read_power_files(inputs: Inputs) -> Sprints:
    """Return the sprints in the power files the session names, in the order it names them."""
    session = inputs.visit.session
    # The session has no place for the screen's answers, so that only its signs can speak here.
    screen = exertion_screen({}, signs=[sign.sign for sign in cautions.signs_open(session)])
    efforts, unread, notes = [], [], []
    for entry in session.ride.power_files:
        try:
            file = _read(inputs, entry.file)
        except ValueError as error:
            unread.append(Unread(entry.file, problem_words(error)))
            continue
        if file.needs is not None:
            unread.append(Unread(entry.file, f"needs {file.needs}"))
        notes += [f"{entry.file}: {note}" for note in file.notes]
        efforts += [(position_words(entry.trial), effort) for effort in file.efforts]
    return _counted(screen, efforts, tuple(unread), tuple(notes))


def _read(inputs: Inputs, name: str) -> SprintFile:
    read = read_power(named_file(inputs, name))
    found = read_sprints(time_s=read.time_s, power_w=read.power_w, cadence_rpm=read.cadence_rpm)
    return SprintFile(found.efforts, found.step_s, found.needs, (*read.notes, *found.notes))


def _counted(
    screen: Screen, efforts: list[tuple[str, Effort]], unread: tuple[Unread, ...], notes: tuple[str, ...]
) -> Sprints:
    familiar = int(constants.SPRINT_FAMILIARISATION_SPRINTS.value)
    ridden = tuple(
        Sprint(number, setting, effort, number > familiar and effort.peak_w is not None)
        for number, (setting, effort) in enumerate(efforts, start=1)
    )
    is_stopped = screen.needs is not None and screen.needs.startswith("clinician")
    settings = () if is_stopped else by_setting([(sprint.setting, sprint.effort.peak_w) for sprint in ridden])
    compared = tuple(
        Compared(settings[0].setting, other.setting, compare(settings[0].peaks_w, other.peaks_w))
        for other in settings[1:]
    )
    return Sprints(screen, ridden, settings, compared, unread, notes)
