"""Settled cleat setbacks by shoe size, beside the starting rule and what was learned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import altair as alt

from fitkit.charts.figure import Figure, from_altair
from fitkit.charts.theme import BLUE, GREY, INK, PALE, PATTERNS
from fitkit.words import halves

__all__ = ["BandAtSize", "LineAtSize", "SpreadAtSize", "settled_by_size"]

WIDTH_PX, HEIGHT_PX = 330, 300
_MARGIN_MM = 2.0


@dataclass(frozen=True)
class BandAtSize:
    """The starting rule at one size [EU sizes, mm]."""

    size_eu: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class SpreadAtSize:
    """Settings read at one size: 10th, 25th, 50th, 75th and 90th percentile [mm], and how many."""

    size_eu: float
    p10_mm: float
    p25_mm: float
    p50_mm: float
    p75_mm: float
    p90_mm: float
    count: int


@dataclass(frozen=True)
class LineAtSize:
    """What was learned for one size: its point and the ends that hold 95 % of new riders [mm]."""

    size_eu: float
    point_mm: float
    low_mm: float
    high_mm: float


def settled_by_size(
    rule: Sequence[BandAtSize], spreads: Sequence[SpreadAtSize], learned: Sequence[LineAtSize]
) -> Figure:
    """Return the chart, with everything it shows in words."""
    layers = [*_rule_layers(rule), *_spread_layers(spreads), *_learned_layers(learned)]
    chart = alt.layer(*layers).properties(width=WIDTH_PX, height=HEIGHT_PX)
    return from_altair(chart, alt=_words(rule, spreads, learned), title="Settled cleat setbacks by size")


def _x() -> alt.X:
    axis = alt.Axis(title="EU shoe size", format="d", tickMinStep=1, grid=False)
    return alt.X("size_eu:Q", axis=axis, scale=alt.Scale(zero=False, padding=14, nice=False))


def _y(field: str) -> alt.Y:
    axis = alt.Axis(title="mm behind the first-MTP mark (toward the heel up)", tickCount=8)
    return alt.Y(f"{field}:Q", axis=axis, scale=alt.Scale(zero=False, nice=True))


def _data(rows: Sequence) -> alt.Data:
    return alt.Data(values=[asdict(row) for row in rows])


def _rule_layers(rule: Sequence[BandAtSize]) -> list[alt.Chart]:
    base = alt.Chart(_data(rule)).encode(x=_x())
    edges = [base.mark_line(color=GREY, strokeWidth=1).encode(y=_y(end)) for end in ("low_mm", "high_mm")]
    return [base.mark_area(color=PALE).encode(y=_y("low_mm"), y2="high_mm:Q"), *edges]


def _spread_layers(spreads: Sequence[SpreadAtSize]) -> list[alt.Chart]:
    base = alt.Chart(_data(spreads)).encode(x=_x())
    return [
        base.mark_rule(color=INK, strokeWidth=1).encode(y=_y("p10_mm"), y2="p90_mm:Q"),
        base.mark_rule(color=INK, strokeWidth=5).encode(y=_y("p25_mm"), y2="p75_mm:Q"),
        base.mark_point(stroke=INK, fill="white", opacity=1, size=55, strokeWidth=1.6).encode(y=_y("p50_mm")),
    ]


def _learned_layers(learned: Sequence[LineAtSize]) -> list[alt.Chart]:
    if not learned:
        return []
    base = alt.Chart(_data(learned)).encode(x=_x())
    ends = [
        base.mark_line(color=BLUE, strokeWidth=1.2, strokeDash=PATTERNS["dashed"]).encode(y=_y(end))
        for end in ("low_mm", "high_mm")
    ]
    return [base.mark_line(color=BLUE, strokeWidth=2.4).encode(y=_y("point_mm")), *ends]


def _words(rule: Sequence[BandAtSize], spreads: Sequence[SpreadAtSize], learned: Sequence[LineAtSize]) -> str:
    said = ["Settled cleat setbacks by EU shoe size, millimetres behind the first-MTP mark."]
    said += [
        f"Starting rule at EU {row.size_eu:g}: {halves(row.low_mm)} to {halves(row.high_mm)}."
        for row in (rule[0], rule[-1])
    ]
    said += [
        f"EU {row.size_eu:g}: median {halves(row.p50_mm)}, middle half {halves(row.p25_mm)} to {halves(row.p75_mm)}, "
        f"middle 80 % {halves(row.p10_mm)} to {halves(row.p90_mm)}, {row.count} feet."
        for row in spreads
    ]
    said += [
        f"Learned at EU {row.size_eu:g}: {halves(row.point_mm)}, 95 % of new riders "
        f"{halves(row.low_mm)} to {halves(row.high_mm)}."
        for row in ((learned[0], learned[-1]) if learned else ())
    ]
    return " ".join(said if learned else [*said, "Nothing was learned."])
