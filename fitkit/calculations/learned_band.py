"""Where a clinic's own settled riders keep their cleats, by shoe size, and what that says of the next rider.

A setting is a line over the size, plus how far its start stood from that line, plus the fitter, the rider and the
foot. The line is shrunk toward the starting rule as prior: few riders leave the rule, many speak for themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas
from scipy import optimize, special

from fitkit.calculations.mixed_model import Fit, Grid, Hierarchy, fit
from fitkit.calculations.readings import Interval

MIDDLE_SIZE_EU = 42.0  # the line's level is counted there, where most riders are
# Share of held-out riders inside the 95 % interval, as tests/benchmarks/bench_coverage.py found it.
SIMULATED_COVERAGE = 0.961
_COEFFICIENTS = 3


@dataclass(frozen=True)
class Prior:
    """What is believed before any rider: the starting rule's line, and how far a clinic may be from it.

    House choices, no source, besides the line itself, which is the starting rule's.
    """

    level_mm: float  # the line at EU 42 [mm]
    slope_mm: float  # its growth [mm per EU size]
    level_sd_mm: float = 3.0  # spreads of both
    slope_sd_mm: float = 0.5
    start_effect: float = 0.5  # how much of a shift of the start is found again in the setting [mm per mm]
    start_effect_sd: float = 0.5
    rider_sd_mm: float = 5.0  # scales of half-normal priors of the spreads between riders, feet and fitters [mm]
    foot_sd_mm: float = 3.0
    fitter_sd_mm: float = 2.0


@dataclass(frozen=True)
class Settled:
    """Settings of feet, one entry a foot; each rider counts once, with one or two feet, under one fitter."""

    setback_mm: np.ndarray  # cleat setback as left, or the bound it lies beyond [mm]
    bound: np.ndarray  # 0 the setting; 1 a cleat at the slot's rear end: at least `setback_mm`; -1 front end: at most
    size_eu: np.ndarray  # shoe size [EU sizes]
    start_shift_mm: np.ndarray  # how far the start stood from the rule's line, toward the heel positive [mm]
    rider: np.ndarray  # numbers that tell riders apart
    fitter: np.ndarray  # numbers that tell fitters apart, from 0 without a gap


@dataclass(frozen=True)
class Learned:
    """What the settled riders say: the fit, and how many stand behind it."""

    fit: Fit  # level, slope and effect of the start, then the fitters
    riders: int
    feet: int
    bounds: int  # feet at a slot's end
    fitters: int
    has_start_effect: bool  # whether starts stood off the line at all, so that their effect could be seen


def learn(settled: Settled, prior: Prior) -> Learned:
    """Return what settled riders say of the next one.

    Raises
    ------
    ValueError
        If there is no foot, if a value is no number, if a bound is none of -1, 0, 1, or if the fitters have a gap.

    Notes
    -----
    y = level + slope (size - 42) + effect (start - rule) + fitter + rider + foot, all normal; see `mixed_model.fit`.

    References
    ----------
    Tobin 1958, Econometrica 26:24 (bounds); Patterson & Thompson 1971, Biometrika 58:545 (restricted likelihood);
    Tierney & Kadane 1986, JASA 81:82 (Laplace's method).
    """
    _check(settled)
    return Learned(
        fit(_hierarchy(settled, prior)),
        riders=len(np.unique(settled.rider)),
        feet=len(settled.rider),
        bounds=int(np.count_nonzero(settled.bound)),
        fitters=int(settled.fitter.max()) + 1,
        has_start_effect=bool(np.ptp(settled.start_shift_mm) > 0),
    )


def _hierarchy(settled: Settled, prior: Prior) -> Hierarchy:
    """Return riders in rows and their feet in columns, with the prior."""
    riders, row = np.unique(settled.rider, return_inverse=True)
    column = pandas.Series(row).groupby(row).cumcount().to_numpy()  # which of its rider's feet each foot is
    shape = (len(riders), int(column.max()) + 1)
    feet = np.column_stack(
        [np.ones(len(row)), np.asarray(settled.size_eu, float) - MIDDLE_SIZE_EU, settled.start_shift_mm]
    )
    fitter = np.zeros(len(riders), int)
    fitter[row] = settled.fitter
    return Hierarchy(
        Grid(
            _placed(np.asarray(settled.setback_mm, float), row, column, shape),
            _placed(np.asarray(settled.bound, int), row, column, shape),
            _placed(np.ones(len(row), bool), row, column, shape),
        ),
        _placed(feet, row, column, (*shape, _COEFFICIENTS)),
        fitter if fitter.max() > 0 else None,
        np.array([prior.level_mm, prior.slope_mm, prior.start_effect]),
        np.diag([prior.level_sd_mm**-2, prior.slope_sd_mm**-2, prior.start_effect_sd**-2]),
        (prior.rider_sd_mm, prior.foot_sd_mm, prior.fitter_sd_mm),
    )


def new_rider(learned: Learned, size_eu: float, *, level: float = 0.95) -> Interval:
    """Return where a new rider of this clinic is expected to settle, one foot as the clinic would read it [mm].

    Parameters
    ----------
    size_eu : float
        Shoe size [EU sizes].
    level : float
        Share of new riders the interval is to hold [1]; 0.5 is the middle half of them.

    Notes
    -----
    Derived: the predictive distribution, with the uncertainty of line and spreads, over whichever fitter sees the
    rider, from a start on the rule's line. Its ends are quantiles of a mixture of normal distributions.
    """
    made_of = np.zeros(learned.fit.means.shape[1])
    made_of[:2] = 1.0, size_eu - MIDDLE_SIZE_EU
    return _interval(learned.fit, made_of, (learned.fit.sds_mm**2).sum(axis=1), level)


def fitter_bias(learned: Learned, fitter: int) -> Interval:
    """Return how far a fitter's riders settle from those of all two fitters or more, toward the heel positive [mm].

    Notes
    -----
    Derived: the fitter's effect minus the mean of all, shrunk toward 0 by how alike the fitters are.
    """
    made_of = np.zeros(learned.fit.means.shape[1])
    made_of[_COEFFICIENTS:] = -1 / learned.fitters
    made_of[_COEFFICIENTS + fitter] += 1
    return _interval(learned.fit, made_of, np.zeros(len(learned.fit.weights)), 0.95)


def effect_of_start(learned: Learned) -> Interval:
    """Return how much of a shift of the start is found again in the setting [mm per mm]: 1 all of it, 0 nothing.

    Notes
    -----
    Derived: the coefficient of the start's distance from the line; `has_start_effect` tells whether this is more than
    the prior. The reason a start was shifted may itself change where a rider settles, so that this proves no effect.
    """
    made_of = np.zeros(learned.fit.means.shape[1])
    made_of[2] = 1.0
    return _interval(learned.fit, made_of, np.zeros(len(learned.fit.weights)), 0.95)


def _interval(found: Fit, made_of: np.ndarray, extra_variance: np.ndarray, level: float) -> Interval:
    middles = found.means @ made_of
    sds = np.sqrt(np.einsum("i,qij,j->q", made_of, found.covariances, made_of) + extra_variance)

    def quantile(share: float) -> float:
        reach = 12 * sds.max() + np.ptp(middles)
        return optimize.brentq(
            lambda x: float(found.weights @ special.ndtr((x - middles) / sds)) - share,
            middles.min() - reach,
            middles.max() + reach,
            xtol=1e-9,
        )

    return Interval(quantile(0.5), quantile(0.5 - level / 2), quantile(0.5 + level / 2))


def _check(settled: Settled) -> None:
    if not len(settled.setback_mm):
        raise ValueError("setback_mm is empty; expected one foot or more")
    for name in ("setback_mm", "size_eu", "start_shift_mm"):
        values = np.asarray(getattr(settled, name), float)
        if not np.isfinite(values).all():
            raise ValueError(f"{name} holds {values[~np.isfinite(values)][0]}; expected numbers")
    odd = np.setdiff1d(settled.bound, (-1, 0, 1))
    if odd.size:
        raise ValueError(f"bound holds {odd[0]}; expected -1, 0 or 1")
    if not np.array_equal(np.unique(settled.fitter), np.arange(int(np.max(settled.fitter)) + 1)):
        raise ValueError(f"fitter holds {np.unique(settled.fitter).tolist()}; expected numbers from 0 without a gap")


def _placed(values: np.ndarray, row: np.ndarray, column: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    grid = np.zeros(shape, values.dtype)
    grid[row, column] = values
    return grid
