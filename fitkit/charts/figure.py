"""A canvas in millimetres, to a stated scale, that Altair draws in a few layers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache

import altair as alt

from fitkit.charts.image import Figure, beside, from_altair, from_specification
from fitkit.charts.theme import GREY, INK, PATTERNS
from fitkit.words import whole

__all__ = ["Drawing", "Figure", "Point", "View", "beside", "from_altair"]

Point = tuple[float, float]

# The columns hold the look itself, so no scale stands between.
_STROKE = {
    "stroke": alt.Stroke("stroke:N", scale=None),
    "strokeWidth": alt.StrokeWidth("width:Q", scale=None),
    "strokeDash": alt.StrokeDash("dash:N", scale=None),
}
_FILL = {"fill": alt.Fill("fill:N", scale=None)}
_SIZE = {"size": alt.Size("size:Q", scale=None)}
_ANGLE = {"angle": alt.Angle("angle:Q", scale=None)}
_ENDS = {"x2": "x2:Q", "y2": "y2:Q"}
# For each kind of mark: Altair's method, what the mark reads from a row, what the row's columns encode.
_MARKS: dict[str, tuple[str, dict, dict]] = {
    # a rectangle takes its dashes from the mark, not from a channel
    "box": (
        "mark_rect",
        {"cornerRadius": alt.expr("datum.radius"), "strokeDash": alt.expr("datum.dash")},
        {**_ENDS, "stroke": _STROKE["stroke"], "strokeWidth": _STROKE["strokeWidth"], **_FILL},
    ),
    "path": (
        "mark_line",
        {"interpolate": alt.expr("datum.curve")},
        {"detail": "path:N", "order": "place:O", **_STROKE, **_FILL},
    ),
    "head": (
        "mark_point",
        {"stroke": None, "opacity": 1},
        {"shape": alt.Shape("shape:N", scale=None), **_SIZE, **_ANGLE, **_FILL},
    ),
    "text": (
        "mark_text",
        {"align": alt.expr("datum.anchor"), "fontWeight": alt.expr("datum.weight"), "baseline": "middle"},
        {"text": "words:N", **_SIZE, **_ANGLE, **_FILL},
    ),
}
_ARROW_HEAD = "M0 0L-.38 1L.38 1Z"  # tip at the origin, pointing up, one unit long
_HEAD_PX = 9.0
_ALIGN = {"start": "left", "middle": "center", "end": "right"}
_OPPOSITE = {"start": "end", "middle": "middle", "end": "start"}


@dataclass
class Drawing:
    """A sheet of paper on which views in millimetres are drawn.

    Boxes lie lowest, then paths, arrow heads and words, in four layers; within a layer later things lie on
    earlier ones.

    Parameters
    ----------
    width_px, height_px : float
        Size of the sheet [px].
    """

    width_px: float
    height_px: float
    _rows: dict[str, list[dict]] = field(default_factory=lambda: {kind: [] for kind in _MARKS})
    _paths: int = 0

    @property
    def paper(self) -> View:
        """The sheet itself: px from the left and from the top, for words and frames round the views."""
        return View(self, (0.0, 0.0), downward=True)

    def view(self, *, origin_px: Point, px_per_mm: float, mirrored: bool = False) -> View:
        """Return a view in millimetres, x to the right (to the left when mirrored) and y up from `origin_px`."""
        if not 0 < px_per_mm < math.inf:
            raise ValueError(f"px_per_mm is {px_per_mm}; expected a scale above 0")
        return View(self, origin_px, px_per_mm=px_per_mm, mirrored=mirrored)

    def add(self, kind: str, *rows: dict) -> None:
        """Put rows of one kind of mark, in px, on top of their layer; the rows of a path are its points."""
        if kind == "path":
            rows = tuple({**row, "path": self._paths, "place": place} for place, row in enumerate(rows))
            self._paths += 1
        self._rows[kind].extend(rows)

    def figure(self, *, alt: str, title: str = "") -> Figure:
        """Return the drawing as a figure with its words."""
        specification = {**_sheet(self.width_px, self.height_px), "datasets": self._rows}
        return from_specification(specification, alt=alt, title=title)


def _sheet(width_px: float, height_px: float) -> dict:
    """Return the chart of a sheet as a specification, its rows by name."""
    layers = [_in_place(layer, {"x": [0, width_px], "y": [height_px, 0]}) for layer in _any_sheet()["layer"]]
    return {**_any_sheet(), "layer": layers, "width": width_px, "height": height_px}


def _in_place(layer: dict, domains: dict[str, list[float]]) -> dict:
    encoding = layer["encoding"]
    placed = {
        axis: {**encoding[axis], "scale": {**encoding[axis]["scale"], "domain": domain}}
        for axis, domain in domains.items()
    }
    return {**layer, "encoding": {**encoding, **placed}}


@cache
def _any_sheet() -> dict:
    """Return the specification of a sheet of no size: made once, since Altair takes its time."""
    flat = alt.Scale(domain=[0, 1], nice=False, zero=False)
    place = {"x": alt.X("x:Q", axis=None, scale=flat), "y": alt.Y("y:Q", axis=None, scale=flat)}
    layers = [
        getattr(alt.Chart(alt.NamedData(kind)), method)(**reads).encode(**place, **encodes)
        for kind, (method, reads, encodes) in _MARKS.items()
    ]
    return alt.layer(*layers).properties(width=1, height=1, padding=0).to_dict()


@dataclass(frozen=True)
class View:
    """One scale on a drawing; every length in millimetres unless its name says px.

    Parameters
    ----------
    drawing : Drawing
        The sheet it is drawn on.
    origin_px : Point
        Where the view's 0, 0 is on the sheet [px].
    px_per_mm : float
        The scale.
    mirrored : bool
        Whether x runs to the left; words stay readable, their anchors change sides.
    downward : bool
        Whether y runs down, as on the sheet itself.
    """

    drawing: Drawing
    origin_px: Point
    px_per_mm: float = 1.0
    mirrored: bool = False
    downward: bool = False

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
        look = {"fill": fill, "radius": radius_px, **_look(stroke, width_px, pattern)}
        self.drawing.add("box", {"x": min(x, x2), "y": min(y, y2), "x2": max(x, x2), "y2": max(y, y2), **look})

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
        curve = ("cardinal" if smooth else "linear") + ("-closed" if closed else "")
        look = {"curve": curve, "fill": fill, **_look(stroke, width_px, pattern)}
        self.drawing.add("path", *({**_named(self.px(point)), **look} for point in points))

    def lines(self, pieces: Iterable[tuple[Point, Point]], *, stroke: str = INK, width_px: float = 1) -> None:
        """Draw many separate straight pieces of one look as one mark."""
        look = {"curve": "linear", "fill": None, **_look(stroke, width_px, "solid")}
        rows = []
        for start, end in pieces:
            # A row without a place breaks the path.
            rows += [_named(self.px(start)) | look, _named(self.px(end)) | look, {"x": None, "y": None} | look]
        self.drawing.add("path", *rows[:-1])

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
        anchor = _OPPOSITE[anchor] if self.mirrored else anchor
        look = {"size": size_px, "weight": "bold" if bold else "normal", "anchor": _ALIGN[anchor], "angle": turn_deg}
        self.drawing.add("text", {"x": x + across, "y": y + shift_px[1], "words": words, "fill": color, **look})

    def head(self, tip: Point, *, away_from: Point, color: str = INK, length_px: float = _HEAD_PX) -> None:
        """Draw an arrow head whose tip points away from another point."""
        (x, y), (from_x, from_y) = self.px(tip), self.px(away_from)
        angle = math.degrees(math.atan2(x - from_x, from_y - y))
        look = {"shape": _ARROW_HEAD, "size": (2 * length_px) ** 2, "angle": angle, "fill": color}
        self.drawing.add("head", {"x": x, "y": y, **look})

    def ruler(self, start: Point, end: Point, *, first: float = 0, stroke: str = GREY, left: bool = True) -> None:
        """Draw a ruler in millimetres: fine ticks as far as the scale has room, numbers at round ones.

        Parameters
        ----------
        start, end : Point
            Ends of its edge [mm].
        first : float
            What it reads at `start`; it counts up toward `end` [mm].
        stroke : str
            Colour of ticks and numbers.
        left : bool
            Whether ticks and numbers stand on the left of the way from start to end, in the view's own axes.
        """
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
        """Draw a dimension line: arrow heads at both ends, the label beside its middle.

        Parameters
        ----------
        start, end : Point
            What is measured [mm].
        label : str
            What it measures, with its unit.
        away_mm : float
            How far to the left of the way from start to end the line stands, with extension lines to it [mm].
        color : str
            Of line and label.
        pattern : str
            One of the theme's patterns.
        """
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


def _look(stroke: str | None, width_px: float, pattern: str) -> dict:
    return {"stroke": stroke, "width": width_px, "dash": None if pattern == "solid" else PATTERNS[pattern]}


def _named(point: Point) -> dict:
    return {"x": point[0], "y": point[1]}


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
