"""The knock-on of thousands of draws of one leg, in chunks of bounded memory."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np

from fitkit.calculations.stroke import (
    STEPS,
    Array,
    Chain,
    Numbers,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    least_knee_flexion,
)

__all__ = ["Draws", "over_draws"]

POSES_AT_ONCE = 8_192  # 64 kB an array: a chunk stays in the cache and works in less than 1 MB


@dataclass(frozen=True)
class Draws:
    """One leg's knock-on, an entry a draw: angles [deg], saddle and hip [mm]."""

    hip_distance_mm: Array
    knee_change_deg: Array
    height_only_down_mm: Array
    full_forward_mm: Array
    full_down_mm: Array


def over_draws(
    before: Chain,
    after: Chain,
    *,
    hip_distance_mm: Numbers | None = None,
    least_knee_flexion_deg: Numbers | None = None,
    steps: int = STEPS,
) -> Draws:
    """Return the knock-on of many draws of one leg; a draw out of reach counts as a straight knee.

    Parameters
    ----------
    before, after : Chain
        The same leg with the cleat as found and with the cleat moved; any field may hold one entry a draw. The
        habit's draws belong to the pitch after the move only.
    hip_distance_mm, least_knee_flexion_deg : float or array
        One of the two, as found: crank centre to hip along the seat tube [mm], or the stroke's least flexion [deg].
    steps : int
        Crank angles of one revolution [1].

    Returns
    -------
    Draws
        The numbers of `untouched_knee_change`, `height_only_saddle_down` and `full_saddle_move`.

    Raises
    ------
    ValueError
        If neither or both of hip distance and flexion are given, or the fields differ in length.

    Notes
    -----
    Worked in chunks of at most 8,192 poses, so that 10,000 draws x 720 angles need less than 1 MB beside the
    result. A hip drawn farther than the straight leg reaches is taken where the leg is just straight.
    """
    if (hip_distance_mm is None) == (least_knee_flexion_deg is None):
        raise ValueError("expected one of hip_distance_mm and least_knee_flexion_deg, as found")
    parts = before, after, hip_distance_mm, least_knee_flexion_deg
    lengths = set().union(*map(_lengths, parts))
    if len(lengths) > 1:
        raise ValueError(f"the draws have lengths {sorted(lengths)}; expected one")
    count, at_once = max(lengths, default=1), max(1, POSES_AT_ONCE // steps)
    columns = {field.name: np.empty(count) for field in fields(Draws)}
    for first in range(0, count, at_once):
        rows = slice(first, first + at_once)
        for name, values in vars(_draw_chunk(*(_rows_of(part, rows) for part in parts), steps)).items():
            columns[name][rows] = values
    return Draws(**columns)


def _draw_chunk(before: Chain, after: Chain, distance: Numbers | None, flexion: Numbers | None, steps: int) -> Draws:
    old_path, new_path = ankle_path(before, crank_angles(steps)), ankle_path(after, crank_angles(steps))
    angle = before.bike.seat_tube_angle_deg
    if distance is None:
        old = np.maximum(flexion, 0.0)
        distance = greatest_hip_distance(before, least_knee_flexion_deg=old, path=old_path)
    else:
        distance = np.minimum(distance, greatest_hip_distance(before, least_knee_flexion_deg=0.0, path=old_path))
        old, _ = least_knee_flexion(before, hip=hip_on_tube(distance, seat_tube_angle_deg=angle), path=old_path)
    new, _ = least_knee_flexion(after, hip=hip_on_tube(distance, seat_tube_angle_deg=angle), path=new_path)
    lowered = greatest_hip_distance(after, least_knee_flexion_deg=old, path=new_path)
    return Draws(
        hip_distance_mm=distance,
        knee_change_deg=new - old,
        height_only_down_mm=distance - lowered,
        full_forward_mm=np.mean(new_path[0], axis=-1) - np.mean(old_path[0], axis=-1),
        full_down_mm=np.mean(old_path[1], axis=-1) - np.mean(new_path[1], axis=-1),
    )


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
