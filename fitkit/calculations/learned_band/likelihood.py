"""How likely the settings of riders' feet are, with a slot's end as a bound, and how that changes with the mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

__all__ = ["Grid", "Terms", "terms"]

# Even steps: for a smooth function that dies away at both ends the plain sum is exact to many digits, also where
# feet differ so little that a bound is nearly a step, at which Gauss-Hermite nodes fail.
_NODES = np.linspace(-7, 7, 57)
_LOG_WEIGHTS = -0.5 * _NODES**2 - special.logsumexp(-0.5 * _NODES**2)
_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Grid:
    """Riders in rows, their feet in columns; a rider with fewer feet leaves a column empty.

    Parameters
    ----------
    value_mm : ndarray
        Setting of each foot, or the bound it is known to lie beyond [mm].
    bound : ndarray
        0 the setting itself, 1 at least `value_mm`, -1 at most `value_mm`.
    is_there : ndarray
        Whether there is such a foot.
    """

    value_mm: np.ndarray
    bound: np.ndarray
    is_there: np.ndarray

    @property
    def is_exact(self) -> np.ndarray:
        """Which feet have a setting, not a bound."""
        return self.is_there & (self.bound == 0)

    @property
    def is_bound(self) -> np.ndarray:
        """Which feet have a bound only."""
        return self.is_there & (self.bound != 0)


@dataclass(frozen=True)
class Terms:
    """Log likelihood of each rider, its slope and its curvature over the means of the rider's feet."""

    log_likelihood: np.ndarray
    slope: np.ndarray
    curvature: np.ndarray


def terms(grid: Grid, mean_mm: np.ndarray, *, rider_sd_mm: float, foot_sd_mm: float) -> Terms:
    """Return each rider's log likelihood with the rider's own effect integrated out.

    Parameters
    ----------
    grid : Grid
        The settings [mm].
    mean_mm : ndarray
        Mean of each foot before the rider's own effect [mm], as `grid`.
    rider_sd_mm, foot_sd_mm : float
        Spread between riders, and between a rider's feet and readings [mm].

    Returns
    -------
    Terms
        Log likelihood [1], slope [1/mm] and curvature [1/mm2].

    Notes
    -----
    Derived. y = mean + v + e with v normal for the rider and e normal for the foot. The feet with a setting give v
    a normal distribution in closed form; those with a bound multiply it by normal probabilities, as Tobin 1958 does,
    and one sum over that distribution, in even steps, integrates them.

    References
    ----------
    Tobin 1958, Econometrica 26:24.
    """
    is_exact = grid.is_exact
    foot_variance = foot_sd_mm**2
    beyond = np.where(is_exact, grid.value_mm - mean_mm, 0.0)
    count = is_exact.sum(axis=1)
    variance = 1 / (1 / rider_sd_mm**2 + count / foot_variance)
    middle = variance * beyond.sum(axis=1) / foot_variance
    log_likelihood = (
        -0.5 * count * (_LOG_2PI + np.log(foot_variance))
        - 0.5 * (beyond**2).sum(axis=1) / foot_variance
        + 0.5 * np.log(variance / rider_sd_mm**2)
        + 0.5 * middle**2 / variance
    )
    slope = np.where(is_exact, (beyond - middle[:, None]) / foot_variance, 0.0)
    shared = (variance / foot_variance**2)[:, None, None]
    pairs = is_exact[:, :, None] & is_exact[:, None, :]
    curvature = np.where(pairs, shared - np.eye(grid.value_mm.shape[1]) / foot_variance, 0.0)
    at = np.flatnonzero(grid.is_bound.any(axis=1))
    if at.size:
        more = _bounds(grid, mean_mm, at, middle[at], variance[at], foot_sd_mm)
        log_likelihood[at] += more.log_likelihood
        slope[at] += more.slope
        curvature[at] += more.curvature
    return Terms(log_likelihood, slope, curvature)


def _bounds(
    grid: Grid, mean_mm: np.ndarray, at: np.ndarray, middle: np.ndarray, variance: np.ndarray, foot_sd_mm: float
) -> Terms:
    """Return what the bounds of the riders `at` add, given the rider's effect from the feet with a setting."""
    is_exact, is_bound = grid.is_exact[at], grid.is_bound[at]
    sign = np.where(is_bound, grid.bound[at], 0)[:, :, None]
    effect = middle[:, None] + np.sqrt(variance)[:, None] * _NODES
    t = sign * ((mean_mm - grid.value_mm)[at][:, :, None] + effect[:, None, :]) / foot_sd_mm
    log_inside = special.log_ndtr(t)
    each = _LOG_WEIGHTS + np.where(sign == 0, 0.0, log_inside).sum(axis=1)
    log_likelihood = special.logsumexp(each, axis=1)
    share = np.exp(each - log_likelihood[:, None])[:, None, :]
    mills = np.exp(-0.5 * t**2 - 0.5 * _LOG_2PI - log_inside)
    first = sign * mills / foot_sd_mm
    second = np.where(sign == 0, 0.0, -mills * (t + mills)) / foot_sd_mm**2
    slope = (share * first).sum(axis=2)
    curvature = np.einsum("rxq,rkq,rlq->rkl", share, first, first) - slope[:, :, None] * slope[:, None, :]
    diagonal = np.arange(slope.shape[1])
    curvature[:, diagonal, diagonal] += (share * second).sum(axis=2)
    # A bound hangs on its own mean and, through the rider's effect, on the means of the feet with a setting.
    through = -(variance / foot_sd_mm**2)[:, None, None] * is_exact[:, None, :]
    chain = is_bound[:, :, None] * (np.eye(slope.shape[1]) + through)
    return Terms(
        log_likelihood,
        np.einsum("rk,rkj->rj", slope, chain),
        np.einsum("rki,rkl,rlj->rij", chain, curvature, chain),
    )
