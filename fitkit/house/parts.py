"""The parts table: what the clinic can fit, one part a row."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, ValidationError

from fitkit.house.rules import Closed, between, problems_of, refuse, shown
from fitkit.problems import Problem, near, table_rows
from fitkit.vocabulary import KINDS_BY_WIDTH, KINDS_OF_COLUMN, PART_KINDS, WIDENING_KINDS, PartKind

GREATEST_NAME = 60
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_FORMULA = ("=", "+", "-", "@")
_STOCK_WORDS = {"yes": 1, "true": 1, "no": 0, "false": 0}


def _name(text: str) -> str:
    if not text or len(text) > GREATEST_NAME or not text.isprintable():
        refuse(f"1 to {GREATEST_NAME} signs")
    return text


Name = Annotated[str, AfterValidator(_name)]


class Part(Closed):
    """One row of the parts table; None is "not known".

    `adds_mm` is outward per side: for a spindle against the family's standard, which is the row with 0.
    `play_mm` is the cleat's lateral play in all. `in_stock` counts pieces.
    """

    family: Name
    id: Name
    kind: PartKind
    adds_mm: Annotated[float, between(-60, 60)] | None = None
    play_mm: Annotated[float, between(0, 20)] | None = None
    setback_gain_mm: Annotated[float, between(0, 80)] | None = None
    stack_mm: Annotated[float, between(0, 40)] | None = None
    thread_mm: Annotated[float, between(5, 40)] | None = None
    fitted_by: Literal["rider", "workshop"] | None = None
    minutes: Annotated[float, between(0, 1440)] | None = None
    in_stock: Annotated[int, between(0, 100_000)] | None = None
    max_rider_kg: Annotated[float, between(20, 300)] | None = None
    centreline_error_mm: Annotated[float, between(0, 10)] | None = None


COLUMNS: tuple[str, ...] = tuple(Part.model_fields)
_TEXT_COLUMNS = ("family", "id", "kind", "fitted_by")


@dataclass
class _Row:
    """One line of the table on its way to a part."""

    line: int
    cells: dict[str, str]
    spoilt: set[str]  # columns that are absent or wrong
    part: Part | None = None

    def problem(self, column: str, found: str, expected: str, hint: str = "") -> Problem:
        return Problem(f"line {self.line}, {column}", found, expected, hint)


def parse_parts(text: str, *, file: str) -> tuple[tuple[Part, ...], list[Problem]]:
    """Return the parts in a CSV text, or none and every problem found, each with its line."""
    try:
        lines = list(table_rows(text))
    except csv.Error as error:
        rows, problems = (
            [],
            [Problem("the file", f"no readable table ({error})", "comma-separated cells", "A lone quote?")],
        )
    else:
        rows, problems = _rows(lines)
    return () if problems else tuple(row.part for row in rows), [replace(each, file=file) for each in problems]


def _rows(lines: list[tuple[int, tuple[str, ...]]]) -> tuple[list[_Row], list[Problem]]:
    if not lines:
        return [], [Problem("the table", "empty", "the header and at least one part below it")]
    (line, columns), *below = lines
    problems = _of_columns(line, columns)
    if len(set(columns) & set(COLUMNS)) < 3:
        return [], problems
    if not below:
        problems.append(Problem("the table", "empty", "at least one part below the header"))
    rows = []
    for line, cells in below:
        if len(cells) != len(columns):
            hint = "A decimal comma?" if len(cells) > len(columns) else ""
            found, expected = f"made of {len(cells)} cells", f"{len(columns)} as in the header"
            problems.append(Problem(f"line {line}", found, expected, hint))
            continue
        # A column named twice counts once, the first time.
        named = {c: v for c, v in reversed(list(zip(columns, cells, strict=True))) if c in COLUMNS}
        rows.append(_Row(line, named, set(COLUMNS) - set(columns)))
        problems += _read(rows[-1])
    problems += _twice(rows)
    if len(rows) == len(below):  # else the standard may be among the rows that could not be read
        problems += _standards(rows)
    return rows, problems


def _of_columns(line: int, columns: tuple[str, ...]) -> list[Problem]:
    where = f"line {line}, header"
    if len(columns) == 1 and (";" in columns[0] or "\t" in columns[0]):
        found = "separated by semicolons or tabs"
        return [Problem(where, found, "separated by commas", "Export it as CSV with commas.")]
    missing = [column for column in COLUMNS if column not in columns]
    problems = [Problem(where, f"without {column}", "the columns of the shipped table") for column in missing]
    for at, column in enumerate(columns):
        if column not in COLUMNS:
            hint = near(column, COLUMNS, "Is {} meant?")
            problems.append(Problem(where, f"with {shown(column)}", "only the columns of the shipped table", hint))
        elif column in columns[:at]:
            problems.append(Problem(where, f"with {column} twice", "each column once"))
    return problems


def _read(row: _Row) -> list[Problem]:
    """Read the row's cells into its part and return every problem, at most one of each cell."""
    values, problems = {}, []
    for column, cell in row.cells.items():
        values[column], wrong = _value(column, cell)
        if wrong:
            problems.append(row.problem(column, shown(cell), *wrong))
            row.spoilt.add(column)
    found = {column: Problem(column, shown(value), expected) for column, value, expected in _against_its_kind(values)}
    try:
        row.part = Part.model_validate({column: value for column, value in values.items() if value is not None})
    except ValidationError as error:
        found |= {problem.where: problem for problem in problems_of(error)}
    problems += [
        row.problem(each.where, each.found, each.expected, each.hint)
        for each in found.values()
        if each.where not in row.spoilt
    ]
    row.spoilt |= set(found)
    return problems


def _against_its_kind(values: dict[str, Any]) -> Iterator[tuple[str, Any, str]]:
    """Yield column, value and what was expected of each value that a part of this kind cannot have."""
    kind, adds_mm = values.get("kind"), values.get("adds_mm")
    if kind not in PART_KINDS:
        return
    for column, kinds in KINDS_OF_COLUMN.items():
        if values.get(column) and kind not in kinds:
            yield column, values[column], f"blank or 0 in a row of kind {kind}"
    if kind in KINDS_BY_WIDTH and adds_mm is None:
        yield "adds_mm", "", f"the width added, in a row of kind {kind}"
    elif kind in WIDENING_KINDS and not adds_mm > 0:
        yield "adds_mm", adds_mm, f"above 0 in a row of kind {kind}"
    if kind == "crank" and values.get("fitted_by") == "rider":
        yield "fitted_by", "rider", "workshop in a row of kind crank"


def _value(column: str, cell: str) -> tuple[object, tuple[str, ...]]:
    """Return a cell's value, None where blank, and what was expected with a hint where it cannot be read."""
    number = _NUMBER.fullmatch(cell)
    if cell.startswith(_FORMULA) and not number:
        return None, ("plain text or a number", "A formula? Put its result there.")
    if column in _TEXT_COLUMNS:
        # Blank names go on to the model, which refuses them.
        return cell if cell or column in ("family", "id", "kind") else None, ()
    if not cell:
        return None, ()
    if column == "in_stock":
        if cell.lower() in _STOCK_WORDS:
            return _STOCK_WORDS[cell.lower()], ()
        if re.fullmatch(r"[+-]?\d{1,9}", cell, re.ASCII):
            return int(cell), ()
        return None, ("a whole number of pieces, yes or no",)
    if number:
        return float(cell), ()
    return None, ("a number", _slip(cell))


def _slip(cell: str) -> str:
    if re.fullmatch(r"[+-]?\d+,\d+", cell):
        return f"A decimal comma? Write {cell.replace(',', '.')}."
    if cell[0] in "\N{MINUS SIGN}\N{EN DASH}":
        return "Write the sign as a plain -."
    return "The unit stands in the header: figures only." if cell[0].isdigit() else ""


def _twice(rows: list[_Row]) -> Iterator[Problem]:
    first: dict[str, int] = {}
    for row in rows:
        name = row.cells.get("id", "")
        if name and first.setdefault(name, row.line) != row.line:
            expected = f"each id once; it stands in line {first[name]} already"
            yield row.problem("id", shown(name), expected)


def _standards(rows: list[_Row]) -> Iterator[Problem]:
    families: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        if row.cells.get("kind") == "spindle" and "family" not in row.spoilt:
            families[row.cells["family"]].append(row)
    for family, spindles in families.items():
        if any("adds_mm" in row.spoilt for row in spindles):
            continue  # one of them may be the standard
        zero = [row for row in spindles if float(row.cells["adds_mm"]) == 0]
        where = f"line {spindles[0].line}, family {shown(family)}"
        if not zero:
            expected = "one spindle with adds_mm 0, the family's standard"
            yield Problem(where, "without a standard", expected, "Changes are counted from it.")
        elif len(zero) > 1:
            found = "with standards in lines " + " and ".join(str(row.line) for row in zero)
            yield Problem(where, found, "one spindle with adds_mm 0")
