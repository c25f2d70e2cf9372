"""What stands between part and part: thread engaged, lean until the pedal touches, toe to tyre."""

from __future__ import annotations

from fitkit.assessment.cleats import Foot
from fitkit.assessment.draws import Draws, estimate_from
from fitkit.assessment.inputs import Inputs
from fitkit.calculations import clearances
from fitkit.estimate import Estimate, known, missing

__all__ = ["added_since_found", "assess_clearances", "outward_since_found"]


def assess_clearances(inputs: Inputs, draws: Draws, side: str, foot: Foot) -> dict[str, Estimate]:
    """Return one side's thread, lean and toe results by name."""
    return {
        f"{side}.thread.turns": _turns(inputs, side),
        f"{side}.lean.clearance": _lean(inputs, draws, side),
        **_toe(inputs, side, foot),
    }


def _turns(inputs: Inputs, side: str) -> Estimate:
    extender_id = inputs.word_now(f"{side}.extender_id")
    try:
        turns = clearances.thread_turns(
            spindle_thread_mm=inputs.number(f"bike.{side}.spindle_thread_mm"),
            unthreaded_tip_mm=inputs.number(f"bike.{side}.unthreaded_tip_mm"),
            washer_mm=inputs.number_now(f"{side}.washer_mm"),
            crank_thread_depth_mm=inputs.number("bike.crank_thread_depth_mm"),
            extender_mm=inputs.number_now(f"{side}.extender_mm"),
            extender_thread_mm=_thread_of(inputs, extender_id),
        )
    except ValueError as error:
        return missing(f"lengths that are possible: {error}", unit="turns")
    if turns.value is None:
        return missing(turns.needs, unit="turns", notes=turns.notes)
    notes = list(turns.notes)
    least = inputs.visit.house.rules.least_turns
    if turns.value < least:
        notes.append(f"fewer than the {least:g} turns of the house rules: not safe to ride")
    source = "min(spindle thread - tip - washer, crank depth) over the pitch of 1.270 mm (JIS B 0225-1960)"
    return known(turns.value, unit="turns", grade="derived", source=source, notes=tuple(notes))


def _thread_of(inputs: Inputs, part_id: str | None) -> float | None:
    return next((part.thread_mm for part in inputs.visit.house.parts if part.id == part_id), None)


def added_since_found(inputs: Inputs, side: str) -> float:
    """Return what parts fitted since as found add outward on one side [mm]; a length recorded nowhere is 0."""

    def total(position: str | None) -> float:
        lengths = []
        for name in ("washer_mm", "extender_mm", "spindle_to_cleat_centre_mm"):
            field = f"{side}.{name}"
            fallback = f"bike.{side}.{name}" if name.startswith("spindle") else None
            if position is None:
                lengths.append(inputs.number_now(field, bike=fallback))
            else:
                found = inputs.number(f"{position}.{field}")
                lengths.append(inputs.number(fallback) if found is None and fallback else found)
        return sum(length or 0.0 for length in lengths)

    return total(None) - total("as_found")


def outward_since_found(inputs: Inputs, side: str) -> float:
    """Return how far one foot stands further out than as found [mm]: parts added, and the shoe moved on its cleat."""
    now, before = inputs.number_now(f"{side}.shoe_outward_mm"), inputs.number(f"as_found.{side}.shoe_outward_mm")
    return added_since_found(inputs, side) + (now or 0.0) - (before or 0.0)


def _lean(inputs: Inputs, draws: Draws, side: str) -> Estimate:
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
