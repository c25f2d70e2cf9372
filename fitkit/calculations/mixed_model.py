"""A linear mixed model with censored settings: restricted likelihood with a prior, by Laplace's method.

A line, groups and fitters are fitted together. Why not a library: the mixed models at hand take every setting as
exact. A cleat left at a slot's end is only a bound, and taking it as a setting makes riders look more alike than they
are. The likelihood is therefore written out, and scipy only maximises it; without bounds it is exactly the restricted
likelihood of a linear mixed model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import optimize, special

# Even steps: for a smooth function that dies away at both ends the plain sum is exact to many digits, also where
# feet differ so little that a bound is nearly a step, at which Gauss-Hermite nodes fail.
_EVEN_NODES = np.linspace(-7, 7, 57)
_LOG_WEIGHTS = -0.5 * _EVEN_NODES**2 - special.logsumexp(-0.5 * _EVEN_NODES**2)
_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Grid:
    """Riders in rows, their feet in columns; a rider with fewer feet leaves a column empty."""

    value_mm: np.ndarray  # setting of each foot, or the bound it is known to lie beyond [mm]
    bound: np.ndarray  # 0 the setting itself, 1 at least `value_mm`, -1 at most `value_mm`
    is_there: np.ndarray  # whether there is such a foot

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
    """Log likelihood of each rider, its gradient and its Hessian over the means of the rider's feet."""

    log_likelihood: np.ndarray
    gradient: np.ndarray
    hessian: np.ndarray


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
        Log likelihood [1], gradient [1/mm] and Hessian [1/mm2].

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
    gradient = np.where(is_exact, (beyond - middle[:, None]) / foot_variance, 0.0)
    shared = (variance / foot_variance**2)[:, None, None]
    pairs = is_exact[:, :, None] & is_exact[:, None, :]
    hessian = np.where(pairs, shared - np.eye(grid.value_mm.shape[1]) / foot_variance, 0.0)
    at = np.flatnonzero(grid.is_bound.any(axis=1))
    if at.size:
        more = _bounds(grid, mean_mm, at, middle[at], variance[at], foot_sd_mm)
        log_likelihood[at] += more.log_likelihood
        gradient[at] += more.gradient
        hessian[at] += more.hessian
    return Terms(log_likelihood, gradient, hessian)


def _bounds(
    grid: Grid, mean_mm: np.ndarray, at: np.ndarray, middle: np.ndarray, variance: np.ndarray, foot_sd_mm: float
) -> Terms:
    """Return what the bounds of the riders `at` add, given the rider's effect from the feet with a setting."""
    is_exact, is_bound = grid.is_exact[at], grid.is_bound[at]
    sign = np.where(is_bound, grid.bound[at], 0)[:, :, None]
    effect = middle[:, None] + np.sqrt(variance)[:, None] * _EVEN_NODES
    t = sign * ((mean_mm - grid.value_mm)[at][:, :, None] + effect[:, None, :]) / foot_sd_mm
    log_inside = special.log_ndtr(t)
    each = _LOG_WEIGHTS + np.where(sign == 0, 0.0, log_inside).sum(axis=1)
    log_likelihood = special.logsumexp(each, axis=1)
    share = np.exp(each - log_likelihood[:, None])[:, None, :]
    mills = np.exp(-0.5 * t**2 - 0.5 * _LOG_2PI - log_inside)
    first = sign * mills / foot_sd_mm
    second = np.where(sign == 0, 0.0, -mills * (t + mills)) / foot_sd_mm**2
    gradient = (share * first).sum(axis=2)
    hessian = np.einsum("rxq,rkq,rlq->rkl", share, first, first) - gradient[:, :, None] * gradient[:, None, :]
    diagonal = np.arange(gradient.shape[1])
    hessian[:, diagonal, diagonal] += (share * second).sum(axis=2)
    # A bound hangs on its own mean and, through the rider's effect, on the means of the feet with a setting.
    through = -(variance / foot_sd_mm**2)[:, None, None] * is_exact[:, None, :]
    chain = is_bound[:, :, None] * (np.eye(gradient.shape[1]) + through)
    return Terms(
        log_likelihood,
        np.einsum("rk,rkj->rj", gradient, chain),
        np.einsum("rki,rkl,rlj->rij", chain, hessian, chain),
    )


_START_SD_MM = 2.0
_LEAST_LOG_SD, _GREATEST_LOG_SD = np.log(0.02), np.log(2000.0)
_LEAST_CURVATURE = 0.5
_STEP = 0.02  # of the log of a spread, for the Hessian at the top
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(3)


@dataclass(frozen=True)
class Hierarchy:
    """What is to be fitted: riders as groups, their feet as members."""

    grid: Grid  # groups in rows, their members in columns [mm]
    columns: np.ndarray  # groups, members, coefficients: what each mean is made of
    fitter: np.ndarray | None  # index of each group's fitter, None without fitters
    prior_mean: np.ndarray  # normal prior of the coefficients
    prior_precision: np.ndarray  # a precision of 0 is no prior
    sd_scales_mm: tuple[float, ...] | None  # half-normal priors of the spreads of groups, members, fitters [mm]

    @property
    def fitters(self) -> int:
        """How many fitters there are."""
        return 0 if self.fitter is None else int(self.fitter.max()) + 1

    def design(self) -> np.ndarray:
        """Return coefficients and fitters side by side."""
        if self.fitter is None:
            return self.columns
        each = np.eye(self.fitters)[self.fitter]
        shape = (*self.columns.shape[:2], self.fitters)
        return np.concatenate([self.columns, np.broadcast_to(each[:, None, :], shape)], axis=2)


@dataclass(frozen=True)
class Gaussian:
    """Coefficients and fitters for given spreads: mean, covariance, and the log evidence."""

    mean: np.ndarray
    covariance: np.ndarray
    log_evidence: float


@dataclass(frozen=True)
class Fit:
    """Coefficients, fitters and spreads, as a weighted set of normal distributions, one entry each."""

    weights: np.ndarray  # in all 1
    means: np.ndarray  # coefficients, then fitters
    covariances: np.ndarray
    sds_mm: np.ndarray  # spread of groups, members and fitters [mm]; 0 for fitters where there are none
    best: Gaussian  # the one at the most likely spreads
    best_sds_mm: tuple[float, ...]  # those spreads [mm]


def fit(hierarchy: Hierarchy) -> Fit:
    """Return the fit with the uncertainty of the spreads carried along.

    Notes
    -----
    For given spreads the coefficients and fitters are found by Newton's method and integrated by Laplace's; the logs
    of the spreads, then, over a product of three Gauss-Hermite nodes each, weighted anew by the posterior itself.
    """
    search = _LaplaceFit(hierarchy)
    count = 3 if hierarchy.fitters else 2
    found = optimize.minimize(
        lambda logs: -search.log_posterior(logs),
        np.log(np.full(count, _START_SD_MM)),
        method="L-BFGS-B",
        bounds=[(_LEAST_LOG_SD, _GREATEST_LOG_SD)] * count,
        options={"ftol": 1e-12, "gtol": 1e-6},
    )
    best = search.gaussian(found.x)
    weights, places, gaussians = _nodes(search, found.x)
    sds = np.exp(places)
    if count == 2:
        sds = np.column_stack([sds, np.zeros(len(sds))])
    return Fit(
        weights,
        np.array([g.mean for g in gaussians]),
        np.array([g.covariance for g in gaussians]),
        sds,
        best,
        tuple(float(sd) for sd in np.exp(found.x)),
    )


def given_spreads(hierarchy: Hierarchy, sds_mm: Sequence[float]) -> Gaussian:
    """Return coefficients and fitters for given spreads of groups, members and, where there are any, fitters [mm]."""
    return _LaplaceFit(hierarchy).gaussian(np.log(sds_mm))


class _LaplaceFit:
    """The posterior of the spreads; each search for coefficients begins where the last one ended."""

    def __init__(self, hierarchy: Hierarchy) -> None:
        self.hierarchy = hierarchy
        self.design = hierarchy.design()
        self.at = np.concatenate([hierarchy.prior_mean, np.zeros(hierarchy.fitters)])
        self.prior_mean = self.at.copy()

    def log_posterior(self, logs: np.ndarray) -> float:
        """Return the log posterior of the logs of the spreads, up to a constant."""
        return self.weighed(logs)[0]

    def weighed(self, logs: np.ndarray) -> tuple[float, Gaussian]:
        """Return the log posterior of the logs of the spreads, and the fit for them."""
        gaussian = self.gaussian(logs)
        return gaussian.log_evidence + self._log_prior(logs), gaussian

    def _log_prior(self, logs: np.ndarray) -> float:
        scales = self.hierarchy.sd_scales_mm
        if scales is None:
            return 0.0
        # Half-normal in the spread; the log of the spread itself comes from the change of variable.
        return float(sum(log - 0.5 * (np.exp(log) / scale) ** 2 for log, scale in zip(logs, scales, strict=False)))

    def gaussian(self, logs: np.ndarray) -> Gaussian:
        """Return coefficients and fitters for given spreads."""
        sds = np.exp(logs)
        precision = self.hierarchy.prior_precision
        log_prior = 0.0
        if self.hierarchy.fitters:
            inner = np.eye(self.hierarchy.fitters) / sds[2] ** 2
            precision = np.block(
                [
                    [precision, np.zeros((len(precision), len(inner)))],
                    [np.zeros((len(inner), len(precision))), inner],
                ]
            )
            log_prior = -self.hierarchy.fitters * float(np.log(sds[2]))
        height, gradient, minus_hessian = self._height(self.at, sds, precision)
        for _ in range(60):
            step = np.linalg.solve(minus_hessian, gradient)
            if not float(gradient @ step) > 1e-10:
                break
            height, gradient, minus_hessian = self._climb(step, height, sds, precision)
        log_evidence = height + log_prior - 0.5 * np.linalg.slogdet(minus_hessian)[1]
        return Gaussian(self.at.copy(), np.linalg.inv(minus_hessian), float(log_evidence))

    def _climb(self, step: np.ndarray, height: float, sds: np.ndarray, precision: np.ndarray) -> tuple:
        """Go one step up, a shorter one where the whole would lead down."""
        for _ in range(30):
            reached = self._height(self.at + step, sds, precision)
            if reached[0] >= height - 1e-9:
                break
            step = step / 2
        self.at = self.at + step
        return reached

    def _height(self, at: np.ndarray, sds: np.ndarray, precision: np.ndarray) -> tuple:
        """Return the log posterior of coefficients and fitters, its gradient and minus its Hessian."""
        found = terms(
            self.hierarchy.grid, np.einsum("rkp,p->rk", self.design, at), rider_sd_mm=sds[0], foot_sd_mm=sds[1]
        )
        off = at - self.prior_mean
        height = found.log_likelihood.sum() - 0.5 * off @ precision @ off
        gradient = np.einsum("rk,rkp->p", found.gradient, self.design) - precision @ off
        bent = np.einsum("rkl,rlq->rkq", found.hessian, self.design)
        # Not as one matrix product: for so few columns a linear-algebra library's threads cost more than they save.
        minus_hessian = precision - np.einsum("rkp,rkq->pq", self.design, bent)
        return float(height), gradient, minus_hessian


def _nodes(search: _LaplaceFit, top: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[Gaussian]]:
    """Return weights, places and fits over the posterior of the logs of the spreads around its top."""
    values, vectors = np.linalg.eigh(_minus_hessian(search, top))
    # A spread the data say little of must not send its nodes beyond every sense.
    root = vectors / np.sqrt(np.maximum(values, _LEAST_CURVATURE))
    steps = np.array(list(product(_NODES, repeat=len(top))))
    plain = np.array([np.prod(w) for w in product(_WEIGHTS, repeat=len(top))])
    places = np.clip(top + steps @ root.T, _LEAST_LOG_SD, _GREATEST_LOG_SD)
    found = [search.weighed(place) for place in places]
    heights = np.array([height for height, _ in found]) + 0.5 * (steps**2).sum(axis=1)
    weights = plain * np.exp(heights - heights.max())
    return weights / weights.sum(), places, [gaussian for _, gaussian in found]


def _minus_hessian(search: _LaplaceFit, top: np.ndarray) -> np.ndarray:
    """Return minus the Hessian of the log posterior at its top, by central differences."""
    size = len(top)
    found = np.empty((size, size))
    moves = np.eye(size) * _STEP
    for i in range(size):
        for j in range(i + 1):
            corners = [
                sign_i * sign_j * search.log_posterior(top + sign_i * moves[i] + sign_j * moves[j])
                for sign_i in (1, -1)
                for sign_j in (1, -1)
            ]
            found[i, j] = found[j, i] = -sum(corners) / (4 * _STEP**2)
    return found
