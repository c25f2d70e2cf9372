"""Agreement of two rounds of readings: each difference over its pair's mean, bias and limits with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from fitkit.charts.svg import Figure, from_altair
from fitkit.charts.theme import BLUE, GREY, INK, PALE

__all__ = ["AgreementLine", "agreement_plot", "agreement_table"]

WIDTH_PX, HEIGHT_PX = 310, 230


@dataclass(frozen=True)
class AgreementLine:
    """One line of the drawing with its 95 % interval [unit of the readings]: the bias, or a limit of agreement."""

    name: str
    value: float
    low: float
    high: float


def agreement_plot(
    own: Sequence[float], other: Sequence[float], lines: Sequence[AgreementLine], *, what: str, unit: str
) -> Figure:
    """Draw differences, own less other, over the pairs' means."""
    rows = _pairs(own, other)
    means = [row["mean"] for row in rows]
    spread = max(means) - min(means) or 1.0
    # Room at the left edge for the intervals.
    scale = alt.Scale(domain=[min(means) - 0.25 * spread, max(means) + 0.06 * spread], nice=False)
    x = alt.X("mean:Q", title=f"mean of the two, {unit}", scale=scale, axis=_axis())
    title = f"{what}, {unit}"
    y = alt.Y("difference:Q", title=title, scale=alt.Scale(zero=True, padding=12), axis=_axis())
    points = alt.Chart(alt.Data(values=rows)).mark_point(color=BLUE, filled=True, opacity=1, size=60)
    chart = alt.layer(*_lines(lines, title), points.encode(x=x, y=y)).properties(width=WIDTH_PX, height=HEIGHT_PX)
    return from_altair(chart, alt=_words(rows, lines, what, unit), title="Agreement")


def agreement_table(own: Sequence[float], other: Sequence[float], lines: Sequence[AgreementLine]) -> list[dict]:
    """Return the table behind the drawing: the pairs, then bias and limits."""
    rows: list[dict] = [{"what": f"pair {i}", **row} for i, row in enumerate(_pairs(own, other), start=1)]
    return rows + [{"what": line.name, "value": line.value, "low": line.low, "high": line.high} for line in lines]


def _axis() -> alt.Axis:
    return alt.Axis(grid=False, tickCount=6)


def _pairs(own: Sequence[float], other: Sequence[float]) -> list[dict]:
    if len(own) != len(other) or len(own) < 2:
        raise ValueError(f"{len(own)} own and {len(other)} other readings; expected two or more of each, as many")
    return [{"mean": (mine + theirs) / 2, "difference": mine - theirs} for mine, theirs in zip(own, other, strict=True)]


def _lines(lines: Sequence[AgreementLine], title: str) -> list[alt.Chart]:
    rows = [
        # Intervals stand side by side at the left edge, so that none hides another.
        {"name": line.name, "value": line.value, "low": line.low, "high": line.high, "place": 10 + 14 * place}
        for place, line in enumerate(lines)
    ]
    y = alt.Y("value:Q", title=title)
    names = [line.name for line in lines]
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=_dashes(lines)), legend=None)
    place = alt.X("place:Q", scale=None)
    base, zero = alt.Chart(alt.Data(values=rows)), alt.Chart(alt.Data(values=[{"value": 0}]))
    return [
        zero.mark_rule(color=PALE).encode(y="value:Q"),
        base.mark_rule(color=INK).encode(y=y, strokeDash=dash),
        base.mark_rule(color=GREY, strokeWidth=5).encode(x=place, y=alt.Y("low:Q", title=title), y2="high:Q"),
        base.mark_text(align="right", dy=-7, color=INK).encode(x=alt.value(WIDTH_PX - 2), y=y, text="name:N"),
    ]


def _dashes(lines: Sequence[AgreementLine]) -> list[list[int]]:
    """Return a whole line for the first, the bias, and dashes for the limits."""
    return [[1, 0] if place == 0 else [8, 4] for place in range(len(lines))]


def _words(rows: Sequence[dict], lines: Sequence[AgreementLine], what: str, unit: str) -> str:
    pairs = "; ".join(f"{row['difference']:.3g} at {row['mean']:.4g}" for row in rows)
    said = "; ".join(f"{line.name} {line.value:.3g} ({line.low:.3g} to {line.high:.3g})" for line in lines)
    return (
        f"Agreement, {what} over the mean of the two [{unit}]: {pairs}. "
        f"With 95 % intervals, drawn as upright bars at the left: {said}."
    ).replace("-", "−")
