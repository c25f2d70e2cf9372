"""A value's interval is what the published procedures say, and never better than it should be."""

import math

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from uncertainties import ufloat

from fitkit.calculations.readings import (
    Quantity,
    StandardDeviation,
    exact,
    linear,
    mean_of,
    pooled_spread,
    sample_variance,
)

readings = st.lists(st.floats(-40, 400), min_size=1, max_size=8)


def test_pooled_spread_is_the_pooled_variance_of_its_groups():
    # Second route: sums of squares by hand. (4 x 1 + 2 x 1/3 + 2 x 1/3) / (4 + 2 + 2).
    spread = pooled_spread([(11, 11, 12), (13, 14, 13)], house_sd=1.0)
    assert spread.sd**2 == pytest.approx((4 + 4 / 3) / 8)
    assert spread.df == 8


def test_welch_satterthwaite_matches_an_independent_library():
    # GTC 1.5 (MIT) computes the effective degrees of freedom of JCGM 100:2008, G.4.1.
    ours = linear([(2, Quantity(10, ((0.7, 4),))), (-1, Quantity(3, ((0.4, 9), (1.5, math.inf))))])
    theirs = 2 * GTC.ureal(10, 0.7, df=4) - GTC.ureal(3, 0.4, df=9) - GTC.ureal(0, 1.5)
    assert ours.value == pytest.approx(theirs.x)
    assert ours.u == pytest.approx(theirs.u)
    assert ours.df == pytest.approx(theirs.df)
    assert ours.half_width() == pytest.approx(GTC.reporting.k_factor(theirs.df) * theirs.u, rel=1e-6)


def test_the_end_gauge_of_the_standard_has_its_effective_degrees_of_freedom():
    # JCGM 100:2008, H.1 (end gauge, nm), as worked in GTC's documentation (docs/API/GUM_H1.rst): u 32, 16 degrees.
    standard, comparator = Quantity(5.0000623e7, ((25, 18),)), Quantity(215, ((5.8, 24), (3.9, 5), (6.7, 8)))
    expansion, temperature = Quantity(0, ((2.88679, 50),)), Quantity(0, ((16.599, 2),))
    length = linear([(1, standard), (1, comparator), (-1, expansion), (-1, temperature)])
    assert (length.value, round(length.u), math.floor(length.df)) == (50000838, 32, 16)
    assert length.half_width(0.99) == pytest.approx(2.92 * 32, rel=0.02)  # U99 = 93 nm


def test_a_difference_of_two_means_is_welch_s():
    # scipy's test of two means with unequal spreads, its interval and degrees of freedom.
    first, second = (11.2, 12.1, 10.7, 11.9, 12.4), (14.0, 17.5, 12.2)
    spreads = [StandardDeviation(math.sqrt(sample_variance(each)), len(each) - 1) for each in (first, second)]
    ours = linear([(1, mean_of(second, spreads[1])), (-1, mean_of(first, spreads[0]))])
    theirs = stats.ttest_ind(second, first, equal_var=False)
    assert ours.df == pytest.approx(theirs.df)
    ends = theirs.confidence_interval()
    assert (ours.value - ours.half_width(), ours.value + ours.half_width()) == pytest.approx((ends.low, ends.high))


def test_mean_of_repeats_matches_gtc_type_a_when_the_house_says_nothing_new():
    # GTC type_a.estimate on JCGM 100:2008, H.2's voltages: standard uncertainty of a mean is s / sqrt(n).
    volts = (5.007, 4.994, 5.005, 4.990, 4.999)
    theirs = GTC.type_a.estimate(volts)
    s = theirs.u * math.sqrt(5)
    ours = mean_of(volts, StandardDeviation(s, 4))
    assert ours.value == pytest.approx(theirs.x)
    assert ours.u == pytest.approx(theirs.u)


def test_sum_of_independent_quantities_matches_uncertainties():
    # uncertainties 3.2 (BSD): first-order propagation.
    theirs = 3 * ufloat(11.3, 1.57) - 0.5 * ufloat(6.5, 0.95)
    ours = linear([(3, Quantity(11.3, ((1.57, 7),))), (-0.5, Quantity(6.5, ((0.95, 5),)))])
    assert ours.value == pytest.approx(theirs.nominal_value)
    assert ours.u == pytest.approx(theirs.std_dev)


def test_chi_square_interval_of_a_spread_from_ten_pairs():
    # Published range for a technical error from n pairs: 10 pairs, .70 to 1.75 of the estimate (chi-square).
    from scipy import stats

    low, high = (math.sqrt(10 / stats.chi2.ppf(p, 10)) for p in (0.975, 0.025))
    assert (round(low, 2), round(high, 2)) == (0.70, 1.75)


def test_three_readings_alike_do_not_look_exact():
    alike = mean_of((14, 14, 14), pooled_spread([(14, 14, 14)], house_sd=1.0))
    assert alike.half_width() > 0.5


def test_the_marks_error_does_not_fall_with_more_readings():
    many = mean_of((11.0,) * 50, pooled_spread([(11.0,) * 50], house_sd=1.0), place=StandardDeviation(1.5, math.inf))
    assert many.half_width() > 1.96 * 1.5


def test_a_counted_or_typed_value_has_no_interval():
    assert exact(172.5).half_width() == 0.0


@given(readings, readings)
def test_spread_never_falls_below_what_the_house_and_repeats_allow(left, right):
    spread = pooled_spread([left, right], house_sd=1.0)
    assert spread.sd**2 * spread.df >= 4 - 1e-9


@given(readings)
def test_mean_lies_between_its_readings(values):
    mean = mean_of(values, StandardDeviation(1, 4)).value
    assert min(values) - 1e-9 <= mean <= max(values) + 1e-9


def test_no_reading_is_no_mean():
    with pytest.raises(ValueError, match="readings is empty"):
        mean_of((), StandardDeviation(1, 4))


def test_a_house_spread_of_nothing_is_refused():
    with pytest.raises(ValueError, match="house_sd is 0"):
        pooled_spread([(1, 2)], house_sd=0)
