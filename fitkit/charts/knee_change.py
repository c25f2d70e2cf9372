"""The knee's remaining change over a turn of the crank: saddle untouched, height only, full."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from fitkit.charts.figure import Drawing, Figure, Point, beside
from fitkit.charts.rows import check_sides, lacking_words
from fitkit.charts.sole_labels import spread
from fitkit.charts.theme import BLUE, GREY, INK, PALE
from fitkit.words import signed, tenths

__all__ = ["KneeChange", "knee_change", "knee_change_table"]

CHOICES = {"untouched_deg": "saddle untouched", "height_only_deg": "height only", "full_deg": "full"}
LOOKS = {
    "untouched_deg": {"stroke": INK, "pattern": "dashed"},
    "height_only_deg": {"stroke": BLUE, "pattern": "solid"},
    "full_deg": {"stroke": INK, "pattern": "dotted"},
}
PLACES = {0: "top", 90: "forward", 180: "bottom", 270: "back", 360: "top"}
WIDTH_PX, LEFT_PX, RIGHT_PX, TOP_PX, PLOT_PX = 440, 42, 320, 50, 170
TITLE_PX, ROW_PX, STEP_DEG, LEAST_RANGE_DEG = 15, 15, 6, 1.0


@dataclass(frozen=True, kw_only=True)
class KneeChange:
    """One leg's change of knee flexion over a turn, after minus before; None is "not assessed" and is said."""

    side: str  # "left" or "right"
    crank_angle_deg: Sequence[float] = ()  # from 0 at the top, 90 forward, rising, below 360 [deg]
    # for each choice, one change for each crank angle, more bent positive [deg]
    untouched_deg: Sequence[float] | None = None
    # for each choice, one change for each crank angle, more bent positive [deg]
    height_only_deg: Sequence[float] | None = None
    # for each choice, one change for each crank angle, more bent positive [deg]
    full_deg: Sequence[float] | None = None

    def __post_init__(self) -> None:
        if self.side not in ("left", "right"):
            raise ValueError(f"side is {self.side!r}; expected 'left' or 'right'")
        angles = np.asarray(self.crank_angle_deg, dtype=float)
        if angles.size and not (np.all(np.diff(angles) > 0) and angles[0] >= 0 and angles[-1] < 360):
            raise ValueError(f"crank_angle_deg runs from {angles[0]:g} to {angles[-1]:g}; expected rising in 0 to 360")
        for each in fields(self):
            change = getattr(self, each.name)
            if each.name not in CHOICES or change is None:
                continue
            if len(change) != angles.size or not angles.size:
                raise ValueError(f"{each.name} has {len(change)} values; expected one for each of {angles.size} angles")
            if not np.all(np.isfinite(change)):
                raise ValueError(f"{each.name} holds a value that is not finite; expected numbers only")

    @property
    def choices(self) -> dict[str, np.ndarray]:
        """The choices that are assessed, by field."""
        given = {name: getattr(self, name) for name in CHOICES}
        return {name: np.asarray(change, dtype=float) for name, change in given.items() if change is not None}

    def largest(self, name: str) -> Point:
        """Return crank angle and size of a choice's largest change either way [deg]."""
        change = self.choices[name]
        at = int(np.argmax(np.abs(change)))
        return float(self.crank_angle_deg[at]), float(change[at])

    def at(self, name: str, crank_angle_deg: Sequence[float]) -> np.ndarray:
        """Return a choice's change at other crank angles [deg]."""
        return np.interp(crank_angle_deg, self.crank_angle_deg, self.choices[name], period=360)

    def drawn(self, name: str) -> list[Point]:
        """Return few points that draw a choice's line from top to top, its least and greatest among them [deg]."""
        change = self.choices[name]
        ends = {float(self.crank_angle_deg[int(find(change))]) for find in (np.argmin, np.argmax)}
        angles = sorted({*map(float, range(0, 361, STEP_DEG)), *ends})
        return list(zip(angles, self.at(name, angles).tolist(), strict=True))


@dataclass(frozen=True)
class Scale:
    """What crank angle and change are on the sheet [px]; one for all legs."""

    low_deg: float
    high_deg: float

    def place(self, crank_angle_deg: float, change_deg: float) -> Point:
        """Return a point of a line on the sheet [px]."""
        across = LEFT_PX + crank_angle_deg / 360 * (RIGHT_PX - LEFT_PX)
        return across, TOP_PX + (self.high_deg - change_deg) / (self.high_deg - self.low_deg) * PLOT_PX

    @property
    def ticks_deg(self) -> list[float]:
        """Round changes that get a number."""
        step = next(
            step for step in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if step * 7 >= self.high_deg - self.low_deg
        )
        first, last = math.ceil(self.low_deg / step - 1e-9), math.floor(self.high_deg / step + 1e-9)
        return [place * step for place in range(first, last + 1)]


def knee_change(legs: Sequence[KneeChange]) -> Figure:
    """Draw what remains of the knee's change over a turn, one panel a leg, to one scale."""
    check_sides(legs)
    changes = [change for leg in legs for each in leg.choices.values() for change in each]
    low, high = min(0.0, *changes, 0.0), max(0.0, *changes, 0.0)
    spare = max(LEAST_RANGE_DEG - (high - low), 0.12 * (high - low)) / 2
    scale = Scale(low - spare, high + spare)
    return beside([_panel(leg, scale) for leg in legs], title="Knee change over a turn of the crank")


def _panel(leg: KneeChange, scale: Scale) -> Figure:
    lacking = [name for field, name in CHOICES.items() if field not in leg.choices]
    drawing = Drawing(WIDTH_PX, TOP_PX + PLOT_PX + 62 + (16 if lacking else 0))
    paper = drawing.paper
    paper.text((8, 13), f"{leg.side.capitalize()} knee: change over a turn", size_px=TITLE_PX, bold=True)
    paper.text((8, 36), "degrees, + more bent, − straighter than before", color=GREY)
    _axes(drawing, scale)
    for name in leg.choices:
        paper.path([scale.place(*point) for point in leg.drawn(name)], width_px=2, **LOOKS[name])
    _names(drawing, leg, scale)
    if lacking:
        paper.text((8, TOP_PX + PLOT_PX + 64), f"not assessed: {', '.join(lacking)}", color=GREY)
    return drawing.figure(alt=_words(leg), title=f"{leg.side.capitalize()} knee over a turn")


def _axes(drawing: Drawing, scale: Scale) -> None:
    paper = drawing.paper
    bottom = TOP_PX + PLOT_PX
    for change in scale.ticks_deg:
        y = scale.place(0, change)[1]
        zero = abs(change) < 1e-9
        paper.line((LEFT_PX, y), (RIGHT_PX, y), stroke=INK if zero else PALE, width_px=1.2 if zero else 0.8)
        paper.text((LEFT_PX - 6, y), signed(change, tenths), anchor="end", color=INK if zero else GREY)
    pieces = [(scale.place(angle, scale.low_deg), scale.place(angle, scale.high_deg)) for angle in PLACES]
    paper.lines(pieces, stroke=PALE, width_px=0.8)
    for angle, name in PLACES.items():
        x = scale.place(angle, 0)[0]
        paper.text((x, bottom + 13), f"{angle}°", anchor="middle", color=GREY)
        paper.text((x, bottom + 28), name, anchor="middle", color=GREY)
    paper.text(((LEFT_PX + RIGHT_PX) / 2, bottom + 46), "crank angle, from the top toward the front", anchor="middle")


def _names(drawing: Drawing, leg: KneeChange, scale: Scale) -> None:
    """Write each line's name and largest change at its end, none on another."""
    ends = sorted((scale.place(360, leg.at(name, [360])[0])[1], name) for name in leg.choices)
    if not ends:
        return
    centres = spread([end for end, _ in ends], [2 * ROW_PX + 6] * len(ends), low=TOP_PX - 8, high=TOP_PX + PLOT_PX + 8)
    paper = drawing.paper
    for (end, name), centre in zip(ends, centres, strict=True):
        color = LOOKS[name]["stroke"]
        paper.path([(RIGHT_PX + 2, end), (RIGHT_PX + 12, centre)], stroke=color, width_px=0.8)
        paper.text((RIGHT_PX + 15, centre - ROW_PX / 2), CHOICES[name], color=color)
        paper.text(
            (RIGHT_PX + 15, centre + ROW_PX / 2),
            f"most {signed(leg.largest(name)[1], tenths)}°",
            color=color,
            bold=True,
        )


def _tenth(change_deg: float) -> float:
    return round(change_deg, 1) + 0.0


def knee_change_table(legs: Sequence[KneeChange]) -> list[dict]:
    """Return the table behind the lines, to a tenth of a degree."""
    return [each for leg in legs for name in CHOICES for each in _rows(leg, name)]


def _rows(leg: KneeChange, name: str) -> list[dict]:
    common = {"side": leg.side, "what": f"knee change, {CHOICES[name]}", "unit": "deg"}
    nothing = {"crank_angle_deg": None, "value": None, "low": None, "high": None}
    if name not in leg.choices:
        return [{**common, **nothing, "words": "not assessed"}]
    change, (angle, largest) = leg.choices[name], leg.largest(name)
    ends = {"low": _tenth(change.min()), "high": _tenth(change.max())}
    first = {**common, "crank_angle_deg": round(angle), "value": _tenth(largest), **ends, "words": "largest"}
    angles = range(0, 360, 30)
    values = leg.at(name, angles)
    return [
        first,
        *(
            {**common, **nothing, "crank_angle_deg": angle, "value": _tenth(value), "words": ""}
            for angle, value in zip(angles, values, strict=True)
        ),
    ]


def _words(leg: KneeChange) -> str:
    words = [f"{leg.side.capitalize()} knee: change over a turn of the crank in degrees, more bent positive."]
    rows = [row for name in CHOICES for row in _rows(leg, name)]
    for row in rows:
        if row["words"] == "largest":
            name = row["what"].removeprefix("knee change, ")
            words.append(
                f"{name.capitalize()}: from {signed(row['low'], tenths)} to {signed(row['high'], tenths)}, "
                f"largest {signed(row['value'], tenths)} at crank angle {row['crank_angle_deg']}."
            )
    return " ".join(words + lacking_words(rows, "not assessed"))
