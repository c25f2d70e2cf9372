"""What a moved cleat does up the leg: hip's place, the knock-on on saddle and bars, the lever at the ankle."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from fitkit.assessment.chain import Links, Pair, links_of, notes_on_pair, pair_of
from fitkit.assessment.cleats import NEED_AS_FOUND, Foot
from fitkit.assessment.draws import Draws, estimate_from
from fitkit.assessment.inputs import Inputs
from fitkit.calculations import knock_on, stance
from fitkit.calculations.readings import Quantity
from fitkit.calculations.stroke import OutOfReach, hip_on_tube, require_reach
from fitkit.estimate import Estimate, Unit, missing

__all__ = ["HipHeight", "LegFound", "assess_leg", "assess_saddle"]

# Every five degrees: the extremes are refined between, and the mean of a smooth stroke gains nothing from more.
DRAWN_STEPS = 72

_UNITS: dict[str, Unit] = {
    "untouched.knee_change": "deg",
    "height_only.saddle_down": "mm",
    "full.saddle_forward": "mm",
    "full.saddle_down": "mm",
}
_SOURCES = {
    "untouched.knee_change": "closed chain of leg and crank: least knee flexion after the move minus before",
    "height_only.saddle_down": "closed chain of leg and crank: along the seat tube until least knee flexion is back",
    "full.saddle_forward": "mean over the stroke of the ankle's place after minus before",
    "full.saddle_down": "mean over the stroke of the ankle's place after minus before",
}


@dataclass(frozen=True)
class HipHeight:
    """The hip's height above the crank centre [mm], nominal and drawn, with what must be said beside it."""

    value_mm: float
    drawn_mm: np.ndarray
    notes: tuple[str, ...]


@dataclass(frozen=True)
class HipPlace:
    """Crank centre to hip along the seat tube as found [mm], from the knee's least flexion or from the saddle."""

    distance: Quantity | None
    flexion: Quantity | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class LegFound:
    """What the assessment says of one leg, beyond its named results."""

    side: str
    pair: Pair | None
    hip_distance_mm: float | None
    hip_height: HipHeight | str
    drawn: knock_on.Draws | None
    remaining: dict[str, knock_on.Remaining] = field(default_factory=dict)
    results: dict[str, Estimate] = field(default_factory=dict)


def assess_leg(inputs: Inputs, draws: Draws, side: str, foot: Foot) -> LegFound:
    """Return one leg's knock-on, the lever at the ankle, and where its hip is."""
    links = links_of(inputs, side)
    pair = pair_of(inputs, draws, side, links, foot)
    place = _hip_place(inputs, side, has_chain=not isinstance(pair, str))
    lever = {f"{side}.calf_lever.ratio": _lever(inputs, draws, side, foot)}
    if isinstance(pair, str) or isinstance(place, str):
        needs = pair if isinstance(pair, str) else place
        results = {f"{side}.{name}": missing(needs, unit=unit) for name, unit in _UNITS.items()}
        full = {} if isinstance(pair, str) else _full_alone(inputs, draws, side, links, pair)
        height = place if isinstance(place, str) else _height(inputs, draws, place)
        found = pair if isinstance(pair, Pair) else None
        return LegFound(side, found, None, height, None, {}, {**results, **full, **lever})
    try:
        return _solved(inputs, draws, side, links, pair, place, lever)
    except OutOfReach as reach:
        needs = f"leg out of reach by {reach.by_mm:.0f} mm"
        results = {f"{side}.{name}": missing(needs, unit=unit) for name, unit in _UNITS.items()}
        return LegFound(side, pair, None, needs, None, {}, {**results, **lever})


def _hip_place(inputs: Inputs, side: str, *, has_chain: bool) -> HipPlace | str:
    """Return the hip's distance: from the knee where measured, else from the saddle; or what it needs."""
    flexion = inputs.quantity(f"ride.{side}.least_knee_flexion_deg")
    if flexion is not None and has_chain:
        return HipPlace(None, flexion, ("hip's place from the least knee flexion, as found",))
    saddle = inputs.quantity("as_found.saddle_height_mm")
    if saddle is None:
        return "least knee flexion, or saddle height as found"
    above = inputs.quantity("ride.hip_above_saddle_mm")
    notes = ["hip's place from the saddle height as found"]
    if above is None:
        rules = inputs.visit.house.rules
        middle, within = rules.hip_above_saddle_mm, rules.hip_above_saddle_95_mm
        # The house rule gives a 95 % half-width of a normal.
        above = Quantity(middle, ((within / 1.959964, math.inf),))
        notes.append(f"hip above saddle not measured: taken as {middle:g} mm, give or take {within:g} (house rule)")
    return HipPlace(knock_on.hip_distance_from_saddle(saddle, above), None, tuple(notes))


def _height(inputs: Inputs, draws: Draws, place: HipPlace) -> HipHeight | str:
    """Return the hip's height from the saddle, where no chain says more."""
    angle = inputs.quantity("bike.seat_tube_angle_deg")
    if angle is None:
        return "seat-tube angle"
    drawn = draws.of("hip_distance", place.distance)
    return _height_at(place.distance.value, drawn, angle, draws, place.notes)


def _height_at(distance: float, drawn, angle: Quantity, draws: Draws, notes: tuple[str, ...]) -> HipHeight:
    value = float(stance.hip_height_mm(distance, angle.value))
    return HipHeight(value, stance.hip_height_mm(drawn, draws.of("seat_tube_angle", angle)), notes)


def _solved(
    inputs: Inputs, draws: Draws, side: str, links: Links, pair: Pair, place: HipPlace, lever: dict[str, Estimate]
) -> LegFound:
    """Return the whole knock-on of one leg; raises OutOfReach where the leg does not reach its pedal."""
    if place.flexion is not None:
        distance = knock_on.hip_distance_as_found(pair.before, least_knee_flexion_deg=place.flexion.value)
        start = {"least_knee_flexion_deg": draws.of(f"{side}.least_knee_flexion", place.flexion)}
    else:
        distance = place.distance.value
        start = {"hip_distance_mm": draws.of("hip_distance", place.distance)}
    hip = hip_on_tube(distance, seat_tube_angle_deg=links.seat_tube.value)
    require_reach(pair.before, hip=hip)
    require_reach(pair.after, hip=hip)
    drawn = knock_on.over_draws(pair.drawn_before, pair.drawn_after, **start, steps=DRAWN_STEPS)
    down = knock_on.height_only_saddle_down(pair.before, pair.after, hip_distance_mm=distance)
    full = knock_on.full_saddle_move(pair.before, pair.after)
    values = {
        "untouched.knee_change": (
            knock_on.untouched_knee_change(pair.before, pair.after, hip_distance_mm=distance),
            drawn.knee_change_deg,
        ),
        "height_only.saddle_down": (down, drawn.height_only_down_mm),
        "full.saddle_forward": (full.forward_mm, drawn.full_forward_mm),
        "full.saddle_down": (full.down_mm, drawn.full_down_mm),
    }
    notes = (*place.notes, *notes_on_pair(inputs, side, links))
    results = {f"{side}.{name}": _estimate(name, *both, links, notes) for name, both in values.items()}
    tube = knock_on.down_the_tube(down, seat_tube_angle_deg=links.seat_tube.value)
    saddles = {"untouched": knock_on.SaddleMove(0.0, 0.0), "height only": tube, "full": full}
    remaining = {
        name: knock_on.remaining(pair.before, pair.after, hip_distance_mm=distance, saddle=saddle)
        for name, saddle in saddles.items()
    }
    height = _height_at(distance, drawn.hip_distance_mm, links.seat_tube, draws, place.notes)
    return LegFound(side, pair, distance, height, drawn, remaining, {**results, **lever})


def _full_alone(inputs: Inputs, draws: Draws, side: str, links: Links, pair: Pair) -> dict[str, Estimate]:
    """Return the full answer where the hip's place is not known: it hangs on foot and cleat alone."""
    move = knock_on.full_saddle_move(pair.before, pair.after)
    drawn = knock_on.full_saddle_move(pair.drawn_before, pair.drawn_after)
    notes = notes_on_pair(inputs, side, links)
    return {
        f"{side}.full.saddle_{way}": _estimate(
            f"full.saddle_{way}", getattr(move, f"{way}_mm"), getattr(drawn, f"{way}_mm"), links, notes
        )
        for way in ("forward", "down")
    }


def _estimate(name: str, value: float, drawn: np.ndarray, links: Links, notes: tuple[str, ...]) -> Estimate:
    source = "; ".join((_SOURCES[name], *dict.fromkeys(links.sources)))
    grade = "published" if links.is_published else "derived"
    return estimate_from(float(value), drawn, unit=_UNITS[name], grade=grade, source=source, notes=notes)


def _lever(inputs: Inputs, draws: Draws, side: str, foot: Foot) -> Estimate:
    length = inputs.quantity(f"rider.{side}.ankle_to_mtp1_mm")
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    if length is None or found is None:
        return missing("ankle to first MTP joint" if length is None else NEED_AS_FOUND, unit="1")
    if foot.move is None:
        return missing(foot.results[f"{side}.cleat_setback.move"].needs, unit="1")
    old = draws.of(f"{side}.cleat_setback", found)
    new = np.full_like(old, foot.set_to) if foot.target_from == "start" else old + draws.of(f"{side}.move", foot.move)
    value = knock_on.calf_lever_ratio(length.value, old_setback_mm=found.value, new_setback_mm=foot.set_to)
    drawn = knock_on.calf_lever_ratio(draws.of(f"{side}.ankle_to_mtp1", length), old_setback_mm=old, new_setback_mm=new)
    source = "(ankle to first MTP joint - new setback) / (the same - old setback)"
    note = "a ratio of lengths, no claim on performance"
    return estimate_from(float(value), drawn, unit="1", grade="derived", source=source, notes=(note,))


def assess_saddle(inputs: Inputs, draws: Draws, legs: dict[str, LegFound]) -> dict[str, Estimate]:
    """Return one saddle's answer for two legs, and the bars that follow it."""
    names = ("saddle.height_only.down", "bar.height_only.down")
    have = [leg for leg in legs.values() if leg.drawn is not None]
    if not have:
        needs = legs["left"].results["left.height_only.saddle_down"].needs
        return {name: missing(needs) for name in names}
    downs = [leg.results[f"{leg.side}.height_only.saddle_down"] for leg in have]
    value = sum(down.value for down in downs) / len(downs)
    drawn = sum(leg.drawn.height_only_down_mm for leg in have) / len(have)
    angle = inputs.quantity("bike.seat_tube_angle_deg")
    lean = np.radians(draws.of("seat_tube_angle", angle))
    notes = [] if len(have) == 2 else [f"from the {have[0].side} leg only"]
    grade = "published" if any(down.grade == "published" for down in downs) else "derived"
    common = {"unit": "mm", "grade": grade}
    bar_notes = [*notes, _room(inputs, value * math.sin(math.radians(angle.value)))]
    return {
        names[0]: estimate_from(
            value, drawn, **common, source="mean of the legs, along the seat tube", notes=tuple(notes)
        ),
        names[1]: estimate_from(
            value * math.sin(math.radians(angle.value)),
            drawn * np.sin(lean),
            **common,
            source="saddle's way down x sin(seat-tube angle), to keep the drop",
            notes=tuple(note for note in bar_notes if note),
        ),
    }


def _room(inputs: Inputs, down_mm: float) -> str:
    """Say whether the bars can follow: ask where the room is not known."""
    if down_mm <= 0:
        return ""
    room = inputs.number("bike.bar_room_down_mm")
    if room is None:
        return "room to lower the bars not known: ask"
    return f"the bars lack {down_mm - room:.0f} mm of room" if room < down_mm else ""
