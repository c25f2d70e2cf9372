"""What stands between part and part: thread engaged, lean until the pedal touches, toe to tyre."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.assessment.cleats import Foot
from fitkit.assessment.inputs import Draws, Inputs, estimate_from
from fitkit.calculations import clearances
from fitkit.calculations.readings import Quantity, exact
from fitkit.estimate import Estimate, known, missing

__all__ = [
    "CHANGED_BY",
    "SLACK",
    "FootGap",
    "added_since_found",
    "assess_clearances",
    "foot_gaps",
    "lean_clearance",
    "outward_since_found",
    "thread_turns",
]

CHANGED_BY = 0.5  # house choice [mm or degrees]: after a greater change a gap is measured again
SLACK = 1e-6  # keeps a limit met exactly from failing by the last bit
GAPS = {
    "heel_gap_heel_in_mm": "heel to crank, heel in",
    "heel_gap_heel_out_mm": "heel to crank, heel out",
    "ankle_gap_mm": "anklebone to crank",
    "forefoot_gap_mm": "forefoot to crank",
}


def assess_clearances(inputs: Inputs, draws: Draws, side: str, foot: Foot) -> dict[str, Estimate]:
    """Return one side's thread, lean and toe results by name."""
    return {
        f"{side}.thread.turns": thread_turns(inputs, draws, side),
        f"{side}.lean.clearance": lean_clearance(inputs, draws, side),
        **_toe(inputs, side, foot),
    }


def thread_turns(inputs: Inputs, draws: Draws, side: str) -> Estimate:
    """Return the turns of pedal thread engaged on one side in the current position, with the readings' error."""
    extender_mm, said = inputs.fitted(side, "extender_mm")
    extender = inputs.part(inputs.word_now(f"{side}.extender_id"))
    spindle_thread, said_of_spindle = _spindle_thread(inputs, side)
    found = {
        "spindle_thread": spindle_thread,
        "unthreaded_tip": inputs.quantity(f"bike.{side}.unthreaded_tip_mm"),
        "washer": inputs.now(f"{side}.washer_mm"),
        "crank_thread_depth": inputs.quantity("bike.crank_thread_depth_mm"),
    }
    lengths = {f"{name}_mm": None if quantity is None else quantity.value for name, quantity in found.items()}
    parts = {"extender_mm": extender_mm, "extender_thread_mm": extender.thread_mm if extender else None}
    try:
        turns = clearances.thread_turns(**lengths, **parts)
    except ValueError as error:
        return missing(f"lengths that are possible: {error}", unit="turns")
    notes = [*turns.notes, *(note for note in (said_of_spindle, said) if note)]
    if turns.value is None:
        return missing(turns.needs, unit="turns", notes=tuple(notes))
    drawn = {}
    for name, quantity in found.items():
        row = name if name == "crank_thread_depth" else f"{side}.{name}"
        # What is not there has no error.
        drawn[f"{name}_mm"] = draws.of(row, quantity if quantity and quantity.value else exact(0.0))
    parts["extender_thread_mm"] = math.nan if parts["extender_thread_mm"] is None else parts["extender_thread_mm"]
    values = clearances.turns_engaged(**drawn, **{name: value or 0.0 for name, value in parts.items()})
    source = "min(spindle thread - tip - washer, crank depth) over the pitch of 1.270 mm (JIS B 0225-1960)"
    found_turns = estimate_from(turns.value, values, unit="turns", grade="derived", source=source, notes=tuple(notes))
    least = inputs.visit.house.rules.least_turns
    few = f"may be fewer than the {least:g} turns of the house rules: not safe to ride"
    return found_turns.noting(few if found_turns.low < least else "")


def _spindle_thread(inputs: Inputs, side: str) -> tuple[Quantity | None, str | None]:
    """Return the length of the spindle's thread [mm], and what must be said of it.

    What was measured is the spindle's as found; another one, recorded by its id since, has the parts table's thread.
    """
    measured = inputs.quantity(f"bike.{side}.spindle_thread_mm")
    name = inputs.word_now(f"{side}.spindle_id")
    is_as_found = name == Inputs(inputs.visit, ("as_found",)).word_now(f"{side}.spindle_id")
    part = inputs.part(name)
    if part is None or (is_as_found and measured is not None):
        return measured, None
    if part.thread_mm is None:
        return measured, f"thread of {part.id} not in the parts table: taken as that of the spindle as found"
    return exact(part.thread_mm), f"thread of {part.id} by the parts table, not measured"


def added_since_found(inputs: Inputs, side: str) -> float:
    """Return what parts fitted since as found add outward on one side [mm]; a length recorded nowhere is 0."""
    found = Inputs(inputs.visit, ("as_found",))
    lengths = [
        (at.number_now(f"{side}.washer_mm") or 0.0) + (at.fitted(side, "extender_mm")[0] or 0.0)
        for at in (found, inputs)
    ]
    spindles = [at.fitted(side, "spindle_to_cleat_centre_mm")[0] for at in (found, inputs)]
    if None in spindles:
        # Where its length is not known at both times, the parts table still knows what one adds to another.
        parts = (at.part(at.word_now(f"{side}.spindle_id")) for at in (found, inputs))
        spindles = [(part.adds_mm or 0.0) if part else 0.0 for part in parts]
    return lengths[1] - lengths[0] + spindles[1] - spindles[0]


def outward_since_found(inputs: Inputs, side: str) -> float:
    """Return how far one foot stands further out than as found [mm]: parts added, and the shoe moved on its cleat."""
    now, before = inputs.number_now(f"{side}.shoe_outward_mm"), inputs.number(f"as_found.{side}.shoe_outward_mm")
    return added_since_found(inputs, side) + (now or 0.0) - (before or 0.0)


@dataclass(frozen=True)
class FootGap:
    """One gap between foot and crank [mm]: as measured, and whether it still holds.

    `then` is the visit as it stood when it was measured; what was measured on the bicycle is as found.
    `outward_since` is how far the foot has moved outward since then [mm].
    """

    name: str
    words: str
    measured: Quantity | None
    then: Inputs
    holds: bool
    outward_since: float

    @property
    def needs(self) -> str | None:
        """What it needs, None where it holds."""
        if self.measured is None:
            return "not measured"
        return None if self.holds else "measure again"


def foot_gaps(inputs: Inputs, side: str) -> tuple[FootGap, ...]:
    """Return one foot's gaps to crank and frame; one holds only where the foot stands as it was measured.

    A change of toe-out, cleat setback or half-stance by more than 0.5 since then voids it; a position's own gaps stand
    before the bicycle's.
    """
    gaps = []
    for name, words in GAPS.items():
        at = inputs.last_with(f"{side}.{name}")
        path = f"bike.{side}.{name}" if at is None else f"{inputs.positions()[at]}.{side}.{name}"
        then = Inputs(inputs.visit, ("as_found",) if at is None else tuple(inputs.positions()[: at + 1]))
        outward = outward_since_found(inputs, side) - outward_since_found(then, side)
        holds = not _stands_otherwise(then, inputs, side, outward)
        gaps.append(FootGap(name, words, inputs.quantity(path), then, holds, outward))
    return tuple(gaps)


def _stands_otherwise(then: Inputs, now: Inputs, side: str, outward: float) -> bool:
    pairs = (
        (then.number_now(f"{side}.cleat_toe_out_deg"), now.number_now(f"{side}.cleat_toe_out_deg")),
        (then.setback_now(side), now.setback_now(side)),
        (0.0, outward),
    )
    return any(None not in pair and abs(pair[1] - pair[0]) > CHANGED_BY + SLACK for pair in pairs)


def lean_clearance(inputs: Inputs, draws: Draws, side: str) -> Estimate:
    """Return the lean until one lowered pedal touches in the current position."""
    paths = {
        "bottom_bracket_height": "bike.bottom_bracket_height_mm",
        "crank_length": "bike.crank_length_mm",
        "pedal_below_axle": f"bike.{side}.pedal_below_axle_mm",
        "pedal_outer_edge": f"bike.{side}.pedal_outer_edge_mm",
    }
    found = {name: inputs.quantity(path) for name, path in paths.items()}
    lacking = next((name.replace("_", " ") for name, quantity in found.items() if quantity is None), None)
    if lacking:
        return missing(lacking, unit="deg")
    added = added_since_found(inputs, side)
    crank = found.pop("crank_length").value

    def lean(by: dict):
        lengths = {f"{name}_mm": value for name, value in by.items()}
        return clearances.lean_deg(**lengths, crank_length_mm=crank, added_mm=added)

    rows = {"bottom_bracket_height": "bottom_bracket_height"} | {
        name: f"{side}.{name}" for name in ("pedal_below_axle", "pedal_outer_edge")
    }
    try:
        value = float(lean({name: quantity.value for name, quantity in found.items()}))
        drawn = lean({name: draws.of(rows[name], quantity) for name, quantity in found.items()})
    except ValueError as error:
        return missing(f"lengths that are possible: {error}", unit="deg")
    notes = ["the tyre is taken as a thin disc"]
    if value < clearances.LEAST_LEAN_DEG:
        notes.append(clearances.lean_words(value))
    notes.append(clearances.LEAN_SCOPE)
    source = "atan((bottom bracket - crank - pedal below axle) / pedal's outer edge)"
    return estimate_from(value, drawn, unit="deg", grade="derived", source=source, notes=tuple(notes))


def _toe(inputs: Inputs, side: str, foot: Foot) -> dict[str, Estimate]:
    names = (f"{side}.toe.gap", f"{side}.toe.gap_after")
    tyre, toe = (inputs.quantity(f"bike.{side}.axle_to_{end}_mm") for end in ("tyre", "toe"))
    if tyre is None or toe is None:
        return {name: missing("axle to tyre and axle to toe") for name in names}
    gap = clearances.toe_gap(axle_to_tyre_mm=tyre, axle_to_toe_mm=toe)
    results = {names[0]: _gap(gap, "axle to tyre - axle to toe, as found")}
    if foot.move is None:
        return {**results, names[1]: missing(foot.results[f"{side}.cleat_setback.move"].needs)}
    after = clearances.toe_gap_after(gap, foot.move)
    return {**results, names[1]: _gap(after, "gap as found - move of the cleat")}


def _gap(gap, source: str) -> Estimate:
    overlap = (clearances.gap_words(gap.value),) if gap.value < 0 else ()
    notes = (*overlap, clearances.TOE_SCOPE)
    return known(gap.value, unit="mm", grade="derived", source=source, half_width=gap.half_width(), notes=notes)
