"""Where the saddle is and where static rules would put it: published rules side by side.

Heights run from the crank centre to the saddle's top along the seat-tube line [mm]; knee flexion is 0 straight [deg].
The rules are shown with what they leave out; none of them turns degrees into millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit import constants
from fitkit.calculations.readings import Quantity, exact, linear

IGNORED = (
    "These rules know nothing of cleat setback, shoe and pedal stack, foot length, foot pitch or where the saddle is "
    "sat on."
)
GATTI_DF = 36  # 40 riders less four coefficients


@dataclass(frozen=True)
class HeightRule:
    """A static rule's saddle height [mm], None where it lacks an input; with its source and what must be said."""

    name: str
    saddle_height: Quantity | None
    source: str
    notes: tuple[str, ...]


def height_rules(
    inseam: Quantity, *, crank_mm: float, seat_tube_angle_deg: float, least_knee_flexion: Quantity | None
) -> tuple[HeightRule, ...]:
    """Return the saddle height [mm] by each static rule.

    Parameters
    ----------
    inseam : Quantity
        Inseam [mm].
    crank_mm, seat_tube_angle_deg : float
        Crank length [mm] and seat tube from horizontal [deg].
    least_knee_flexion : Quantity or None
        Dynamic least knee flexion [deg], which the regression asks for.

    Notes
    -----
    All from the crank centre, so that they can be compared. Intervals hold the reading's error, and for the
    regression its own error and the rounding of its printed coefficients.

    References
    ----------
    Hamley & Thomas 1967 and the rule beside it, as quoted in Peveler et al. 2005; Gatti et al. 2021.
    """
    to_spindle, to_centre = constants.SADDLE_PER_INSEAM_HAMLEY, constants.SADDLE_PER_INSEAM_FROM_CRANK_CENTRE
    return (
        HeightRule(
            f"{to_spindle.value:g} x inseam to the pedal spindle",
            linear([(to_spindle.value, inseam), (-1.0, exact(crank_mm))]),
            to_spindle.source,
            (to_spindle.note, "no spread published"),
        ),
        HeightRule(
            f"{to_centre.value:g} x inseam to the bottom bracket",
            linear([(to_centre.value, inseam)]),
            to_centre.source,
            (to_centre.note, "no spread published"),
        ),
        _regression(inseam, crank_mm, seat_tube_angle_deg, least_knee_flexion),
    )


def disagreement_mm(rules: tuple[HeightRule, ...]) -> float:
    """Return how far the rules lie apart [mm]: the highest less the lowest."""
    heights = [rule.saddle_height.value for rule in rules if rule.saddle_height is not None]
    return max(heights) - min(heights)


def _regression(inseam: Quantity, crank_mm: float, angle_deg: float, knee: Quantity | None) -> HeightRule:
    name, source = (
        "regression on inseam, knee and seat tube, to the pedal spindle",
        constants.SADDLE_GATTI_RMSE_CM.source,
    )
    if knee is None:
        return HeightRule(name, None, source, ("needs the least knee flexion while riding",))
    # Printed in cm: the two ratios stay, the rest is ten times as much in mm.
    per_inseam = constants.SADDLE_GATTI_PER_INSEAM.value + constants.SADDLE_GATTI_PER_INSEAM_AND_ANGLE.value * angle_deg
    height = linear(
        [
            (per_inseam, inseam),
            (10.0 * constants.SADDLE_GATTI_PER_KNEE_CM_PER_DEG.value, knee),
            (1.0, exact(10.0 * constants.SADDLE_GATTI_CONSTANT_CM.value - crank_mm)),
        ]
    ).plus(
        (10.0 * constants.SADDLE_GATTI_RMSE_CM.value, GATTI_DF),
        (constants.SADDLE_GATTI_ROUNDING_MM.value, math.inf),
    )
    note = "its printed coefficients carry one digit: agreement with the others is partly luck"
    return HeightRule(name, height, source, (note, "never turns degrees into millimetres"))
