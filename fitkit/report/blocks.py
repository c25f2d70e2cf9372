"""What a record is made of: sentences, tables, and the table behind a figure; the same on a page and in print."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from typing import TYPE_CHECKING

from fitkit.charts import Figure
from fitkit.charts.figure import FigureRow
from fitkit.files import template
from fitkit.vocabulary import SIDES
from fitkit.words import capital, halves, plain, span

if TYPE_CHECKING:
    import jinja2
    import pandas

    from fitkit.assessment import Assessment
    from fitkit.calculations.readings import Interval

_UNITS = {"mm": " mm", "deg": "°", "": ""}


_BROAD = 5  # columns from which a table needs the whole breadth of a printed page


@cache
def page_template(name: str) -> jinja2.Template:
    """Return a page of ``templates/``: what fills its places is escaped, and a place that nobody fills is refused."""
    import jinja2  # where a page is shown, never on the way to a form

    loader = jinja2.FileSystemLoader(template(name).parent)
    kept = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return kept.get_template(name)


@dataclass(frozen=True)
class Sentences:
    """Plain sentences, shown as a list; the first may stand out."""

    lines: tuple[str, ...]  # one sentence or short paragraph each
    # "list" for bullets, "lead" for the first numbers, "stop" for what must not be overlooked, "nothing" for a part of
    # which there is nothing to say: a page leaves it out, and "not assessed" says what it needs
    kind: str = "list"

    def _repr_html_(self) -> str:
        if not self.lines:
            return ""
        if self.kind == "nothing":
            return f'<p class="nothing">{escape(" ".join(self.lines))}</p>'
        if self.kind == "list":
            return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in self.lines) + "</ul>"
        return f'<div class="{self.kind}">' + "".join(f"<p>{escape(line)}</p>" for line in self.lines) + "</div>"

    def __repr__(self) -> str:
        return "\n".join(self.lines)


class Number(str):
    """The words of a cell that keep the number they print: value, ends of its interval, unit, or what it needs."""

    __slots__ = ("numbers",)

    def __new__(
        cls,
        words: str,
        value: float | None,
        low: float | None = None,
        high: float | None = None,
        unit: str = "",
        needs: str | None = None,
    ) -> Number:
        made = super().__new__(cls, words)
        made.numbers = (value, low, high, unit, needs)
        return made


def number_words(value: float | None, form: Callable[[float], str] = plain, unit: str = "") -> str:
    """Return a number without an interval for a cell, "—" where there is none."""
    return "—" if value is None else Number(form(value), value, unit=unit)


def interval_words(
    found: Interval | None, unit: str = "", form: Callable[[float], str] = halves, *, caption_unit: str = ""
) -> str:
    """Return a number with the ends of its interval for a cell or a sentence, "not assessed" where there is none.

    `unit` is written behind the number; `caption_unit` is said by the table's caption and only kept.
    """
    if found is None:
        return "not assessed"
    words = span(found.value, found.low, found.high, unit, form)
    return Number(words, found.value, found.low, found.high, unit.strip() or caption_unit)


@dataclass(frozen=True)
class Table:
    """A table with a caption; the first column names the row. An empty one says so in words."""

    caption: str  # what the table shows
    columns: tuple[str, ...]  # head of each column
    rows: tuple[tuple[str, ...], ...]  # cells, as many in each row as there are columns; numbers as `Number`
    if_empty: str = ""  # the sentence shown in place of a table without rows

    def frame(self) -> pandas.DataFrame:
        """Return what is shown to be analysed: row, side or column, and number with its ends, unit and needs.

        Returns
        -------
        pandas.DataFrame
            One row a number (columns row, side, value, low, high, unit, needs; column in place of side where columns
            are not left and right), numbers as numbers; of a table of words one row a cell (columns row, column, text).
        """
        import pandas  # where a frame is asked for, never on the way to a form

        cells = [
            (row[0], head, cell) for row in self.rows for head, cell in zip(self.columns[1:], row[1:], strict=True)
        ]
        numbers = [(row, head, *cell.numbers) for row, head, cell in cells if isinstance(cell, Number)]
        if not numbers:
            return pandas.DataFrame(cells, columns=["row", "column", "text"])
        frame = pandas.DataFrame(numbers, columns=["row", "column", "value", "low", "high", "unit", "needs"])
        if set(frame["column"]) <= {"Left", "Right"}:
            frame["column"] = frame["column"].str.lower()
            frame = frame.rename(columns={"column": "side"})
        return frame

    def _repr_html_(self) -> str:
        if not self.rows:
            return f'<p class="nothing">{escape(self.if_empty)}</p>' if self.if_empty else ""
        # An empty corner heads nothing, so it is no heading.
        head = "".join(f'<th scope="col">{escape(column)}</th>' if column else "<td></td>" for column in self.columns)
        body = "".join(self._row(row) for row in self.rows)
        look = "wide" if len(self.columns) < _BROAD else "wide broad"
        # A wide table scrolls inside its own box; the box takes the keyboard, so that arrows can scroll it.
        return (
            f'<div class="{look}" tabindex="0" role="region" aria-label="{escape(self.caption)}">'
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


def table_of(caption: str, drawn: Figure | Sentences | Sequence[FigureRow], *, corner: str = "") -> Table:
    """Return the table behind a figure: left beside right, one line for each thing drawn; none behind sentences."""
    rows = drawn.rows if isinstance(drawn, Figure) else () if isinstance(drawn, Sentences) else drawn
    cells: dict[tuple[str, int], dict[str, str]] = {}
    for row in rows:
        # One thing may be drawn several times on a side, such as a gap: each keeps its own line.
        place = sum(row.side in found for (what, _), found in cells.items() if what == row.what)
        cells.setdefault((row.what, place), {})[row.side] = _cell(row)
    sides = list(dict.fromkeys(row.side for row in rows))
    sides = SIDES if set(sides) <= {"", *SIDES} else sides
    heads = [capital(side) for side in sides]
    if any("" in found for found in cells.values()):
        heads[0] += " or whole"
    body = tuple(
        (capital(what), *((found[""], "") if "" in found else (found.get(side, "—") for side in sides)))
        for (what, _), found in cells.items()
    )
    return Table(caption if rows else "", (corner, *heads) if rows else (), body)


def behind(caption: str, draw: Callable[[Assessment], Figure | Sentences]) -> Callable[[Assessment], Table]:
    """Return the section that shows the table behind a drawing."""

    def table(assessment: Assessment) -> Table:
        """Return the table behind the drawing."""
        return table_of(caption, draw(assessment))

    return table


def _cell(row: FigureRow) -> str:
    value, low, high = ("" if number is None else plain(number) for number in (row.value, row.low, row.high))
    span = f"{low or '?'} to {high or '?'}" if {low, high} - {value, ""} else ""
    number = f"{value}{_UNITS[row.unit]} ({span})" if value and span else f"{value or span}{_UNITS[row.unit]}"
    words = " ".join(part for part in (number if value or span else "", row.words) if part)
    return Number(words, row.value, row.low, row.high, row.unit) if value or span else words
