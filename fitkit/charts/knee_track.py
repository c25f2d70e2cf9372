"""The knee's sideways place against the crank angle, one row for each side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from fitkit.charts.svg import Figure, beside, from_altair
from fitkit.charts.theme import GREY, INK, PALE
from fitkit.words import halves

__all__ = ["KneePlace", "KneeSide", "knee_track_table", "knee_tracks"]

WIDTH_PX, ROW_PX = 310, 150
_TOP_DEG, _BOTTOM_DEG, _TURN_DEG = 0, 180, 360


@dataclass(frozen=True)
class KneePlace:
    """The knee's place outward of the pedal [mm] about one crank angle [deg]; None where no frame was seen."""

    angle_deg: float
    mean_mm: float | None
    least_mm: float | None
    greatest_mm: float | None


@dataclass(frozen=True)
class KneeSide:
    """One row of the drawing: whose knee, its places by crank angle, and what to say beside it."""

    side: str
    position: str
    places: tuple[KneePlace, ...]
    said: str = ""


def knee_tracks(sides: Sequence[KneeSide]) -> Figure:
    """Draw the mean place with the least and greatest of all turns: one row a side, one part a position."""
    places = [place for side in sides for place in side.places if place.mean_mm is not None]
    if not places:
        raise ValueError(f"{len(sides)} sides and no place of a knee; expected one or more")
    seen = [end for place in places for end in (place.least_mm, place.greatest_mm)]
    y = alt.Scale(domain=[min(seen), max(seen)], zero=False)
    positions = dict.fromkeys(side.position for side in sides)
    parts = [_position([side for side in sides if side.position == position], y) for position in positions]
    return parts[0] if len(parts) == 1 else beside(parts, title="Knee against the crank")


def knee_track_table(sides: Sequence[KneeSide]) -> list[dict]:
    """Return the table behind the drawing, one row a side and crank angle; a place not seen is None."""
    return [
        {
            "side": side.side,
            "position": side.position,
            "crank angle [deg]": place.angle_deg,
            "mean [mm]": place.mean_mm,
            "least [mm]": place.least_mm,
            "greatest [mm]": place.greatest_mm,
        }
        for side in sides
        for place in side.places
    ]


def _position(sides: Sequence[KneeSide], y: alt.Scale) -> Figure:
    rows = [_row(side, y, is_last=side is sides[-1]) for side in sides]
    return from_altair(alt.vconcat(*rows, spacing=14), alt=_words(sides), title=f"Knees, {sides[0].position}")


def _row(side: KneeSide, scale: alt.Scale, *, is_last: bool) -> alt.LayerChart:
    rows = [_point(place, place.angle_deg) for place in side.places]
    first = next((place for place in side.places if place.angle_deg == _TOP_DEG), None)
    rows += [_point(first, _TURN_DEG)] if first else []  # a turn ends where it began
    marks = [{"at": at, "said": said} for at, said in ((_TOP_DEG, "top"), (_BOTTOM_DEG, "bottom"), (_TURN_DEG, "top"))]
    x = alt.X(
        "angle:Q",
        title="crank angle from the top, ° (0 to 180 is the downstroke)" if is_last else None,
        scale=alt.Scale(domain=[_TOP_DEG, _TURN_DEG], nice=False),
        axis=alt.Axis(values=list(range(0, 361, 60)), labels=is_last, grid=False),
    )
    y = alt.Y("mean:Q", title="outward of the pedal, mm", scale=scale, axis=alt.Axis(tickCount=5, minExtent=24))
    base = alt.Chart(alt.Data(values=rows))
    layers = [
        base.mark_area(color=PALE, invalid="break-paths-filter-domains").encode(x=x, y="least:Q", y2="greatest:Q"),
        base.mark_line(color=INK, strokeWidth=1.8, invalid="break-paths-filter-domains").encode(x=x, y=y),
        base.mark_point(color=INK, filled=True, opacity=1, size=18).encode(x=x, y=y),
        alt.Chart(alt.Data(values=marks)).mark_rule(color=GREY, strokeDash=[2, 3]).encode(x="at:Q"),
    ]
    title = alt.TitleParams(f"{side.side.capitalize()} knee, {side.position}", subtitle=side.said, subtitleColor=GREY)
    return alt.layer(*layers).properties(width=WIDTH_PX, height=ROW_PX, title=title)


def _point(place: KneePlace, angle_deg: float) -> dict:
    return {"angle": angle_deg, "mean": place.mean_mm, "least": place.least_mm, "greatest": place.greatest_mm}


def _words(sides: Sequence[KneeSide]) -> str:
    return " ".join(_side_words(side) for side in sides)


def _side_words(side: KneeSide) -> str:
    said = [
        f"{place.angle_deg:g}°: not seen"
        if place.mean_mm is None
        else f"{place.angle_deg:g}°: {halves(place.mean_mm)} ({halves(place.least_mm)} to {halves(place.greatest_mm)})"
        for place in side.places
    ]
    head = f"{side.side.capitalize()} knee, {side.position}: mm outward of the pedal, mean and ends, by crank angle: "
    tail = f". {side.said}." if side.said else "."
    return head + "; ".join(said) + tail
