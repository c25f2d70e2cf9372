"""Trials along the sole, toes to heel: how unsteady each was, steady and unsteady told apart by shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from fitkit.charts.svg import Figure, beside, from_altair
from fitkit.charts.theme import BLUE, GREY, INK, PALE
from fitkit.words import halved, halves, tenths

__all__ = ["TrialLine", "TrialPoint", "trial_lines", "trial_table"]

WIDTH_PX, HEIGHT_PX = 300, 190
STEADY, UNSTEADY = "steady", "unsteady"


@dataclass(frozen=True)
class TrialPoint:
    """One trial: its number from 1, cleat setback [mm], mean score [0 to 10], whether its setback is unsteady."""

    number: int
    cleat_setback_mm: float
    score: float
    is_unsteady: bool


@dataclass(frozen=True)
class TrialLine:
    """One side's trials with the bracket of its forward limit [mm], where there is one, and its sentence."""

    side: str
    points: tuple[TrialPoint, ...]
    unsteady_from: float
    low_mm: float | None = None
    high_mm: float | None = None
    said: str = ""


def trial_lines(sides: Sequence[TrialLine]) -> Figure:
    """Draw each side's trials along the sole, beside one another where there is room."""
    drawn = [side for side in sides if side.points]
    if not drawn:
        raise ValueError(f"{len(sides)} sides and no trial; expected one or more")
    return beside([_side(side) for side in drawn], title="Trials along the sole")


def trial_table(sides: Sequence[TrialLine]) -> list[dict]:
    """Return the table behind the drawing, the most forward trial first."""
    return [
        {
            "side": side.side,
            "trial": point.number,
            "cleat setback [mm]": point.cleat_setback_mm,
            "unsteadiness [0 to 10]": point.score,
            "setting": UNSTEADY if point.is_unsteady else STEADY,
        }
        for side in sides
        for point in sorted(side.points, key=lambda point: (point.cleat_setback_mm, point.number))
    ]


def _side(side: TrialLine) -> Figure:
    places = [point.cleat_setback_mm for point in side.points]
    scale = alt.Scale(domain=[min(places) - 2, max(places) + 2], nice=False)
    x = alt.X(
        "at:Q",
        title="toes ← cleat setback, mm → heel",
        scale=scale,
        axis=alt.Axis(values=sorted({halved(place) for place in places}), format=".1~f", grid=False),
    )
    y = alt.Y(
        "score:Q",
        title="unsteadiness (figures: trial)",
        scale=alt.Scale(domain=[0, 10]),
        axis=alt.Axis(values=[0, 3, 6, 10]),
    )
    chart = alt.layer(*_bracket(side, scale), *_threshold(side), *_points(side, x, y))
    title = alt.TitleParams(f"{side.side.capitalize()} foot", subtitle=side.said, subtitleColor=INK)
    sized = chart.properties(width=WIDTH_PX, height=HEIGHT_PX, title=title)
    return from_altair(sized, alt=_words(side), title=f"Trials along the {side.side} sole")


def _points(side: TrialLine, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    rows = [
        {
            "at": point.cleat_setback_mm,
            "score": point.score,
            "setting": UNSTEADY if point.is_unsteady else STEADY,
        }
        for point in side.points
    ]
    names = [STEADY, UNSTEADY]
    legend = alt.Legend(title=None, orient="bottom", symbolSize=110)
    shape = alt.Shape("setting:N", scale=alt.Scale(domain=names, range=["circle", "triangle-up"]), legend=legend)
    color = alt.Color("setting:N", scale=alt.Scale(domain=names, range=[INK, BLUE]), legend=legend)
    points = alt.Chart(alt.Data(values=rows)).mark_point(filled=True, opacity=1, size=110)
    labels = alt.Chart(alt.Data(values=_labels(side.points))).mark_text(dy=-14, color=INK)
    return [points.encode(x=x, y=y, shape=shape, color=color), labels.encode(x=x, y=y, text="number:N")]


def _labels(points: Sequence[TrialPoint]) -> list[dict]:
    """Return one label a place: trials that would hide each other's number share it."""
    labels: list[dict] = []
    for point in sorted(points, key=lambda point: (point.cleat_setback_mm, -point.score)):
        last = labels[-1] if labels else None
        if last and point.cleat_setback_mm - last["at"] < 0.5 and last["score"] - point.score < 1.2:
            last["number"] += f", {point.number}"
        else:
            labels.append({"at": point.cleat_setback_mm, "score": point.score, "number": str(point.number)})
    return labels


def _bracket(side: TrialLine, scale: alt.Scale) -> list[alt.Chart]:
    if side.low_mm is None or side.high_mm is None:
        return []
    row = {"low": side.low_mm, "high": side.high_mm}
    chart = alt.Chart(alt.Data(values=[row]))
    return [chart.mark_rect(color=PALE).encode(x=alt.X("low:Q", scale=scale), x2="high:Q")]


def _threshold(side: TrialLine) -> list[alt.Chart]:
    chart = alt.Chart(alt.Data(values=[{"from": side.unsteady_from, "said": f"unsteady from {side.unsteady_from:g}"}]))
    right = alt.value(WIDTH_PX - 2)
    return [
        chart.mark_rule(color=GREY, strokeDash=[8, 4]).encode(y="from:Q"),
        chart.mark_text(align="right", dy=-7, fontSize=11, color=GREY).encode(x=right, y="from:Q", text="said:N"),
    ]


def _words(side: TrialLine) -> str:
    points = sorted(side.points, key=lambda point: (point.cleat_setback_mm, point.number))
    said = "; ".join(
        f"trial {point.number} at {halves(point.cleat_setback_mm)} mm, unsteadiness {tenths(point.score)}, "
        f"{UNSTEADY if point.is_unsteady else STEADY}"
        for point in points
    )
    bracket = "" if side.low_mm is None else f" Grey: {halves(side.low_mm)} to {halves(side.high_mm)} mm."
    tail = f" {side.said}" if side.said else ""
    return (
        f"{side.side.capitalize()} foot, trials from toes to heel, unsteady from {side.unsteady_from:g} of 10: "
        f"{said}.{bracket}{tail}"
    )
