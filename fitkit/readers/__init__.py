"""Tables as a general spreadsheet saves them: text, one row a line, every problem said with its line number.

Comma, semicolon or tab between the cells, decimal point or decimal comma, a blank cell where nothing was
measured. Cells left empty at the end of a row, as spreadsheets write them, do no harm.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fitkit.problems import Problem, Problems, table_rows

__all__ = ["FileProblems", "Row", "Table", "content_of", "frozen", "number", "read_rows", "rising", "unusable"]

GREATEST_BYTES = 32_000_000
GREATEST_LINES = 500_000


class FileProblems(Problems):
    """Everything that is wrong with a file, at once."""

    LISTED = 20  # a file wrong from top to bottom has thousands of problems alike
    MORE = "more like these"

    def _headline(self) -> str:
        return f"{self.path.name} cannot be used:"


def unusable(path: Path, found: str) -> FileProblems:
    """Return the error of a file that cannot be used as a whole."""
    return FileProblems(Path(path), [Problem(found=found)])


Row = tuple[int, tuple[str, ...]]  # line number, and the cells without outer spaces


@dataclass(frozen=True)
class Table:
    """Column names in lower case and the rows below them that are not blank."""

    line: int
    names: tuple[str, ...]
    rows: tuple[Row, ...]

    @classmethod
    def below(cls, heading: Row, rows: Sequence[Row]) -> Table:
        """Return the table with this row of column names."""
        return cls(heading[0], tuple(cell.lower() for cell in heading[1]), tuple(rows))

    @property
    def lines(self) -> tuple[int, ...]:
        """The line number of each row."""
        return tuple(line for line, _ in self.rows)

    def cells(self, name: str) -> list[str]:
        """Return the cells of a column."""
        place = self.names.index(name)
        return [cells[place] if place < len(cells) else "" for _, cells in self.rows]

    def problem(self, found: str, *, row: int | None = None) -> Problem:
        """Return a problem of one of the rows, of the row of column names where none is named."""
        return Problem(found=found, line=self.line if row is None else self.rows[row][0])

    def repeated(self) -> list[Problem]:
        """Return a problem for each column name that stands twice: two riders, or a pasted column."""
        twice = sorted({name for name in self.names if name and self.names.count(name) > 1})
        return [self.problem(f"the column {name} stands more than once; expected one rider, once") for name in twice]

    def column(self, name: str, *, may_be_blank: bool = True) -> tuple[np.ndarray, list[Problem]]:
        """Return a column as numbers, blank cells as not a number, and its problems."""
        values, problems = [], []
        for row, text in enumerate(self.cells(name)):
            value = number(text)
            if value is None:
                problems.append(self.problem(f"{name} is {text[:40]!r}; expected a number or nothing", row=row))
            elif math.isnan(value) and not may_be_blank:
                problems.append(self.problem(f"{name} is blank; expected a number", row=row))
            values.append(math.nan if value is None else value)
        return np.array(values, dtype=float), problems

    def left_alone(self, *used: str) -> tuple[str, ...]:
        """Return the note on the columns that nothing reads."""
        other = [name for name in self.names if name and name not in used]
        return (f"columns left alone: {', '.join(other)}",) if other else ()


def read_rows(path: Path) -> list[Row]:
    """Return the rows of a table file that are not blank."""
    text = _text_of(Path(path))
    # The row of column names holds no decimal comma, so that it tells which mark stands between the cells.
    heading = next((line for line in text.splitlines() if "time_s" in line.lower()), text[:1000])
    try:
        rows = list(table_rows(text, max(",;\t", key=heading.count)))
    except csv.Error as error:
        raise unusable(path, f"the cells cannot be told apart ({error}); save it again") from None
    if not rows:
        raise unusable(path, "it is empty; expected a table")
    if len(rows) > GREATEST_LINES:
        found = f"it has {len(rows)} rows; expected at most {GREATEST_LINES}: cut it to the part that is needed"
        raise unusable(path, found)
    return rows


def content_of(path: Path) -> bytes:
    """Return the bytes of a file; raises FileProblems if it cannot be read or is too large."""
    try:
        if path.stat().st_size > GREATEST_BYTES:
            found = f"it is larger than {GREATEST_BYTES // 1_000_000} MB: cut it to the part that is needed"
            raise unusable(path, found)
        return path.read_bytes()
    except OSError as error:
        raise unusable(path, f"it cannot be read: {error.strerror}") from None


def _text_of(path: Path) -> str:
    try:
        text = content_of(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise unusable(path, "it is not UTF-8 text; save it as 'CSV UTF-8'") from None
    if "\0" in text:
        raise unusable(path, "it is no text; save it as 'CSV UTF-8'")
    return text


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


def rising(time_s: np.ndarray, table: Table) -> list[Problem]:
    """Return a problem for each line whose time does not come after the one above it."""
    again = "expected it to rise. Two riders or two recordings in one file?"
    return [
        table.problem(f"time_s is {time_s[i + 1]:g} after {time_s[i]:g}; {again}", row=i + 1)
        for i in np.flatnonzero(np.diff(time_s) <= 0)
    ]


def frozen(values: np.ndarray) -> np.ndarray:
    """Return the array as one that cannot be written to: readings are kept as taken."""
    values = np.array(values, dtype=float)
    values.flags.writeable = False
    return values
