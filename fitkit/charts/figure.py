"""A figure: a picture with its rows, from which its words and its table come; the colours and letters of all."""

from __future__ import annotations

import base64
import html
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING

from fitkit.estimate import Estimate
from fitkit.words import capital, halved, tenths

if TYPE_CHECKING:
    import altair

# Ink, grey and one blue; patterns and words for the rest.
INK = "#1a1a1a"
GREY = "#5f5f5f"
PALE = "#dcdcdc"
BLUE = "#0072B2"
FONT = "Helvetica, Arial, sans-serif"

# Dashes and gaps [px]. A line is told by its pattern; its colour only helps.
PATTERNS: dict[str, list[float]] = {
    "solid": [1, 0],
    "dashed": [8, 4],
    "dotted": [2, 3],
    "dash_dot": [11, 3, 2, 3],
}
# A drawing's width [px]: its letters of 12 px are 8 pt in a printed column of 88 mm.
WIDTH_PX = 360
BEFORE = {"stroke": GREY, "pattern": "dashed"}  # how what was there before is drawn

_AXIS = {
    "domainColor": GREY,
    "gridColor": PALE,
    "labelColor": GREY,
    "labelFontSize": 12,
    "tickColor": GREY,
    "titleColor": INK,
    "titleFontSize": 12,
    "titleFontWeight": "normal",
}
CONFIG: dict[str, object] = {
    "font": FONT,
    "background": "white",
    "aria": False,
    "view": {"stroke": None},
    "axis": _AXIS,
    "legend": {"labelColor": INK, "labelFontSize": 12, "titleColor": GREY, "titleFontSize": 12, "symbolSize": 400},
    "header": {"labelColor": INK, "labelFontSize": 12, "titleColor": GREY, "titleFontSize": 12},
    "title": {"color": INK, "fontSize": 13, "subtitleFontSize": 12, "anchor": "start", "offset": 6},
    "line": {"color": INK},
    "point": {"color": INK, "filled": True},
    "rule": {"color": GREY},
    "text": {"color": INK, "fontSize": 12},
    "area": {"color": PALE},
    "bar": {"color": PALE, "stroke": GREY},
    "range": {"category": [INK, BLUE, GREY]},
}

NAMESPACE = "http://www.w3.org/2000/svg"
NOT_KNOWN = Estimate(None, None, None, "mm", None, None, "a reading")
_LACKS = ("not measured", "not assessed", "not given")
_UNITS = {"mm": " mm", "deg": " degrees", "": ""}
# Beside a neighbour a picture may shrink to this width and its smallest words stay readable.
_LEAST_WIDTH_PX = 340


# Widths of groups of characters in parts of the letter size, for the font named first and its usual stand-ins.
_GROUPS = {"ijl'’|": 0.26, "ftrI!,./:;[]() ·-`": 0.33, "cksvxyzJ°": 0.53, "wCDHNRUGOQm": 0.80, "MW%@": 0.95}
_WIDTHS = {letter: width for letters, width in _GROUPS.items() for letter in letters}
_OTHER_SMALL, _OTHER_CAPITAL, _BOLD = 0.58, 0.68, 1.06


def text_width_px(words: str, *, size_px: float, bold: bool = False) -> float:
    """Return about how wide a text will be [px]; rather too wide than too narrow."""
    others = (_OTHER_CAPITAL if letter.isupper() else _OTHER_SMALL for letter in words)
    widths = (_WIDTHS.get(letter, other) for letter, other in zip(words, others, strict=True))
    return sum(widths) * size_px * (_BOLD if bold else 1)


def wrapped(words: str, *, width_px: float, size_px: float, bold: bool = False) -> list[str]:
    """Return `words` broken at spaces into lines no wider than `width_px` [px]; a longer word stands alone."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_px(longer, size_px=size_px, bold=bold) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True)
class FigureRow:
    """One fact of a drawing, as precise as it is written there."""

    what: str
    side: str  # whose it is, "left" or "right"; "" of a whole
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""  # "mm", "deg" or none
    words: str = ""  # what stands beside the number, or in its place
    said: str | None = None  # its sentence among the words of the figure; None for what it is and its number

    def sentence(self, *, is_side_named: bool) -> str:
        """Return what the figure's words say of it; nothing of what lacks, which is gathered at their end."""
        if self.said is not None or self.value is None:
            return self.said or ""
        name = f"{self.side} {self.what}" if is_side_named else self.what
        has_ends = None not in (self.low, self.high) and {self.low, self.high} != {self.value}
        interval = f" ({tenths(self.low)} to {tenths(self.high)})" if has_ends else ""
        return f"{capital(name.strip())} {tenths(self.value)}{interval}{_UNITS[self.unit]}."


def row(
    side: str,
    what: str,
    found: Estimate | float | None = None,
    ends: Sequence[float | None] = (None, None),
    *,
    unit: str = "mm",
    words: str = "",
    lacking: str = "not measured",
    said: str | None = None,
    to: Callable[[float], float] = halved,
) -> FigureRow:
    """Return a fact of a drawing, rounded as it is written; without number and words it is `lacking`."""
    if isinstance(found, Estimate):
        found, ends = found.value, (found.low, found.high) if has_interval(found) else ends
    numbers = [None if each is None else to(each) for each in (found, *ends)]
    if not words and numbers == [None] * 3:
        return FigureRow(what, side, unit=unit, words=lacking)
    return FigureRow(what, side, *numbers, unit, words, said)


def tenth(value: float) -> float:
    """Return a typed length to a tenth."""
    return round(value, 1) + 0.0


def has_interval(found: Estimate) -> bool:
    """Return whether there is a value whose interval is wider than itself."""
    return found.is_known and found.low != found.high


def words_of(opening: str, rows: Sequence[FigureRow]) -> str:
    """Return a figure's words: an opening, each row's sentence, and what lacks, in one sentence for each lack."""
    is_side_named = len({each.side for each in rows}) > 1
    said = [opening, *(each.sentence(is_side_named=is_side_named) for each in rows)]
    for lack in _LACKS:
        lacking = [each for each in rows if each.words == lack and not each.said]
        names = [f"{each.side} {each.what}".strip() if is_side_named else each.what for each in lacking]
        said += [f"{capital(lack)}: {'; '.join(names)}."] if names else []
    return " ".join(filter(None, said))


@dataclass(frozen=True)
class Figure:
    """A finished picture and what it says in words."""

    svg: str  # the picture; no script, no address outside itself
    alt: str  # everything the picture shows, in plain words
    title: str = ""  # a few words
    rows: tuple[FigureRow, ...] = ()  # the facts it shows, for the table behind it
    # what a page shows side by side while there is room, one under the other where there is none
    parts: tuple[Figure, ...] = ()
    live: altair.TopLevelMixin | None = field(default=None, compare=False)  # the same with tooltips, to show in Lab

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError(f"alt is {self.alt!r}; expected what the picture shows, in words")

    @property
    def size_px(self) -> tuple[float, float]:
        """Width and height that the picture asks for [px]."""
        width, height = (float(re.search(rf' {name}="([\d.]+)"', self.svg)[1]) for name in ("width", "height"))
        return width, height

    @property
    def html(self) -> str:
        """The figure as one HTML element that shows in a notebook, an exported page and in print."""
        images = [part._image(1 / len(self.parts)) for part in self.parts] or [self._image(1)]
        return f"<figure>{''.join(images)}</figure>"

    def _repr_html_(self) -> str:
        return self.html

    def _image(self, share: float) -> str:
        room = "max-width:100%"
        if share < 1:
            least = f"min-width:min({_LEAST_WIDTH_PX}px,100%)"
            room = f"width:{100 * share:g}%;{least};max-width:{self.size_px[0]:g}px;vertical-align:top"
        encoded = base64.b64encode(self.svg.encode()).decode()
        return f'<img alt="{html.escape(self.alt)}" src="data:image/svg+xml;base64,{encoded}" style="{room}">'


def beside(figures: Sequence[Figure], *, title: str) -> Figure:
    """Return one figure of several: beside one another while there is room, else one under the other."""
    sizes = [figure.size_px for figure in figures]
    width, height = sum(size[0] for size in sizes), max(size[1] for size in sizes)
    pictures = ""
    for place, figure in enumerate(figures):
        left = sum(size[0] for size in sizes[:place])
        pictures += figure.svg.replace(f'<svg xmlns="{NAMESPACE}"', f'<svg x="{left:g}"', 1)
    size = f'width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}"'
    return Figure(
        svg=f'<svg xmlns="{NAMESPACE}" {size}>{pictures}</svg>',
        alt="\n".join(figure.alt for figure in figures),
        title=title,
        rows=tuple(row for figure in figures for row in figure.rows),
        parts=tuple(figures),
    )


def check_numbers(item: object) -> None:
    """Refuse a number that is not finite, in any dataclass of plain numbers."""
    for each in fields(item):
        value = getattr(item, each.name)
        if isinstance(value, int | float) and not math.isfinite(value):
            raise ValueError(f"{each.name} is {value}; expected a finite number or None")


def check_sides(items: Sequence) -> None:
    """Refuse no item at all, an item of no side or with a number that is not finite, or one side twice."""
    sides = [item.side for item in items]
    for item in items:
        if item.side not in ("left", "right"):
            raise ValueError(f"side is {item.side!r}; expected 'left' or 'right'")
        check_numbers(item)
    if not sides or len(set(sides)) < len(sides):
        raise ValueError(f"sides are {sides}; expected one of each side at most, and at least one")
