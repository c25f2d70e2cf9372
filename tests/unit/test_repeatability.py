"""Error of repeats and agreement against published tables."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.calculations import repeatability
from fitkit.calculations.readings import Interval

# Shrout and Fleiss 1979, Psychol Bull 86:420: six targets by four judges.
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]

# Bland and Altman 1986, Lancet 327:307: peak expiratory flow [l/min], first reading with each of two meters.
LARGE_METER = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI_METER = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_icc_is_that_of_the_published_table():
    # Shrout and Fleiss 1979, form (2,1), to the two digits printed.
    assert repeatability.icc(SHROUT_FLEISS).value == pytest.approx(0.29, abs=0.005)


def test_bias_and_limits_are_those_of_bland_and_altman():
    found = repeatability.limits_of_agreement(LARGE_METER, MINI_METER)
    # The paper: mean -2.1 (-22.1 to 17.8, by t), SD 38.8.
    assert found.bias.value == pytest.approx(-2.1, abs=0.05)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.1, 17.8), abs=0.06)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    # The paper takes 2 SD where later ones take 1.96: -79.7 and 75.5.
    assert found.bias.value - 2 * found.sd == pytest.approx(-79.7, abs=0.06)
    assert found.lower.value == pytest.approx(found.bias.value - 1.96 * found.sd)
    # Its limits' interval, -114.3 to -45.1, rests on sqrt(3 s^2 / n); the form of 1999 used here is a little wider.
    assert found.lower.high - found.lower.low == pytest.approx(114.3 - 45.1, rel=0.01)


def test_limits_of_agreement_hold_most_differences():
    # Coverage of the interval of a limit under the model itself, 95 % expected.
    rng, held = np.random.default_rng(4), 0
    for _ in range(400):
        found = repeatability.limits_of_agreement(rng.normal(1, 2, 12), np.zeros(12))
        held += found.upper.low <= 1 + 1.96 * 2 <= found.upper.high
    assert 0.90 <= held / 400 <= 0.98


@pytest.mark.parametrize(
    ("pairs", "published"),
    [
        (5, (0.62, 2.45)),
        (10, (0.70, 1.75)),
        (20, (0.77, 1.44)),
    ],
)
def test_interval_of_the_technical_error_is_the_published_one(pairs, published):
    found = repeatability.technical_error([(0.0, 1.0)] * pairs)
    # Printed to two digits; 20 pairs are .7651 by chi-square, printed as .77.
    assert (found.low / found.value, found.high / found.value) == pytest.approx(published, abs=0.006)


def test_technical_error_is_that_of_both_published_formulas():
    pairs = [(14.0, 15.0), (12.0, 12.0), (16.0, 14.0)]
    by_differences = math.sqrt(sum((a - b) ** 2 for a, b in pairs) / (2 * len(pairs)))
    assert repeatability.technical_error(pairs).value == pytest.approx(by_differences)
    n, k = len(SHROUT_FLEISS), 4
    within = sum(sum(m * m for m in row) - sum(row) ** 2 / k for row in SHROUT_FLEISS)
    assert repeatability.technical_error(SHROUT_FLEISS).value == pytest.approx(math.sqrt(within / (n * (k - 1))))


@given(st.lists(st.lists(st.floats(0, 40), min_size=2, max_size=4), min_size=2, max_size=6), st.floats(-20, 20))
def test_technical_error_does_not_depend_on_where_the_marks_lie(repeats, shift):
    there = repeatability.technical_error(repeats)
    moved = repeatability.technical_error([[r + shift for r in group] for group in repeats])
    assert moved.value == pytest.approx(there.value, abs=1e-6)
    assert there.low <= there.value <= there.high


def test_smallest_detectable_change_is_the_published_multiple():
    # MDC95 = 1.96 sqrt(2) SEM.
    found = repeatability.smallest_detectable_change(Interval(1.0, 0.5, 2.0))
    assert (found.low, found.value, found.high) == pytest.approx((1.386, 2.772, 5.544), abs=0.001)


def test_a_constant_offset_is_bias_and_not_scatter():
    own = [14.0, 12.0, 16.0, 11.0]
    found = repeatability.limits_of_agreement([r + 2 for r in own], own)
    assert (found.bias.value, found.sd) == (2.0, 0.0)


def test_the_mark_s_place_is_what_reading_does_not_explain():
    rng = np.random.default_rng(7)
    place, reading = 1.5, 0.8  # invented
    anew = rng.normal(14, math.hypot(place, reading), (60, 5))
    ruler = rng.normal(14, reading, (60, 5))
    assert repeatability.mark_place_spread(anew, ruler).sd == pytest.approx(place, abs=0.15)
    assert repeatability.mark_place_spread(ruler, anew) == repeatability.repeat_spread(ruler)
    assert repeatability.mark_place_spread(anew, None) == repeatability.repeat_spread(anew)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: repeatability.technical_error([(14,), (12,)]), "2 things, none measured twice"),
        (lambda: repeatability.technical_error([(14, math.nan)]), "nan"),
        (lambda: repeatability.bias([14, 12, 11], [13, 12]), "3 own and 2 other"),
        (lambda: repeatability.bias([14], [13]), "1 own and 1 other"),
        (lambda: repeatability.bias([14, math.nan], [13, 12]), "reading 2 is missing"),
        (lambda: repeatability.icc([(1, 2), (3,)]), "2 targets"),
        (lambda: repeatability.icc([(1, 2), (3, math.nan)]), "2 targets"),
        (lambda: repeatability.icc([(1, 2), (3, 4), (5, 6)]), "no scatter"),
        (lambda: repeatability.icc([(1, 3), (3, 1)]), "the targets are alike"),
        (lambda: repeatability.icc([]), "0 targets"),
    ],
)
def test_what_cannot_be_told_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
