"""The hinge's break against a published fit and simulated riders."""

import numpy as np
import pytest

from fitkit.calculations.forward_limit import NOT_FOUND, hinge, two_lines

SETBACKS = np.repeat(np.arange(8.0, 23.0, 2.0), 3)  # eight settings, three trials each
FITS = 60


def readme_example():
    # README of piecewise-regression 1.5.0: seed 0, 200 points, a break at 7 in the making.
    x = np.linspace(0, 20, 200)
    return x, 100 - 4 * x + 2 * np.maximum(x - 7, 0) + np.random.RandomState(0).normal(size=200)


def test_break_is_that_of_the_readme_of_piecewise_regression():
    found = two_lines(*readme_example(), is_flat_behind=False)
    assert found.break_mm.value == pytest.approx(6.48706, abs=5e-5)
    # It prints 6.2168 to 6.7573 from a standard error; the F test's interval need only be near that.
    assert (found.break_mm.low, found.break_mm.high) == pytest.approx((6.2168, 6.7573), abs=0.02)


def test_a_hinge_without_noise_is_found_where_it_is():
    y = 1 + 0.7 * np.maximum(14.5 - SETBACKS, 0) + np.tile([-0.01, 0.0, 0.01], 8)
    found = hinge(cleat_setback_mm=SETBACKS, unsteadiness=y)
    assert found.break_mm.value == pytest.approx(14.5, abs=0.01)
    assert found.rise_per_mm == pytest.approx(0.7, abs=0.001)


def test_a_break_is_found_and_its_interval_holds_it():
    # Simulated: break at 14, slope 0.7 points a mm forward of it, noise 1; the full rates are in the benchmarks.
    rng = np.random.default_rng(1)
    found = [
        hinge(cleat_setback_mm=SETBACKS, unsteadiness=0.7 * np.maximum(14 - SETBACKS, 0) + rng.normal(size=24)).break_mm
        for _ in range(FITS)
    ]
    told = [ends for ends in found if ends is not None]
    assert len(told) >= 0.8 * FITS
    assert sum(ends.low <= 14 <= ends.high for ends in told) >= 0.88 * len(told)  # 95 %, less twice its scatter


@pytest.mark.parametrize("slope", [0.0, 0.35])
def test_no_break_is_seldom_claimed(slope):
    # Simulated: no relation, and a straight line. At most 5 % may be claimed; 60 fits scatter by 3 % about that.
    rng = np.random.default_rng(2)
    claimed = sum(
        hinge(cleat_setback_mm=SETBACKS, unsteadiness=slope * (22 - SETBACKS) + rng.normal(size=24)).break_mm
        is not None
        for _ in range(FITS)
    )
    assert claimed <= (0.05 + 2 * 0.03) * FITS


def test_a_hinge_that_rises_toward_the_heel_is_no_forward_limit():
    y = 0.7 * np.minimum(SETBACKS - 14, 0) + np.tile([-0.1, 0.0, 0.1], 8)
    found = hinge(cleat_setback_mm=SETBACKS, unsteadiness=y + 5)
    assert (found.break_mm, found.needs) == (None, NOT_FOUND)


def test_too_few_trials_say_how_many_there_are():
    found = hinge(cleat_setback_mm=[8, 8, 8, 12, 12, 12, 16, 20], unsteadiness=[7, 7, 7, 5, 5, 5, 1, 1])
    assert found.needs == "5 setbacks with 3 trials each; found 2"


def test_readings_that_do_not_belong_together_are_refused():
    with pytest.raises(ValueError, match="24 setbacks and 3 scores"):
        hinge(cleat_setback_mm=SETBACKS, unsteadiness=[1, 2, 3])
    with pytest.raises(ValueError, match="finite"):
        hinge(cleat_setback_mm=SETBACKS, unsteadiness=np.full(24, np.nan))
