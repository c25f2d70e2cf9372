"""The films a session names, from the table of points to the knee's sideways place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from fitkit.assessment.inputs import Inputs
from fitkit.calculations.film_points import film_problems
from fitkit.calculations.ride_check import AnglePlace, KneeTrack, knee_track, places_by_angle
from fitkit.readers.film import Film, FilmSide, read_film
from fitkit.readers.tables import FileProblems

__all__ = ["Filmed", "FilmedKnee", "Unread", "named_file", "position_words", "problem_words", "read_films"]

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
