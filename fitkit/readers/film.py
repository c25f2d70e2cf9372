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

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fitkit.problems import Problem
from fitkit.readers import FileProblems, Row, Table, frozen, number, read_rows, rising, unusable

POINTS = ("left_pedal", "left_knee", "right_pedal", "right_knee")
_COLUMNS = ("time_s", *(f"{point}_{axis}" for point in POINTS for axis in "xy"))
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
    start = next((at for at, (_, cells) in enumerate(rows) if "time_s" in (cell.lower() for cell in cells)), None)
    if start is None:
        raise unusable(path, "no row names the columns; expected one that starts with time_s")
    table = Table.below(rows[start], rows[start + 1 :])
    settings, problems = _settings(rows[:start], table)
    problems += table.repeated() + _missing_columns(table)
    if not table.rows:
        problems.append(table.problem("no points stand below the column names"))
    columns: dict[str, np.ndarray] = {}
    for name in _COLUMNS:
        if name in table.names:
            columns[name], found = table.column(name, may_be_blank=name != "time_s")
            problems += found
    problems += rising(columns["time_s"], table) + _other_riders(table) + _half_points(columns, table)
    if problems or settings is None:
        raise FileProblems(Path(path), problems)
    left, right = (_side(side, columns, settings) for side in ("left", "right"))
    return Film(frozen(columns["time_s"]), left, right, table.lines, table.left_alone("rider", *_COLUMNS))


def _settings(rows: Sequence[Row], table: Table) -> tuple[_Settings | None, list[Problem]]:
    """Read the rows above the table; all of them are needed, since a guess would turn sides or scale."""
    found: dict[str, tuple[int, str]] = {}
    problems = []
    for line, cells in rows:
        word, value = cells[0].lower(), cells[1] if len(cells) > 1 else ""
        if word not in SETTINGS:
            wrong = f"{word[:40]!r} is not known; expected one of {', '.join(SETTINGS)}"
            problems.append(Problem(found=wrong, line=line))
        elif word in found:
            wrong = f"{word} stands already on line {found[word][0]}; expected it once"
            problems.append(Problem(found=wrong, line=line))
        else:
            found[word] = line, value.lower()
    for word, meaning in SETTINGS.items():
        if word not in found:
            problems.append(table.problem(f"{word} is not stated above the column names; expected {meaning}"))
        elif not _fits(word, found[word][1]):
            line, value = found[word]
            problems.append(Problem(found=f"{word} is {value[:40]!r}; expected {meaning}", line=line))
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


def _missing_columns(table: Table) -> list[Problem]:
    problems = [
        table.problem(f"{point}_{a} is there without {point}_{b}; a point needs both")
        for point in POINTS
        for a, b in ("xy", "yx")
        if f"{point}_{a}" in table.names and f"{point}_{b}" not in table.names
    ]
    if not any(
        all(f"{side}_{p}_{a}" in table.names for p in ("pedal", "knee") for a in "xy") for side in ("left", "right")
    ):
        wanted = "left_pedal_x, left_pedal_y, left_knee_x, left_knee_y, or the same for the right"
        problems.append(table.problem(f"no side has both its pedal and its knee; expected {wanted}"))
    return problems


def _other_riders(table: Table) -> list[Problem]:
    """Return a problem when a column called rider names more than one."""
    riders = table.cells("rider") if "rider" in table.names else []
    change = next((row for row, rider in enumerate(riders) if rider != riders[0]), None)
    if change is None:
        return []
    found = f"the rider changes; the file holds {len(set(riders))} riders, expected one"
    return [table.problem(found, row=change)]


def _half_points(columns: dict[str, np.ndarray], table: Table) -> list[Problem]:
    found = "{} has only one of its two numbers; expected both or neither"
    return [
        table.problem(found.format(point), row=row)
        for point in POINTS
        if f"{point}_x" in columns and f"{point}_y" in columns
        for row in np.flatnonzero(np.isnan(columns[f"{point}_x"]) != np.isnan(columns[f"{point}_y"]))
    ]


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
