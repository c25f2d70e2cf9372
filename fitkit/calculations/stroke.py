r"""The leg on the crank, seen from its right side: hip, thigh, shank, foot and cleat as a closed chain.

Conventions, for everything in this module and in `knock_on` (drawn at crank angle 90, pitch 0)::

       hip o-._                       x forward, y up, crank centre 0 [mm]
            \  `-._  thigh            hip on the seat-tube line through the crank centre
             \     `-._               thigh 0 hanging straight down, knee forward positive [deg]
              \        `o knee        knee flexion 0 straight, the knee pointing forward [deg]
     seat tube \       /              crank angle 0 at the top, 90 forward, 180 at the bottom [deg]
                \     / shank         foot pitch: sole from horizontal, heel up positive [deg]
                 \   o ankle          behind = ankle to MTP1 - cleat setback, along the sole [mm]
                  \  | above          above = ankle height + axle to foot sole + shim + adapter stack,
     crank centre  o-'---behind---o axle      square to the sole [mm]

The axle is at (crank sin, crank cos) of the crank angle, and the ankle at
    x = axle x - behind cos(pitch) + above sin(pitch)
    y = axle y + behind sin(pitch) + above cos(pitch).
A cleat moved back makes `behind` smaller: the ankle goes forward and, heel up, down. Everything is closed form;
fields are numbers, or arrays with one entry a draw. Results then have the crank angle as their last axis. Throughout,
`chain` is the leg on its pedal, `hip` its centre [mm], `crank_angle_deg` a number or an array, and `path` the ankle's
path [mm] at `crank_angles` of any number, where it is known already.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

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
class BikeGeometry(_Checked):
    """Crank length [mm] and seat-tube angle from horizontal [deg]."""

    crank_mm: Numbers
    seat_tube_angle_deg: Numbers


@dataclass(frozen=True, kw_only=True)
class Pitch(_Checked):
    """Foot pitch over the stroke, heel up positive: mean + amplitude sin(crank angle + phase), or a measured table."""

    mean_deg: Numbers
    amplitude_deg: Numbers = 0.0
    phase_deg: Numbers = 0.0
    # Crank angle and pitch [deg], measured round one revolution; a periodic cubic through it replaces the wave, mean
    # and all. A gap above 90 degrees or a crank angle given twice is refused.
    table: tuple[tuple[float, float], ...] | None = None
    habit_deg: Numbers = 0.0  # what the rider's habit adds to either

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
    bike: BikeGeometry

    @property
    def behind_mm(self) -> Numbers:
        """Ankle behind the pedal axle along the sole [mm]."""
        return self.leg.ankle_to_mtp1_mm - self.cleat.setback_mm

    @property
    def above_mm(self) -> Numbers:
        """Ankle above the pedal axle, square to the sole [mm]."""
        held = self.cleat
        return self.leg.ankle_height_mm + held.axle_to_foot_sole_mm + held.shim_mm + held.adapter_stack_mm


class HipCentre(NamedTuple):
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
def _periodic_cubic(table: tuple[tuple[float, float], ...]) -> Callable[[Numbers], Array]:
    from scipy.interpolate import CubicSpline  # few tables are measured, and its import makes each form wait

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


STEPS = 360  # crank angles in a revolution; extremes are then refined between them
ROUNDING_MM = 1e-6
DEGREES = 180.0 / np.pi


class OutOfReach(ValueError):  # noqa: N818 - it says what is the matter, as a sentence does
    """The leg does not reach its pedal: by how much [mm] and at which crank angle [deg]."""

    def __init__(self, by_mm: float, crank_angle_deg: float) -> None:
        self.by_mm, self.crank_angle_deg = float(by_mm), float(crank_angle_deg)
        super().__init__(
            f"leg out of reach by {self.by_mm:.1f} mm at crank angle {self.crank_angle_deg:.0f} degrees; expected "
            "0 all round. Check thigh, shank, saddle height and foot pitch"
        )


@dataclass(frozen=True)
class Pose:
    """Joint angles [deg] and places [mm] at each crank angle."""

    knee_flexion_deg: Array
    thigh_deg: Array
    knee_x_mm: Array
    knee_y_mm: Array
    ankle_x_mm: Array
    ankle_y_mm: Array


def crank_angles(steps: int = STEPS) -> Array:
    """Return evenly spaced crank angles [deg] of one revolution, the top first."""
    return np.arange(steps) * (360.0 / steps)


def ankle_path(chain: Chain, crank_angle_deg: Numbers) -> tuple[Array, Array]:
    """Return the ankle's place at each crank angle, forward and upward from the crank centre [mm].

    Notes
    -----
    Derived, see the module's drawing.
    """
    x, y, product = np.empty((3, *_shape(chain, None, crank_angle_deg)))
    _follow_ankle(chain, crank_angle_deg, x, y, product)
    return x, y


def hip_on_tube(distance_mm: Numbers, *, seat_tube_angle_deg: Numbers) -> HipCentre:
    """Return the hip at a distance from the crank centre [mm] along the seat tube at its angle [deg]."""
    angle = np.deg2rad(seat_tube_angle_deg)
    return HipCentre(-distance_mm * np.cos(angle), distance_mm * np.sin(angle))


def hip_to_ankle(leg: Leg, knee_flexion_deg: Numbers) -> Numbers:
    """Return the distance hip to ankle [mm] at a knee flexion [deg], by the law of cosines."""
    thigh, shank = leg.thigh_mm, leg.shank_mm
    return np.sqrt(thigh * thigh + shank * shank + 2.0 * thigh * shank * np.cos(np.deg2rad(knee_flexion_deg)))


def solve_pose(chain: Chain, *, hip: HipCentre, crank_angle_deg: Numbers) -> Pose:
    """Return joint angles [deg] and places [mm] at each crank angle; out of reach the knee is straight.

    Notes
    -----
    Law of cosines for the knee. With the hip-to-ankle vector w as a complex number and knee flexion k,
    w = e^(it) (thigh + shank e^(-ik)) gives the thigh's direction t without a case to tell apart.
    """
    hip_x, hip_y, thigh, shank = map(column, (*hip, chain.leg.thigh_mm, chain.leg.shank_mm))
    # One block for all results, and most steps in place: fetching memory would take longer than the sums.
    knee, direction, knee_x, knee_y, ankle_x, ankle_y = np.empty((6, *_shape(chain, hip, crank_angle_deg)))
    _follow_ankle(chain, crank_angle_deg, ankle_x, ankle_y, knee)
    to_ankle_x, to_ankle_y = ankle_x - hip_x, ankle_y - hip_y
    _cos_knee(to_ankle_x, to_ankle_y, thigh, shank, out=knee)
    aside = np.sqrt(1.0 - knee * knee)
    aside *= shank
    along = shank * knee
    along += thigh
    np.multiply(to_ankle_x, along, out=knee_x)
    knee_x -= np.multiply(to_ankle_y, aside, out=direction)
    np.multiply(to_ankle_x, aside, out=knee_y)
    knee_y += np.multiply(to_ankle_y, along, out=direction)
    np.arctan2(knee_x, np.negative(knee_y, out=along), out=direction)
    scale = thigh / np.sqrt(knee_x * knee_x + knee_y * knee_y)
    knee_x *= scale
    knee_x += hip_x
    knee_y *= scale
    knee_y += hip_y
    np.arccos(knee, out=knee)
    knee *= DEGREES
    direction *= DEGREES
    return Pose(knee, direction, knee_x, knee_y, ankle_x, ankle_y)


def least_knee_flexion(chain: Chain, *, hip: HipCentre, path: tuple[Array, Array] | None = None) -> tuple[Array, Array]:
    """Return the least knee flexion of the stroke and its crank angle [deg]; 0 where the leg does not reach.

    Notes
    -----
    It is where the ankle is farthest from the hip; the extreme is refined between the crank angles.
    """

    def square_of_distance(x: Array, y: Array) -> Array:
        x, y = x - column(hip.x_mm), y - column(hip.y_mm)
        return x * x + y * y

    angle, square = _greatest(square_of_distance, chain, path)
    thigh, shank = chain.leg.thigh_mm, chain.leg.shank_mm
    cos_knee = np.clip((square - (thigh * thigh + shank * shank)) * (0.5 / (thigh * shank)), -1.0, 1.0)
    return np.rad2deg(np.arccos(cos_knee)), angle


def greatest_hip_distance(
    chain: Chain, *, least_knee_flexion_deg: Numbers, path: tuple[Array, Array] | None = None
) -> Array:
    """Return how far up the seat-tube line the hip is [mm] when the stroke's least knee flexion [deg] is the one given.

    Ask `require_reach` afterwards for a single leg.

    Notes
    -----
    Closed form at each crank angle, the hip on its line and at that knee's distance from the ankle; the stroke's
    least flexion belongs to the least of these.
    """
    distance, tube = column(hip_to_ankle(chain.leg, least_knee_flexion_deg)), column(chain.bike.seat_tube_angle_deg)
    cosine, sine = np.cos(np.deg2rad(tube)), np.sin(np.deg2rad(tube))

    def nearness(x: Array, y: Array) -> Array:
        across = x * sine + y * cosine
        beyond = np.sqrt(np.maximum(distance * distance - across * across, 0.0))
        return x * cosine - y * sine - beyond

    return -_greatest(nearness, chain, path)[1]


def require_reach(chain: Chain, *, hip: HipCentre) -> None:
    """Raise unless the leg reaches its pedal all round.

    Raises
    ------
    OutOfReach
        With the greatest lack [mm] and its crank angle [deg].
    """
    ankle_x, ankle_y = ankle_path(chain, crank_angles())
    distance = np.hypot(ankle_x - column(hip.x_mm), ankle_y - column(hip.y_mm))
    thigh, shank = column(chain.leg.thigh_mm), column(chain.leg.shank_mm)
    lack = np.maximum(distance - (thigh + shank), np.abs(thigh - shank) - distance)
    worst = np.unravel_index(np.argmax(lack), lack.shape)
    if not lack[worst] <= ROUNDING_MM:
        raise OutOfReach(lack[worst], crank_angles()[worst[-1]])


def _shape(chain: Chain, hip: HipCentre | None, crank_angle_deg: Numbers) -> tuple[int, ...]:
    pitch, bike, leg = chain.pitch, chain.bike, chain.leg
    wave = pitch.mean_deg, pitch.amplitude_deg, pitch.phase_deg, pitch.habit_deg
    lengths = bike.crank_mm, chain.behind_mm, chain.above_mm
    rest = () if hip is None else (*hip, leg.thigh_mm, leg.shank_mm)
    return np.broadcast(crank_angle_deg, *map(column, (*wave, *lengths, *rest))).shape


def _follow_ankle(chain: Chain, crank_angle_deg: Numbers, x: Array, y: Array, product: Array) -> None:
    crank, behind, above = map(column, (chain.bike.crank_mm, chain.behind_mm, chain.above_mm))
    cos_crank, sin_crank = cos_and_sin(crank_angle_deg)
    cos_pitch, sin_pitch = cos_and_sin(chain.pitch.at(crank_angle_deg))
    np.multiply(crank, sin_crank, out=x)
    np.multiply(crank, cos_crank, out=y)
    x -= np.multiply(behind, cos_pitch, out=product)
    x += np.multiply(above, sin_pitch, out=product)
    y += np.multiply(behind, sin_pitch, out=product)
    y += np.multiply(above, cos_pitch, out=product)


def _cos_knee(x: Array, y: Array, thigh: Array, shank: Array, out: Array) -> None:
    np.multiply(x, x, out=out)
    out += y * y
    out -= thigh * thigh + shank * shank
    out *= 0.5 / (thigh * shank)
    np.clip(out, -1.0, 1.0, out=out)


def _greatest(
    function: Callable[[Array, Array], Array], chain: Chain, path: tuple[Array, Array] | None
) -> tuple[Array, Array]:
    # The best of the grid, then the function itself at the top of the parabola through it and its neighbours.
    values = function(*(ankle_path(chain, crank_angles()) if path is None else path))
    steps = values.shape[-1]
    best = np.argmax(values, axis=-1)[..., np.newaxis]
    left, top, right = (np.take_along_axis(values, (best + i) % steps, axis=-1) for i in (-1, 0, 1))
    bend = left - 2.0 * top + right
    shift = np.divide(0.5 * (left - right), bend, out=np.zeros_like(bend), where=bend < 0)
    angle = (best + shift) * (360.0 / steps)
    return np.mod(angle[..., 0], 360.0), np.maximum(function(*ankle_path(chain, angle)), top)[..., 0]
