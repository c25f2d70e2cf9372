"""The rider seen riding: trials and bracket, films, sprints; what a file lacks is said in words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from fitkit import cautions, constants
from fitkit.assessment.inputs import Inputs
from fitkit.calculations import forward_limit
from fitkit.calculations.film_points import film_problems
from fitkit.calculations.forward_limit import Bracket, ScoredTrial
from fitkit.calculations.hinge import Hinge, hinge
from fitkit.calculations.ride_check import AnglePlace, KneeTrack, knee_track, places_by_angle
from fitkit.calculations.sprint import Effort, SprintFile, read_sprints
from fitkit.calculations.sprint_settings import (
    EXERTION_QUESTIONS,
    Difference,
    Screen,
    SettingSprints,
    by_setting,
    compare,
    exertion_screen,
)
from fitkit.estimate import Estimate, between, missing
from fitkit.readers import FileProblems
from fitkit.readers.film import Film, FilmSide, read_film
from fitkit.readers.power import read_power
from fitkit.session.paths import holds_any

__all__ = [
    "Compared",
    "Filmed",
    "FilmedKnee",
    "Ridden",
    "SideRidden",
    "Sprint",
    "Sprints",
    "Unread",
    "assess_ride",
    "named_file",
    "position_words",
    "problem_words",
    "read_films",
    "read_power_files",
]

LISTED = 4  # a file wrong from top to bottom has thousands of problems alike


@dataclass(frozen=True)
class Unread:
    """A file the session names that gave nothing, and why, in words."""

    file: str
    why: str


@dataclass(frozen=True)
class FilmedKnee:
    """One side's knee in one film: its track and its places about the crank angles."""

    file: str
    position: str
    side: str
    track: KneeTrack
    places: tuple[AnglePlace, ...]


@dataclass(frozen=True)
class Filmed:
    """All knees on film, the films that gave nothing, and what must be said of the others."""

    knees: tuple[FilmedKnee, ...]
    unread: tuple[Unread, ...]
    notes: tuple[str, ...]


def read_films(inputs: Inputs) -> Filmed:
    """Return the knees in the films the session names; what is wrong with one costs only that one."""
    knees, unread, notes = [], [], []
    for entry in inputs.visit.session.ride.films:
        try:
            film = read_film(named_file(inputs, entry.file))
            knees += _knees(inputs, film, entry.file, position_words(entry.trial))
        except ValueError as error:
            unread.append(Unread(entry.file, problem_words(error)))
            continue
        notes += [f"{entry.file}: {note}" for note in film.notes]
    return Filmed(tuple(knees), tuple(unread), tuple(notes))


def named_file(inputs: Inputs, name: str) -> Path:
    """Return the path of a file the session names."""
    if inputs.visit.folder is None:
        raise ValueError("the session was not read from a folder; expected the file beside it")
    if "\\" in name or ".." in PurePosixPath(name).parts:
        raise ValueError("it is named outside the session's own folder; expected a name without '..'")
    return inputs.visit.folder / name


def problem_words(error: ValueError) -> str:
    """Return what is wrong with a file in one line, with the line numbers of the first few problems."""
    if not isinstance(error, FileProblems):
        return str(error)
    said = [str(problem) for problem in error.problems[:LISTED]]
    more = len(error.problems) - len(said)
    return "; ".join([*said, f"and {more} more like these"] if more else said)


def position_words(trial: int | None) -> str:
    """Return which position a file belongs to, in words."""
    return "as found" if trial is None else f"trial {trial + 1}"


def _knees(inputs: Inputs, film: Film, file: str, position: str) -> list[FilmedKnee]:
    found = []
    for side in ("left", "right"):
        points: FilmSide | None = getattr(film, side)
        if points is None:
            continue
        track = _track(inputs, film, points)
        found.append(FilmedKnee(file, position, side, track, places_by_angle(track) if track.needs is None else ()))
    return found


def _track(inputs: Inputs, film: Film, points: FilmSide) -> KneeTrack:
    seen = {
        "time_s": film.time_s,
        "knee_outward_mm": points.knee_outward_mm,
        "pedal_outward_mm": points.pedal_outward_mm,
        "pedal_up_mm": points.pedal_up_mm,
    }
    problems = film_problems(**seen, crank_length_mm=inputs.number("bike.crank_length_mm"))
    return knee_track(**seen, problems=problems, house_sd_mm=inputs.visit.house.rules.spread.short_length_mm)


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
    asked = session.ride.exertion_screen
    # True is that nothing spoke against it: a no to each question.
    answers = {} if asked is None else dict.fromkeys(EXERTION_QUESTIONS, not asked)
    screen = exertion_screen(answers, signs=[sign.sign for sign in cautions.signs_open(session)])
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


SIDES = ("left", "right")


@dataclass(frozen=True)
class SideRidden:
    """One side's trials in the order ridden, their bracket and the hinge.

    `taken_over` holds the numbers of trials whose cleat setback is that of the position before.
    """

    side: str
    trials: tuple[ScoredTrial, ...]
    bracket: Bracket
    hinge: Hinge
    taken_over: tuple[int, ...]


@dataclass(frozen=True)
class Ridden:
    """What the assessment says of the rider seen riding."""

    left: SideRidden
    right: SideRidden
    filmed: Filmed
    sprints: Sprints
    results: dict[str, Estimate]

    def side(self, side: str) -> SideRidden:
        """Return the trials of `side`, "left" or "right"."""
        return {"left": self.left, "right": self.right}[side]


def assess_ride(inputs: Inputs) -> Ridden:
    """Return what the trials, films and power files of a visit show."""
    sides = {side: _side(inputs, side) for side in SIDES}
    results = {f"{side}.forward_limit": _forward_limit(inputs, ridden) for side, ridden in sides.items()}
    return Ridden(sides["left"], sides["right"], read_films(inputs), read_power_files(inputs), results)


def _side(inputs: Inputs, side: str) -> SideRidden:
    rules = inputs.visit.house.rules
    rule = {"unsteady_from": rules.unsteady_from, "same_mm": rules.same_setting_mm}
    placed = [_setback(inputs, side, i) for i in range(len(inputs.visit.session.trials))]
    trials = tuple(_trial(inputs, side, i, setback) for i, (setback, _) in enumerate(placed))
    scored = [trial for trial in trials if trial.score is not None and trial.cleat_setback_mm is not None]
    return SideRidden(
        side,
        trials,
        forward_limit.bracket(trials, **rule),
        hinge(
            cleat_setback_mm=[trial.cleat_setback_mm for trial in scored],
            unsteadiness=[trial.score for trial in scored],
        ),
        tuple(i for i, (_, is_taken_over) in enumerate(placed) if is_taken_over),
    )


def _trial(inputs: Inputs, side: str, number: int, setback_mm: float | None) -> ScoredTrial:
    trial = inputs.visit.session.trials[number]
    return ScoredTrial(
        setback_mm,
        inputs.readings(f"trials.{number}.unsteadiness.{side}"),
        trial.saddle_corrected,
        tuple(entry.what for entry in trial.seen if entry.side in (side, "both", None)),
        trial.smooth_at_bottom,
    )


def _setback(inputs: Inputs, side: str, number: int) -> tuple[float | None, bool]:
    """Return a trial's cleat setback [mm], and whether it is that of the position before.

    Its own readings; else as found plus its own distance moved; else, as everywhere in a visit, what the position
    before it held: the last trial kept, down to as found.
    """
    own = inputs.own_setback(f"trials.{number}.position", side)
    if own is not None:
        return own, False
    trials = inputs.visit.session.trials
    before = [i for i in range(number) if trials[i].kept and holds_any(trials[i].position)]
    for i in reversed(before):
        own = inputs.own_setback(f"trials.{i}.position", side)
        if own is not None:
            return own, True
    found = inputs.own_setback("as_found", side)
    return found, found is not None


def _forward_limit(inputs: Inputs, ridden: SideRidden) -> Estimate:
    found = ridden.bracket
    over = tuple(
        f"trial {number + 1}: cleat setback as in the position before"
        for number in ridden.taken_over
        if ridden.trials[number].score is not None
    )
    notes = (f"rests on {found.rests_on}", *found.notes, *over) if found.settings else found.notes
    if found.needs is not None:
        return missing(found.needs, low=found.low_mm, high=found.high_mm, notes=notes)
    rules = inputs.visit.house.rules
    source = f"trials of this visit; unsteady from a mean score of {rules.unsteady_from:g} of 10"
    held = forward_limit.hit_rate_words(
        found.settings,
        unsteady_from=rules.unsteady_from,
        score_sd=rules.score_sd,
        place_sd_mm=rules.spread.cleat_setback_mm,
    )
    notes = (held, *notes)
    return between(found.low_mm, found.high_mm, unit="mm", grade="measured here", source=source, notes=notes)
