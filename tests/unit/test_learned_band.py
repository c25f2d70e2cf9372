"""The learned band against likelihoods written out, and clinics whose true answer is known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from fitkit.calculations.learned_band import Prior, Settled, effect_of_start, fitter_bias, learn, new_rider
from fitkit.calculations.mixed_model import Grid, Hierarchy, given_spreads, terms
from tests.invented_clinic import PRIOR, Truth, coverage, invent


def flat(grid, columns, fitter=None):
    """Return a hierarchy without any prior."""
    count = columns.shape[2]
    return Hierarchy(grid, columns, fitter, np.zeros(count), np.zeros((count, count)), None)


def test_bounds_are_a_tobit_likelihood():
    # Tobin 1958 written out with scipy.stats.norm, one foot a rider: densities for settings, tail areas for bounds.
    clinic = invent(Truth(riders=60, held_out=0), seed=4).settled
    one = slice(None, None, 2)
    grid = Grid(clinic.setback_mm[one, None], clinic.bound[one, None], np.ones((60, 1), bool))
    columns = np.column_stack([np.ones(60), clinic.size_eu[one] - 42])
    sd = math.hypot(3.0, 1.2)

    def tobit(line):
        z = (grid.value_mm[:, 0] - columns @ line) / sd
        kinds = [grid.bound[:, 0] == 1, grid.bound[:, 0] == -1]
        return np.select(kinds, [stats.norm.logsf(z), stats.norm.logcdf(z)], stats.norm.logpdf(z) - math.log(sd)).sum()

    assert grid.is_bound.sum() > 10
    ours = given_spreads(flat(grid, columns[:, None, :]), (3.0, 1.2))
    best = optimize.minimize(lambda line: -tobit(line), (15.0, 1.0), method="Nelder-Mead", options={"xatol": 1e-6})
    assert ours.mean == pytest.approx(best.x, abs=1e-3)
    found = terms(grid, (columns @ best.x)[:, None], rider_sd_mm=3.0, foot_sd_mm=1.2)
    assert found.log_likelihood.sum() == pytest.approx(tobit(best.x), abs=1e-6)


@pytest.mark.parametrize("bounds", [(1, 1), (-1, -1), (1, -1), (1, 0), (0, -1), (0, 0)])
def test_two_feet_of_one_rider_are_a_bivariate_normal(bounds):
    # scipy's multivariate normal: joint density of the settings times the conditional area beyond the bounds.
    rider, foot, value, mean = 3.0, 1.2, np.array([17.0, 16.0]), np.array([15.0, 15.5])
    covariance = rider**2 + foot**2 * np.eye(2)
    sign = np.array(bounds)
    grid = Grid(value[None], sign[None], np.ones((1, 2), bool))
    found = terms(grid, mean[None], rider_sd_mm=rider, foot_sd_mm=foot).log_likelihood[0]
    off = value - mean
    if 0 not in bounds:
        turned = covariance * np.outer(sign, sign)
        expected = math.log(stats.multivariate_normal(np.zeros(2), turned).cdf(-sign * off))
    elif bounds == (0, 0):
        expected = stats.multivariate_normal(mean, covariance).logpdf(value)
    else:
        known, beyond = (0, 1) if bounds[0] == 0 else (1, 0)
        share = covariance[0, 1] / covariance[0, 0]
        sd = math.sqrt(covariance[0, 0] - share * covariance[0, 1])
        z = sign[beyond] * (share * off[known] - off[beyond]) / sd
        expected = stats.norm(0, math.sqrt(covariance[0, 0])).logpdf(off[known]) + stats.norm.logcdf(z)
    assert found == pytest.approx(expected, abs=2e-5)


def test_slopes_are_those_of_the_likelihood():
    # Central differences of the log likelihood itself.
    clinic = invent(Truth(riders=40, held_out=0), seed=6).settled
    grid = Grid(clinic.setback_mm.reshape(40, 2), clinic.bound.reshape(40, 2), np.ones((40, 2), bool))
    at = np.full((40, 2), 15.0)

    def found(mean):
        return terms(grid, mean, rider_sd_mm=3.0, foot_sd_mm=1.2)

    for foot in (0, 1):
        step = np.zeros((1, 2))
        step[0, foot] = 1e-4
        up, down = found(at + step), found(at - step)
        assert found(at).gradient[:, foot] == pytest.approx((up.log_likelihood - down.log_likelihood) / 2e-4, abs=1e-5)
        assert found(at).hessian[:, :, foot] == pytest.approx((up.gradient - down.gradient) / 2e-4, abs=1e-5)


def test_a_plain_mean_and_sd_misses_the_riders_and_ours_does_not():
    # Invented clinics whose true answer is known; many cleats stand at a slot's end. Larger: bench_coverage.py.
    found = np.array([coverage(invent(Truth(riders=150, held_out=400), seed)) for seed in range(5)])
    ours, plain = found.mean(axis=0)
    assert 0.93 <= ours <= 0.97
    assert plain < 0.93


def test_no_riders_leave_the_rule_and_many_leave_it_behind():
    # By definition of a prior: one rider on the rule stays there, hundreds elsewhere are found where they are.
    one = Settled(*(np.array([value]) for value in (15.0, 0, 42.0, 0.0, 0, 0)))
    assert new_rider(learn(one, PRIOR), 42).value == pytest.approx(15.0, abs=0.05)
    many = invent(Truth(riders=400, held_out=0, level_mm=20.0, slot_mm=40.0, fitter_sd_mm=0.01), seed=1)
    assert new_rider(learn(many.settled, PRIOR), 42).value == pytest.approx(20.0, abs=0.6)


def test_fitters_are_told_apart():
    # Two invented fitters three millimetres apart, each with riders of his own.
    clinic = invent(Truth(riders=120, held_out=0, fitters=2, fitter_sd_mm=0.0, slot_mm=60.0, front_mm=-40.0), seed=2)
    settled = replace(clinic.settled, setback_mm=clinic.settled.setback_mm + 3.0 * clinic.settled.fitter)
    first, second = (fitter_bias(learn(settled, PRIOR), fitter) for fitter in (0, 1))
    assert second.low < 1.5 < second.high
    assert second.low > 0 > first.high


def test_the_pull_of_shifted_starts():
    # Invented: half of every shift is found again in the setting.
    clinic = invent(Truth(riders=200, held_out=0, slot_mm=60.0, front_mm=-40.0), seed=8).settled
    shift = np.repeat(np.random.default_rng(1).choice((0.0, 3.0), 200), 2)
    learned = learn(replace(clinic, setback_mm=clinic.setback_mm + 0.5 * shift, start_shift_mm=shift), PRIOR)
    found = effect_of_start(learned)
    assert learned.has_start_effect
    assert found.low < 0.5 < found.high
    assert not learn(clinic, PRIOR).has_start_effect


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"setback_mm": np.array([math.nan])}, "setback_mm holds nan"),
        ({"size_eu": np.array([math.inf])}, "size_eu holds inf"),
        ({"bound": np.array([2])}, "bound holds 2"),
        ({"fitter": np.array([1])}, r"fitter holds \[1\]"),
        ({"setback_mm": np.array([])}, "setback_mm is empty"),
    ],
)
def test_what_cannot_be_learned_from_is_refused(changes, said):
    one = Settled(*(np.array([value]) for value in (15.0, 0, 42.0, 0.0, 0, 0)))
    with pytest.raises(ValueError, match=said):
        learn(replace(one, **changes), Prior(level_mm=15.0, slope_mm=1.5))
