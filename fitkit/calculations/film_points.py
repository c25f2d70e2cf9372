"""What speaks against using the points of a film: too coarse, wrong scale, swapped axes, a second rider.

Nothing is mended here: what cannot be right is said in words, and then gives no number.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

__all__ = ["film_problems"]

LEAST_FRAMES_PER_S = 20.0  # house choice: 13 frames a turn at 90 turns a minute
CRANK_MM = (100.0, 230.0)  # house choice: half the pedal's way up and down, where no crank length is given
SCALE_WITHIN = 0.1  # house choice: how far the pedal's way may be from the crank length
GREATEST_KNEE_FROM_PEDAL_MM = 300.0  # house choice: further out it is another rider's knee or a wrong scale
GREATEST_SPEED_MM_PER_S = 6000.0  # house choice: a pedal at 175 mm and 200 turns a minute moves at 3700


def film_problems(
    *,
    time_s: Sequence[float],
    knee_outward_mm: Sequence[float],
    pedal_outward_mm: Sequence[float],
    pedal_up_mm: Sequence[float],
    crank_length_mm: float | None = None,
) -> tuple[str, ...]:
    """Return what speaks against using a side's points, in words; nothing where all is well.

    Parameters
    ----------
    time_s : sequence of float
        Time of each frame [s], rising.
    knee_outward_mm, pedal_outward_mm, pedal_up_mm : sequence of float
        Points of one side [mm], not a number where missing.
    crank_length_mm : float, optional
        The crank's length [mm], which the pedal's way up and down must show.

    Raises
    ------
    ValueError
        If the arrays differ in length, hold fewer than two frames, or time does not rise.

    Notes
    -----
    House choices, no source: what is too coarse, too far or too fast stands at the top of this module.
    """
    time, *points = (np.asarray(v, dtype=float) for v in (time_s, knee_outward_mm, pedal_outward_mm, pedal_up_mm))
    if any(values.shape != time.shape for values in points):
        lengths = ", ".join(str(values.size) for values in (time, *points))
        raise ValueError(f"time and points have lengths {lengths}; expected one point for each time")
    if time.size < 2 or not np.all(np.diff(time) > 0):
        raise ValueError(f"time_s has {time.size} entries that must rise; expected two or more, each after the last")
    knee, sideways, up = points
    step_s, problems = float(np.median(np.diff(time))), []
    if not step_s <= 1 / LEAST_FRAMES_PER_S:
        found = f"frames are {step_s:.3g} s apart; expected {1 / LEAST_FRAMES_PER_S:g} s or less"
        problems.append(f"{found}: too coarse to follow the pedal; film with {LEAST_FRAMES_PER_S:g} a second or more")
    problems += _of_pedal(sideways, up, crank_length_mm) + _of_knee(knee, sideways)
    for name, values in (("knee", knee), ("pedal, sideways,", sideways), ("pedal, up and down,", up)):
        problems += _jumps(name, time, values, step_s)
    return tuple(problems)


def _of_pedal(sideways: np.ndarray, up: np.ndarray, crank_length_mm: float | None) -> list[str]:
    way_up_mm, way_sideways_mm, problems = _way(up), _way(sideways), []
    if not way_up_mm > 0:
        return ["the pedal does not move up and down; expected it to turn with the crank"]
    if way_sideways_mm > way_up_mm:
        found = f"the pedal moves {way_sideways_mm:.0f} mm sideways and {way_up_mm:.0f} mm up and down"
        problems.append(f"{found}: are the axes swapped?")
    least, greatest = CRANK_MM
    if crank_length_mm is not None:
        least, greatest = crank_length_mm * (1 - SCALE_WITHIN), crank_length_mm * (1 + SCALE_WITHIN)
    if not least <= way_up_mm / 2 <= greatest:
        found = f"half of the pedal's way up and down is {way_up_mm / 2:.0f} mm"
        problems.append(f"{found}; expected {least:.0f} to {greatest:.0f}, the crank's length: is the scale wrong?")
    return problems


def _of_knee(knee: np.ndarray, sideways: np.ndarray) -> list[str]:
    if not (np.isfinite(knee).any() and np.isfinite(sideways).any()):
        return ["the knee or the pedal is in no frame; expected both"]
    away_mm = abs(float(np.nanmedian(knee) - np.nanmedian(sideways)))
    if away_mm <= GREATEST_KNEE_FROM_PEDAL_MM:
        return []
    found = f"the knee is {away_mm:.0f} mm sideways from the pedal; expected {GREATEST_KNEE_FROM_PEDAL_MM:g} at most"
    return [f"{found}: another rider's knee, or a wrong scale?"]


def _way(points: np.ndarray) -> float:
    seen = points[np.isfinite(points)]
    return float(np.ptp(np.percentile(seen, [1, 99]))) if seen.size else 0.0


def _jumps(name: str, time: np.ndarray, points: np.ndarray, step_s: float) -> list[str]:
    seen = np.flatnonzero(np.isfinite(points))
    way, steps = np.abs(np.diff(points[seen])), np.maximum(np.diff(time[seen]), step_s)
    # Digitising by hand scatters by some mm, which at many frames a second looks like speed.
    fast = np.flatnonzero((way > GREATEST_SPEED_MM_PER_S * steps) & (way > 60))
    if not fast.size:
        return []
    where = f"{time[seen[fast[0] + 1]]:.3f} s"
    return [f"the {name} jumps {way[fast[0]]:.0f} mm at {where}: a second rider's point, or a slip in digitising?"]
