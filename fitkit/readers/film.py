"""Points digitised from a film, taken from the front or from behind, as a table from a spreadsheet.

Four rows of settings stand above the table, one word and its value each, in any order::

    mm_per_unit,1.25
    sideways_axis,x
    rider_left,more
    upward,less
    time_s,left_pedal_x,left_pedal_y,left_knee_x,left_knee_y
    0.000,812,1034,790,455
    0.033,812,1021,,

``mm_per_unit``
    How many millimetres one unit of the points is: 1 when the points are in mm already.
``sideways_axis``
    ``x`` or ``y``: which of a point's two numbers runs from the rider's one side to the other. The other one
    runs up and down.
``rider_left``
    ``more`` or ``less``: what the sideways number becomes toward the rider's own left side. Seen from the front
    in a picture whose x grows to the right, and that is not mirrored, it is ``more``; from behind, ``less``.
``upward``
    ``more`` or ``less``: what the other number becomes upward. In pictures y mostly grows downward: ``less``.

Below, ``time_s`` [s] and for each point one column each for its x and y. The points are ``left_pedal``,
``left_knee``, ``right_pedal``, ``right_knee``; one side is enough. The pedal is its axle's outer end, the knee
the same mark on the skin in every picture. A point that cannot be seen is left blank, never guessed. Other
columns are left alone, and that is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fitkit.readers.tables import (
    FileProblem,
    FileProblems,
    Row,
    Table,
    column,
    frozen,
    number,
    read_rows,
    repeated,
    rising,
)

__all__ = ["POINTS", "SETTINGS", "Film", "FilmSide", "read_film"]

POINTS = ("left_pedal", "left_knee", "right_pedal", "right_knee")
SETTINGS = {
    "mm_per_unit": "how many millimetres one unit of the points is, 1 for mm",
    "sideways_axis": "x or y",
    "rider_left": "more or less",
    "upward": "more or less",
}


@dataclass(frozen=True, eq=False)
class FilmSide:
    """One side's points in mm, not a number where a point was not seen; outward is away from the other leg."""

    pedal_outward_mm: np.ndarray
    pedal_up_mm: np.ndarray
    knee_outward_mm: np.ndarray


@dataclass(frozen=True, eq=False)
class Film:
    """A film's times [s], its sides (None where not digitised), each row's line number, and what must be said."""

    time_s: np.ndarray
    left: FilmSide | None
    right: FilmSide | None
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Settings:
    mm_per_unit: float
    sideways_axis: str
    left_sign: float
    up_sign: float


def read_film(path: Path) -> Film:
    """Read the points of a film."""
    rows = read_rows(path)
    start = next((i for i, row in enumerate(rows) if "time_s" in (cell.lower() for cell in row.cells)), None)
    if start is None:
        raise FileProblems(path, [FileProblem(None, "no row names the columns; expected one that starts with time_s")])
    table = Table(rows[start].line, tuple(cell.lower() for cell in rows[start].cells), rows[start + 1 :])
    settings, problems = _settings(rows[:start], table.line)
    problems += repeated(table) + _missing_columns(table)
    if not table.rows:
        problems.append(FileProblem(table.line, "no points stand below the column names"))
    columns: dict[str, np.ndarray] = {}
    for name in dict.fromkeys(["time_s", *(f"{p}_{axis}" for p in POINTS for axis in "xy")]):
        if name in table.names:
            columns[name], found = column(table, name, may_be_blank=name != "time_s")
            problems += found
    problems += rising(columns["time_s"], table.rows) + _other_riders(table) + _half_points(columns, table)
    if problems or settings is None:
        raise FileProblems(path, problems)
    return Film(
        frozen(columns["time_s"]),
        _side("left", columns, settings),
        _side("right", columns, settings),
        tuple(row.line for row in table.rows),
        _notes(table),
    )


def _settings(rows: tuple[Row, ...], line: int) -> tuple[_Settings | None, list[FileProblem]]:
    """Read the rows above the table; all of them are needed, since a guess would turn sides or scale."""
    found: dict[str, tuple[int, str]] = {}
    problems = []
    for row in rows:
        word, value = row.cells[0].lower(), row.cells[1] if len(row.cells) > 1 else ""
        if word not in SETTINGS:
            problems.append(FileProblem(row.line, f"{word[:40]!r} is not known; expected one of {', '.join(SETTINGS)}"))
        elif word in found:
            problems.append(FileProblem(row.line, f"{word} stands already on line {found[word][0]}; expected it once"))
        else:
            found[word] = (row.line, value.lower())
    for word, meaning in SETTINGS.items():
        if word not in found:
            problems.append(FileProblem(line, f"{word} is not stated above the column names; expected {meaning}"))
        elif not _fits(word, found[word][1]):
            problems.append(FileProblem(found[word][0], f"{word} is {found[word][1][:40]!r}; expected {meaning}"))
    if problems:
        return None, problems
    signs = {"more": 1.0, "less": -1.0}
    scale = number(found["mm_per_unit"][1])
    return _Settings(scale, found["sideways_axis"][1], signs[found["rider_left"][1]], signs[found["upward"][1]]), []


def _fits(word: str, value: str) -> bool:
    if word == "mm_per_unit":
        scale = number(value)
        return scale is not None and 0 < scale < 1000
    return value in (("x", "y") if word == "sideways_axis" else ("more", "less"))


def _missing_columns(table: Table) -> list[FileProblem]:
    problems = [
        FileProblem(table.line, f"{point}_{a} is there without {point}_{b}; a point needs both")
        for point in POINTS
        for a, b in ("xy", "yx")
        if f"{point}_{a}" in table.names and f"{point}_{b}" not in table.names
    ]
    if not any(
        all(f"{side}_{p}_{a}" in table.names for p in ("pedal", "knee") for a in "xy") for side in ("left", "right")
    ):
        wanted = "left_pedal_x, left_pedal_y, left_knee_x, left_knee_y, or the same for the right"
        problems.append(FileProblem(table.line, f"no side has both its pedal and its knee; expected {wanted}"))
    return problems


def _other_riders(table: Table) -> list[FileProblem]:
    """Return a problem when a column called rider names more than one."""
    if "rider" not in table.names:
        return []
    place = table.names.index("rider")
    riders = {}
    for row in table.rows:
        riders.setdefault(row.cells[place] if place < len(row.cells) else "", row.line)
    if len(riders) < 2:
        return []
    line = sorted(riders.values())[1]
    return [FileProblem(line, f"the rider changes; the file holds {len(riders)} riders, expected one")]


def _half_points(columns: dict[str, np.ndarray], table: Table) -> list[FileProblem]:
    problems = []
    for point in POINTS:
        if f"{point}_x" in columns and f"{point}_y" in columns:
            half = np.isnan(columns[f"{point}_x"]) != np.isnan(columns[f"{point}_y"])
            problems += [
                FileProblem(table.rows[i].line, f"{point} has only one of its two numbers; expected both or neither")
                for i in np.flatnonzero(half)
            ]
    return problems


def _side(side: str, columns: dict[str, np.ndarray], settings: _Settings) -> FilmSide | None:
    if f"{side}_pedal_x" not in columns or f"{side}_knee_x" not in columns:
        return None
    sideways, upright = ("x", "y") if settings.sideways_axis == "x" else ("y", "x")
    outward = settings.mm_per_unit * settings.left_sign * (1 if side == "left" else -1)
    return FilmSide(
        pedal_outward_mm=frozen(outward * columns[f"{side}_pedal_{sideways}"]),
        pedal_up_mm=frozen(settings.mm_per_unit * settings.up_sign * columns[f"{side}_pedal_{upright}"]),
        knee_outward_mm=frozen(outward * columns[f"{side}_knee_{sideways}"]),
    )


def _notes(table: Table) -> tuple[str, ...]:
    used = {"time_s", "rider", *(f"{p}_{axis}" for p in POINTS for axis in "xy")}
    other = [name for name in table.names if name and name not in used]
    return (f"columns left alone: {', '.join(other)}",) if other else ()
