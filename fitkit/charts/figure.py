"""A canvas in millimetres, to a stated scale, written as SVG."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from xml.etree import ElementTree

from fitkit.charts.svg import NAMESPACE, Figure, beside, from_altair, minified
from fitkit.charts.theme import FONT, GREY, INK, PATTERNS
from fitkit.words import rounded, whole

__all__ = ["Drawing", "Figure", "Point", "View", "beside", "from_altair"]

Point = tuple[float, float]

_LAYERS = ("box", "path", "head", "text")
_HEAD_PX = 9.0
_OPPOSITE = {"start": "end", "middle": "middle", "end": "start"}
_ROUND = 0.448  # how far short of a rounded corner its curve's handles end, in parts of the radius
_MIDDLE = 0.3  # how far below the middle of letters their baseline lies, in parts of their size


@dataclass
class Drawing:
    """A sheet of paper on which views in millimetres are drawn.

    Boxes lie lowest, then paths, arrow heads and words, in four layers; within a layer later things lie on
    earlier ones.
    """

    width_px: float  # size of the sheet [px]
    height_px: float  # size of the sheet [px]
    _layers: dict[str, list[ElementTree.Element]] = field(default_factory=lambda: {name: [] for name in _LAYERS})

    @property
    def paper(self) -> View:
        """The sheet itself: px from the left and from the top, for words and frames round the views."""
        return View(self, (0.0, 0.0), downward=True)

    def view(self, *, origin_px: Point, px_per_mm: float, mirrored: bool = False) -> View:
        """Return a view in millimetres, x to the right (to the left when mirrored) and y up from `origin_px`."""
        if not 0 < px_per_mm < math.inf:
            raise ValueError(f"px_per_mm is {px_per_mm}; expected a scale above 0")
        return View(self, origin_px, px_per_mm=px_per_mm, mirrored=mirrored)

    def add(self, layer: str, tag: str, words: str | None = None, **look: str | float | None) -> None:
        """Put one SVG element on top of its layer; what is None is left out, underscores stand for hyphens."""
        named = {name.replace("_", "-"): str(value) for name, value in look.items() if value is not None}
        element = ElementTree.Element(f"{{{NAMESPACE}}}{tag}", named)
        element.text = words
        self._layers[layer].append(element)

    def figure(self, *, alt: str, title: str = "") -> Figure:
        """Return the drawing as a figure with its words."""
        width, height = f"{self.width_px:g}", f"{self.height_px:g}"
        size = {"width": width, "height": height, "viewBox": f"0 0 {width} {height}"}
        sheet = ElementTree.Element(f"{{{NAMESPACE}}}svg", size)
        ElementTree.SubElement(sheet, f"{{{NAMESPACE}}}rect", {"width": width, "height": height, "fill": "white"})
        for elements in self._layers.values():
            ElementTree.SubElement(sheet, f"{{{NAMESPACE}}}g").extend(elements)
        return Figure(svg=minified(ElementTree.tostring(sheet, encoding="unicode")), alt=alt, title=title)


@dataclass(frozen=True)
class View:
    """One scale on a drawing; every length in millimetres unless its name says px."""

    drawing: Drawing  # the sheet it is drawn on
    origin_px: Point  # where the view's 0, 0 is on the sheet [px]
    px_per_mm: float = 1.0  # the scale
    mirrored: bool = False  # whether x runs to the left; words stay readable, their anchors change sides
    downward: bool = False  # whether y runs down, as on the sheet itself

    def px(self, point: Point) -> Point:
        """Return where a point [mm] is on the sheet [px]."""
        across = -self.px_per_mm if self.mirrored else self.px_per_mm
        down = self.px_per_mm if self.downward else -self.px_per_mm
        return self.origin_px[0] + across * point[0], self.origin_px[1] + down * point[1]

    def line(self, start: Point, end: Point, *, stroke: str = INK, width_px: float = 1, pattern: str = "solid") -> None:
        """Draw a straight line."""
        self.path([start, end], stroke=stroke, width_px=width_px, pattern=pattern)

    def box(
        self,
        corner: Point,
        opposite: Point,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        width_px: float = 1,
        pattern: str = "solid",
        radius_px: float = 0,
    ) -> None:
        """Draw a rectangle between two opposite corners."""
        (x, y), (x2, y2) = self.px(corner), self.px(opposite)
        path = _box_path(min(x, x2), min(y, y2), max(x, x2), max(y, y2), radius_px)
        self.drawing.add("box", "path", d=path, fill=fill or "none", **_look(stroke, width_px, pattern))

    def path(
        self,
        points: Sequence[Point],
        *,
        stroke: str | None = INK,
        width_px: float = 1,
        pattern: str = "solid",
        fill: str | None = None,
        closed: bool = False,
        smooth: bool = False,
    ) -> None:
        """Draw a line through points, in straight pieces or smoothly, open or closed."""
        places = [self.px(point) for point in points]
        path = _smooth_path(places, closed=closed) if smooth else _straight_path(places) + ("Z" if closed else "")
        self.drawing.add("path", "path", d=path, fill=fill or "none", **_look(stroke, width_px, pattern))

    def lines(self, pieces: Iterable[tuple[Point, Point]], *, stroke: str = INK, width_px: float = 1) -> None:
        """Draw many separate straight pieces of one look as one mark."""
        path = "".join(_straight_path([self.px(start), self.px(end)]) for start, end in pieces)
        self.drawing.add("path", "path", d=path, fill="none", **_look(stroke, width_px, "solid"))

    def text(
        self,
        point: Point,
        words: str,
        *,
        size_px: float = 12,
        bold: bool = False,
        anchor: str = "start",
        color: str = INK,
        shift_px: Point = (0, 0),
        turn_deg: float = 0,
    ) -> None:
        """Write words at a point, moved by `shift_px` (right and down; left when mirrored)."""
        x, y = self.px(point)
        across = -shift_px[0] if self.mirrored else shift_px[0]
        x, y = x + across, y + shift_px[1]
        self.drawing.add(
            "text",
            "text",
            words,
            x=x,
            y=y + rounded(_MIDDLE * size_px),
            text_anchor=_OPPOSITE[anchor] if self.mirrored else anchor,
            font_family=FONT,
            font_size=size_px,
            font_weight="bold" if bold else "normal",
            transform=f"rotate({turn_deg:g},{x:g},{y:g})" if turn_deg else None,
            fill=color,
        )

    def head(self, tip: Point, *, away_from: Point, color: str = INK, length_px: float = _HEAD_PX) -> None:
        """Draw an arrow head whose tip points away from another point."""
        (x, y), (from_x, from_y) = self.px(tip), self.px(away_from)
        angle = math.degrees(math.atan2(x - from_x, from_y - y))
        wide = 0.38 * length_px
        path = f"M0,0L{-wide},{length_px}L{wide},{length_px}Z"  # tip at the origin, pointing up
        self.drawing.add("head", "path", d=path, transform=f"translate({x},{y}) rotate({angle})", fill=color)

    def ruler(self, start: Point, end: Point, *, first: float = 0, stroke: str = GREY, left: bool = True) -> None:
        """Draw a ruler in millimetres: fine ticks as far as the scale has room, numbers at round ones."""
        along, aside, length = _directions(start, end)
        if not left:
            aside = (-aside[0], -aside[1])
        fine, middling, numbered = self._steps()
        counts = [count for count in range(math.ceil(first), math.floor(first + length) + 1) if count % fine == 0]
        places = {count: _moved(start, along, count - first) for count in counts}
        ticks = {count: 3.5 if count % middling else 6 if count % numbered else 9 for count in counts}
        self.lines(
            [(start, end)]
            + [(place, _moved(place, aside, ticks[count] / self.px_per_mm)) for count, place in places.items()],
            stroke=stroke,
            width_px=0.8,
        )
        for count in counts:
            if count % numbered == 0:
                place = _moved(places[count], aside, 12 / self.px_per_mm)
                self.text(place, whole(count), anchor=_anchor(aside), color=stroke)

    def _steps(self) -> tuple[int, int, int]:
        """Return which millimetres a ruler marks finely, clearly and with a number."""
        steps = [(1, 5, 10), (2, 10, 20), (5, 10, 20), (10, 50, 50), (20, 100, 100), (100, 500, 500)]
        roomy = [step for step in steps if step[0] * self.px_per_mm >= 2.4 and step[2] * self.px_per_mm >= 24]
        return (roomy or steps[-1:])[0]

    def dimension(
        self, start: Point, end: Point, label: str, *, away_mm: float = 0, color: str = INK, pattern: str = "solid"
    ) -> None:
        """Draw a dimension line: arrow heads at both ends, the label beside its middle."""
        along, aside, length = _directions(start, end)
        near, far = _moved(start, aside, away_mm), _moved(end, aside, away_mm)
        if away_mm:
            beyond = away_mm + math.copysign(4 / self.px_per_mm, away_mm)
            pieces = [(point, _moved(point, aside, beyond)) for point in (start, end)]
            self.lines(pieces, stroke=GREY, width_px=0.6)
        self.line(near, far, stroke=color, pattern=pattern)
        # Heads that would meet are turned inward from outside.
        roomy = length * self.px_per_mm > 2.5 * _HEAD_PX
        reach = _HEAD_PX / self.px_per_mm
        for tip, outward in ((near, -1), (far, 1)):
            self.head(tip, away_from=_moved(tip, along, -outward * reach if roomy else outward * reach), color=color)
        side = -1 if away_mm < 0 else 1
        away = (side * aside[0], side * aside[1])
        middle = ((near[0] + far[0]) / 2, (near[1] + far[1]) / 2)
        self.text(_moved(middle, away, 9 / self.px_per_mm), label, anchor=_anchor(away), color=color)


def _look(stroke: str | None, width_px: float, pattern: str) -> dict[str, str | float | None]:
    if stroke is None:
        return {}
    dashes = None if pattern == "solid" else ",".join(map(str, PATTERNS[pattern]))
    return {"stroke": stroke, "stroke_width": width_px, "stroke_dasharray": dashes}


def _straight_path(places: Sequence[Point]) -> str:
    return "M" + "L".join(f"{x},{y}" for x, y in places)


def _smooth_path(places: Sequence[Point], *, closed: bool) -> str:
    """Return a curve through places: cubic pieces, each end's direction that of the line between its neighbours."""
    first, last = (places[-1], places[:2]) if closed else (places[0], places[-1:])
    along = [first, *places, *last]
    path = f"M{along[1][0]},{along[1][1]}"
    for before, (start, end), after in zip(along, pairwise(along[1:-1]), along[3:], strict=False):
        out = (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6)
        into = (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6)
        path += "C" + ",".join(f"{x},{y}" for x, y in (out, into, end))
    return path + ("Z" if closed else "")


def _box_path(x: float, y: float, x2: float, y2: float, radius: float) -> str:
    r = min(radius, (x2 - x) / 2, (y2 - y) / 2)
    if not r:
        return f"M{x},{y}L{x2},{y}L{x2},{y2}L{x},{y2}Z"
    c = r * _ROUND
    return (
        f"M{x + r},{y}L{x2 - r},{y}C{x2 - c},{y},{x2},{y + c},{x2},{y + r}"
        f"L{x2},{y2 - r}C{x2},{y2 - c},{x2 - c},{y2},{x2 - r},{y2}"
        f"L{x + r},{y2}C{x + c},{y2},{x},{y2 - c},{x},{y2 - r}"
        f"L{x},{y + r}C{x},{y + c},{x + c},{y},{x + r},{y}Z"
    )


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
