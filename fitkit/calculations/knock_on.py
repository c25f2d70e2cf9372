"""What a moved cleat does up the leg: untouched, height only, or the whole ankle path followed.

Signs as drawn in `stroke`. A change is after minus before; down and forward are positive. A cleat moved back makes
the leg reach further, the knee straighter and the saddle's answer down. Throughout, `before` and `after` are the same
leg with the cleat as found and with the cleat moved, and `hip_distance_mm` runs from the crank centre to the hip along
the seat tube as found. No result here says that a rider goes faster: what is known of that is too little for a number.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np

from fitkit.calculations.stroke import (
    ROUNDING_MM,
    STEPS,
    Array,
    Chain,
    HipCentre,
    Numbers,
    OutOfReach,
    Pose,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    hip_to_ankle,
    least_knee_flexion,
    require_reach,
    solve_pose,
)


@dataclass(frozen=True)
class SaddleMove:
    """How far the saddle goes [mm], forward and down positive."""

    forward_mm: Numbers
    down_mm: Numbers


@dataclass(frozen=True)
class Remaining:
    """What remains at knee and thigh once the saddle has been moved, after minus before [deg]."""

    crank_angle_deg: Array
    knee_change_deg: Array
    thigh_change_deg: Array
    least_knee_flexion_change_deg: float
    thigh_change_at_least_flexion_deg: float

    @property
    def largest_knee_change(self) -> tuple[float, float]:
        """The largest knee change of the stroke with its sign, and its crank angle [deg]."""
        return _largest(self.knee_change_deg, self.crank_angle_deg)

    @property
    def largest_thigh_change(self) -> tuple[float, float]:
        """The largest thigh change of the stroke with its sign, and its crank angle [deg]."""
        return _largest(self.thigh_change_deg, self.crank_angle_deg)


def hip_distance_as_found(chain: Chain, *, least_knee_flexion_deg: float) -> float:
    """Return the hip's distance along the seat tube [mm] that gives the least knee flexion of the stroke [deg].

    Raises
    ------
    ValueError
        If the flexion is not from 0 to below 180.
    OutOfReach
        If no hip on the seat-tube line gives that flexion.
    """
    if not 0 <= least_knee_flexion_deg < 180:
        raise ValueError(f"least_knee_flexion_deg is {least_knee_flexion_deg}; expected 0 to below 180")
    distance = greatest_hip_distance(chain, least_knee_flexion_deg=least_knee_flexion_deg)
    hip = _hip(chain, distance)
    require_reach(chain, hip=hip)
    least, crank_angle = least_knee_flexion(chain, hip=hip)
    lack = hip_to_ankle(chain.leg, least) - hip_to_ankle(chain.leg, least_knee_flexion_deg)
    if not lack <= ROUNDING_MM:
        raise OutOfReach(lack, crank_angle)
    return float(distance)


def untouched_knee_change(before: Chain, after: Chain, *, hip_distance_mm: float) -> float:
    """Return what the least knee flexion changes when the saddle stays [deg]; negative is a straighter knee.

    Raises
    ------
    OutOfReach
        If the leg does not reach its pedal before or after.
    """
    hip = _hip(before, hip_distance_mm)
    require_reach(before, hip=hip)
    require_reach(after, hip=hip)
    return float(least_knee_flexion(after, hip=hip)[0] - least_knee_flexion(before, hip=hip)[0])


def height_only_saddle_down(before: Chain, after: Chain, *, hip_distance_mm: float) -> float:
    """Return how far the saddle comes down its seat tube so that the least knee flexion stays [mm], down positive.

    Raises
    ------
    OutOfReach
        If the leg does not reach its pedal as found, or no saddle height keeps the flexion.
    """
    hip = _hip(before, hip_distance_mm)
    require_reach(before, hip=hip)
    least, _ = least_knee_flexion(before, hip=hip)
    return float(hip_distance_mm - hip_distance_as_found(after, least_knee_flexion_deg=float(least)))


def full_saddle_move(before: Chain, after: Chain, *, steps: int = STEPS) -> SaddleMove:
    """Return the saddle move that follows the ankle [mm]: the mean over the stroke of its place after minus before.

    Parameters
    ----------
    before, after : Chain
        Fields may hold one entry a draw. Thigh, shank, crank and seat tube do not enter.
    steps : int
        Crank angles of one revolution [1].

    Notes
    -----
    With the cleat alone moved by d this is d mean(cos p) forward and d mean(sin p) down. It leaves nothing at knee
    and thigh when the pitch is constant; with a swinging foot `remaining` says what it leaves.
    """
    (old_x, old_y), (new_x, new_y) = (ankle_path(chain, crank_angles(steps)) for chain in (before, after))
    return SaddleMove(np.mean(new_x - old_x, axis=-1), np.mean(old_y - new_y, axis=-1))


def down_the_tube(distance_mm: Numbers, *, seat_tube_angle_deg: Numbers) -> SaddleMove:
    """Return a move down the seat tube [mm] as forward (x cos) and down (x sin) of the seat-tube angle [deg]."""
    angle = np.deg2rad(seat_tube_angle_deg)
    return SaddleMove(distance_mm * np.cos(angle), distance_mm * np.sin(angle))


def remaining(before: Chain, after: Chain, *, hip_distance_mm: float, saddle: SaddleMove) -> Remaining:
    """Return what remains at knee and thigh over the stroke after a cleat move and a saddle move [deg].

    Parameters
    ----------
    saddle : SaddleMove
        The saddle's move [mm]; (0, 0) is untouched. The hip goes with it.

    Raises
    ------
    OutOfReach
        If the leg does not reach its pedal before or after.
    """
    old_hip = _hip(before, hip_distance_mm)
    new_hip = HipCentre(old_hip.x_mm + saddle.forward_mm, old_hip.y_mm - saddle.down_mm)
    require_reach(before, hip=old_hip)
    require_reach(after, hip=new_hip)
    angles = crank_angles()
    old, new = (
        solve_pose(chain, hip=hip, crank_angle_deg=angles) for chain, hip in ((before, old_hip), (after, new_hip))
    )
    old_least, new_least = _at_least_flexion(before, old_hip), _at_least_flexion(after, new_hip)
    return Remaining(
        crank_angle_deg=angles,
        knee_change_deg=new.knee_flexion_deg - old.knee_flexion_deg,
        thigh_change_deg=new.thigh_deg - old.thigh_deg,
        least_knee_flexion_change_deg=(new_least.knee_flexion_deg - old_least.knee_flexion_deg).item(),
        thigh_change_at_least_flexion_deg=(new_least.thigh_deg - old_least.thigh_deg).item(),
    )


def calf_lever_ratio(ankle_to_mtp1_mm: Numbers, *, old_setback_mm: Numbers, new_setback_mm: Numbers) -> Numbers:
    """Return the ankle-to-axle lever after the move over that before [1]: geometry, no claim of performance.

    Parameters
    ----------
    ankle_to_mtp1_mm, old_setback_mm, new_setback_mm : float or array
        Ankle to first MTP joint along the sole, cleat setback before and after [mm].

    Raises
    ------
    ValueError
        If the ankle is not behind the cleat as found.
    """
    lever = ankle_to_mtp1_mm - old_setback_mm
    if not np.all(lever > 0):
        raise ValueError(f"ankle_to_mtp1_mm less old_setback_mm is {lever}; expected above 0")
    return (ankle_to_mtp1_mm - new_setback_mm) / lever


def _hip(chain: Chain, distance_mm: Numbers) -> HipCentre:
    return hip_on_tube(distance_mm, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)


def _at_least_flexion(chain: Chain, hip: HipCentre) -> Pose:
    _, crank_angle = least_knee_flexion(chain, hip=hip)
    return solve_pose(chain, hip=hip, crank_angle_deg=crank_angle)


def _largest(change: Array, crank_angle: Array) -> tuple[float, float]:
    at = int(np.argmax(np.abs(change)))
    return float(change[at]), float(crank_angle[at])


POSES_AT_ONCE = 65_536  # 512 kB an array: half as long as with an eighth of it, whose chunks are too many


@dataclass(frozen=True)
class KnockOnDraws:
    """One leg's knock-on, an entry a draw: the straightest knee's change [deg], the saddle's way down its tube [mm]."""

    knee_change_deg: Array
    height_only_down_mm: Array


def over_draws(before: Chain, after: Chain, *, hip_distance_mm: Numbers, steps: int = STEPS) -> KnockOnDraws:
    """Return the knock-on of many draws of one leg; a draw out of reach counts as a straight knee.

    Parameters
    ----------
    before, after : Chain
        Any field may hold one entry a draw. The habit's draws belong to the pitch after the move only.
    hip_distance_mm : float or array
        The hip's place as found [mm].
    steps : int
        Crank angles of one revolution [1].

    Returns
    -------
    KnockOnDraws
        The numbers of `untouched_knee_change` and `height_only_saddle_down`.

    Raises
    ------
    ValueError
        If the fields differ in length.

    Notes
    -----
    Worked in chunks of at most 65,536 poses, so that 10,000 draws x 720 angles need less than 8 MB beside the
    result. A hip drawn farther than the straight leg reaches is taken where the leg is just straight.
    """
    parts = before, after, hip_distance_mm
    lengths = set().union(*map(_lengths, parts))
    if len(lengths) > 1:
        raise ValueError(f"the draws have lengths {sorted(lengths)}; expected one")
    count, at_once = max(lengths, default=1), max(1, POSES_AT_ONCE // steps)
    found = KnockOnDraws(np.empty(count), np.empty(count))
    for first in range(0, count, at_once):
        rows = slice(first, first + at_once)
        pieces = (_rows_of(part, rows) for part in parts)
        found.knee_change_deg[rows], found.height_only_down_mm[rows] = _draw_chunk(*pieces, steps)
    return found


def _draw_chunk(before: Chain, after: Chain, distance: Numbers, steps: int) -> tuple[Array, Array]:
    old_path, new_path = ankle_path(before, crank_angles(steps)), ankle_path(after, crank_angles(steps))
    distance = np.minimum(distance, greatest_hip_distance(before, least_knee_flexion_deg=0.0, path=old_path))
    hip = _hip(before, distance)
    (old, _), (new, _) = (
        least_knee_flexion(chain, hip=hip, path=path) for chain, path in ((before, old_path), (after, new_path))
    )
    return new - old, distance - greatest_hip_distance(after, least_knee_flexion_deg=old, path=new_path)


def _lengths(part: object) -> set[int]:
    # How many draws a number, an array or a chain of them holds; a number holds none.
    if is_dataclass(part):
        return set().union(*(_lengths(getattr(part, field.name)) for field in fields(part)))
    return {len(part)} if isinstance(part, np.ndarray) and part.ndim else set()


def _rows_of(part: object, rows: slice) -> object:
    # The same part with these draws only.
    if is_dataclass(part):
        return replace(part, **{field.name: _rows_of(getattr(part, field.name), rows) for field in fields(part)})
    return part[rows] if isinstance(part, np.ndarray) and part.ndim else part
