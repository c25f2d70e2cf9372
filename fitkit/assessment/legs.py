"""What a moved cleat does up the leg: the closed chain of leg and crank, hip's place, saddle and bars."""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fitkit.assessment.cleats import Foot
from fitkit.assessment.inputs import Drawn, Draws, Inputs
from fitkit.assessment.results import AS_FOUND, RESULTS, Input
from fitkit.calculations import anthropometry, knock_on, stance
from fitkit.calculations.readings import Quantity, linear
from fitkit.calculations.stroke import (
    BikeGeometry,
    Chain,
    Cleat,
    Leg,
    OutOfReach,
    Pitch,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    require_reach,
)
from fitkit.estimate import Estimate
from fitkit.words import decimal

# Every five degrees: the extremes are refined between, and the mean of a smooth stroke gains nothing from more.
DRAWN_STEPS = 72
_KNEE, _DOWN = "untouched.knee_change", "height_only.saddle_down"
_FULL = {"full.saddle_forward": "forward_mm", "full.saddle_down": "down_mm"}
# What a pitch habit alone does, by what it does it to.
_HABITS = {"pitch_habit.saddle_down": _DOWN, "pitch_habit.knee_change": _KNEE}
_MEASURED = (
    Input("rider.{side}.thigh_mm"),
    Input("rider.{side}.shank_mm"),
    Input("rider.{side}.ankle_to_mtp1_mm"),
    Input("rider.{side}.ankle_height_mm"),
    Input("shoes.{side}.axle_to_foot_sole_mm"),
)
# What the foot's own path over the stroke needs; the rest is needed for knee and saddle.
_FOOT = ("ankle_to_mtp1_mm", "ankle_height_mm", "axle_to_foot_sole_mm")
# Stands where thigh, shank, crank or seat tube is not known: the foot's path after minus before is free of them.
_NOT_ENTERING = 1.0


@dataclass(frozen=True)
class Links:
    """What one leg's chain is made of: its lengths [mm] and the foot's pitch [deg]."""

    lengths: dict[str, Drawn]
    pitch: dict[str, Drawn]  # of the pitch's wave; empty where there is a table
    table: tuple[tuple[float, float], ...] | None
    crank_mm: float | None
    seat_tube: Drawn | None
    foot_needs: str | None  # what is missing of the foot
    leg_needs: str | None  # what is missing of the leg
    sources: tuple[str, ...]  # publications that stand in for what was not measured
    notes: tuple[str, ...]

    def estimate(self, name: str, found: Drawn) -> Estimate:
        """Return a result of the chain, graded by what the chain is made of."""
        row = RESULTS[name]
        source = "; ".join((row.source, *dict.fromkeys(self.sources)))
        return row.of(found, source=source, grade="published" if self.sources else None, notes=found.notes)


@dataclass(frozen=True)
class Both:
    """One chain, nominal and with one entry a draw."""

    nominal: Chain
    drawn: Chain


@dataclass(frozen=True)
class Packing:
    """What lies between cleat and shoe [mm]: shim and adapter stack."""

    shim: Drawn
    stack_mm: float


@dataclass(frozen=True)
class LegFound:
    """What the assessment says of one leg, with its results."""

    side: str
    before: Chain | None  # as found
    after: Chain | None  # at the target
    hip_distance_mm: float | None  # crank centre to hip along the seat tube, as found
    hip_height: Drawn | str  # the hip's height above the crank centre [mm], or what it needs
    drawn: knock_on.KnockOnDraws | None
    remaining: dict[str, knock_on.Remaining]  # what each choice for the saddle leaves
    results: dict[str, Estimate]


def assess_leg(inputs: Inputs, draws: Draws, foot: Foot) -> LegFound:
    """Return one leg's knock-on, and where its hip is.

    Each part needs only what enters it: the hip nothing of the target, the full answer nothing of the hip.
    """
    side = foot.side
    links = _links_of(inputs, draws, side)
    then, now = (_packing_of(at, draws, side) for at in (inputs.as_found, inputs))
    before = after = links.foot_needs or AS_FOUND.needs
    if not links.foot_needs and foot.found is not None:
        before, after = _chain_of(links, foot.found, then), foot.target
        after = after if isinstance(after, str) else _chain_of(links, after, now)
    is_whole = isinstance(before, Both) and links.leg_needs is None
    hip = _hip(inputs, draws, side, before if is_whole else None)
    lacking = _first_need(before, after, links.leg_needs, hip)
    results = {name: RESULTS[name].lacking(lacking) for name in (*_FULL, _KNEE, _DOWN, *_HABITS)} if lacking else {}
    results["stack.saddle_down"] = _stack(links, foot, before, hip, then, now)
    notes = _notes_on_chain(inputs, side, links)
    if isinstance(after, Both):
        results |= _full(links, before, after, notes)
    drawn, remaining = None, {}
    if not lacking:
        drawn, found, remaining = _of_hip(links, before, after, replace(hip, notes=(*hip.notes, *notes)))
        results |= found | _habit(inputs.visit.house.rules.pitch_habit_95_deg, before, after, hip, found)
    return LegFound(
        side,
        before.nominal if is_whole else None,
        after.nominal if isinstance(after, Both) else None,
        hip.value if isinstance(hip, Drawn) else None,
        _height(hip, links),
        drawn,
        remaining,
        results,
    )


def _first_need(*parts: object) -> str | None:
    return next((part for part in parts if isinstance(part, str)), None)


def _hip(inputs: Inputs, draws: Draws, side: str, before: Both | None) -> Drawn | str:
    """Return crank centre to hip along the seat tube as found [mm], or what it needs.

    It comes from the knee where that was measured, else from the saddle.
    """
    flexion = inputs.quantity(f"ride.{side}.least_knee_flexion_deg")
    if flexion is not None and flexion.value < 0:
        return f"least knee flexion from 0, a straight knee; it is {decimal(flexion.value, 1)}"
    try:
        if flexion is not None and before is not None:
            return _hip_from_knee(before, draws.of(f"{side}.least_knee_flexion", flexion))
        hip = _hip_from_saddle(inputs, draws)
        if before is not None and isinstance(hip, Drawn):
            tube = before.nominal.bike.seat_tube_angle_deg
            require_reach(before.nominal, hip=hip_on_tube(hip.value, seat_tube_angle_deg=tube))
        return hip
    except OutOfReach as reach:
        return f"leg out of reach by {reach.by_mm:.0f} mm"


def _hip_from_knee(before: Both, flexion: Drawn) -> Drawn:
    distance = knock_on.hip_distance_as_found(before.nominal, least_knee_flexion_deg=flexion.value)
    path = ankle_path(before.drawn, crank_angles(DRAWN_STEPS))
    # A draw beyond a straight knee counts as straight.
    straight = np.maximum(flexion.draws, 0.0)
    drawn = greatest_hip_distance(before.drawn, least_knee_flexion_deg=straight, path=path)
    return Drawn(distance, drawn, ("hip's place from the least knee flexion, as found",))


def _hip_from_saddle(inputs: Inputs, draws: Draws) -> Drawn | str:
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
    distance = draws.of("hip_distance", linear([(1.0, saddle), (1.0, above)]))
    return replace(distance, notes=tuple(notes))


def _height(hip: Drawn | str, links: Links) -> Drawn | str:
    if isinstance(hip, str) or links.seat_tube is None:
        return hip if isinstance(hip, str) else "seat-tube angle"
    value = float(stance.hip_height_mm(hip.value, links.seat_tube.value))
    return Drawn(value, stance.hip_height_mm(hip.draws, links.seat_tube.draws), hip.notes)


def _full(links: Links, before: Both, after: Both, notes: tuple[str, ...]) -> dict[str, Estimate]:
    """Return the full answer, which hangs on foot and cleat alone."""
    move = knock_on.full_saddle_move(before.nominal, after.nominal)
    drawn = knock_on.full_saddle_move(before.drawn, after.drawn, steps=DRAWN_STEPS)
    return {
        name: links.estimate(name, Drawn(float(getattr(move, way)), getattr(drawn, way), notes))
        for name, way in _FULL.items()
    }


def _stack(links: Links, foot: Foot, before: Both | str, hip: Drawn | str, then: Packing, now: Packing) -> Estimate:
    """Return what today's shims and adapters alone ask of the saddle, whatever becomes of the cleat."""
    row = RESULTS["stack.saddle_down"]
    needs = _first_need(before, links.leg_needs, hip)
    if needs is not None:
        return row.lacking(needs)
    if (then.shim.value, then.stack_mm) == (now.shim.value, now.stack_mm):
        return row.of(0.0, source="shims and adapters are as found")
    after = _chain_of(links, foot.found, now)
    try:
        value = knock_on.height_only_saddle_down(before.nominal, after.nominal, hip_distance_mm=hip.value)
        drawn = knock_on.over_draws(before.drawn, after.drawn, hip_distance_mm=hip.draws, steps=DRAWN_STEPS)
    except OutOfReach as reach:
        return row.lacking(f"leg out of reach by {reach.by_mm:.0f} mm on today's shims and adapters")
    return links.estimate("stack.saddle_down", Drawn(float(value), drawn.height_only_down_mm, hip.notes))


def _of_hip(
    links: Links, before: Both, after: Both, hip: Drawn
) -> tuple[knock_on.KnockOnDraws, dict[str, Estimate], dict[str, knock_on.Remaining]]:
    """Return what hangs on the hip's place: untouched, height only, and what each choice leaves."""
    drawn = knock_on.over_draws(before.drawn, after.drawn, hip_distance_mm=hip.draws, steps=DRAWN_STEPS)
    pair, at = (before.nominal, after.nominal), {"hip_distance_mm": hip.value}
    results = {}
    for name, work_out, draws_of_it in (
        (_KNEE, knock_on.untouched_knee_change, drawn.knee_change_deg),
        (_DOWN, knock_on.height_only_saddle_down, drawn.height_only_down_mm),
    ):
        try:
            results[name] = links.estimate(name, Drawn(float(work_out(*pair, **at)), draws_of_it, hip.notes))
        except OutOfReach as reach:
            results[name] = RESULTS[name].lacking(f"leg out of reach by {reach.by_mm:.0f} mm after the move")
    down = results[_DOWN].value
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


def _habit(within_deg: float, before: Both, after: Both, hip: Drawn, found: dict[str, Estimate]) -> dict[str, Estimate]:
    """Return what a habit alone, added to the foot's pitch after the move, does to knee and saddle.

    Both rise or fall evenly with the pitch, so that the ends of the habit's 95 % are the ends of what it does.
    """
    chain = after.nominal
    habits = replace(chain, pitch=replace(chain.pitch, habit_deg=np.linspace(-within_deg, within_deg, 9)))
    drawn = knock_on.over_draws(before.nominal, habits, hip_distance_mm=hip.value, steps=DRAWN_STEPS)
    values = {_DOWN: drawn.height_only_down_mm, _KNEE: drawn.knee_change_deg}
    source = f"a pitch habit of {within_deg:g} degrees either way after the move (95 %), nothing else varied"
    results = {}
    for name, alone in _HABITS.items():
        shifts = values[alone] - values[alone][values[alone].size // 2]
        ends = {"low": shifts.min(), "high": shifts.max()}
        row, needs = RESULTS[name], found[alone].needs
        results[name] = row.lacking(needs) if needs else row.of(0.0, source=source, **ends)
    return results


def assess_saddle(inputs: Inputs, draws: Draws, legs: dict[str, LegFound]) -> dict[str, Estimate]:
    """Return one saddle's answer for two legs, and the bars that follow it."""
    saddle, bar = "saddle.height_only.down", "bar.height_only.down"
    have = [leg for leg in legs.values() if leg.results[_DOWN].is_known]
    if not have:
        return {name: RESULTS[name].lacking(legs["left"].results[_DOWN].needs) for name in (saddle, bar)}
    downs = [leg.results[_DOWN] for leg in have]
    down = Drawn(
        sum(each.value for each in downs) / len(downs), sum(leg.drawn.height_only_down_mm for leg in have) / len(have)
    )
    notes = () if len(have) == 2 else (f"from the {have[0].side} leg only",)
    grade = "published" if any(each.grade == "published" for each in downs) else None
    tube = draws.read("bike.seat_tube_angle_deg", inputs.quantity("bike.seat_tube_angle_deg"))
    follows = Drawn(down.value * math.sin(math.radians(tube.value)), down.draws * np.sin(np.radians(tube.draws)))
    return {
        saddle: RESULTS[saddle].of(down, grade=grade, notes=notes),
        bar: RESULTS[bar].of(follows, grade=grade, notes=(*notes, _room(inputs, follows.value))),
    }


def _room(inputs: Inputs, down_mm: float) -> str:
    """Say whether the bars can follow: ask where the room is not known."""
    if down_mm <= 0:
        return ""
    room = inputs.number("bike.bar_room_down_mm")
    if room is None:
        return "room to lower the bars not known: ask"
    return f"the bars lack {down_mm - room:.0f} mm of room" if room < down_mm else ""


def _links_of(inputs: Inputs, draws: Draws, side: str) -> Links:
    """Return what one leg's chain is made of; segments not measured come from stature where that is known."""
    lengths, sources, notes = {}, [], []
    foot, leg = [], []
    stature = inputs.quantity("rider.stature_mm")
    population = inputs.visit.session.rider.reference_population
    for each in _MEASURED:
        found, name = each.read(inputs, side), each.path.rpartition(".")[2]
        if found is None and stature is not None and name in anthropometry.SEGMENTS:
            share = anthropometry.segment_of_stature(name, stature, population)
            found = share.length
            sources.append(share.source)
            notes.append(f"{each.words} not measured: {share.note}")
        if found is None:
            (foot if name in _FOOT else leg).append(each.words)
        else:
            lengths[name] = draws.read(each.path.format(side=side), found)
    pitch, table, need = _pitch(inputs, draws, side)
    foot += [need] if need else []
    crank, tube = inputs.number("bike.crank_length_mm"), inputs.quantity("bike.seat_tube_angle_deg")
    leg += [words for words, value in (("crank length", crank), ("seat-tube angle", tube)) if value is None]
    leg += _contradiction(inputs, side)
    seat_tube = None if tube is None else draws.read("bike.seat_tube_angle_deg", tube)
    needs = "; ".join(foot) or None, "; ".join(leg) or None
    return Links(lengths, pitch, table, crank, seat_tube, *needs, tuple(sources), tuple(notes))


def _contradiction(inputs: Inputs, side: str) -> list[str]:
    """Return the sentence that says measured segments and inseam cannot belong to one leg."""
    names = ("thigh_mm", "shank_mm", "ankle_height_mm")
    found = {name: inputs.number(f"rider.{side}.{name}") for name in names}
    inseam = inputs.number("rider.inseam_mm")
    if inseam is None or None in found.values():
        return []
    said = anthropometry.inseam_contradiction(**found, inseam_mm=inseam)
    return [f"segment lengths that agree: {said}"] if said else []


def _pitch(
    inputs: Inputs, draws: Draws, side: str
) -> tuple[dict[str, Drawn], tuple[tuple[float, float], ...] | None, str | None]:
    """Return the pitch's wave, or its measured table, which replaces the wave; or what they need."""
    ride = getattr(inputs.visit.session.ride, side)
    if ride.foot_pitch_table:
        points = {point.crank_angle_deg % 360: point.pitch_deg for point in ride.foot_pitch_table}
        table = tuple(sorted(points.items()))
        try:
            Pitch(mean_deg=0.0, table=table)
        except ValueError as error:
            return {}, None, f"a foot pitch table without gaps: {error}"
        return {}, table, None
    paths = {f"{name}_deg": f"ride.{side}.foot_pitch_{name}_deg" for name in ("mean", "amplitude", "phase")}
    if not inputs.readings(paths["mean_deg"]):
        return {}, None, "foot pitch"
    wave = {name: draws.read(path, inputs.quantity(path) or Quantity(0.0)) for name, path in paths.items()}
    return wave, None, None


def _packing_of(inputs: Inputs, draws: Draws, side: str) -> Packing:
    """Return what lies between cleat and shoe in the current position; recorded nowhere is 0.

    What is not there has no error, and a shim left as found is the same shim.
    """
    shim, path = inputs.now(f"{side}.shim_mm"), inputs.current(f"{side}.shim_mm")
    row = "shim" if path in (None, f"as_found.{side}.shim_mm") else "shim_since"
    drawn = draws.of(f"{side}.{row}", shim if shim and shim.value else Quantity(0.0))
    return Packing(drawn, inputs.fitted(side, "adapter_stack_mm")[0] or 0.0)


def _chain_of(links: Links, setback: Drawn, packing: Packing) -> Both:
    """Return the chain with the cleat at one setback [mm]; the foot keeps its pitch."""
    return Both(*(_chain(links, setback, packing, entry) for entry in ("value", "draws")))


def _chain(links: Links, setback: Drawn, packing: Packing, entry: Literal["value", "draws"]) -> Chain:
    lengths = dict.fromkeys(("thigh_mm", "shank_mm"), _NOT_ENTERING)
    lengths |= {name: getattr(length, entry) for name, length in links.lengths.items()}
    cleat = {
        "setback_mm": getattr(setback, entry),
        "axle_to_foot_sole_mm": lengths.pop("axle_to_foot_sole_mm"),
        "shim_mm": getattr(packing.shim, entry),
        "adapter_stack_mm": packing.stack_mm,
    }
    tube = getattr(links.seat_tube, entry) if links.seat_tube else _NOT_ENTERING
    wave = {name: getattr(part, entry) for name, part in links.pitch.items()}
    return Chain(
        leg=Leg(**lengths),
        cleat=Cleat(**cleat),
        pitch=Pitch(**(wave or {"mean_deg": 0.0}), table=links.table),
        bike=BikeGeometry(crank_mm=links.crank_mm or _NOT_ENTERING, seat_tube_angle_deg=tube),
    )


def _notes_on_chain(inputs: Inputs, side: str, links: Links) -> tuple[str, ...]:
    """Return what was assumed of one leg's chain, in words."""
    notes = list(links.notes)
    for name, words in (("shim_mm", "shim"), ("adapter_stack_mm", "adapter stack")):
        if inputs.current(f"{side}.{name}") is None:
            notes.append(f"{words} not recorded: counted as 0")
    return (*notes, "if the foot keeps its pitch")
