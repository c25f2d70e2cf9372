"""The hinge's break against R's segmented, on its own data, and against a library of its own."""

import numpy as np
import piecewise_regression.main as piecewise
import pytest
import rdata

from fitkit.calculations.forward_limit import two_lines


def test_break_is_that_of_r_segmented(outside_data):
    table = rdata.read_rda(outside_data("usr/lib/R/site-library/segmented/data/stagnant.rda"))["stagnant"]
    found = two_lines(table.x.to_numpy(), table.y.to_numpy(), is_flat_behind=False)
    # R's segmented on its own data: 0.0411057820, standard error 0.0228, residual sum of squares 0.0091401972.
    assert found.break_mm.value == pytest.approx(0.0411057820, abs=1e-7)
    assert found.residual_sum_of_squares == pytest.approx(0.0091401972, abs=1e-9)
    # With 24 degrees of freedom its interval is -0.006 to 0.088; the F test's reaches 0.02 further down.
    assert (found.break_mm.low, found.break_mm.high) == pytest.approx((-0.006, 0.088), abs=0.025)


@pytest.mark.parametrize("seed", range(4))
def test_break_is_that_of_piecewise_regression(seed):
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 20, 80))
    y = 1.5 * np.maximum(11 - x, 0) + 0.2 * x + rng.normal(0, 0.5, 80)
    theirs = [piecewise.Muggeo(x, y, 1, [start]) for start in (7.0, 10.0, 10.9, 11.4, 13.0)]
    best = min((fit.best_fit for fit in theirs if fit.converged), key=lambda fit: fit.residual_sum_squares)
    found = two_lines(x, y, is_flat_behind=False)
    # Its iteration may circle about the least sum of squares, by some thousandths here.
    assert found.break_mm.value == pytest.approx(best.next_breakpoints[0], abs=0.01)
    assert found.residual_sum_of_squares <= best.residual_sum_squares + 1e-9
