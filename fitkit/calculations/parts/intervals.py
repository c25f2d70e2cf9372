"""Sets of widths as sorted intervals that do not touch [mm]."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from fitkit.calculations.parts.table import Intervals

__all__ = ["between", "minus", "union"]

DECIMALS = 9  # takes the dust of binary sums off; far below what anybody can fit


def union(low_mm: np.ndarray, high_mm: np.ndarray) -> Intervals:
    """Return the union of the intervals from `low_mm` to `high_mm` [mm]; those that touch become one."""
    if not low_mm.size:
        return ()
    low_mm, high_mm = np.round(low_mm, DECIMALS) + 0.0, np.round(high_mm, DECIMALS) + 0.0
    order = np.argsort(low_mm, kind="stable")
    low_mm, reach_mm = low_mm[order], np.maximum.accumulate(high_mm[order])
    breaks = np.flatnonzero(low_mm[1:] > reach_mm[:-1])
    first, last = [0, *(breaks + 1)], [*breaks, low_mm.size - 1]
    return tuple((float(low_mm[i]), float(reach_mm[j])) for i, j in zip(first, last, strict=True))


def between(intervals: Intervals) -> Intervals:
    """Return the gaps between the intervals [mm]."""
    return tuple((high, low) for (_, high), (low, _) in pairwise(intervals))


def minus(intervals: Intervals, taken: Intervals) -> Intervals:
    """Return what is left of the intervals without those taken [mm]; a single width stays unless taken."""
    left = []
    for low, high in intervals:
        start, is_open = low, False
        for taken_low, taken_high in taken:
            if taken_high < start or taken_low > high:
                continue
            if taken_low > start:
                left.append((start, taken_low))
            start, is_open = taken_high, True
        if start < high or (start == high and not is_open):
            left.append((start, high))
    return tuple(left)
