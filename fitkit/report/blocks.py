"""What a record is made of: sentences, tables and figures that show the same in a notebook, a page and in print."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from fitkit.estimate import Estimate

if TYPE_CHECKING:
    import pandas

__all__ = ["Sentences", "Table"]


@dataclass(frozen=True)
class Sentences:
    """Plain sentences, shown as a list; the first may stand out."""

    lines: tuple[str, ...]  # one sentence or short paragraph each
    kind: str = "list"  # "list" for bullets, "lead" for the first numbers, "stop" for what must not be overlooked

    def _repr_html_(self) -> str:
        if not self.lines:
            return ""
        if self.kind == "list":
            return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in self.lines) + "</ul>"
        return f'<div class="{self.kind}">' + "".join(f"<p>{escape(line)}</p>" for line in self.lines) + "</div>"

    def __repr__(self) -> str:
        return "\n".join(self.lines)


@dataclass(frozen=True)
class Table:
    """A table with a caption; the first column names the row. An empty one says so in words."""

    caption: str  # what the table shows
    columns: tuple[str, ...]  # head of each column
    rows: tuple[tuple[str, ...], ...]  # cells, as many in each row as there are columns
    if_empty: str = ""  # the sentence shown in place of a table without rows
    estimates: tuple[tuple[str, str, Estimate], ...] = ()  # row, side and number behind the cells, where there is one

    def frame(self) -> pandas.DataFrame:
        """Return what is shown to be analysed: row, side and number with its ends, unit and needs; else the cells.

        Returns
        -------
        pandas.DataFrame
            One row a number (columns row, side, value, low, high, unit, needs), numbers as numbers; of a table of
            words one row a cell (columns row, column, text).
        """
        import pandas  # where a frame is asked for, never on the way to a form

        if self.estimates:
            names = ("value", "low", "high", "unit", "needs")
            rows = [(row, side, *(getattr(found, name) for name in names)) for row, side, found in self.estimates]
            return pandas.DataFrame(rows, columns=["row", "side", *names])
        cells = [
            (row[0], head, cell) for row in self.rows for head, cell in zip(self.columns[1:], row[1:], strict=True)
        ]
        return pandas.DataFrame(cells, columns=["row", "column", "text"])

    def _repr_html_(self) -> str:
        if not self.rows:
            return f"<p>{escape(self.if_empty)}</p>" if self.if_empty else ""
        # An empty corner heads nothing, so it is no heading.
        head = "".join(f'<th scope="col">{escape(column)}</th>' if column else "<td></td>" for column in self.columns)
        body = "".join(self._row(row) for row in self.rows)
        # A wide table scrolls inside its own box; the box takes the keyboard, so that arrows can scroll it.
        return (
            f'<div class="wide" tabindex="0" role="region" aria-label="{escape(self.caption)}">'
            f"<table><caption>{escape(self.caption)}</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
        )

    @staticmethod
    def _row(row: tuple[str, ...]) -> str:
        first, *rest = row
        cells = "".join(f"<td>{escape(cell)}</td>" for cell in rest)
        return f'<tr><th scope="row">{escape(first)}</th>{cells}</tr>'

    def __repr__(self) -> str:
        if not self.rows:
            return self.if_empty
        return "\n".join([self.caption, " | ".join(self.columns), *(" | ".join(row) for row in self.rows)])
