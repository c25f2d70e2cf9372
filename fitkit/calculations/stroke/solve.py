"""The closed chain solved: places, joint angles, least knee flexion and the hip that gives it, all in closed form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.calculations.stroke.inputs import Array, Chain, Hip, Leg, Numbers, column, cos_and_sin

__all__ = [
    "ROUNDING_MM",
    "STEPS",
    "OutOfReach",
    "Pose",
    "ankle_path",
    "crank_angles",
    "greatest_hip_distance",
    "hip_on_tube",
    "hip_to_ankle",
    "least_knee_flexion",
    "require_reach",
    "solve_pose",
]

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
    """Return the ankle's place over the stroke.

    Parameters
    ----------
    chain : Chain
        The leg on its pedal.
    crank_angle_deg : float or array
        Crank angles [deg] from the top toward the front.

    Returns
    -------
    tuple of array
        Forward and upward from the crank centre [mm]; derived, see the module's drawing.
    """
    x, y, product = np.empty((3, *_shape(chain, None, crank_angle_deg)))
    _follow_ankle(chain, crank_angle_deg, x, y, product)
    return x, y


def hip_on_tube(distance_mm: Numbers, *, seat_tube_angle_deg: Numbers) -> Hip:
    """Return the hip at a distance from the crank centre [mm] along the seat tube at its angle [deg]."""
    angle = np.deg2rad(seat_tube_angle_deg)
    return Hip(-distance_mm * np.cos(angle), distance_mm * np.sin(angle))


def hip_to_ankle(leg: Leg, knee_flexion_deg: Numbers) -> Numbers:
    """Return the distance hip to ankle [mm] at a knee flexion [deg], by the law of cosines."""
    thigh, shank = leg.thigh_mm, leg.shank_mm
    return np.sqrt(thigh * thigh + shank * shank + 2.0 * thigh * shank * np.cos(np.deg2rad(knee_flexion_deg)))


def solve_pose(chain: Chain, *, hip: Hip, crank_angle_deg: Numbers) -> Pose:
    """Return joint angles [deg] and places [mm]; where the leg does not reach, the knee counts as straight.

    Parameters
    ----------
    chain : Chain
        The leg on its pedal.
    hip : Hip
        The hip's place [mm].
    crank_angle_deg : float or array
        Crank angles [deg] from the top toward the front.

    Returns
    -------
    Pose
        `require_reach` says which leg does not reach.

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


def least_knee_flexion(chain: Chain, *, hip: Hip, path: tuple[Array, Array] | None = None) -> tuple[Array, Array]:
    """Return the least knee flexion of the stroke and the crank angle where it is; 0 where the leg does not reach.

    Parameters
    ----------
    chain : Chain
        The leg on its pedal.
    hip : Hip
        The hip's place [mm].
    path : tuple of array, optional
        The ankle's path [mm] at `crank_angles` of any number, where it is known already; the extreme is refined
        between them.

    Returns
    -------
    tuple of array
        Least knee flexion and its crank angle [deg]: where the ankle is farthest from the hip.
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
    """Return how far up the seat tube the hip is when the stroke's least knee flexion is the one given.

    Parameters
    ----------
    chain : Chain
        The leg on its pedal.
    least_knee_flexion_deg : float or array
        Least knee flexion of the stroke [deg].
    path : tuple of array, optional
        The ankle's path [mm] at `crank_angles` of any number, where it is known already; the extreme is refined
        between them.

    Returns
    -------
    array
        Crank centre to hip along the seat-tube line [mm]. Ask `require_reach` afterwards for a single leg.

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


def require_reach(chain: Chain, *, hip: Hip) -> None:
    """Raise unless the leg reaches its pedal all round.

    Parameters
    ----------
    chain : Chain
        The leg on its pedal.
    hip : Hip
        The hip's place [mm].

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


def _shape(chain: Chain, hip: Hip | None, crank_angle_deg: Numbers) -> tuple[int, ...]:
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
