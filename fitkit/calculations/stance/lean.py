"""How the line from hip to foot leans seen from the front; it describes and chooses nothing."""

from __future__ import annotations

import numpy as np

__all__ = ["LEAN_DESCRIBES", "frontal_lean_deg", "hip_height_mm", "lean_per_mm_deg"]

LEAN_DESCRIBES = "The lean describes where hip and foot are; it chooses no width."


def hip_height_mm(hip_distance_mm, seat_tube_angle_deg):
    """Return the hip's height above the crank centre [mm] from its distance along the seat-tube line.

    Parameters
    ----------
    hip_distance_mm : float or ndarray
        Crank centre to hip [mm].
    seat_tube_angle_deg : float or ndarray
        From the level [deg].

    Notes
    -----
    Derived: distance x sin(angle).
    """
    return np.multiply(hip_distance_mm, np.sin(np.radians(seat_tube_angle_deg)))


def frontal_lean_deg(*, half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm):
    """Return how far the line from hip to foot leans, crank at its lowest [deg]; foot outside the hip is positive.

    Parameters
    ----------
    half_stance_mm, hip_spacing_mm : float or ndarray
        The foot from the centreline; between the hip centres [mm].
    hip_height_mm, crank_length_mm : float or ndarray
        Hip above the crank centre; crank [mm].

    Returns
    -------
    float or ndarray
        [deg]. `LEAN_DESCRIBES` belongs beside it.

    Notes
    -----
    Derived: atan((half-stance - spacing / 2) / (hip height + crank)).

    Examples
    --------
    >>> round(float(frontal_lean_deg(half_stance_mm=126, hip_spacing_mm=160, hip_height_mm=780,
    ...                              crank_length_mm=172.5)), 2)
    2.76
    """
    out_mm, down_mm = _out_and_down(half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm)
    return np.degrees(np.arctan2(out_mm, down_mm))


def lean_per_mm_deg(*, half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm):
    """Return what 1 mm more half-stance adds to the lean [deg per mm]; parameters as in `frontal_lean_deg`.

    Notes
    -----
    Derived: d atan(x / h) / dx = h / (h^2 + x^2). 1 mm on each side adds 2 mm of stance width.
    """
    out_mm, down_mm = _out_and_down(half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm)
    return np.degrees(down_mm / (down_mm**2 + out_mm**2))


def _out_and_down(half_stance_mm, hip_spacing_mm, hip_height_mm, crank_length_mm):
    down_mm = np.add(hip_height_mm, crank_length_mm)
    if not np.all(np.isnan(down_mm) | (down_mm > 0)):
        raise ValueError(f"hip_height_mm is {hip_height_mm}; expected the hip above the lowered pedal")
    return np.subtract(half_stance_mm, np.divide(hip_spacing_mm, 2)), down_mm
