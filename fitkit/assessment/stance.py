"""Where the feet stand sideways, how far apart the hips are, and what a wished width would need."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from fitkit.assessment.clearances import GAPS, foot_gaps
from fitkit.assessment.cleats import Foot
from fitkit.assessment.inputs import Draws, Inputs, estimate_from
from fitkit.assessment.legs import HipHeight
from fitkit.calculations import anthropometry
from fitkit.calculations import parts as parts_search
from fitkit.calculations import stance as stances
from fitkit.calculations.anthropometry import HipSpacing
from fitkit.calculations.parts import Choice, SearchRules, Side
from fitkit.calculations.readings import Quantity
from fitkit.calculations.stance import Stance
from fitkit.estimate import Estimate, known, missing

__all__ = ["Standing", "assess_standing"]

SIDES = ("left", "right")
_HALF_STANCE_SOURCE = "crank face + washer + extender + spindle to cleat centre + shoe outward, current position"
_GAPS_AS_FOUND = (
    "gaps between foot and crank count as they were as found; the foot stands otherwise now: measure them again"
)


@dataclass(frozen=True)
class Standing:
    """What the assessment says of the stance, beyond its named results."""

    stance: Stance | None
    hips: HipSpacing
    choices: dict[str, Choice]
    results: dict[str, Estimate] = field(default_factory=dict)


def assess_standing(
    inputs: Inputs, draws: Draws, feet: dict[str, Foot], hip_height: dict[str, HipHeight | str]
) -> Standing:
    """Return the stance results."""
    stance, problem = _stance(inputs)
    hips = _hips(inputs)
    results = {**_widths(inputs, stance, problem), "hip.spacing": _spacing(hips)}
    for side in SIDES:
        results[f"{side}.frontal_lean"] = _lean(inputs, draws, side, stance, hips, hip_height[side])
    choices, why_not = _choices(inputs, feet)
    results |= _wishes(inputs, choices, why_not)
    return Standing(stance, hips, choices, results)


def _stance(inputs: Inputs) -> tuple[Stance | None, str]:
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


def _widths(inputs: Inputs, stance: Stance | None, problem: str) -> dict[str, Estimate]:
    names = ("stance.width", "stance.difference")
    if stance is None:
        sided = {f"{side}.half_stance": missing(problem) for side in SIDES}
        return {**sided, **{name: missing(problem) for name in names}}
    results = {}
    for side in SIDES:
        half = getattr(stance, side)
        estimate = missing(half.needs) if half.quantity is None else _derived(half.quantity, _HALF_STANCE_SOURCE)
        said = tuple(
            note for name in ("spindle_to_cleat_centre_mm", "extender_mm") if (note := inputs.fitted(side, name)[1])
        )
        results[f"{side}.half_stance"] = replace(estimate, notes=(*half.notes, *stance.notes, *said))
    said = tuple(dict.fromkeys((*stance.left.notes, *stance.right.notes, *stance.notes)))
    sums = zip(
        names,
        (stance.width, stance.difference),
        ("half-stance of both sides", stance.difference_needs),
        ("left plus right half-stance", "left minus right half-stance"),
        strict=True,
    )
    for name, quantity, needs, source in sums:
        results[name] = missing(needs) if quantity is None else replace(_derived(quantity, source), notes=said)
    return results


def _derived(quantity: Quantity, source: str) -> Estimate:
    return known(quantity.value, unit="mm", grade="derived", source=source, half_width=quantity.half_width())


def _hips(inputs: Inputs) -> HipSpacing:
    legs = [length for side in SIDES if (length := inputs.number(f"rider.{side}.leg_length_mm")) is not None]
    return anthropometry.hip_spacing(
        inter_asis_mm=inputs.number("rider.inter_asis_mm"),
        pelvic_depth_mm=inputs.number("rider.pelvic_depth_mm"),
        leg_length_mm=sum(legs) / len(legs) if legs else None,
    )


def _spacing(hips: HipSpacing) -> Estimate:
    if hips.value_mm is None:
        return missing(hips.needs)
    return known(
        hips.value_mm,
        unit="mm",
        grade="published",
        source=f"CT line ({hips.rows[0].source}), spanned with the published models",
        low=hips.low_mm,
        high=hips.high_mm,
        notes=(anthropometry.MODELS_SHARE_INPUTS,),
    )


def _lean(
    inputs: Inputs, draws: Draws, side: str, stance: Stance | None, hips: HipSpacing, height: HipHeight | str
) -> Estimate:
    crank = inputs.number("bike.crank_length_mm")
    half = getattr(stance, side).quantity if stance else None
    needs = {"half-stance": half, "hip spacing (inter-ASIS distance)": hips.value_mm, "crank length": crank}
    lacking = [need for need, found in needs.items() if found is None]
    lacking += [height] if isinstance(height, str) else []
    if lacking:
        return missing(lacking[0], unit="deg")

    def lean(half_stance, spacing, hip_height):
        return stances.frontal_lean_deg(
            half_stance_mm=half_stance, hip_spacing_mm=spacing, hip_height_mm=hip_height, crank_length_mm=crank
        )

    value = float(lean(half.value, hips.value_mm, height.value_mm))
    drawn = lean(
        draws.of(f"{side}.half_stance", half),
        anthropometry.spacing_draws(hips, draws.standard("hip_spacing")),
        height.drawn_mm,
    )
    source = "atan((half-stance - hip spacing / 2) / (hip height + crank)), crank at its lowest"
    notes = (stances.LEAN_DESCRIBES, *getattr(stance, side).notes, *height.notes)
    return estimate_from(value, drawn, unit="deg", grade="derived", source=source, notes=notes)


def _choices(inputs: Inputs, feet: dict[str, Foot]) -> tuple[dict[str, Choice], str]:
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
            **{side: _search_side(inputs, side, wishes[side], feet[side]) for side in SIDES},
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


def _search_side(inputs: Inputs, side: str, wish_mm: float | None, foot: Foot) -> Side:
    bike = getattr(inputs.visit.session.bike, side)
    found = getattr(inputs.visit.session.as_found, side)
    short = foot.results[f"{side}.cleat_setback.shortfall"]
    gaps = {name: getattr(found, name) if getattr(found, name) is not None else getattr(bike, name) for name in GAPS}
    return Side(
        half_stance_change_mm=wish_mm,
        setback_shortfall_mm=short.value or None,
        spindle_id=found.spindle_id,
        extender_id=found.extender_id,
        washer_mm=found.washer_mm,
        extender_mm=found.extender_mm,
        spindle_thread_mm=bike.spindle_thread_mm,
        unthreaded_tip_mm=bike.unthreaded_tip_mm,
        pedal_outer_edge_mm=bike.pedal_outer_edge_mm,
        pedal_below_axle_mm=bike.pedal_below_axle_mm,
        **gaps,
    )


def _wishes(inputs: Inputs, choices: dict[str, Choice], why_not: str) -> dict[str, Estimate]:
    results = {}
    for side in SIDES:
        wish = getattr(inputs.visit.session.wish, side).half_stance_change_mm
        names = (f"{side}.half_stance.wish", f"{side}.half_stance.remaining")
        if wish is None:
            results |= {name: missing("a wished change of half-stance") for name in names}
            continue
        results[names[0]] = known(wish, unit="mm", grade="house rule", source="the fitter's own wish")
        if side not in choices:
            results[names[1]] = missing(why_not)
            continue
        choice = choices[side]
        source = f"exact search over family {inputs.visit.session.bike.pedal_family}; parts table's own figures"
        results[names[1]] = known(choice.remaining_mm, unit="mm", grade="derived", source=source, notes=choice.notes)
    return results
