"""The parts table: what the clinic can fit, one part a row."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import Annotated, Literal, Self, get_args

from pydantic import AfterValidator, BaseModel, ValidationError, model_validator

from fitkit.house.problems import CLOSED, Contradiction, Problem, between, contrary, problems_of, refuse, shown

__all__ = ["COLUMNS", "KINDS", "Kind", "Part", "parse_parts"]

Kind = Literal["spindle", "washer", "extender", "cleat", "base_adapter", "crank"]
KINDS: tuple[str, ...] = get_args(Kind)

GREATEST_NAME = 60
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_FORMULA = ("=", "+", "-", "@")
_STOCK_WORDS = {"yes": 1, "true": 1, "no": 0, "false": 0}

# A value in a row where nothing reads it is a slip that would go unseen.
_BELONGS_TO = {
    "adds_mm": ("spindle", "washer", "extender", "crank"),
    "play_mm": ("cleat",),
    "setback_gain_mm": ("base_adapter",),
    "stack_mm": ("base_adapter",),
}


def _name(text: str) -> str:
    if not text or len(text) > GREATEST_NAME or not text.isprintable():
        refuse(f"1 to {GREATEST_NAME} signs")
    return text


Name = Annotated[str, AfterValidator(_name)]


class Part(BaseModel):
    """One row of the parts table; None is "not known".

    `adds_mm` is outward per side: for a spindle against the family's standard, which is the row with 0.
    `play_mm` is the cleat's lateral play in all. `in_stock` counts pieces.
    """

    model_config = CLOSED

    family: Name
    id: Name
    kind: Kind
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

    @model_validator(mode="after")
    def _agree(self) -> Self:
        contrary(_against_its_kind(dict(self)))
        return self


def _against_its_kind(values: dict) -> list[Contradiction]:
    kind, adds_mm = values.get("kind"), values.get("adds_mm")
    if kind not in KINDS:
        return []
    found = [
        (column, values[column], f"blank or 0 in a row of kind {kind}")
        for column, kinds in _BELONGS_TO.items()
        if values.get(column) and kind not in kinds
    ]
    if kind in ("spindle", "washer", "extender") and adds_mm is None:
        found.append(("adds_mm", "", f"the width added, in a row of kind {kind}"))
    elif kind in ("washer", "extender") and not adds_mm > 0:
        found.append(("adds_mm", adds_mm, f"above 0 in a row of kind {kind}"))
    if kind == "crank" and values.get("fitted_by") == "rider":
        found.append(("fitted_by", "rider", "workshop in a row of kind crank"))
    return found


COLUMNS: tuple[str, ...] = tuple(Part.model_fields)
_TEXT_COLUMNS = ("family", "id", "kind", "fitted_by")


class _Row:
    """One line of the table on its way to a part."""

    def __init__(self, line: int, cells: dict[str, str], absent: set[str]) -> None:
        self.line, self.cells, self.spoilt = line, cells, set(absent)
        self.part: Part | None = None

    @property
    def before(self) -> str:
        return f"line {self.line}, "


def parse_parts(text: str, *, file: str) -> tuple[tuple[Part, ...], list[Problem]]:
    """Return the parts in a CSV text, or none and every problem found, each with its line."""
    try:
        lines = list(_lines(text))
    except csv.Error as error:
        return (), [Problem(file, "the file", f"no readable table ({error})", "comma-separated cells", "A lone quote?")]
    if not lines:
        return (), [Problem(file, "the table", "empty", "the header and at least one part below it")]
    header, *below = lines
    columns, told = _columns(*header, file)
    if len(set(columns) & set(COLUMNS)) < 3:
        return (), told
    if not below:
        told.append(Problem(file, "the table", "empty", "at least one part below the header"))
    rows = []
    for line, cells in below:
        if len(cells) != len(columns):
            hint = "A decimal comma?" if len(cells) > len(columns) else ""
            found, expected = f"made of {len(cells)} cells", f"{len(columns)} as in the header"
            told.append(Problem(file, f"line {line}", found, expected, hint))
            continue
        # A column named twice counts once, the first time.
        named = {c: v for c, v in reversed(list(zip(columns, cells, strict=True))) if c in COLUMNS}
        row = _Row(line, named, set(COLUMNS) - set(columns))
        told += _read(row, file)
        rows.append(row)
    told += _twice(rows, file)
    if len(rows) == len(below):  # else the standard may be among the rows that could not be read
        told += _standards(rows, file)
    return ((), told) if told else (tuple(row.part for row in rows), [])


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    # The line a row begins on: quoted cells may hold line ends.
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    first = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield first, [cell.strip() for cell in cells]
        first = reader.line_num + 1


def _columns(line: int, header: list[str], file: str) -> tuple[list[str], list[Problem]]:
    where = f"line {line}, header"
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        found = "separated by semicolons or tabs"
        return header, [Problem(file, where, found, "separated by commas", "Export it as CSV with commas.")]
    missing = [column for column in COLUMNS if column not in header]
    told = [Problem(file, where, f"without {column}", "the columns of the shipped table") for column in missing]
    for at, column in enumerate(header):
        if column not in COLUMNS:
            near = difflib.get_close_matches(column, COLUMNS, 1)
            hint = f"Is {near[0]} meant?" if near else ""
            told.append(Problem(file, where, f"with {shown(column)}", "only the columns of the shipped table", hint))
        elif column in header[:at]:
            told.append(Problem(file, where, f"with {column} twice", "each column once"))
    return header, told


def _read(row: _Row, file: str) -> list[Problem]:
    values, told = {}, []
    for column, cell in row.cells.items():
        values[column], wrong = _value(column, cell)
        if wrong:
            told.append(Problem(file, f"{row.before}{column}", shown(cell), *wrong))
            row.spoilt.add(column)
    try:
        part = Part.model_validate({column: value for column, value in values.items() if value is not None})
    except ValidationError as error:
        found = {problem.where: problem for problem in problems_of(error, file=file, before=row.before)}
        # The model looks at the kind only once every single cell is fine; the reader wants all at once.
        for column, value, expected in _against_its_kind(values):
            where = f"{row.before}{column}"
            found.setdefault(where, Problem(file, where, shown(value), expected))
        told += [problem for where, problem in found.items() if where.removeprefix(row.before) not in row.spoilt]
        row.spoilt |= {where.removeprefix(row.before) for where in found}
        return told
    row.part = part
    return told


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


def _twice(rows: list[_Row], file: str) -> Iterator[Problem]:
    first: dict[str, int] = {}
    for row in rows:
        name = row.cells.get("id", "")
        if name and first.setdefault(name, row.line) != row.line:
            expected = f"each id once; it stands in line {first[name]} already"
            yield Problem(file, f"{row.before}id", shown(name), expected)


def _standards(rows: list[_Row], file: str) -> Iterator[Problem]:
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
            yield Problem(file, where, "without a standard", expected, "Changes are counted from it.")
        elif len(zero) > 1:
            found = "with standards in lines " + " and ".join(str(row.line) for row in zero)
            yield Problem(file, where, found, "one spindle with adds_mm 0")
