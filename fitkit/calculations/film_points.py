"""The points of a film: where the crank is in them, and what speaks against using them.

Nothing is mended here: what cannot be right (too coarse, a wrong scale, swapped axes, a second rider) is said in words,
and then gives no number.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

LEAST_FRAMES_PER_S = 20.0  # house choice: 13 frames a turn at 90 turns a minute
CRANK_MM = (100.0, 230.0)  # house choice: half the pedal's way up and down, where no crank length is given
SCALE_WITHIN = 0.1  # house choice: how far the pedal's way may be from the crank length
GREATEST_KNEE_FROM_PEDAL_MM = 300.0  # house choice: further out it is another rider's knee or a wrong scale
GREATEST_SPEED_MM_PER_S = 6000.0  # house choice: a pedal at 175 mm and 200 turns a minute moves at 3700
GREATEST_GAP_DEG = 60.0  # house choice: a wider gap may hide the knee's furthest place


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
    time, knee, sideways, up = same_length(time_s, knee_outward_mm, pedal_outward_mm, pedal_up_mm)
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


def find_turns(*, time_s: Sequence[float], pedal_up_mm: Sequence[float]) -> tuple[tuple[float, float, float], ...]:
    """Return the whole turns of the crank, each from top over bottom to the next top [s], in order.

    Where frames are missing about a crossing, that turn is missing.

    Parameters
    ----------
    time_s : sequence of float
        Time of each frame [s], rising.
    pedal_up_mm : sequence of float
        The pedal's height in the picture [mm or any unit], not a number where missing.

    Notes
    -----
    Derived: the pedal's height is a cosine of the crank angle. The moments at which it passes its middle height
    are found by a straight line through the arcsine of the frames about it; a top lies midway between going up
    and coming down, so that a middle height a little off does no harm.
    """
    time, up = same_length(time_s, pedal_up_mm)
    passes = _passes(time, up)
    moments = np.array([moment for moment, _, _ in passes])
    if moments.size < 3:
        return ()
    half_turn_s = float(np.median(np.diff(moments)))
    sound = [(moment, goes_up, gap <= half_turn_s * GREATEST_GAP_DEG / 180) for moment, goes_up, gap in passes]
    extremes = [
        ((first[0] + second[0]) / 2, first[1])
        if first[2] and second[2] and 0.5 <= (second[0] - first[0]) / half_turn_s <= 1.6
        else None
        for first, second in pairwise(sound)
    ]
    return tuple(
        (a[0], b[0], c[0])
        for a, b, c in zip(extremes, extremes[1:], extremes[2:], strict=False)
        if a and b and c and a[1]
    )


def _passes(time: np.ndarray, up: np.ndarray) -> list[tuple[float, bool, float]]:
    """Return each pass through the middle height: when, whether upward, the widest gap between its frames."""
    seen = np.isfinite(up)
    if np.count_nonzero(seen) < 3:
        return []
    time, (low, high) = time[seen], np.percentile(up[seen], [1, 99])
    if not high > low:
        return []
    height = np.clip((up[seen] - (high + low) / 2) / ((high - low) / 2), -1, 1)
    passes = []
    for first, last in pairwise(np.flatnonzero(np.abs(height) > 0.5)):
        if height[first] * height[last] < 0:
            part = slice(first, last + 1)
            slope, start = np.polyfit(time[part] - time[first], np.arcsin(height[part]), 1)
            passes.append(
                (float(time[first] - start / slope), bool(height[last] > 0), float(np.diff(time[part]).max()))
            )
    return passes


def crank_angle_deg(*, time_s: Sequence[float], turns: Sequence[tuple[float, float, float]]) -> np.ndarray:
    """Return the crank angle of each frame from the top [deg], not a number outside the turns of `find_turns`.

    Derived: within each half of a turn the crank is taken to move evenly.
    """
    time = np.asarray(time_s, dtype=float)
    angle = np.full(time.shape, np.nan)
    for turn in turns:
        inside = (time >= turn[0]) & (time < turn[2])
        angle[inside] = np.interp(time[inside], turn, (0.0, 180.0, 360.0))
    return angle


def same_length(time_s: Sequence[float], *others: Sequence[float]) -> tuple[np.ndarray, ...]:
    """Return times and points as arrays; raises ValueError where they differ in length or time does not rise."""
    time, *points = (np.asarray(values, dtype=float) for values in (time_s, *others))
    if any(values.shape != time.shape for values in points):
        lengths = ", ".join(str(values.size) for values in (time, *points))
        raise ValueError(f"time and points have lengths {lengths}; expected one point for each time")
    if time.size < 2 or not np.all(np.diff(time) > 0):
        raise ValueError(f"time_s has {time.size} entries that must rise; expected two or more, each after the last")
    return (time, *points)
