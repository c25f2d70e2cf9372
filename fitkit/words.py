"""Numbers, days and texts from files in words: one way to write each, on every screen, paper and drawing.

Lengths on the rider and the bicycle stand in half millimetres, a change as the difference of both places as printed,
what a person typed as it was typed. All have a true minus sign and none a minus zero.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Sequence
from datetime import date
from functools import cache
from pathlib import Path

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def rounded(value: float) -> float:
    """Return a value rounded to a whole number, halves away from 0."""
    return math.copysign(math.floor(abs(value) + 0.5), value) + 0.0


def whole(value: float) -> str:
    """Return `rounded` in figures, "11" or "−3"."""
    return f"{rounded(value):.0f}".replace("-", "−")


def halved(value: float) -> float:
    """Return a value rounded to halves, away from 0."""
    return math.copysign(math.floor(abs(value) * 2 + 0.5) / 2, value) + 0.0


def halves(value: float) -> str:
    """Return `halved` in figures, "15.5" or "16"."""
    return decimal(halved(value), 1).removesuffix(".0")


def tenths(value: float) -> str:
    """Return a typed or tabled length to a tenth without an idle zero, "12.5" or "−4"."""
    return decimal(value, 1).removesuffix(".0")


def decimal(value: float, places: int) -> str:
    """Return a value with so many decimal places, "0.30"."""
    return f"{round(value, places) + 0.0:.{places}f}".replace("-", "−")


def plain(value: float) -> str:
    """Return a value as it was typed, without needless zeros."""
    return f"{value + 0.0:.6g}".replace("-", "−")


def signed(value: float, form: Callable[[float], str] = halves) -> str:
    """Return a change with its sign, "+2.5" or "−3", and "0" for none."""
    text = form(value)
    return text if text.startswith("−") or float(text) == 0 else f"+{text}"


def span(value: float, low: float, high: float, unit: str = "", form: Callable[[float], str] = halves) -> str:
    """Return "11.5 mm (8.5 to 14.5)", or "11.5 mm" where both ends are written like the value."""
    words, ends = f"{form(value)}{unit}", (form(low), form(high))
    return words if set(ends) == {form(value)} else f"{words} ({ends[0]} to {ends[1]})"


def capital(text: str) -> str:
    """Return the text with its first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def day(when: date | str | None, *, form: str = "{day} {month} {year}", months: Sequence[str] = _MONTHS) -> str:
    """Return "4 March 2026"; text that is no full date stays as it is."""
    if when is None:
        return "not set"
    if isinstance(when, str):
        try:
            when = date.fromisoformat(when)
        except ValueError:
            return when
    return form.format(day=when.day, month=months[when.month - 1], year=when.year)


def count(number: int, noun: str) -> str:
    """Return a number with its noun: ``1 record``, ``2 records``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def printable(text: str, *, longest: int = 60) -> str:
    """Return the text cut to what a message shows; what does not print, or turns writing about, as its code."""
    shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text[: longest + 1])
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def one_line(text: object, *, longest: int = 600) -> str:
    """Return a text as `printable`, on one line: line ends and tabs become spaces."""
    # A longer text would bury the others; what a person needs to find the place is at its beginning.
    return printable(" ".join(str(text)[: 4 * longest].split()), longest=longest)


class Catalogue:
    """Whole sentences by dotted key, with places to fill: the words of a paper, which a second language replaces."""

    def __init__(self, tree: dict) -> None:
        self.tree = tree

    def __getitem__(self, key: str) -> str | list[str]:
        found = self.tree
        for step in key.split("."):
            found = found[step]
        return found

    def __call__(self, key: str, **places: object) -> str:
        """Return the sentence under a key with its places filled."""
        return self[key].format(**places)

    def day(self, when: date | str) -> str:
        """Return a day as the catalogue writes it."""
        return day(when, form=self["day.form"], months=self["day.months"])


@cache
def catalogue(path: Path) -> Catalogue:
    """Return the catalogue in a TOML file."""
    return Catalogue(tomllib.loads(path.read_text(encoding="utf-8")))
