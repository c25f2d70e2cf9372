"""What a width costs: thread engaged, lean at which the pedal touches, toe to tyre, foot to crank, bending.

Nothing here says "pass": each function returns a measure, and the words beside it say its limit and that limit's
scope. Lengths [mm], angles [deg]; arrays are taken everywhere floats are, not-a-number meaning unknown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit import constants
from fitkit.calculations.readings import Quantity, as_quantity, linear

LEAST_LEAN_DEG = constants.LEAST_LEAN_DEG.value

LEAN_SCOPE = (
    f"{constants.LEAST_LEAN_DEG.source}, a United States rule for bicycles as sold: with the pedals horizontal and the "
    f"crank at its lowest the bicycle tilts at least {LEAST_LEAN_DEG:g} degrees before anything but a tyre touches. "
    "Track and one-of-a-kind bicycles are exempt. It binds the maker, not the fitter; here it is the only published "
    "figure to compare with. The tyre is taken as a thin disc: a wider tyre touches a little later."
)
TOE_SCOPE = (
    f"{constants.LEAST_TOE_CLEARANCE_MM.source}, a United States rule for bicycles without foot retention: at least "
    f"{constants.LEAST_TOE_CLEARANCE_MM.value:g} mm from the pedal's centre forward to the arc of tyre or mudguard. "
    "It says nothing of a shoe held on the pedal and does not exclude contact: measure toe to tyre."
)


@dataclass(frozen=True)
class Turns:
    """Turns of thread engaged [turns]; None while `needs` names what is not measured."""

    value: float | None
    needs: str | None
    notes: tuple[str, ...]


def turns_engaged(
    *,
    spindle_thread_mm,
    unthreaded_tip_mm,
    washer_mm,
    crank_thread_depth_mm,
    extender_mm=0.0,
    extender_thread_mm=math.nan,
):
    """Return the turns of pedal thread engaged [turns], not below 0, of the lesser joint where there is an extender.

    Not-a-number while something it hangs on is unknown.

    Parameters
    ----------
    spindle_thread_mm, unthreaded_tip_mm : float or ndarray
        Length of the spindle's thread, and of its end without thread [mm].
    washer_mm : float or ndarray
        Thickness of all washers [mm]. With an extender it is taken off both joints, since it may sit at either.
    crank_thread_depth_mm : float or ndarray
        Depth of the crank's thread [mm].
    extender_mm : float or ndarray
        What an extender adds [mm]; 0 is none.
    extender_thread_mm : float or ndarray
        The extender's thread, its outer and its inner one alike [mm].

    Notes
    -----
    Derived: max(0, min(thread - tip - washer, depth)) / pitch.

    References
    ----------
    JIS B 0225-1960: 9/16 in, 20 threads per inch, pitch 1.270 mm.

    Examples
    --------
    >>> round(float(turns_engaged(spindle_thread_mm=14, unthreaded_tip_mm=0, washer_mm=2, crank_thread_depth_mm=13)), 3)
    9.449
    """
    male_mm = np.subtract(spindle_thread_mm, unthreaded_tip_mm) - washer_mm
    in_crank_mm = np.minimum(male_mm, crank_thread_depth_mm)
    with_extender_mm = np.minimum(
        np.minimum(male_mm, extender_thread_mm),
        np.minimum(np.subtract(extender_thread_mm, washer_mm), crank_thread_depth_mm),
    )
    engaged_mm = np.where(np.greater(extender_mm, 0), with_extender_mm, in_crank_mm)
    return np.maximum(engaged_mm, 0.0) / constants.PEDAL_THREAD_PITCH_MM.value


def thread_turns(
    *,
    spindle_thread_mm: float | None,
    unthreaded_tip_mm: float | None,
    washer_mm: float | None,
    crank_thread_depth_mm: float | None,
    extender_mm: float | None,
    extender_thread_mm: float | None,
) -> Turns:
    """Return the turns engaged on one side, or what they need.

    Parameters are those of `turns_engaged` [mm]; None is not measured. Washer, extender and tip recorded nowhere count
    as 0, said; a tip that is there but not recorded makes the real number smaller.

    Raises
    ------
    ValueError
        For a negative length.
    """
    lengths = {
        "spindle_thread_mm": spindle_thread_mm,
        "unthreaded_tip_mm": unthreaded_tip_mm,
        "washer_mm": washer_mm,
        "crank_thread_depth_mm": crank_thread_depth_mm,
        "extender_mm": extender_mm,
        "extender_thread_mm": extender_thread_mm,
    }
    for name, value in lengths.items():
        if value is not None and not 0 <= value < math.inf:
            raise ValueError(f"{name} is {value}; expected 0 or more. Measure it again.")
    notes = [
        f"{words} not recorded: counted as 0"
        for words, value in (("washer", washer_mm), ("unthreaded tip", unthreaded_tip_mm))
        if value is None
    ]
    wanted = {"spindle thread": spindle_thread_mm, "crank thread depth": crank_thread_depth_mm}
    if extender_mm:
        wanted["the extender's thread"] = extender_thread_mm
        notes.append("with an extender: the lesser of its two joints" + (", washer at either" if washer_mm else ""))
    missing = [words for words, value in wanted.items() if value is None]
    if missing:
        return Turns(None, ", ".join(missing), tuple(notes))
    return Turns(float(turns_engaged(**{name: value or 0.0 for name, value in lengths.items()})), None, tuple(notes))


def lean_deg(*, bottom_bracket_height_mm, crank_length_mm, pedal_below_axle_mm, pedal_outer_edge_mm, added_mm=0.0):
    """Return the lean from upright at which the lowered pedal touches the ground [deg], beside `LEAN_SCOPE`.

    Parameters
    ----------
    bottom_bracket_height_mm, crank_length_mm, pedal_below_axle_mm : float or ndarray
        Crank centre above the floor, crank, and the level pedal's lowest part below its axle [mm].
    pedal_outer_edge_mm : float or ndarray
        From the frame's centreline, as found [mm].
    added_mm : float or ndarray
        What parts fitted since add outward [mm].

    Raises
    ------
    ValueError
        If the pedal would reach the floor upright, or its edge does not lie outward of the centreline.

    Notes
    -----
    Derived: atan((bottom bracket - crank - pedal below axle) / outer edge): the bicycle turns about the line where
    its thin tyres stand, and the pedal's outer edge comes down to the floor.

    Examples
    --------
    >>> round(float(lean_deg(bottom_bracket_height_mm=268, crank_length_mm=172.5, pedal_below_axle_mm=12,
    ...                      pedal_outer_edge_mm=168)), 2)
    26.43
    """
    height_mm = np.subtract(bottom_bracket_height_mm, crank_length_mm) - pedal_below_axle_mm
    if not np.all(np.isnan(height_mm) | (height_mm > 0)):
        raise ValueError(
            f"bottom_bracket_height_mm is {bottom_bracket_height_mm}; expected more than crank_length_mm "
            f"{crank_length_mm} and pedal_below_axle_mm {pedal_below_axle_mm} together. Measure the three again."
        )
    if not np.all(np.isnan(pedal_outer_edge_mm) | np.greater(pedal_outer_edge_mm, 0)):
        raise ValueError(f"pedal_outer_edge_mm is {pedal_outer_edge_mm}; expected above 0, from the centreline")
    return np.degrees(np.arctan2(height_mm, np.add(pedal_outer_edge_mm, added_mm)))


def lean_words(lean: float) -> str:
    """Return a lean [deg] in words, compared with 16 CFR 1512.17(c); never "pass"."""
    side = "more than" if lean > LEAST_LEAN_DEG else "exactly" if lean == LEAST_LEAN_DEG else "less than"
    return f"touches at {lean:.1f} degrees, {side} the {LEAST_LEAN_DEG:g} of {constants.LEAST_LEAN_DEG.source}"


def toe_gap(*, axle_to_tyre_mm: Quantity | float, axle_to_toe_mm: Quantity | float) -> Quantity:
    """Return the gap between toe and tyre as found [mm]; negative is overlap. Derived: axle to tyre - axle to toe.

    Parameters
    ----------
    axle_to_tyre_mm, axle_to_toe_mm : Quantity or float
        Pedal axle forward to the tyre turned toward it, and to the shoe's tip [mm].
    """
    return linear([(1, as_quantity(axle_to_tyre_mm)), (-1, as_quantity(axle_to_toe_mm))])


def toe_gap_after(gap: Quantity, move_mm: Quantity | float) -> Quantity:
    """Return the gap between toe and tyre once the cleat has moved [mm]; negative is overlap. Derived: gap - move.

    Parameters
    ----------
    gap : Quantity
        From `toe_gap` [mm].
    move_mm : Quantity or float
        New minus old cleat setback, toward the heel positive [mm]: the shoe goes forward by as much.
    """
    return linear([(1, gap), (-1, as_quantity(move_mm))])


def gap_words(gap_mm: float) -> str:
    """Return a gap [mm] in words to the millimetre: "overlap 2 mm", "touches", "gap 5 mm"; never "pass"."""
    if gap_mm == 0:
        return "touches"
    size = f"{abs(gap_mm):.0f} mm" if abs(gap_mm) >= 1 else "under 1 mm"
    return f"overlap {size}" if gap_mm < 0 else f"gap {size}"


def bending_ratio(added_mm):
    """Return the bending at the crank face with a longer force arm, as a ratio to that without [1].

    Parameters
    ----------
    added_mm : float or ndarray
        What stands between crank face and pedal [mm].

    Raises
    ------
    ValueError
        If `added_mm` is negative.

    Notes
    -----
    Derived: (65 + added) / 65, the same force on a longer arm.

    References
    ----------
    ISO 4210-8: a force arm of 65 mm at the crank face in the fatigue test's load.

    Examples
    --------
    >>> round(float(bending_ratio(20)), 2)
    1.31
    """
    if not np.all(np.greater_equal(added_mm, 0)):
        raise ValueError(f"added_mm is {added_mm}; expected 0 or more")
    arm_mm = constants.CRANK_FORCE_ARM_MM.value
    return np.add(arm_mm, added_mm) / arm_mm


def bending_words(added_mm: float) -> str:
    """Return in words what `added_mm` [mm] between crank face and pedal does to the crank."""
    percent = 100 * (float(bending_ratio(added_mm)) - 1)
    return (
        f"{added_mm:g} mm raises the bending at the crank face by {percent:.0f} % "
        f"({constants.CRANK_FORCE_ARM_MM.source}): ask the crank's maker, and mind the rider's mass."
    )
