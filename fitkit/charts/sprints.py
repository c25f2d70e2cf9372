"""Sprints as points, setting by setting, with the band inside which so many of them can show nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from fitkit.charts.svg import Figure, from_altair
from fitkit.charts.theme import BLUE, GREY, INK, PALE
from fitkit.words import whole

__all__ = ["DetectableBand", "SprintPoint", "sprint_points", "sprint_table"]

STEP_PX, HEIGHT_PX, LEAST_WIDTH_PX = 96, 210, 300
COUNTS, LEFT_OUT = "counts", "to get used to it"


@dataclass(frozen=True)
class SprintPoint:
    """One sprint: its number in the visit, its setting, peak power [W], whether it counts."""

    number: int
    setting: str
    peak_w: float
    is_counted: bool


@dataclass(frozen=True)
class DetectableBand:
    """About the first setting's mean [W]: a mean inside it cannot be told from that one."""

    setting: str
    mean_w: float
    low_w: float
    high_w: float


def sprint_points(points: Sequence[SprintPoint], *, band: DetectableBand | None) -> Figure:
    """Draw each sprint's peak power by setting."""
    if not points:
        raise ValueError("points is empty; expected one sprint or more")
    settings = list(dict.fromkeys(point.setting for point in points))
    x = alt.X("setting:N", sort=settings, title=None, axis=alt.Axis(labelAngle=0, grid=False))
    y = alt.Y("peak:Q", title="peak power, W", scale=_scale(), axis=alt.Axis(format="d", tickCount=6))
    subtitle = f"grey: no mean inside it can be told from {band.setting}" if band else "too few sprints to compare"
    chart = alt.layer(*_band(band), *_points(points, x, y)).properties(
        width=max(LEAST_WIDTH_PX, STEP_PX * len(settings)),
        height=HEIGHT_PX,
        title=alt.TitleParams("Sprints", subtitle=subtitle, subtitleColor=GREY),
    )
    return from_altair(chart, alt=_words(points, band), title="Sprints by setting")


def sprint_table(points: Sequence[SprintPoint], *, band: DetectableBand | None) -> list[dict]:
    """Return the table behind the drawing: the sprints in their order, then the band."""
    rows = [
        {
            "sprint": point.number,
            "setting": point.setting,
            "peak power [W]": point.peak_w,
            "counts": COUNTS if point.is_counted else LEFT_OUT,
        }
        for point in points
    ]
    if band:
        ends = {"low [W]": band.low_w, "mean [W]": band.mean_w, "high [W]": band.high_w}
        rows.append({"setting": band.setting, "counts": "detectable band", **ends})
    return rows


def _scale() -> alt.Scale:
    return alt.Scale(zero=False, padding=12)


def _points(points: Sequence[SprintPoint], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    rows = [
        {
            "setting": point.setting,
            "peak": point.peak_w,
            "kind": COUNTS if point.is_counted else LEFT_OUT,
            "number": point.number,
        }
        for point in points
    ]
    names = [COUNTS, LEFT_OUT]
    legend = alt.Legend(title=None, orient="bottom", symbolSize=90)
    shape = alt.Shape("kind:N", scale=alt.Scale(domain=names, range=["circle", "cross"]), legend=legend)
    color = alt.Color("kind:N", scale=alt.Scale(domain=names, range=[BLUE, GREY]), legend=legend)
    # Sprints of one setting stand side by side in the order ridden, so that none hides another.
    across = alt.XOffset("number:O")
    base = alt.Chart(alt.Data(values=rows))
    return [base.mark_point(filled=True, opacity=1, size=70).encode(x=x, y=y, shape=shape, color=color, xOffset=across)]


def _band(band: DetectableBand | None) -> list[alt.Chart]:
    if band is None:
        return []
    chart = alt.Chart(alt.Data(values=[{"low": band.low_w, "mean": band.mean_w, "high": band.high_w}]))
    y = alt.Y("low:Q", scale=_scale())
    return [
        chart.mark_rect(color=PALE).encode(y=y, y2="high:Q"),
        chart.mark_rule(color=INK, strokeDash=[8, 4]).encode(y="mean:Q"),
    ]


def _words(points: Sequence[SprintPoint], band: DetectableBand | None) -> str:
    said = "; ".join(
        f"sprint {point.number}, {point.setting}, {whole(point.peak_w)} W"
        + ("" if point.is_counted else f", {LEFT_OUT}")
        for point in points
    )
    tail = "Too few sprints to compare."
    if band:
        tail = (
            f"Grey band {whole(band.low_w)} to {whole(band.high_w)} W about the mean {whole(band.mean_w)} W of "
            f"{band.setting}: no mean inside it can be told from that one."
        )
    return f"Peak power of each sprint: {said}. {tail}"
