"""The cleat's fore-aft place and its rotation: starting band, move, slot range, square to the axle, float.

Cleat setback runs from the first-MTP mark to the cleat's centreline along the shoe's long axis, positive toward
the heel [mm]. Angles are toes outward positive [deg].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.calculations.readings import Quantity, linear

End = Literal["high", "low", "none"]


@dataclass(frozen=True)
class Band:
    """Where to begin before the rider has been seen riding, behind the first-MTP mark [mm]; None is unknown."""

    low: float
    high: float
    point: float | None
    is_extrapolated: bool


@dataclass(frozen=True)
class Float:
    """Free rotation left from where the foot stands naturally [deg], heel inward and heel outward."""

    heel_in: Quantity
    heel_out: Quantity


def starting_band(
    size_eu: float,
    *,
    low_at_eu_40_mm: float,
    per_size_mm: float,
    high_above_low_mm: float,
    point_above_low_mm: float,
    below_point_high_mm: float,
    least_size: float,
    point_from_size: float,
    extrapolated_above_size: float,
    greatest_size: float,
) -> Band | None:
    """Return the starting band [mm] for a shoe size, None outside the sizes the rule speaks of.

    Parameters
    ----------
    size_eu : float
        Shoe size [EU sizes]; fractions are allowed.
    low_at_eu_40_mm, per_size_mm : float
        The band's low end at EU 40 [mm] and its growth [mm per EU size].
    high_above_low_mm, point_above_low_mm : float
        High end and starting point above the low end [mm].
    below_point_high_mm : float
        High end for sizes too small for a point [mm].
    least_size, point_from_size, extrapolated_above_size, greatest_size : float
        Where the rule begins, where it gives a point, where it is extrapolated, where it ends [EU sizes].

    Raises
    ------
    ValueError
        If the size is not a finite number.

    Notes
    -----
    Common practice, no source: EU 40, 10 to 15; EU 42, 13 to 18 and about 15; EU 47, more than 20. The numbers
    come from the house rules.

    Examples
    --------
    >>> rule = dict(low_at_eu_40_mm=10, per_size_mm=1.5, high_above_low_mm=5, point_above_low_mm=2,
    ...             below_point_high_mm=15, least_size=36, point_from_size=40, extrapolated_above_size=47,
    ...             greatest_size=50)
    >>> starting_band(42, **rule)
    Band(low=13.0, high=18.0, point=15.0, is_extrapolated=False)
    """
    if not math.isfinite(size_eu):
        raise ValueError(f"size_eu is {size_eu}; expected a finite EU size")
    if not least_size <= size_eu <= greatest_size:
        return None
    low = low_at_eu_40_mm + per_size_mm * (size_eu - 40)
    if size_eu < point_from_size:
        return Band(low, float(below_point_high_mm), None, False)
    return Band(low, low + high_above_low_mm, low + point_above_low_mm, size_eu > extrapolated_above_size)


def shift_to(band: Band, ends: set[End]) -> tuple[float | None, bool]:
    """Return the starting point [mm] after the house shifts, and whether they contradicted each other.

    `ends` is where the shifts that apply would begin: "none" only asks to watch; "high" with "low" cancels out. House
    rule, no source.
    """
    wanted = ends - {"none"}
    if band.point is None or not wanted:
        return band.point, False
    if len(wanted) > 1:
        return band.point, True
    return (band.high if "high" in wanted else band.low), False


def shortfall(to_greatest: Quantity | None, to_least: Quantity | None) -> tuple[float, float, float]:
    """Return how far a target lies beyond the slots [mm]: value, low, high at 95 %; toward the heel positive, 0 inside.

    Parameters
    ----------
    to_greatest, to_least : Quantity or None
        Target minus the slot's greatest and least cleat setback [mm]; None where it does not matter.

    Notes
    -----
    Derived: max(0, t - g) + min(0, t - l). The interval's ends go through the same function, which keeps order.
    """

    def beyond(sign: int) -> float:
        ends = []
        for distance, clip in ((to_greatest, max), (to_least, min)):
            if distance is not None:
                ends.append(clip(0.0, distance.value + sign * distance.half_width()))
        return math.fsum(ends)

    return beyond(0), beyond(-1), beyond(1)


def move_between_marks(new: Quantity, old: Quantity) -> Quantity:
    """Return new minus old cleat setback [mm] for two settings read from one mark in one visit.

    Both must carry the reading error only: the mark's own place is shared and drops out (JCGM 100:2008, 5.2.2).
    """
    return linear([(1, new), (-1, old)])


def square_to_axle(cleat_setback_mm, joint_to_big_toe_side_mm, toe_out_deg):
    """Return the joint's distance ahead of the pedal axle on the bicycle [mm], floats or arrays alike.

    Parameters
    ----------
    cleat_setback_mm : float or ndarray
        Along the shoe's long axis, positive toward the heel [mm].
    joint_to_big_toe_side_mm : float or ndarray
        Joint's distance to the big-toe side of the cleat's centre [mm].
    toe_out_deg : float or ndarray
        The shoe's long axis from straight ahead, toes outward positive [deg].

    Notes
    -----
    Derived: s cos t + b sin t, the forward part of (s ahead, b to the big-toe side) turned by t. Turning the toes
    outward carries the big-toe side forward.

    Examples
    --------
    >>> round(float(square_to_axle(15, 33, 6)), 3)
    18.367
    """
    toe_out = np.radians(toe_out_deg)
    return np.asarray(cleat_setback_mm) * np.cos(toe_out) + np.asarray(joint_to_big_toe_side_mm) * np.sin(toe_out)


def free_rotation(float_deg: float, natural_toe_out: Quantity, cleat_toe_out: Quantity) -> Float:
    """Return the free rotation left heel-in and heel-out from the foot's natural angle [deg].

    0 or less on a side: the foot cannot stand at its natural angle.

    Parameters
    ----------
    float_deg : float
        The pedal's whole free rotation [deg], a typed table value.
    natural_toe_out, cleat_toe_out : Quantity
        How the foot hangs, and the shoe's toe-out with the float in its middle [deg].

    Raises
    ------
    ValueError
        If `float_deg` is negative.

    Notes
    -----
    Derived: f/2 - (natural - cleat) heel-in, f/2 + (natural - cleat) heel-out. Toes further out is heel further in.
    """
    if not float_deg >= 0:
        raise ValueError(f"float_deg is {float_deg}; expected 0 or more")
    half = Quantity(float_deg / 2)
    return Float(
        linear([(1, half), (-1, natural_toe_out), (1, cleat_toe_out)]),
        linear([(1, half), (1, natural_toe_out), (-1, cleat_toe_out)]),
    )
