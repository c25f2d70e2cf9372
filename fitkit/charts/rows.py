"""What the drawings share: checks of plain numbers, rows of the table behind a drawing, ends of a dimension."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import fields

from fitkit.charts.figure import View
from fitkit.charts.theme import INK, text_width_px
from fitkit.words import halved, halves, rounded, span

__all__ = [
    "check_interval",
    "check_numbers",
    "check_sides",
    "clamped",
    "lacking_words",
    "level_dimension",
    "row",
    "with_interval",
]

LEVEL_HEAD_PX = 8.0


def check_numbers(item: object) -> None:
    """Refuse a side that is no side and a number that is not finite, in any dataclass of plain numbers."""
    side = getattr(item, "side", "left")
    if side not in ("left", "right"):
        raise ValueError(f"side is {side!r}; expected 'left' or 'right'")
    for each in fields(item):
        value = getattr(item, each.name)
        if each.name.endswith(("_mm", "_deg")) and isinstance(value, int | float) and not math.isfinite(value):
            raise ValueError(f"{each.name} is {value}; expected a finite number or None")


def check_interval(item: object, low: str, value: str, high: str) -> None:
    """Refuse an interval whose ends do not lie round its value; ends or values that are None are not checked."""
    names = [name for name in (low, value, high) if getattr(item, name) is not None]
    numbers = [getattr(item, name) for name in names]
    if numbers != sorted(numbers):
        found = ", ".join(f"{name} {each:g}" for name, each in zip(names, numbers, strict=True))
        raise ValueError(f"found {found}; expected them in rising order")


def check_sides(items: Sequence) -> None:
    """Refuse no item at all, or one side twice."""
    sides = [item.side for item in items]
    if not sides or len(set(sides)) < len(sides):
        raise ValueError(f"sides are {sides}; expected one of each side at most, and at least one")


def row(
    side: str,
    what: str,
    unit: str = "mm",
    value: float | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    words: str = "",
    lacking: str = "not measured",
    typed: bool = False,
) -> dict:
    """Return one row of the table behind a drawing, as precise as it is written there."""
    given = {"value": value, "low": low, "high": high}
    numbers = {name: None if each is None else _precise(each, unit, typed) for name, each in given.items()}
    if not words and given == dict.fromkeys(given):
        words = lacking
    return {"side": side, "what": what, "unit": unit, **numbers, "words": words}


def _precise(value: float, unit: str, typed: bool) -> float:
    if typed:
        return round(value, 1) + 0.0
    return halved(value) if unit == "mm" else rounded(value)


def lacking_words(rows: Iterable[dict], *lacks: str) -> list[str]:
    """Return one sentence for each kind of lack that the rows hold, naming what lacks."""
    rows = list(rows)
    found = {lack: [each["what"] for each in rows if each["words"] == lack] for lack in lacks}
    return [f"{lack.capitalize()}: {'; '.join(whats)}." for lack, whats in found.items() if whats]


def with_interval(value: float, low: float | None, high: float | None) -> str:
    """Return ``"126"`` or, with both ends, ``"126 (124 to 128)"``."""
    if low is None or high is None:
        return halves(value)
    return span(value, low, high)


def clamped(
    centre_px: float, words: str, *, size_px: float, low_px: float, high_px: float, bold: bool = False
) -> float:
    """Return the nearest centre [px] at which the words lie between two bounds; in their middle without room."""
    half = text_width_px(words, size_px=size_px, bold=bold) / 2
    if high_px - low_px <= 2 * half:
        return (low_px + high_px) / 2
    return min(max(centre_px, low_px + half), high_px - half)


def level_dimension(paper: View, start_px: float, end_px: float, y_px: float, *, color: str = INK) -> None:
    """Draw a level dimension line between two places of the sheet; heads that would meet point inward."""
    paper.line((start_px, y_px), (end_px, y_px), stroke=color)
    paper.lines([((x, y_px - 5), (x, y_px + 5)) for x in (start_px, end_px)], stroke=color)
    roomy = abs(end_px - start_px) > 2.5 * LEVEL_HEAD_PX
    way = math.copysign(1, end_px - start_px) * (1 if roomy else -1)
    for tip, from_px in ((start_px, start_px + way * 9), (end_px, end_px - way * 9)):
        paper.head((tip, y_px), away_from=(from_px, y_px), color=color, length_px=LEVEL_HEAD_PX)
