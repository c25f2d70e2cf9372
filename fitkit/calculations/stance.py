"""Where each foot stands sideways: half-stance, stance width and difference, frontal lean, widths that could be tried.

Half-stance runs from the frame's centreline to the shoe's long axis at the cleat, outward positive [mm]. No
publication gives a stance width as a formula of the pelvis: nothing here chooses or ranks a width.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.calculations.readings import Quantity, as_quantity, linear

UNEVEN = "uneven cranks"

_Term = tuple[float, str, Quantity]


@dataclass(frozen=True)
class SideLengths:
    """What was measured of one side's width [mm]; None is not measured."""

    crank_face: Quantity | None = None  # frame's centreline to the crank's outer face
    washer_mm: Quantity | float | None = None  # lengths between crank face and spindle
    extender_mm: Quantity | float | None = None
    spindle_to_cleat_centre: Quantity | float | None = None  # crank face to the cleat's centre
    shoe_outward: Quantity | None = None  # the shoe's long axis outside the cleat's centre, play in its middle


@dataclass(frozen=True)
class HalfStance:
    """One side's half-stance [mm], the lengths it is the sum of, what it needs and what must be said beside it."""

    quantity: Quantity | None
    terms: tuple[_Term, ...]
    needs: str | None
    notes: tuple[str, ...]

    @property
    def lengths_mm(self) -> tuple[tuple[str, float], ...]:
        """Each part as a labelled length [mm], from the centreline outward."""
        return tuple((name, factor * quantity.value) for factor, name, quantity in self.terms if name != UNEVEN)


@dataclass(frozen=True)
class Stance:
    """Both sides, their sum and left minus right [mm]; None while a side is not known. Notes concern both sides.

    `difference` is None as well where no crank face was measured; `difference_needs` says what it needs.
    """

    left: HalfStance
    right: HalfStance
    width: Quantity | None
    difference: Quantity | None
    difference_needs: str | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Candidate:
    """A width that could be tried [mm], and what it would change on each side, outward positive [mm]."""

    name: str
    width_mm: float
    left_change_mm: float
    right_change_mm: float


def stance(*, left: SideLengths, right: SideLengths, q_factor: Quantity | None, uneven_crank_sd_mm: float) -> Stance:
    """Return half-stance on each side, stance width and their difference.

    Parameters
    ----------
    left, right : SideLengths
        What was measured of each side [mm].
    q_factor : Quantity or None
        Between the outer faces of the crank arms at the pedal threads [mm].
    uneven_crank_sd_mm : float
        House SD of a crank face about half the Q factor [mm], where no face was measured.

    Returns
    -------
    Stance
        Quantities [mm] with what was assumed in words. Width and difference count a length both sides share once.

    Raises
    ------
    ValueError
        For a length that is not above 0 where it must be, or a crank face wider than the whole Q factor.

    Notes
    -----
    Derived: crank face + washer + extender + spindle to cleat centre + shoe outward. A face not measured is the Q
    factor less the other side's, and without either half the Q factor, widened for uneven cranks: what one side lies
    further out by, the other lies further in, so that the width keeps the Q factor's own error.

    Examples
    --------
    >>> side = SideLengths(crank_face=as_quantity(73), washer_mm=0, extender_mm=0, spindle_to_cleat_centre=53,
    ...                    shoe_outward=as_quantity(0))
    >>> stance(left=side, right=side, q_factor=None, uneven_crank_sd_mm=1.0).width.value
    252.0
    """
    for name, quantity in (("left", left.crank_face), ("right", right.crank_face), ("q_factor_mm", q_factor)):
        if quantity is not None and not 0 < quantity.value < math.inf:
            where = name if name == "q_factor_mm" else f"{name}.crank_face_to_centreline_mm"
            raise ValueError(f"{where} is {quantity.value}; expected above 0. Measure it again.")
    uneven = Quantity(0.0, ((uneven_crank_sd_mm, math.inf),))
    sides = [
        _half_stance(own, _face(side, own.crank_face, other.crank_face, q_factor, uneven))
        for side, own, other in (("left", left, right), ("right", right, left))
    ]
    width, needs = _combined(sides, (1, 1)), None
    if width is None:
        needs = "half-stance of both sides"
    elif left.crank_face is None and right.crank_face is None:
        needs = "crank faces"
    return Stance(
        *sides,
        width=width,
        difference=None if needs else _combined(sides, (1, -1)),
        difference_needs=needs,
        notes=_faces_against_q(left.crank_face, right.crank_face, q_factor),
    )


def _face(
    side: str, own: Quantity | None, other: Quantity | None, q_factor: Quantity | None, uneven: Quantity
) -> tuple[tuple[_Term, ...], str]:
    """Return the terms of one side's crank face and what was assumed; no terms where it is not known."""
    other_side = "right" if side == "left" else "left"
    if own is not None:
        return ((1.0, f"{side} crank face", own),), ""
    if q_factor is None:
        return (), ""
    if other is None:
        sd_mm = uneven.u
        note = f"{side} crank face not measured: half the Q factor, give or take uneven cranks (SD {sd_mm:g} mm a side)"
        return ((0.5, "Q factor", q_factor), (1.0 if side == "left" else -1.0, UNEVEN, uneven)), note
    if not q_factor.value > other.value:
        raise ValueError(
            f"q_factor_mm is {q_factor.value}; expected more than the {other_side} crank face, {other.value}. "
            "Measure both again."
        )
    note = f"{side} crank face not measured: the Q factor less the {other_side} one"
    return ((1.0, "Q factor", q_factor), (-1.0, f"{other_side} crank face", other)), note


def _half_stance(lengths: SideLengths, face: tuple[tuple[_Term, ...], str]) -> HalfStance:
    terms, note = face
    notes = [note] if note else []
    wanted = [] if terms else ["crank face to centreline or Q factor"]
    terms = list(terms)
    for name, length in (("washer", lengths.washer_mm), ("extender", lengths.extender_mm)):
        if length is None:
            notes.append(f"{name} not recorded: counted as 0")
        elif not 0 <= as_quantity(length).value < math.inf:
            raise ValueError(f"{name}_mm is {as_quantity(length).value}; expected 0 or more")
        elif as_quantity(length).value:
            terms.append((1.0, name, as_quantity(length)))
    if lengths.spindle_to_cleat_centre is None:
        wanted.append("spindle to cleat centre")
    else:
        terms.append((1.0, "spindle to cleat centre", as_quantity(lengths.spindle_to_cleat_centre)))
    if lengths.shoe_outward is None:
        notes.append("side position of the cleat not measured: counted as 0")
    else:
        terms.append((1.0, "shoe outward", lengths.shoe_outward))
    if wanted:
        return HalfStance(None, (), " and ".join(wanted), tuple(notes))
    return HalfStance(linear((c, quantity) for c, _, quantity in terms), tuple(terms), None, tuple(notes))


def _combined(sides: list[HalfStance], signs: tuple[int, int]) -> Quantity | None:
    """Return the signed sum of both sides; a quantity that stands in both is put in one term."""
    if any(side.quantity is None for side in sides):
        return None
    shared: dict[tuple, tuple[float, Quantity]] = {}
    for at, (sign, side) in enumerate(zip(signs, sides, strict=True)):
        for coefficient, name, quantity in side.terms:
            # Faces and Q factor carry their own names on either side; the other lengths are each side's own.
            key = (name,) if name in ("Q factor", UNEVEN) or name.endswith("crank face") else (name, at)
            shared[key] = (shared.get(key, (0.0, quantity))[0] + sign * coefficient, quantity)
    return linear(shared.values())


def _faces_against_q(left: Quantity | None, right: Quantity | None, q_factor: Quantity | None) -> tuple[str, ...]:
    if q_factor is None and (left is None) != (right is None):
        measured, missing = ("right", "left") if left is None else ("left", "right")
        return (f"crank face measured on the {measured} only: measure the {missing} one or the Q factor",)
    if left is None or right is None or q_factor is None:
        return ()
    apart = linear([(1, left), (1, right), (-1, q_factor)])
    if abs(apart.value) <= apart.half_width():
        return ()
    return (
        f"the crank faces come to {left.value + right.value:.1f} mm, the Q factor is {q_factor.value:.1f}: "
        f"{abs(apart.value):.1f} apart, more than their errors ({apart.half_width():.1f}). Measure all three again; "
        "the faces are used.",
    )


def candidates(
    width_mm: float, *, foot_hang_mm: float | None, left_wish_mm: float | None, right_wish_mm: float | None
) -> tuple[Candidate, ...]:
    """Return the widths that could be tried, in no order of merit: as found, feet as they hang, the fitter's own.

    Parameters
    ----------
    width_mm : float
        Stance width as found [mm].
    foot_hang_mm : float or None
        Between the middles of the feet as they hang [mm].
    left_wish_mm, right_wish_mm : float or None
        The fitter's own change of half-stance [mm].

    Notes
    -----
    Derived. Feet as they hang are shared out evenly over both sides.
    """
    found = [Candidate("as found", width_mm, 0.0, 0.0)]
    if foot_hang_mm is not None:
        half_mm = (foot_hang_mm - width_mm) / 2
        found.append(Candidate("feet as they hang", foot_hang_mm, half_mm, half_mm))
    if left_wish_mm is not None or right_wish_mm is not None:
        left_mm, right_mm = left_wish_mm or 0.0, right_wish_mm or 0.0
        found.append(Candidate("the fitter's own", width_mm + left_mm + right_mm, left_mm, right_mm))
    return tuple(found)


LEAN_DESCRIBES = "The lean describes where hip and foot are; it chooses no width."


def hip_height_mm(hip_distance_mm, seat_tube_angle_deg):
    """Return the hip's height above the crank centre [mm] from its distance along the seat-tube line [mm].

    Derived: distance x sin(angle), the angle from the level [deg]; floats or arrays alike.
    """
    return np.multiply(hip_distance_mm, np.sin(np.radians(seat_tube_angle_deg)))


def frontal_lean_deg(*, half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm):
    """Return how far the line from hip to foot leans, crank at its lowest [deg]; foot outside the hip is positive.

    `LEAN_DESCRIBES` belongs beside it.

    Parameters
    ----------
    half_stance_mm, hip_spacing_mm : float or ndarray
        The foot from the centreline; between the hip centres [mm].
    hip_height_mm, crank_length_mm : float or ndarray
        Hip above the crank centre; crank [mm].

    Notes
    -----
    Derived: atan((half-stance - spacing / 2) / (hip height + crank)).

    Examples
    --------
    >>> round(float(frontal_lean_deg(half_stance_mm=126, hip_spacing_mm=160, hip_height_mm=780,
    ...                              crank_length_mm=172.5)), 2)
    2.76
    """
    down_mm = np.add(hip_height_mm, crank_length_mm)
    if not np.all(np.isnan(down_mm) | (down_mm > 0)):
        raise ValueError(f"hip_height_mm is {hip_height_mm}; expected the hip above the lowered pedal")
    return np.degrees(np.arctan2(np.subtract(half_stance_mm, np.divide(hip_spacing_mm, 2)), down_mm))
