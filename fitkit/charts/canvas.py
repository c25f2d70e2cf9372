"""A canvas in millimetres, to a stated scale, written as small and stable SVG: equal drawings are equal bytes."""

from __future__ import annotations

import html
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from fitkit.charts.figure import BLUE, FONT, GREY, INK, NAMESPACE, PATTERNS, Figure, FigureRow, text_width_px, words_of
from fitkit.words import rounded, whole

Point = tuple[float, float]
Piece = tuple[Point, Point]

_LAYERS = ("box", "path", "head", "text")
_HEAD_PX, _LEVEL_HEAD_PX = 9.0, 8.0
_OPPOSITE = {"start": "end", "middle": "middle", "end": "start"}
_ROUND = 0.448  # how far short of a rounded corner its curve's handles end, in parts of the radius
_MIDDLE = 0.3  # how far below the middle of letters their baseline lies, in parts of their size
# What a group may carry for its marks; the value is what holds where nobody carries one.
_CARRIED = {
    "font-weight": "normal",
    "text-anchor": "start",
    "fill": None,
    "stroke": None,
    "stroke-width": "1",
    "stroke-dasharray": None,
}


@dataclass(frozen=True)
class Mark:
    """One SVG element."""

    tag: str
    look: dict[str, str]
    words: str | None

    def written(self, carried: dict[str, str | None]) -> str:
        """Return the element with what its group does not carry for it."""
        look = _attributes({name: value for name, value in self.look.items() if carried.get(name) != value})
        if self.words is None:
            return f"<{self.tag}{look}/>"
        return f"<{self.tag}{look}>{html.escape(self.words, quote=False)}</{self.tag}>"


@dataclass
class Drawing:
    """A sheet of paper on which views in millimetres are drawn.

    Boxes lie lowest, then paths, arrow heads and words, in four layers; within a layer later things lie on
    earlier ones.
    """

    width_px: float  # size of the sheet [px]
    height_px: float  # size of the sheet [px]
    _layers: dict[str, list[Mark]] = field(default_factory=lambda: {name: [] for name in _LAYERS})

    @property
    def paper(self) -> View:
        """The sheet itself: px from the left and from the top, for words and frames round the views."""
        return View(self, (0.0, 0.0), down_px=1.0)

    def view(self, *, origin_px: Point, px_per_mm: float, mirrored: bool = False) -> View:
        """Return a view in millimetres, x to the right (to the left when mirrored) and y up from `origin_px`."""
        if not 0 < px_per_mm < math.inf:
            raise ValueError(f"px_per_mm is {px_per_mm}; expected a scale above 0")
        return View(self, origin_px, px_per_mm=px_per_mm, mirrored=mirrored)

    def across(self, *, origin_px: Point, px_per_mm: float, down_px: float = 1.0, mirrored: bool = False) -> View:
        """Return a view to scale from side to side alone; downward `down_px` counts, px of the sheet as a rule."""
        return View(self, origin_px, px_per_mm=px_per_mm, mirrored=mirrored, down_px=down_px)

    def heading(
        self, edge_px: float, title: str, said: str | Sequence[str] = (), *, moves: bool = False, step_px: float = 18
    ) -> None:
        """Write the sheet's title and below it, larger, what is to be done; in blue where something moves."""
        self.paper.text((edge_px, 11), title, size_px=13, bold=True)
        self.paper.text((edge_px, 30), said, row_px=step_px, size_px=15, bold=True, color=BLUE if moves else INK)

    def add(self, layer: str, tag: str, words: str | None = None, **look: str | float | None) -> None:
        """Put one SVG element on top of its layer; what is None is left out, underscores stand for hyphens."""
        named = {
            name.replace("_", "-"): value if isinstance(value, str) else _number(value)
            for name, value in look.items()
            if value is not None
        }
        self._layers[layer].append(Mark(tag, named, words))

    def figure(self, *, alt: str, title: str = "", rows: Sequence[FigureRow] = ()) -> Figure:
        """Return the drawing as a figure with its rows; its words are `alt` and what the rows say."""
        width, height = f"{self.width_px:g}", f"{self.height_px:g}"
        sizes = Counter(mark.look["font-size"] for mark in self._layers["text"]).most_common(1)
        common = {"font-family": FONT, "font-size": sizes[0][0]} if sizes else {}
        size = {"width": width, "height": height}
        sheet = {"xmlns": NAMESPACE, **size, "viewBox": f"0 0 {width} {height}", **common}
        layers = "".join(_group(marks, common) for marks in self._layers.values())
        svg = f'<svg{_attributes(sheet)}><rect{_attributes(size)} fill="white"/>{layers}</svg>'
        return Figure(svg=svg, alt=words_of(alt, rows), title=title, rows=tuple(rows))


@dataclass(frozen=True)
class View:
    """One scale on a drawing; every length in millimetres unless its name says px."""

    drawing: Drawing  # the sheet it is drawn on
    origin_px: Point  # where the view's 0, 0 is on the sheet [px]
    px_per_mm: float = 1.0  # the scale
    mirrored: bool = False  # whether x runs to the left; words stay readable, their anchors change sides
    down_px: float | None = None  # what 1 of y is downward [px]; where None, y runs up to the view's own scale

    def px(self, point: Point) -> Point:
        """Return where a point [mm] is on the sheet [px]."""
        across = -self.px_per_mm if self.mirrored else self.px_per_mm
        down = -self.px_per_mm if self.down_px is None else self.down_px
        return self.origin_px[0] + across * point[0], self.origin_px[1] + down * point[1]

    def x(self, across_mm: float) -> float:
        """Return where a place from side to side [mm] is on the sheet [px]."""
        return self.px((across_mm, 0))[0]

    def line(self, start: Point, end: Point, **look: str | float) -> None:
        """Draw a straight line; its look is stroke, width_px and pattern, as of all that is drawn."""
        self.path([start, end], **look)

    def box(
        self, corner: Point, opposite: Point, *, fill: str = "none", radius_px: float = 0, **look: str | float
    ) -> None:
        """Draw a rectangle between two opposite corners; without a stroke it has no edge."""
        (x, y), (x2, y2) = self.px(corner), self.px(opposite)
        path = _box_path(min(x, x2), min(y, y2), max(x, x2), max(y, y2), radius_px)
        self.drawing.add("box", "path", d=path, fill=fill, **(_stroked(**look) if look else {}))

    def ring(self, middle: Point, radius_px: float, *, fill: str = "white", **look: str | float) -> None:
        """Draw a circle whose size is the same at every scale."""
        (x, y), r = self.px(middle), radius_px
        look = {"stroke": INK} | look
        self.drawing.paper.box((x - r, y - r), (x + r, y + r), fill=fill, radius_px=r, **look)

    def path(self, points: Sequence[Point], *, closed: bool = False, smooth: bool = False, **look: str | float) -> None:
        """Draw a line through points, in straight pieces or smoothly, open or closed."""
        places = [self.px(point) for point in points]
        steps = _smooth(places, closed=closed) if smooth else ((place,) for place in places[1:])
        path = _path(places[0], steps, closed=closed)
        self.drawing.add("path", "path", d=path, fill="none", **_stroked(**look))

    def lines(self, pieces: Iterable[Piece], **look: str | float) -> None:
        """Draw many separate straight pieces of one look as one mark."""
        path = "".join(_path(self.px(start), [(self.px(end),)]) for start, end in pieces)
        self.drawing.add("path", "path", d=path, fill="none", **_stroked(**look))

    def text(
        self,
        point: Point,
        words: str | Sequence[str],
        *,
        size_px: float = 12,
        bold: bool = False,
        anchor: str = "start",
        color: str = INK,
        shift_px: Point = (0, 0),
        row_px: float = 15,
    ) -> None:
        """Write words at a point, moved by `shift_px` (right and down; left when mirrored), or lines of words."""
        x, y = self.px(point)
        across = -shift_px[0] if self.mirrored else shift_px[0]
        for row, line in enumerate([words] if isinstance(words, str) else words):
            self.drawing.add(
                "text",
                "text",
                line,
                x=x + across,
                y=y + shift_px[1] + row_px * row + rounded(_MIDDLE * size_px),
                text_anchor=_OPPOSITE[anchor] if self.mirrored else anchor,
                font_size=size_px,
                font_weight="bold" if bold else "normal",
                fill=color,
            )

    def head(self, tip: Point, *, away_from: Point, color: str = INK, length_px: float = _HEAD_PX) -> None:
        """Draw an arrow head whose tip points away from another point."""
        (x, y), (from_x, from_y) = self.px(tip), self.px(away_from)
        turn = _number(math.degrees(math.atan2(x - from_x, from_y - y)))
        wide = 0.38 * length_px
        path = _path((0, 0), [((-wide, length_px),), ((wide, length_px),)], closed=True)  # pointing up
        place = f"translate({_number(x)},{_number(y)})" + (f" rotate({turn})" if turn != "0" else "")
        self.drawing.add("head", "path", d=path, fill=color, transform=place)

    def whisker(self, start: Point, end: Point, *, cap_px: float = 5, **look: str | float) -> None:
        """Draw a line that stands level or upright on the sheet, with a cap at both ends."""
        (x, y), (x2, y2) = self.px(start), self.px(end)
        across, down = (0, cap_px) if y == y2 else (cap_px, 0)
        caps = [((x - across, y - down), (x + across, y + down)) for x, y in ((x, y), (x2, y2))]
        self.drawing.paper.lines([((x, y), (x2, y2)), *caps], **look)

    def scale_bar(self, place_px: Point, length_mm: float, *, beside: str = "") -> None:
        """Draw a bar at a place of the sheet that states this view's scale."""
        (x, y), paper = place_px, self.drawing.paper
        end = x + length_mm * self.px_per_mm
        paper.whisker((x, y), (end, y), cap_px=4)
        paper.text((end + 8, y), f"scale: this bar is {length_mm:g} mm{beside}", color=GREY)

    def ruler(self, start: Point, end: Point, *, first: int = 0) -> None:
        """Draw a ruler, its ticks to the left of the way: fine at every millimetre, numbers at tens."""
        along, aside, length = _directions(start, end)
        places = {first + step: _moved(start, along, step) for step in range(math.floor(length) + 1)}
        ticks = {count: 3.5 if count % 5 else 6 if count % 10 else 9 for count in places}
        pieces = [(at, _moved(at, aside, ticks[count] / self.px_per_mm)) for count, at in places.items()]
        self.lines([(start, end), *pieces], stroke=GREY, width_px=0.8)
        for count, at in places.items():
            if count % 10 == 0:
                place = _moved(at, aside, 12 / self.px_per_mm)
                self.text(place, whole(count), anchor=_anchor(aside), color=GREY)

    def dimension(self, start: Point, end: Point, label: str, *, away_mm: float = 0, color: str = INK) -> None:
        """Draw a dimension line: arrow heads at both ends, the label beside its middle."""
        _, aside, _ = _directions(start, end)
        near, far = _moved(start, aside, away_mm), _moved(end, aside, away_mm)
        if away_mm:
            beyond = away_mm + math.copysign(4 / self.px_per_mm, away_mm)
            pieces = [(point, _moved(point, aside, beyond)) for point in (start, end)]
            self.lines(pieces, stroke=GREY, width_px=0.6)
        self.line(near, far, stroke=color)
        self._heads(near, far, color=color, length_px=_HEAD_PX)
        side = -1 if away_mm < 0 else 1
        away = (side * aside[0], side * aside[1])
        middle = ((near[0] + far[0]) / 2, (near[1] + far[1]) / 2)
        self.text(_moved(middle, away, 9 / self.px_per_mm), label, anchor=_anchor(away), color=color)

    def level_dimension(self, start: Point, end: Point, *, color: str = INK) -> None:
        """Draw a level dimension line between two places, with a cap at both ends."""
        self.line(start, end, stroke=color)
        ends = [self.px(place) for place in (start, end)]
        self.drawing.paper.lines([((x, y - 5), (x, y + 5)) for x, y in ends], stroke=color)
        self._heads(start, end, color=color, length_px=_LEVEL_HEAD_PX)

    def _heads(self, start: Point, end: Point, *, color: str, length_px: float) -> None:
        """Draw arrow heads at both ends of a line, pointing outward; those that would meet stand outside it."""
        is_roomy = math.dist(self.px(start), self.px(end)) > 2.5 * length_px
        for tip, other in ((start, end), (end, start)):
            beyond = (2 * tip[0] - other[0], 2 * tip[1] - other[1])
            self.head(tip, away_from=other if is_roomy else beyond, color=color, length_px=length_px)


def clamped(
    centre_px: float, words: str, *, size_px: float, low_px: float, high_px: float, bold: bool = False
) -> float:
    """Return the nearest centre [px] at which the words lie between two bounds; in their middle without room."""
    half = text_width_px(words, size_px=size_px, bold=bold) / 2
    if high_px - low_px <= 2 * half:
        return (low_px + high_px) / 2
    return min(max(centre_px, low_px + half), high_px - half)


def spread(wanted: Sequence[float], heights: Sequence[float], *, low: float, high: float) -> list[float]:
    """Return the centres nearest to the wanted ones, in the given order, at which blocks do not overlap."""
    heights = np.asarray(heights, dtype=float)
    before = np.cumsum(heights) - heights
    from scipy.optimize import isotonic_regression  # few drawings need it, and its import makes each form wait

    tops = isotonic_regression(np.asarray(wanted) - heights / 2 - before).x
    held = np.maximum(low, np.minimum(tops, high - heights.sum()))
    return (held + before + heights / 2).tolist()


def _group(marks: Sequence[Mark], common: dict[str, str]) -> str:
    """Return marks as one group that carries, of each attribute that all have, what most of them have."""
    shared = {}
    for name in _CARRIED:
        (value, count), *_ = Counter(mark.look.get(name) for mark in marks).most_common(1) or [(None, 0)]
        if count > 1 and all(name in mark.look for mark in marks):
            shared[name] = value
    inner = "".join(mark.written(common | _CARRIED | shared) for mark in marks)
    carried = {name: value for name, value in shared.items() if value != _CARRIED[name]}
    return f"<g{_attributes(carried)}>{inner}</g>" if shared else inner


def _attributes(named: dict[str, str]) -> str:
    return "".join(f' {name}="{value}"' for name, value in named.items())


def _number(value: float) -> str:
    """Return a length [px] to a hundredth, in as few characters as can be read back."""
    text = f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
    return text.replace("0.", ".", 1) if abs(value) < 1 else text


def _stroked(*, stroke: str = INK, width_px: float = 1, pattern: str = "solid") -> dict[str, str | float | None]:
    dashes = None if pattern == "solid" else ",".join(map(str, PATTERNS[pattern]))
    return {"stroke": stroke, "stroke_width": width_px, "stroke_dasharray": dashes}


def _path(start: Point, steps: Iterable[Sequence[Point]], *, closed: bool = False) -> str:
    """Return a path of straight pieces (one point a step) and cubic ones (two handles before it)."""
    x, y = map(_number, start)
    path = f"M{x},{y}"
    for *handles, end in steps:
        before, (x, y) = (x, y), map(_number, end)
        if handles:
            path += "C" + ",".join(_number(value) for point in (*handles, end) for value in point)
        elif before[0] == x:
            path += f"V{y}" if before[1] != y else ""
        else:
            path += f"H{x}" if before[1] == y else f"L{x},{y}"
    return path + ("Z" if closed else "")


def _smooth(places: Sequence[Point], *, closed: bool) -> Iterator[Sequence[Point]]:
    """Yield cubic steps through places, each end's direction that of the line between its neighbours."""
    first, last = (places[-1], places[:2]) if closed else (places[0], places[-1:])
    along = [first, *places, *last]
    for before, (start, end), after in zip(along, pairwise(along[1:-1]), along[3:], strict=False):
        out = (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6)
        into = (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6)
        yield out, into, end


def _box_path(x: float, y: float, x2: float, y2: float, radius: float) -> str:
    r = min(radius, (x2 - x) / 2, (y2 - y) / 2)
    if not r:
        return _path((x, y), [((x2, y),), ((x2, y2),), ((x, y2),)], closed=True)
    c = r * _ROUND
    steps = [
        ((x2 - r, y),),
        ((x2 - c, y), (x2, y + c), (x2, y + r)),
        ((x2, y2 - r),),
        ((x2, y2 - c), (x2 - c, y2), (x2 - r, y2)),
        ((x + r, y2),),
        ((x + c, y2), (x, y2 - c), (x, y2 - r)),
        ((x, y + r),),
        ((x, y + c), (x + c, y), (x + r, y)),
    ]
    return _path((x + r, y), steps, closed=True)


def _directions(start: Point, end: Point) -> tuple[Point, Point, float]:
    """Return the way from start to end, the way to its left, both of length 1, and the distance."""
    length = math.dist(start, end)
    if not length > 0:
        raise ValueError(f"start and end are both {start}; expected two places")
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    return along, (-along[1], along[0]), length


def _anchor(aside: Point) -> str:
    """Return how words lie that stand on this side of a line."""
    return "middle" if abs(aside[0]) < 0.5 else "start" if aside[0] > 0 else "end"


def _moved(point: Point, direction: Point, length: float) -> Point:
    return point[0] + direction[0] * length, point[1] + direction[1] * length
