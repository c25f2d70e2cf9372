"""The rider seen riding: trials and bracket, films, sprints; what a file lacks is said in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from fitkit import cautions, constants
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.assessment.results import RESULTS
from fitkit.calculations import forward_limit
from fitkit.calculations.film_points import film_problems
from fitkit.calculations.forward_limit import Bracket, Hinge, ScoredTrial, hinge
from fitkit.calculations.ride_check import AnglePlace, KneeTrack, knee_track, places_by_angle
from fitkit.calculations.sprint import Effort, read_sprints
from fitkit.calculations.sprint_settings import (
    Difference,
    SettingSprints,
    by_setting,
    compare,
    exertion_screen,
)
from fitkit.estimate import Estimate
from fitkit.readers import FileProblems
from fitkit.readers.film import Film, FilmSide, read_film
from fitkit.readers.power import read_power

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

    screen_needs: str | None  # what the exertion screen needs before a sprint; None where nothing speaks against it
    ridden: tuple[Sprint, ...]
    settings: tuple[SettingSprints, ...]
    compared: tuple[Compared, ...]
    unread: tuple[Unread, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class SideRidden:
    """One side's trials in the order ridden, their bracket and the hinge."""

    trials: tuple[ScoredTrial, ...]
    bracket: Bracket
    hinge: Hinge
    taken_over: tuple[int, ...]  # numbers of trials whose cleat setback is that of the position before


@dataclass(frozen=True)
class Ridden:
    """What the assessment says of the rider seen riding."""

    sides: dict[str, SideRidden]
    filmed: Filmed
    sprints: Sprints
    results: dict[str, Estimate]


def assess_ride(inputs: Inputs) -> Ridden:
    """Return what the trials, films and power files of a visit show."""
    sides = {side: _side(inputs, side) for side in SIDES}
    results = {f"{side}.forward_limit": _forward_limit(inputs, ridden) for side, ridden in sides.items()}
    return Ridden(sides, _films(inputs), _sprints(inputs), results)


def _read_each(
    inputs: Inputs, entries: Sequence, read: Callable[[Path], tuple[Sequence, str, tuple[str, ...]]]
) -> tuple[list[tuple], tuple[Unread, ...], tuple[str, ...]]:
    """Return what the files hold that the session names; what is wrong with one costs only that one.

    `read` returns what one holds, what it needs, and what must be said of it.
    """
    found, unread, notes = [], [], []
    for entry in entries:
        try:
            held, needs, said = read(_named_file(inputs, entry.file))
        except ValueError as error:
            unread.append(Unread(entry.file, _problem_words(error)))
            continue
        if needs:
            unread.append(Unread(entry.file, f"needs {needs}"))
        notes += [f"{entry.file}: {note}" for note in said]
        position = "as found" if entry.trial is None else f"trial {entry.trial + 1}"
        found += [(entry.file, position, each) for each in held]
    return found, tuple(unread), tuple(notes)


def _named_file(inputs: Inputs, name: str) -> Path:
    if inputs.visit.folder is None:
        raise ValueError("the session was not read from a folder; expected the file beside it")
    if "\\" in name or ".." in PurePosixPath(name).parts:
        raise ValueError("it is named outside the session's own folder; expected a name without '..'")
    return inputs.visit.folder / name


def _problem_words(error: ValueError) -> str:
    """Return what is wrong with a file in one line, with the line numbers of the first few problems."""
    if not isinstance(error, FileProblems):
        return str(error)
    said = [str(problem) for problem in error.problems[:LISTED]]
    more = len(error.problems) - len(said)
    return "; ".join([*said, f"and {more} more like these"] if more else said)


def _films(inputs: Inputs) -> Filmed:
    def read(path: Path) -> tuple[Sequence, str, tuple[str, ...]]:
        film, knees = read_film(path), []
        for side in SIDES:
            points = getattr(film, side)
            if points is not None:
                track = _track(inputs, film, points)
                knees.append((side, track, places_by_angle(track) if track.needs is None else ()))
        return knees, "", film.notes

    found, unread, notes = _read_each(inputs, inputs.visit.session.ride.films, read)
    return Filmed(tuple(FilmedKnee(file, position, *knee) for file, position, knee in found), unread, notes)


def _track(inputs: Inputs, film: Film, points: FilmSide) -> KneeTrack:
    seen = {
        "time_s": film.time_s,
        "knee_outward_mm": points.knee_outward_mm,
        "pedal_outward_mm": points.pedal_outward_mm,
        "pedal_up_mm": points.pedal_up_mm,
    }
    problems = film_problems(**seen, crank_length_mm=inputs.number("bike.crank_length_mm"))
    return knee_track(**seen, problems=problems, house_sd_mm=inputs.visit.house.rules.spread.short_length_mm)


def _sprints(inputs: Inputs) -> Sprints:
    """Return the sprints in the power files the session names, in the order it names them."""

    def read(path: Path) -> tuple[Sequence, str, tuple[str, ...]]:
        file = read_power(path)
        found = read_sprints(time_s=file.time_s, power_w=file.power_w, cadence_rpm=file.cadence_rpm)
        return found.efforts, found.needs or "", (*file.notes, *found.notes)

    session = inputs.visit.session
    signs = [sign.sign for sign in cautions.signs_open(session)]
    needs = exertion_screen(session.ride.exertion_screen, signs=signs)
    found, unread, notes = _read_each(inputs, session.ride.power_files, read)
    familiar = int(constants.SPRINT_FAMILIARISATION_SPRINTS.value)
    ridden = tuple(
        Sprint(number, setting, effort, number > familiar and effort.peak_w is not None)
        for number, (_, setting, effort) in enumerate(found, start=1)
    )
    is_stopped = needs is not None and needs.startswith("clinician")
    settings = () if is_stopped else by_setting([(sprint.setting, sprint.effort.peak_w) for sprint in ridden])
    compared = tuple(
        Compared(settings[0].setting, other.setting, compare(settings[0].peaks_w, other.peaks_w))
        for other in settings[1:]
    )
    return Sprints(needs, ridden, settings, compared, unread, notes)


def _side(inputs: Inputs, side: str) -> SideRidden:
    rules = inputs.visit.house.rules
    trials, taken_over = [], []
    for number, trial in enumerate(inputs.visit.session.trials):
        setback = inputs.own_setback(f"trials.{number}.position", side)
        if setback is None:
            # As everywhere in a visit, what the position before it held: the last trial kept, down to as found.
            setback = inputs.in_trial(number).setback_now(side)
            taken_over += [] if setback is None else [number]
        scores = inputs.readings(f"trials.{number}.unsteadiness.{side}")
        seen = tuple(entry.what for entry in trial.seen if entry.side in (side, "both", None))
        trials.append(ScoredTrial(setback, scores, trial.saddle_corrected, seen, trial.smooth_at_bottom))
    scored = [trial for trial in trials if trial.score is not None and trial.cleat_setback_mm is not None]
    return SideRidden(
        tuple(trials),
        forward_limit.bracket(trials, unsteady_from=rules.unsteady_from, same_mm=rules.same_setting_mm),
        hinge(
            cleat_setback_mm=[trial.cleat_setback_mm for trial in scored],
            unsteadiness=[trial.score for trial in scored],
        ),
        tuple(taken_over),
    )


def _forward_limit(inputs: Inputs, ridden: SideRidden) -> Estimate:
    row, found = RESULTS["forward_limit"], ridden.bracket
    over = tuple(
        f"trial {number + 1}: cleat setback as in the position before"
        for number in ridden.taken_over
        if ridden.trials[number].score is not None
    )
    notes = (f"rests on {found.rests_on}", *found.notes, *over) if found.settings else found.notes
    ends = (None, found.low_mm, found.high_mm, row.unit)
    if found.needs is not None:
        return Estimate(*ends, None, None, found.needs, notes)
    rules = inputs.visit.house.rules
    source = f"trials of this visit; unsteady from a mean score of {rules.unsteady_from:g} of 10"
    held = forward_limit.hit_rate_words(
        found.settings,
        unsteady_from=rules.unsteady_from,
        score_sd=rules.score_sd,
        place_sd_mm=rules.spread.cleat_setback_mm,
    )
    return Estimate(*ends, row.grade, source, None, (held, *notes))
