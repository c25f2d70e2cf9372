"""A line, groups and fitters fitted together: restricted likelihood with a prior, by Laplace's method.

Why not a library: the mixed models at hand take every setting as exact. A cleat left at a slot's end is only a bound,
and taking it as a setting makes riders look more alike than they are. The likelihood is therefore written out, and
scipy only maximises it; without bounds it is exactly the restricted likelihood of a linear mixed model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import optimize

from fitkit.calculations.learned_band.likelihood import Grid, terms

__all__ = ["Fit", "Gaussian", "Hierarchy", "fit", "given_spreads"]

_START_SD_MM = 2.0
_LEAST_LOG_SD, _GREATEST_LOG_SD = np.log(0.02), np.log(2000.0)
_LEAST_CURVATURE = 0.5
_STEP = 0.02  # of the log of a spread, for the curvature at the top
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(3)


@dataclass(frozen=True)
class Hierarchy:
    """What is to be fitted.

    Parameters
    ----------
    grid : Grid
        Groups in rows, their members in columns: riders and feet [mm].
    columns : ndarray
        Groups, members, coefficients: what each mean is made of.
    fitter : ndarray or None
        Index of each group's fitter, None without fitters.
    prior_mean, prior_precision : ndarray
        Normal prior of the coefficients; a precision of 0 is no prior.
    sd_scales_mm : tuple of float, optional
        Half-normal priors of the spreads of groups, members and fitters [mm]; None for none.
    """

    grid: Grid
    columns: np.ndarray
    fitter: np.ndarray | None
    prior_mean: np.ndarray
    prior_precision: np.ndarray
    sd_scales_mm: tuple[float, ...] | None

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
    """Coefficients, fitters and spreads, as a weighted set of normal distributions.

    Parameters
    ----------
    weights : ndarray
        Weight of each, in all 1.
    means, covariances : ndarray
        Coefficients, then fitters, for each.
    sds_mm : ndarray
        Spread of groups, members and fitters for each [mm]; 0 for fitters where there are none.
    best : Gaussian
        The one at the most likely spreads.
    best_sds_mm : tuple of float
        Those spreads [mm].
    """

    weights: np.ndarray
    means: np.ndarray
    covariances: np.ndarray
    sds_mm: np.ndarray
    best: Gaussian
    best_sds_mm: tuple[float, ...]


def fit(hierarchy: Hierarchy) -> Fit:
    """Return the fit with the uncertainty of the spreads carried along.

    Notes
    -----
    For given spreads the coefficients and fitters are found by Newton's method and integrated by Laplace's; the logs
    of the spreads, then, over a product of three Gauss-Hermite nodes each, weighted anew by the posterior itself.
    """
    search = _Search(hierarchy)
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
    return _Search(hierarchy).gaussian(np.log(sds_mm))


class _Search:
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
        height, slope, curvature = self._height(self.at, sds, precision)
        for _ in range(60):
            step = np.linalg.solve(curvature, slope)
            if not float(slope @ step) > 1e-10:
                break
            height, slope, curvature = self._climb(step, height, sds, precision)
        log_evidence = height + log_prior - 0.5 * np.linalg.slogdet(curvature)[1]
        return Gaussian(self.at.copy(), np.linalg.inv(curvature), float(log_evidence))

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
        found = terms(
            self.hierarchy.grid, np.einsum("rkp,p->rk", self.design, at), rider_sd_mm=sds[0], foot_sd_mm=sds[1]
        )
        off = at - self.prior_mean
        height = found.log_likelihood.sum() - 0.5 * off @ precision @ off
        slope = np.einsum("rk,rkp->p", found.slope, self.design) - precision @ off
        bent = np.einsum("rkl,rlq->rkq", found.curvature, self.design)
        # Not as one matrix product: for so few columns a linear-algebra library's threads cost more than they save.
        curvature = precision - np.einsum("rkp,rkq->pq", self.design, bent)
        return float(height), slope, curvature


def _nodes(search: _Search, top: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[Gaussian]]:
    """Return weights, places and fits over the posterior of the logs of the spreads around its top."""
    values, vectors = np.linalg.eigh(_curvature(search, top))
    # A spread the data say little of must not send its nodes beyond every sense.
    root = vectors / np.sqrt(np.maximum(values, _LEAST_CURVATURE))
    steps = np.array(list(product(_NODES, repeat=len(top))))
    plain = np.array([np.prod(w) for w in product(_WEIGHTS, repeat=len(top))])
    places = np.clip(top + steps @ root.T, _LEAST_LOG_SD, _GREATEST_LOG_SD)
    found = [search.weighed(place) for place in places]
    heights = np.array([height for height, _ in found]) + 0.5 * (steps**2).sum(axis=1)
    weights = plain * np.exp(heights - heights.max())
    return weights / weights.sum(), places, [gaussian for _, gaussian in found]


def _curvature(search: _Search, top: np.ndarray) -> np.ndarray:
    """Return minus the second derivatives at the top, by central differences."""
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
