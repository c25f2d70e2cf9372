"""The knee's remaining change over a turn of the crank: saddle untouched, height only, full."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.charts.canvas import Drawing, Point, View, spread
from fitkit.charts.figure import BLUE, GREY, INK, PALE, WIDTH_PX, Figure, FigureRow, beside, check_sides, row, tenth
from fitkit.words import capital, signed, tenths

CHOICES = {
    "saddle untouched": {"stroke": INK, "pattern": "dashed"},
    "height only": {"stroke": BLUE, "pattern": "solid"},
    "full": {"stroke": INK, "pattern": "dotted"},
}
PLACES = {0: "top", 90: "forward", 180: "bottom", 270: "back", 360: "top"}
EDGE_PX, LEFT_PX, RIGHT_PX, TOP_PX, PLOT_PX, ROW_PX = 8, 42, 244, 42, 110, 14
STEP_DEG, TABLED_DEG, LEAST_RANGE_DEG = 6, 30, 1.0


@dataclass(frozen=True, kw_only=True)
class KneeChange:
    """One leg's change of knee flexion over a turn, after minus before."""

    side: str  # "left" or "right"
    crank_angle_deg: Sequence[float] = ()  # from 0 at the top, 90 forward, rising, below 360 [deg]
    # for each choice of `CHOICES` that is assessed one change for each crank angle, more bent positive [deg]
    change_deg: dict[str, Sequence[float]]

    def __post_init__(self) -> None:
        angles = np.asarray(self.crank_angle_deg, dtype=float)
        if angles.size and not (np.all(np.diff(angles) > 0) and angles[0] >= 0 and angles[-1] < 360):
            raise ValueError(f"crank_angle_deg runs from {angles[0]:g} to {angles[-1]:g}; expected rising in 0 to 360")
        for name, change in self.change_deg.items():
            if name not in CHOICES:
                raise ValueError(f"choice is {name!r}; expected one of {', '.join(CHOICES)}")
            if len(change) != angles.size or not angles.size:
                raise ValueError(f"{name} has {len(change)} values; expected one for each of {angles.size} angles")
            if not np.all(np.isfinite(change)):
                raise ValueError(f"{name} holds a value that is not finite; expected numbers only")

    @property
    def lacking(self) -> list[str]:
        """The choices that are not assessed."""
        return [name for name in CHOICES if name not in self.change_deg]

    def largest(self, name: str) -> Point:
        """Return crank angle and size of a choice's largest change either way [deg]."""
        at = int(np.argmax(np.abs(self.change_deg[name])))
        return float(self.crank_angle_deg[at]), float(self.change_deg[name][at])

    def at(self, name: str, crank_angle_deg: Sequence[float]) -> list[float]:
        """Return a choice's change at other crank angles [deg]."""
        return np.interp(crank_angle_deg, self.crank_angle_deg, self.change_deg[name], period=360).tolist()

    def drawn(self, name: str) -> list[Point]:
        """Return few points that draw a choice's line from top to top, its least and greatest among them [deg]."""
        ends = {float(self.crank_angle_deg[int(find(self.change_deg[name]))]) for find in (np.argmin, np.argmax)}
        angles = sorted({*map(float, range(0, 361, STEP_DEG)), *ends})
        return list(zip(angles, self.at(name, angles), strict=True))


def knee_change(legs: Sequence[KneeChange]) -> Figure:
    """Draw what remains of the knee's change over a turn, one panel a leg, to one scale."""
    check_sides(legs)
    changes = [change for leg in legs for each in leg.change_deg.values() for change in each]
    low, high = min(0.0, *changes, 0.0), max(0.0, *changes, 0.0)
    spare = max(LEAST_RANGE_DEG - (high - low), 0.12 * (high - low)) / 2
    ends_deg = low - spare, high + spare
    return beside([_panel(leg, ends_deg) for leg in legs], title="Knee change over a turn of the crank")


def _rows(leg: KneeChange) -> list[FigureRow]:
    """Return the lines to a tenth of a degree, each choice of a leg a column of its own."""
    rows, look = [], {"unit": "deg", "to": tenth}
    for name in CHOICES:
        column = f"{leg.side}, {name}"
        if name in leg.lacking:
            rows.append(row(column, "largest", words="not assessed", said=f"Not assessed: knee change, {name}."))
            continue
        (angle, largest), change = leg.largest(name), leg.change_deg[name]
        ends = signed(min(change), tenths), signed(max(change), tenths)
        said = f"from {ends[0]} to {ends[1]}, largest {signed(largest, tenths)} at crank angle {round(angle)}."
        angles = range(0, 360, TABLED_DEG)
        rows += [
            row(column, "largest", largest, words=f"at {round(angle)}°", said=f"{capital(name)}: {said}", **look),
            row(column, "least to greatest", None, (min(change), max(change)), said="", **look),
            *(
                row(column, f"crank {angle}°", found, said="", **look)
                for angle, found in zip(angles, leg.at(name, angles), strict=True)
            ),
        ]
    return rows


def _panel(leg: KneeChange, ends_deg: Point) -> Figure:
    drawing = Drawing(WIDTH_PX, TOP_PX + PLOT_PX + 36 + (16 if leg.lacking else 0))
    name = f"{leg.side.capitalize()} knee"
    drawing.heading(EDGE_PX, f"{name}: change over a turn")
    drawing.paper.text((EDGE_PX, 28), "degrees by crank angle, + more bent, − straighter", color=GREY)
    low, high = ends_deg
    down_px = -PLOT_PX / (high - low)
    # degrees both ways: of the crank from side to side, of the knee upward
    plot = drawing.across(
        origin_px=(LEFT_PX, TOP_PX - high * down_px), px_per_mm=(RIGHT_PX - LEFT_PX) / 360, down_px=down_px
    )
    _axes(plot, low, high)
    for choice, look in CHOICES.items():
        if choice in leg.change_deg:
            plot.path(leg.drawn(choice), width_px=2, **look)
    _names(plot, leg)
    if leg.lacking:
        words = f"not assessed: {', '.join(leg.lacking)}"
        drawing.paper.text((EDGE_PX, TOP_PX + PLOT_PX + 44), words, color=GREY)
    opening = f"{name}: change over a turn of the crank in degrees, more bent positive."
    return drawing.figure(title=f"{name} over a turn", alt=opening, rows=_rows(leg))


def _axes(plot: View, low_deg: float, high_deg: float) -> None:
    bottom, paper = TOP_PX + PLOT_PX, plot.drawing.paper
    step = next(step for step in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if step * 7 >= high_deg - low_deg)
    for place in range(math.ceil(low_deg / step - 1e-9), math.floor(high_deg / step + 1e-9) + 1):
        change, zero = place * step, place == 0
        plot.line((0, change), (360, change), stroke=INK if zero else PALE, width_px=1.2 if zero else 0.8)
        words = signed(change, tenths)
        plot.text((0, change), words, anchor="end", color=INK if zero else GREY, shift_px=(-6, 0))
    plot.lines([((angle, low_deg), (angle, high_deg)) for angle in PLACES], stroke=PALE, width_px=0.8)
    for angle, name in PLACES.items():
        paper.text((plot.x(angle), bottom + 13), (f"{angle}°", name), anchor="middle", color=GREY)


def _names(plot: View, leg: KneeChange) -> None:
    """Write each line's name and largest change at its end, none on another."""
    ends = sorted((plot.px((360, leg.at(name, [360])[0]))[1], name) for name in leg.change_deg)
    heights, bottom = [2 * ROW_PX + 6] * len(ends), TOP_PX + PLOT_PX + 8
    centres = spread([end for end, _ in ends], heights, low=TOP_PX - 8, high=bottom) if ends else []
    paper = plot.drawing.paper
    for (end, name), centre in zip(ends, centres, strict=True):
        color, most = CHOICES[name]["stroke"], signed(leg.largest(name)[1], tenths)
        paper.path([(RIGHT_PX + 2, end), (RIGHT_PX + 12, centre)], stroke=color, width_px=0.8)
        paper.text((RIGHT_PX + 15, centre - ROW_PX / 2), name, color=color)
        paper.text((RIGHT_PX + 15, centre + ROW_PX / 2), f"most {most}°", color=color, bold=True)
