"""Where unsteadiness begins to rise: segmented regression, the breakpoint of a hinge, from many trials; or "not found".

The bracket of trials comes first and needs no model. A hinge needs more: several setbacks, each ridden several
times, and its break is told only with both ends of its interval inside the setbacks that were ridden.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from fitkit.calculations.readings import Interval

LEAST_SETBACKS = 5  # house choice
LEAST_REPEATS = 3  # house choice
NOT_FOUND = "not found"
SCORED_TO = 1.0  # house choice: scores are given in whole points, so that none is known better than to half of one
STEPS = 2000  # candidate breaks over the setbacks ridden; the best of them and the ends are then refined


@dataclass(frozen=True)
class Hinge:
    """The break [mm] with its 95 % interval and the rise forward of it [points a mm]; without them what is needed.

    `residual_sum_of_squares` [points squared] is that of the best hinge, told or not.
    """

    break_mm: Interval | None
    rise_per_mm: float | None
    residual_sum_of_squares: float | None
    needs: str | None = None


def hinge(*, cleat_setback_mm: Sequence[float], unsteadiness: Sequence[float]) -> Hinge:
    """Return the setback forward of which unsteadiness rises; behind it the score is taken to be level.

    Parameters
    ----------
    cleat_setback_mm : sequence of float
        Cleat setback of each trial [mm].
    unsteadiness : sequence of float
        Its score [0 to 10].

    Raises
    ------
    ValueError
        If the two differ in length or hold a number that is not finite.

    Notes
    -----
    Fitted by `two_lines`. Told only where both ends of the interval lie inside the setbacks ridden and the score
    rises forward; a straight line, or no relation, is "not found". Scores cut off at 0 pull the break forward, by
    about half a millimetre where a steady rider scores 0. Scores that fit perfectly are still known only to whole
    points.
    """
    _, repeats = np.unique(np.round(np.asarray(cleat_setback_mm, dtype=float)), return_counts=True)
    enough = int(np.count_nonzero(repeats >= LEAST_REPEATS))
    if enough < LEAST_SETBACKS:
        wanted = f"{LEAST_SETBACKS} setbacks with {LEAST_REPEATS} trials each"
        return Hinge(None, None, None, f"{wanted}; found {enough}")
    found = two_lines(cleat_setback_mm, unsteadiness, is_flat_behind=True, least_sd=SCORED_TO / math.sqrt(12))
    if found.break_mm is None or not found.rise_per_mm > 0:
        return Hinge(None, None, found.residual_sum_of_squares, NOT_FOUND)
    return found


def two_lines(x: Sequence[float], y: Sequence[float], *, is_flat_behind: bool, least_sd: float = 0.0) -> Hinge:
    """Return the breakpoint of a segmented regression: two lines that meet, fitted by least squares.

    Parameters
    ----------
    x, y : sequence of float
        Points [x in mm, y in points].
    is_flat_behind : bool
        Whether the line above the break is level; if not, it has a slope of its own.
    least_sd : float
        The least the points are taken to scatter by [points], for the interval.

    Raises
    ------
    ValueError
        If the two differ in length, hold fewer than six points or one that is not finite.

    Notes
    -----
    y = level + rise max(break - x, 0), plus slope x where the line above the break is not level. For a given break
    this is a linear least-squares fit, so that the residual sum of squares over all breaks is exact and the best of
    them the global one. The interval holds every break that an F test with 1 and n - p degrees of freedom does not
    refuse at 5 %, from the least of them to the greatest; there is none where it reaches an end of the points. The
    usual standard error gives too narrow an interval at the sample sizes of a visit.

    References
    ----------
    Hinkley 1971, J Am Stat Assoc 66:736 (two lines that meet); Bates and Watts 1988, Nonlinear Regression
    Analysis, 6.1 (profile of the sum of squares).
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.shape != y.shape or x.size < 6 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError(f"{x.size} setbacks and {y.size} scores; expected six or more of each, as many, all finite")
    profile = _Profile(x, y, is_flat_behind=is_flat_behind)
    best = profile.best()
    interval = profile.interval(best, least_sd)
    rss = profile.rss(best)
    return Hinge(None, None, rss, NOT_FOUND) if interval is None else Hinge(interval, profile.rise(best), rss)


class _Profile:
    """The residual sum of squares over all breaks, the other coefficients being the best ones for each."""

    def __init__(self, x: np.ndarray, y: np.ndarray, *, is_flat_behind: bool) -> None:
        others = np.ones((x.size, 1)) if is_flat_behind else np.column_stack([np.ones_like(x), x])
        self._q, self._x = np.linalg.qr(others)[0], x
        self._y = self._free(y)
        self._df = x.size - others.shape[1] - 2  # rise and break are coefficients too
        # At the very ends a hinge with a slope of its own behind is no hinge, and has no rise.
        self._breaks = np.linspace(x.min(), x.max(), STEPS + 1)[1:-1]
        self._rss = self._rss_of(self._breaks)

    def _free(self, values: np.ndarray) -> np.ndarray:
        """Return what the level, and the slope where there is one, cannot explain; one column a set of values."""
        return values - self._q @ (self._q.T @ values)

    def rise(self, at: float) -> float:
        arm = self._free(np.maximum(at - self._x, 0))
        return float(arm @ self._y / (arm @ arm))

    def rss(self, at: float) -> float:
        return float(self._rss_of(np.array([at]))[0])

    def _rss_of(self, breaks: np.ndarray) -> np.ndarray:
        arms = self._free(np.maximum(breaks - self._x[:, None], 0))
        # Where the fit is perfect, rounding would take it below 0.
        return np.maximum(self._y @ self._y - (self._y @ arms) ** 2 / (arms**2).sum(axis=0), 0.0)

    def best(self) -> float:
        least = int(self._rss.argmin())
        about = self._breaks[max(least - 1, 0)], self._breaks[min(least + 1, self._breaks.size - 1)]
        found = optimize.minimize_scalar(self.rss, bounds=about, method="bounded", options={"xatol": 1e-9})
        return float(found.x if found.fun < self._rss[least] else self._breaks[least])

    def interval(self, best: float, least_sd: float) -> Interval | None:
        """Return the break with its 95 % interval, None where that reaches an end of the setbacks ridden."""
        variance = max(self.rss(best) / self._df, least_sd**2)
        limit = self.rss(best) + variance * special.fdtri(1, self._df, 0.95)
        held = np.flatnonzero(self._rss <= limit)
        if not held.size and limit == self.rss(best):
            return Interval(best, best, best)
        if not held.size or held[0] == 0 or held[-1] == self._breaks.size - 1:
            return None
        low, high = (
            optimize.brentq(lambda at: self.rss(at) - limit, *self._breaks[[inner, outer]])
            for inner, outer in ((held[0], held[0] - 1), (held[-1], held[-1] + 1))
        )
        return Interval(best, float(low), float(high))
