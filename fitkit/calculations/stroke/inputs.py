"""What a stroke is solved from: leg, cleat, foot pitch and bicycle; numbers, or arrays with one entry a draw."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

__all__ = ["Array", "Bike", "Chain", "Cleat", "Hip", "Leg", "Numbers", "Pitch", "column", "cos_and_sin"]

Array = NDArray[np.float64]
Numbers = float | Array

GREATEST_TABLE_GAP_DEG = 90.0  # four measured crank angles in a revolution are the least a cubic can follow


class _Checked:
    """Refuses numbers that are not finite, and lengths of bones and cranks that are not above 0."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name == "table" or is_dataclass(value):
                continue
            if not np.all(np.isfinite(value)):
                raise ValueError(f"{field.name} is {value}; expected a finite number")
            if field.name in ("thigh_mm", "shank_mm", "crank_mm") and not np.all(np.asarray(value) > 0):
                raise ValueError(f"{field.name} is {value}; expected above 0")


@dataclass(frozen=True, kw_only=True)
class Leg(_Checked):
    """One leg's segments [mm], as measured on the body."""

    thigh_mm: Numbers
    shank_mm: Numbers
    ankle_to_mtp1_mm: Numbers
    ankle_height_mm: Numbers


@dataclass(frozen=True, kw_only=True)
class Cleat(_Checked):
    """Where the foot is held: cleat setback and what lies between pedal axle and sole of the foot [mm]."""

    setback_mm: Numbers
    axle_to_foot_sole_mm: Numbers
    shim_mm: Numbers = 0.0
    adapter_stack_mm: Numbers = 0.0


@dataclass(frozen=True, kw_only=True)
class Bike(_Checked):
    """Crank length [mm] and seat-tube angle from horizontal [deg]."""

    crank_mm: Numbers
    seat_tube_angle_deg: Numbers


@dataclass(frozen=True, kw_only=True)
class Pitch(_Checked):
    """Foot pitch over the stroke: mean + amplitude sin(crank angle + phase), or a measured table; plus a habit.

    Parameters
    ----------
    mean_deg, amplitude_deg, phase_deg : float or array
        The wave [deg], heel up positive.
    table : tuple of (float, float), optional
        Crank angle and pitch [deg], measured round one revolution; a periodic cubic through it replaces the wave,
        mean and all. A gap above 90 degrees or a crank angle given twice is refused.
    habit_deg : float or array
        What the rider's habit adds to either [deg].
    """

    mean_deg: Numbers
    amplitude_deg: Numbers = 0.0
    phase_deg: Numbers = 0.0
    table: tuple[tuple[float, float], ...] | None = None
    habit_deg: Numbers = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.table is not None:
            _periodic_cubic(self.table)

    def at(self, crank_angle_deg: Numbers) -> Array:
        """Return the pitch [deg] at crank angles [deg], heel up positive."""
        if self.table is not None:
            return _periodic_cubic(self.table)(np.mod(crank_angle_deg, 360.0)) + column(self.habit_deg)
        # The sum of the angles is taken apart: draws then cost products only, no sine of their own.
        cos_crank, sin_crank = cos_and_sin(crank_angle_deg)
        cos_phase, sin_phase = cos_and_sin(column(self.phase_deg))
        amplitude, mean = column(self.amplitude_deg), column(self.mean_deg) + column(self.habit_deg)
        return (amplitude * cos_phase) * sin_crank + (amplitude * sin_phase) * cos_crank + mean


@dataclass(frozen=True, kw_only=True)
class Chain:
    """One leg on one pedal; only the hip's distance is left open."""

    leg: Leg
    cleat: Cleat
    pitch: Pitch
    bike: Bike

    @property
    def behind_mm(self) -> Numbers:
        """Ankle behind the pedal axle along the sole [mm]."""
        return self.leg.ankle_to_mtp1_mm - self.cleat.setback_mm

    @property
    def above_mm(self) -> Numbers:
        """Ankle above the pedal axle, square to the sole [mm]."""
        held = self.cleat
        return self.leg.ankle_height_mm + held.axle_to_foot_sole_mm + held.shim_mm + held.adapter_stack_mm


class Hip(NamedTuple):
    """The hip's place from the crank centre, forward and up [mm]."""

    x_mm: Numbers
    y_mm: Numbers


def column(value: Numbers) -> Array:
    """Return numbers with a last axis for the crank angle."""
    return np.asarray(value, dtype=np.float64)[..., np.newaxis]


def cos_and_sin(angle_deg: Numbers) -> tuple[Array, Array]:
    """Return cosine and sine of angles [deg] from one tangent of the half: several times faster than both in NumPy."""
    half = np.atleast_1d(angle_deg) * (np.pi / 360.0)
    np.tan(half, out=half)
    double = half * half
    double += 1.0
    np.divide(2.0, double, out=double)
    half *= double
    double -= 1.0
    return double, half


@lru_cache(maxsize=16)
def _periodic_cubic(table: tuple[tuple[float, float], ...]) -> CubicSpline:
    points = np.asarray(table, dtype=np.float64).reshape(-1, 2)
    if not len(points) or not np.all(np.isfinite(points)):
        raise ValueError(f"foot pitch table is {table}; expected pairs of crank angle and pitch in degrees")
    angle = np.mod(points[:, 0], 360.0)
    order = np.argsort(angle)
    angle, pitch = angle[order], points[order, 1]
    gaps = np.diff(angle, append=angle[0] + 360.0)
    if np.any(gaps[:-1] == 0):
        raise ValueError(f"foot pitch table gives crank angle {angle[np.argmin(gaps)]:g} twice; expected once")
    widest = np.argmax(gaps)
    if not gaps[widest] <= GREATEST_TABLE_GAP_DEG:
        raise ValueError(
            f"foot pitch table has nothing for {gaps[widest]:g} degrees after crank angle {angle[widest]:g}; "
            f"expected a point every {GREATEST_TABLE_GAP_DEG:g} degrees. Read the film there too"
        )
    return CubicSpline(np.append(angle, angle[0] + 360.0), np.append(pitch, pitch[0]), bc_type="periodic")
