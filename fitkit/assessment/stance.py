"""Where the feet stand sideways, how far apart the hips are, and what a wished width would need."""

from __future__ import annotations

from dataclasses import replace

from fitkit.assessment.clearances import GAPS, foot_gaps
from fitkit.assessment.inputs import SIDES, Drawn, Draws, Inputs
from fitkit.assessment.results import RESULTS
from fitkit.calculations import anthropometry
from fitkit.calculations import parts as parts_search
from fitkit.calculations import stance as stances
from fitkit.calculations.anthropometry import HipSpacing
from fitkit.calculations.parts import Choice, SearchRules, Side
from fitkit.calculations.readings import Quantity
from fitkit.calculations.stance import Stance
from fitkit.estimate import Estimate

_GAPS_AS_FOUND = (
    "gaps between foot and crank count as they were as found; the foot stands otherwise now: measure them again"
)


def stance_of(inputs: Inputs) -> tuple[Stance | None, str]:
    """Return the stance, or None and what is contradictory in its readings."""
    lengths = {side: _lengths(inputs, side) for side in SIDES}
    try:
        uneven = inputs.visit.house.rules.uneven_crank_sd_mm
        q_factor = inputs.quantity("bike.q_factor_mm")
        return stances.stance(**lengths, q_factor=q_factor, uneven_crank_sd_mm=uneven), ""
    except ValueError as error:
        return None, f"readings that agree: {error}"


def _lengths(inputs: Inputs, side: str) -> stances.SideLengths:
    field = f"{side}.spindle_to_cleat_centre_mm"
    spindle, typed = inputs.fitted(side, "spindle_to_cleat_centre_mm")[0], inputs.now(field, bike=f"bike.{field}")
    return stances.SideLengths(
        crank_face=inputs.quantity(f"bike.{side}.crank_face_to_centreline_mm"),
        washer_mm=inputs.now(f"{side}.washer_mm"),
        extender_mm=inputs.fitted(side, "extender_mm")[0],
        spindle_to_cleat_centre=None if spindle is None else Quantity(spindle, typed.components),
        shoe_outward=inputs.now(f"{side}.shoe_outward_mm"),
    )


def hips_of(inputs: Inputs) -> HipSpacing:
    """Return the distance between the hip centres by each published way that has what it needs."""
    legs = [length for side in SIDES if (length := inputs.number(f"rider.{side}.leg_length_mm")) is not None]
    return anthropometry.hip_spacing(
        inter_asis_mm=inputs.number("rider.inter_asis_mm"),
        pelvic_depth_mm=inputs.number("rider.pelvic_depth_mm"),
        leg_length_mm=sum(legs) / len(legs) if legs else None,
    )


def choices_of(inputs: Inputs, shortfalls: dict[str, Estimate]) -> tuple[dict[str, Choice], str]:
    """Return what the parts search found per side with a wish, or why it could not search."""
    session = inputs.visit.session
    wishes = {side: getattr(session.wish, side).half_stance_change_mm for side in SIDES}
    if all(wish is None for wish in wishes.values()):
        return {}, "a wished change of half-stance"
    if session.bike.pedal_family is None:
        return {}, "the pedal family in use"
    rules = inputs.visit.house.rules
    try:
        pair = parts_search.choose(
            inputs.visit.house.parts,
            family=session.bike.pedal_family,
            **{side: _search_side(inputs, side, wishes[side], shortfalls[side]) for side in SIDES},
            rules=SearchRules(
                rider_kg=session.rider.mass_kg,
                equal_within_mm=rules.equal_widths_mm,
                least_turns=rules.least_turns,
                calliper_sd_mm=rules.spread.calliper_mm,
                lean_refuses=rules.lean_under_least == "refuse",
                same_both_sides=session.wish.same_both_sides,
                crank_length_mm=inputs.number("bike.crank_length_mm"),
                bottom_bracket_height_mm=inputs.number("bike.bottom_bracket_height_mm"),
                crank_thread_depth_mm=inputs.number("bike.crank_thread_depth_mm"),
            ),
        )
    except ValueError as error:
        return {}, f"parts and measures that agree: {error}"
    found = {side: choice for side in SIDES if (choice := getattr(pair, side)) is not None}
    for side, choice in found.items():
        if any(gap.measured is not None and not gap.holds for gap in foot_gaps(inputs, side)):
            found[side] = replace(choice, notes=(*choice.notes, _GAPS_AS_FOUND))
    return found, "a wished change"


def _search_side(inputs: Inputs, side: str, wish_mm: float | None, shortfall: Estimate) -> Side:
    bike = getattr(inputs.visit.session.bike, side)
    found = getattr(inputs.visit.session.as_found, side)
    gaps = {name: getattr(found, name) if getattr(found, name) is not None else getattr(bike, name) for name in GAPS}
    return Side(
        half_stance_change_mm=wish_mm,
        setback_shortfall_mm=shortfall.value or None,
        **{name: getattr(found, name) for name in ("spindle_id", "extender_id", "washer_mm", "extender_mm")},
        **{name: getattr(bike, name) for name in ("spindle_thread_mm", "unthreaded_tip_mm")},
        **{name: getattr(bike, name) for name in ("pedal_outer_edge_mm", "pedal_below_axle_mm")},
        **gaps,
    )


def worked_out_of(draws: Draws, side: str, stance: Stance | None, hips: HipSpacing) -> dict[str, Drawn | None]:
    """Return what the frontal lean of one side is worked out of, by the names in the table of results."""
    half, spacing = getattr(stance, side) if stance else None, hips.value_mm
    drawn = half and half.quantity and replace(draws.of(f"{side}.half_stance", half.quantity), notes=half.notes)
    apart = spacing and Drawn(spacing, anthropometry.spacing_draws(hips, draws.standard("hip_spacing")))
    return {"half_stance": drawn, "hip_spacing": apart}


def assess_stance(
    inputs: Inputs, stance: Stance | None, problem: str, hips: HipSpacing, choices: dict[str, Choice], why_not: str
) -> dict[str, Estimate]:
    """Return the results of the stance; `problem` and `why_not` say what there is none for, and no parts."""
    results = {"hip.spacing": _spacing(hips)}
    for side in SIDES:
        results[f"{side}.half_stance"] = _half_stance(inputs, side, stance, problem)
        results[f"{side}.half_stance.remaining"] = _remaining(inputs, side, choices, why_not)
    said = () if stance is None else tuple(dict.fromkeys((*stance.left.notes, *stance.right.notes, *stance.notes)))
    for name, quantity, needs in (
        ("stance.width", stance and stance.width, "half-stance of both sides"),
        ("stance.difference", stance and stance.difference, stance and stance.difference_needs),
    ):
        row = RESULTS[name]
        results[name] = row.lacking(problem or needs) if quantity is None else row.of(quantity, notes=said)
    return results


def _half_stance(inputs: Inputs, side: str, stance: Stance | None, problem: str) -> Estimate:
    row = RESULTS["half_stance"]
    if stance is None:
        return row.lacking(problem)
    half = getattr(stance, side)
    said = (inputs.fitted(side, name)[1] for name in ("spindle_to_cleat_centre_mm", "extender_mm"))
    notes = (*half.notes, *stance.notes, *(note for note in said if note))
    return row.lacking(half.needs, notes=notes) if half.quantity is None else row.of(half.quantity, notes=notes)


def _spacing(hips: HipSpacing) -> Estimate:
    row = RESULTS["hip.spacing"]
    if hips.value_mm is None:
        return row.lacking(hips.needs)
    source = f"CT line ({hips.rows[0].source}), spanned with the published models"
    notes = (anthropometry.MODELS_SHARE_INPUTS,)
    return row.of(hips.value_mm, low=hips.low_mm, high=hips.high_mm, source=source, notes=notes)


def _remaining(inputs: Inputs, side: str, choices: dict[str, Choice], why_not: str) -> Estimate:
    row = RESULTS["half_stance.remaining"]
    if getattr(inputs.visit.session.wish, side).half_stance_change_mm is None:
        return row.lacking(RESULTS["half_stance.wish"].inputs["reading"].words)
    if side not in choices:
        return row.lacking(why_not)
    source = f"exact search over family {inputs.visit.session.bike.pedal_family}; parts table's own figures"
    return row.of(choices[side].remaining_mm, source=source, notes=choices[side].notes)
