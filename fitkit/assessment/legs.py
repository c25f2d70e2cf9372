"""What a moved cleat does up the leg: hip's place, the knock-on on saddle and bars, the lever at the ankle."""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, field, replace

import numpy as np

from fitkit.assessment.chain import (
    Both,
    Links,
    as_found_chain,
    drawn_target,
    links_of,
    notes_on_chain,
    stacked_chain,
    target_chain,
)
from fitkit.assessment.cleats import NEED_AS_FOUND, Foot
from fitkit.assessment.inputs import Draws, Inputs, estimate_from
from fitkit.calculations import knock_on, stance
from fitkit.calculations.readings import Quantity, linear
from fitkit.calculations.stroke import (
    Chain,
    OutOfReach,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    require_reach,
)
from fitkit.estimate import Estimate, Unit, known, missing
from fitkit.words import decimal

__all__ = ["HipHeight", "LegFound", "assess_leg", "assess_saddle"]

# Every five degrees: the extremes are refined between, and the mean of a smooth stroke gains nothing from more.
DRAWN_STEPS = 72

_UNITS: dict[str, Unit] = {
    "untouched.knee_change": "deg",
    "height_only.saddle_down": "mm",
    "full.saddle_forward": "mm",
    "full.saddle_down": "mm",
    "pitch_habit.saddle_down": "mm",
    "pitch_habit.knee_change": "deg",
}
_OF_HIP = ("untouched.knee_change", "height_only.saddle_down", "pitch_habit.saddle_down", "pitch_habit.knee_change")
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
class Hip:
    """Crank centre to hip along the seat tube as found [mm], nominal and drawn, with what must be said beside it."""

    distance_mm: float
    drawn_mm: np.ndarray
    notes: tuple[str, ...]


@dataclass(frozen=True)
class LegFound:
    """What the assessment says of one leg, beyond its named results."""

    side: str
    before: Chain | None
    after: Chain | None
    hip_distance_mm: float | None
    hip_height: HipHeight | str
    drawn: knock_on.KnockOnDraws | None
    remaining: dict[str, knock_on.Remaining] = field(default_factory=dict)
    results: dict[str, Estimate] = field(default_factory=dict)


def assess_leg(inputs: Inputs, draws: Draws, side: str, foot: Foot) -> LegFound:
    """Return one leg's knock-on, the lever at the ankle, and where its hip is.

    Each part needs only what enters it: the hip nothing of the target, the full answer nothing of the hip.
    """
    links = links_of(inputs, side)
    before, after = as_found_chain(inputs, draws, side, links), target_chain(inputs, draws, side, links, foot)
    is_whole = isinstance(before, Both) and links.leg_needs is None
    hip = _hip(inputs, draws, side, before if is_whole else None)
    results = {f"{side}.calf_lever.ratio": _lever(inputs, draws, side, foot)}
    notes = notes_on_chain(inputs, side, links)
    chains = (before, after) if isinstance(before, Both) and isinstance(after, Both) else None
    needs = next((need for need in (before, after, links.leg_needs, hip) if isinstance(need, str)), None)
    results |= _full(side, links, chains, needs, notes)
    results[f"{side}.stack.saddle_down"] = _stack(inputs, draws, side, links, before, hip)
    drawn, remaining = None, {}
    if chains is None or needs is not None:
        results |= {f"{side}.{name}": missing(needs, unit=_UNITS[name]) for name in _OF_HIP}
    else:
        drawn, found, remaining = _of_hip(side, links, *chains, hip, notes)
        results |= found | _habit(inputs, side, *chains, hip, found)
    return LegFound(
        side,
        before.nominal if is_whole else None,
        after.nominal if isinstance(after, Both) else None,
        hip.distance_mm if isinstance(hip, Hip) else None,
        _height(inputs, draws, hip),
        drawn,
        remaining,
        results,
    )


def _hip(inputs: Inputs, draws: Draws, side: str, before: Both | None) -> Hip | str:
    """Return the hip's place as found: from the knee where measured, else from the saddle; or what it needs."""
    flexion = inputs.quantity(f"ride.{side}.least_knee_flexion_deg")
    if flexion is not None and flexion.value < 0:
        return f"least knee flexion from 0, a straight knee; it is {decimal(flexion.value, 1)}"
    try:
        if flexion is not None and before is not None:
            return _hip_from_knee(draws, side, before, flexion)
        hip = _hip_from_saddle(inputs, draws)
        if before is not None and isinstance(hip, Hip):
            tube = before.nominal.bike.seat_tube_angle_deg
            require_reach(before.nominal, hip=hip_on_tube(hip.distance_mm, seat_tube_angle_deg=tube))
        return hip
    except OutOfReach as reach:
        return f"leg out of reach by {reach.by_mm:.0f} mm"


def _hip_from_knee(draws: Draws, side: str, before: Both, flexion: Quantity) -> Hip:
    distance = knock_on.hip_distance_as_found(before.nominal, least_knee_flexion_deg=flexion.value)
    # A draw beyond a straight knee counts as straight.
    drawn_flexion = np.maximum(draws.of(f"{side}.least_knee_flexion", flexion), 0.0)
    path = ankle_path(before.drawn, crank_angles(DRAWN_STEPS))
    drawn = greatest_hip_distance(before.drawn, least_knee_flexion_deg=drawn_flexion, path=path)
    return Hip(distance, drawn, ("hip's place from the least knee flexion, as found",))


def _hip_from_saddle(inputs: Inputs, draws: Draws) -> Hip | str:
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
    distance = linear([(1.0, saddle), (1.0, above)])
    return Hip(distance.value, draws.of("hip_distance", distance), tuple(notes))


def _height(inputs: Inputs, draws: Draws, hip: Hip | str) -> HipHeight | str:
    angle = inputs.quantity("bike.seat_tube_angle_deg")
    if isinstance(hip, str) or angle is None:
        return hip if isinstance(hip, str) else "seat-tube angle"
    value = float(stance.hip_height_mm(hip.distance_mm, angle.value))
    return HipHeight(value, stance.hip_height_mm(hip.drawn_mm, draws.of("seat_tube_angle", angle)), hip.notes)


def _full(
    side: str, links: Links, chains: tuple[Both, Both] | None, needs: str | None, notes: tuple[str, ...]
) -> dict[str, Estimate]:
    """Return the full answer, which hangs on foot and cleat alone."""
    names = {f"full.saddle_{way}": f"{way}_mm" for way in ("forward", "down")}
    if chains is None:
        return {f"{side}.{name}": missing(needs) for name in names}
    before, after = chains
    move = knock_on.full_saddle_move(before.nominal, after.nominal)
    drawn = knock_on.full_saddle_move(before.drawn, after.drawn, steps=DRAWN_STEPS)
    return {
        f"{side}.{name}": _estimate(name, getattr(move, at), getattr(drawn, at), links, notes)
        for name, at in names.items()
    }


def _stack(inputs: Inputs, draws: Draws, side: str, links: Links, before: Both | str, hip: Hip | str) -> Estimate:
    """Return what today's shims and adapters alone ask of the saddle, whatever becomes of the cleat."""
    needs = next((need for need in (before, links.leg_needs, hip) if isinstance(need, str)), None)
    if needs is not None:
        return missing(needs)
    after = stacked_chain(inputs, draws, side, links)
    if after is None:
        source = "shims and adapters are as found"
        return known(0.0, unit="mm", grade="derived", source=source)
    try:
        at = {"hip_distance_mm": hip.distance_mm}
        value = knock_on.height_only_saddle_down(before.nominal, after.nominal, **at)
        drawn = knock_on.over_draws(before.drawn, after.drawn, hip_distance_mm=hip.drawn_mm, steps=DRAWN_STEPS)
    except OutOfReach as reach:
        return missing(f"leg out of reach by {reach.by_mm:.0f} mm on today's shims and adapters")
    return _estimate("height_only.saddle_down", value, drawn.height_only_down_mm, links, hip.notes)


def _of_hip(
    side: str, links: Links, before: Both, after: Both, hip: Hip, notes: tuple[str, ...]
) -> tuple[knock_on.KnockOnDraws, dict[str, Estimate], dict[str, knock_on.Remaining]]:
    """Return what hangs on the hip's place: untouched, height only, and what each choice leaves."""
    notes = (*hip.notes, *notes)
    drawn = knock_on.over_draws(before.drawn, after.drawn, hip_distance_mm=hip.drawn_mm, steps=DRAWN_STEPS)
    pair, at = (before.nominal, after.nominal), {"hip_distance_mm": hip.distance_mm}
    values = {
        "untouched.knee_change": (knock_on.untouched_knee_change, drawn.knee_change_deg),
        "height_only.saddle_down": (knock_on.height_only_saddle_down, drawn.height_only_down_mm),
    }
    results = {}
    for name, (work_out, draws_of_it) in values.items():
        try:
            results[f"{side}.{name}"] = _estimate(name, work_out(*pair, **at), draws_of_it, links, notes)
        except OutOfReach as reach:
            needs = f"leg out of reach by {reach.by_mm:.0f} mm after the move"
            results[f"{side}.{name}"] = missing(needs, unit=_UNITS[name])
    down = results[f"{side}.height_only.saddle_down"].value
    saddles = {"untouched": knock_on.SaddleMove(0.0, 0.0)}
    if down is not None:
        saddles["height only"] = knock_on.down_the_tube(down, seat_tube_angle_deg=links.seat_tube.value)
    saddles["full"] = knock_on.full_saddle_move(*pair)
    remaining = {}
    for name, saddle in saddles.items():
        # A choice the leg cannot ride leaves nothing to show.
        with contextlib.suppress(OutOfReach):
            remaining[name] = knock_on.remaining(*pair, **at, saddle=saddle)
    return drawn, results, remaining


def _habit(
    inputs: Inputs, side: str, before: Both, after: Both, hip: Hip, found: dict[str, Estimate]
) -> dict[str, Estimate]:
    """Return what a habit alone, added to the foot's pitch after the move, does to knee and saddle.

    Both rise or fall evenly with the pitch, so that the ends of the habit's 95 % are the ends of what it does.
    """
    within = inputs.visit.house.rules.pitch_habit_95_deg
    chain = after.nominal
    habits = replace(chain, pitch=replace(chain.pitch, habit_deg=np.linspace(-within, within, 9)))
    drawn = knock_on.over_draws(before.nominal, habits, hip_distance_mm=hip.distance_mm, steps=DRAWN_STEPS)
    source = f"a pitch habit of {within:g} degrees either way after the move (95 %), nothing else varied"
    results = {}
    for name, alone, values in (
        ("saddle_down", "height_only.saddle_down", drawn.height_only_down_mm),
        ("knee_change", "untouched.knee_change", drawn.knee_change_deg),
    ):
        unit, own = _UNITS[alone], found[f"{side}.{alone}"]
        shifts = values - values[values.size // 2]
        results[f"{side}.pitch_habit.{name}"] = (
            known(0.0, unit=unit, grade="house rule", source=source, low=shifts.min(), high=shifts.max())
            if own.is_known
            else missing(own.needs, unit=unit)
        )
    return results


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
    drawn_lengths = {
        "ankle_to_mtp1_mm": draws.of(f"{side}.ankle_to_mtp1", length),
        "old_setback_mm": draws.of(f"{side}.cleat_setback", found),
    }
    try:
        value = knock_on.calf_lever_ratio(length.value, old_setback_mm=found.value, new_setback_mm=foot.set_to)
        drawn = knock_on.calf_lever_ratio(**drawn_lengths, new_setback_mm=drawn_target(draws, side, found, foot))
    except ValueError:
        needs = "an ankle that lies behind the cleat: measure ankle to first MTP joint and cleat setback again"
        return missing(needs, unit="1")
    source = "(ankle to first MTP joint - new setback) / (the same - old setback)"
    note = "a ratio of lengths, no claim on performance"
    return estimate_from(float(value), drawn, unit="1", grade="derived", source=source, notes=(note,))


def assess_saddle(inputs: Inputs, draws: Draws, legs: dict[str, LegFound]) -> dict[str, Estimate]:
    """Return one saddle's answer for two legs, and the bars that follow it."""
    names = ("saddle.height_only.down", "bar.height_only.down")
    have = [leg for leg in legs.values() if leg.results[f"{leg.side}.height_only.saddle_down"].is_known]
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
