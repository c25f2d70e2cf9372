"""Tables as a general spreadsheet saves them: text, one row a line, every problem said with its line number.

Comma, semicolon or tab between the cells, decimal point or decimal comma, a blank cell where nothing was
measured. Cells left empty at the end of a row, as spreadsheets write them, do no harm.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

__all__ = [
    "FileProblem",
    "FileProblems",
    "Row",
    "Table",
    "column",
    "content_of",
    "frozen",
    "number",
    "read_rows",
    "repeated",
    "rising",
]

GREATEST_BYTES = 32_000_000
GREATEST_LINES = 500_000
LISTED = 20  # a file wrong from top to bottom has thousands of problems alike


@dataclass(frozen=True)
class FileProblem:
    """One problem of a file: the line it stands on, None for the file as a whole, and what is wrong in words."""

    line: int | None
    what: str

    def __str__(self) -> str:
        return self.what if self.line is None else f"line {self.line}: {self.what}"


class FileProblems(ValueError):  # noqa: N818 - it holds many, and its name says so
    """Everything that is wrong with a file, at once."""

    def __init__(self, path: Path, problems: Iterable[FileProblem]) -> None:
        self.path = Path(path)
        self.problems = tuple(problems)
        listed = [str(problem) for problem in self.problems[:LISTED]]
        if len(self.problems) > LISTED:
            listed.append(f"and {len(self.problems) - LISTED} more like these")
        super().__init__("\n".join([f"{self.path.name} cannot be used:", *(f"- {text}" for text in listed)]))


@dataclass(frozen=True)
class Row:
    """One row that is not blank: its line number and its cells without outer spaces."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Column names in lower case and the rows below them."""

    line: int
    names: tuple[str, ...]
    rows: tuple[Row, ...]


def read_rows(path: Path) -> tuple[Row, ...]:
    """Return the rows of a table file that are not blank."""
    path = Path(path)
    text = _text_of(path)
    lines = text.splitlines()
    # The row of column names holds no decimal comma, so that it tells which mark stands between the cells.
    heading = next((line for line in lines if "time_s" in line.lower()), text[:1000])
    mark = max(",;\t", key=heading.count)
    try:
        reader = csv.reader(lines, delimiter=mark, strict=True)
        rows = [Row(reader.line_num, tuple(cell.strip() for cell in cells)) for cells in reader]
    except csv.Error as error:
        raise FileProblems(
            path, [FileProblem(None, f"the cells cannot be told apart ({error}); save it again")]
        ) from None
    rows = [row for row in rows if any(row.cells)]
    if not rows:
        raise FileProblems(path, [FileProblem(None, "it is empty; expected a table")])
    if len(rows) > GREATEST_LINES:
        found = f"it has {len(rows)} rows; expected at most {GREATEST_LINES}: cut it to the part that is needed"
        raise FileProblems(path, [FileProblem(None, found)])
    return tuple(rows)


def content_of(path: Path) -> bytes:
    """Return the bytes of a file; raises FileProblems if it cannot be read or is too large."""
    try:
        if path.stat().st_size > GREATEST_BYTES:
            found = f"it is larger than {GREATEST_BYTES // 1_000_000} MB: cut it to the part that is needed"
            raise FileProblems(path, [FileProblem(None, found)])
        return path.read_bytes()
    except OSError as error:
        raise FileProblems(path, [FileProblem(None, f"it cannot be read: {error.strerror}")]) from None


def _text_of(path: Path) -> str:
    try:
        text = content_of(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileProblems(path, [FileProblem(None, "it is not UTF-8 text; save it as 'CSV UTF-8'")]) from None
    if "\0" in text:
        raise FileProblems(path, [FileProblem(None, "it is no text; save it as 'CSV UTF-8'")])
    return text


def repeated(table: Table) -> list[FileProblem]:
    """Return a problem for each column name that stands twice: two riders, or a pasted column."""
    named = [name for name in table.names if name]
    twice = sorted({name for name in named if named.count(name) > 1})
    return [
        FileProblem(table.line, f"the column {name} stands more than once; expected one rider, once") for name in twice
    ]


def column(table: Table, name: str, *, may_be_blank: bool = True) -> tuple[np.ndarray, list[FileProblem]]:
    """Return a column as numbers, blank cells as not a number, and its problems."""
    place = table.names.index(name)
    values, problems = [], []
    for row in table.rows:
        text = row.cells[place] if place < len(row.cells) else ""
        value = number(text)
        if value is None:
            problems.append(FileProblem(row.line, f"{name} is {text[:40]!r}; expected a number or nothing"))
        elif math.isnan(value) and not may_be_blank:
            problems.append(FileProblem(row.line, f"{name} is blank; expected a number"))
        values.append(math.nan if value is None else value)
    return np.array(values, dtype=float), problems


def number(text: str) -> float | None:
    """Return the number a cell holds, not a number for a blank one, None where it is neither."""
    if not text:
        return math.nan
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in text else None


def rising(time_s: Sequence[float], rows: Sequence[Row]) -> list[FileProblem]:
    """Return a problem for each line whose time does not come after the one above it."""
    steps = np.diff(np.asarray(time_s, dtype=float))
    again = "expected it to rise. Two riders or two recordings in one file?"
    return [
        FileProblem(rows[i + 1].line, f"time_s is {time_s[i + 1]:g} after {time_s[i]:g}; {again}")
        for i in np.flatnonzero(steps <= 0)
    ]


def frozen(values: np.ndarray) -> np.ndarray:
    """Return the array as one that cannot be written to: readings are kept as taken."""
    values = np.array(values, dtype=float)
    values.flags.writeable = False
    return values
