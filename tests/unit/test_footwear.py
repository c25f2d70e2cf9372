"""Shoe sizes agree with the quoted standard, the expected joint with the published survey."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fitkit.calculations import footwear
from fitkit.calculations.readings import Quantity

feet_mm = st.floats(150, 350)
SYSTEMS = ("eu", "uk", "us_men", "us_women", "mondopoint")

# ISO 19407:2015 as quoted in a second source: foot [mm], EU, UK. UK at 290 mm is left out: quoted tables disagree.
ISO_19407_ROWS = ((255, 40, 7), (265, 41.5, 8.5), (275, 43, 9.5), (285, 44.5, 10.5), (300, 47, 12.5))


@pytest.mark.parametrize(("foot_length_mm", "eu", "uk"), ISO_19407_ROWS)
def test_sizes_are_those_of_the_quoted_table(foot_length_mm, eu, uk):
    # Quarter ties round either way in the table, hence half a size in EU; the UK column is rounded to halves.
    assert footwear.size_from_foot(foot_length_mm, "eu") == pytest.approx(eu, abs=0.5)
    assert footwear.size_from_foot(foot_length_mm, "uk") == pytest.approx(uk, abs=0.25)
    # Through the UK label its rounding comes on top: a quarter of a barleycorn is 0.32 Paris points.
    assert footwear.eu_from_label(uk, "uk") == pytest.approx(eu, abs=0.5 + 0.32)


@pytest.mark.parametrize("foot_length_mm", [150, 266.7, 350])
def test_sizes_follow_the_formulas_of_the_open_implementation(foot_length_mm):
    # ISO 19407:2015 as an open implementation writes it: EU = 0.15 foot_mm + 2, UK = 3 foot_in - 23.
    assert footwear.size_from_foot(foot_length_mm, "eu") == pytest.approx(0.15 * foot_length_mm + 2)
    assert footwear.size_from_foot(foot_length_mm, "uk") == pytest.approx(3 * foot_length_mm / 25.4 - 23)


def test_one_eu_size_is_one_paris_point_of_last_and_one_uk_size_one_barleycorn_of_foot():
    # Paris point 20/3 mm, scale from zero: PD ISO/TS 19407:2015. Barleycorn 8.467 mm, half size 4.233: Jurca 2019.
    # The last is two Paris points longer than the foot, so that a foot of n Paris points less two has size n.
    assert footwear.size_from_foot((42 - 2) * 20 / 3, "eu") == pytest.approx(42)
    assert footwear.size_from_foot(260 + 6.667, "eu") - footwear.size_from_foot(260, "eu") == pytest.approx(1, abs=1e-4)
    assert footwear.size_from_foot(260 + 8.467, "uk") - footwear.size_from_foot(260, "uk") == pytest.approx(1, abs=1e-4)
    assert footwear.size_from_foot(260 + 4.233, "uk") - footwear.size_from_foot(260, "uk") == pytest.approx(
        0.5, abs=1e-4
    )


def test_mondopoint_is_the_foot_length_in_millimetres():
    # Mondopoint: PD ISO/TS 19407:2015 quoting ISO 9407; graded 5 or 7.5 mm.
    assert footwear.size_from_foot(270, "mondopoint") == 270
    assert footwear.eu_from_label(270, "mondopoint") == footwear.size_from_foot(270, "eu")


@given(feet_mm)
def test_every_conversion_leads_back_to_where_it_came_from(foot_length_mm):
    eu = footwear.size_from_foot(foot_length_mm, "eu")
    for system in SYSTEMS:
        assert footwear.eu_from_label(footwear.size_from_foot(foot_length_mm, system), system) == pytest.approx(eu)
    assert footwear.sizes_differ(eu, foot_length_mm) == pytest.approx(0, abs=1e-9)


@given(feet_mm, feet_mm)
def test_a_longer_foot_never_has_the_smaller_size(one_mm, other_mm):
    shorter, longer = sorted((one_mm, other_mm))
    assert footwear.size_from_foot(shorter, "eu") <= footwear.size_from_foot(longer, "eu")
    assert footwear.size_from_foot(shorter, "uk") <= footwear.size_from_foot(longer, "uk")


@pytest.mark.parametrize(("system", "above_uk"), [("us_men", 1), ("us_women", 2)])
def test_a_size_converted_from_memory_says_so(system, above_uk):
    assert "from memory" in footwear.label_note(system)
    assert footwear.eu_from_label(9 + above_uk, system) == pytest.approx(footwear.eu_from_label(9, "uk"))
    assert not any(footwear.label_note(other) for other in ("eu", "uk", "mondopoint"))


def test_the_difference_is_positive_when_the_label_is_larger_than_the_foot():
    # 0.15 sizes per mm (ISO 19407:2015): 10 mm are one and a half sizes.
    assert footwear.sizes_differ(footwear.size_from_foot(270, "eu"), 260) == pytest.approx(1.5)
    assert footwear.sizes_differ(footwear.size_from_foot(260, "eu"), 270) == pytest.approx(-1.5)


# --- Where the first MTP joint is expected: ANSUR II, Gordon et al. 2014, NATICK/TR-15/007 --------------------------


@pytest.mark.parametrize(("size_eu", "joint_mm"), [(42, 197.6), (43, 202.5)])
def test_expected_joint_at_nominal_feet_is_the_published_regression(size_eu, joint_mm):
    # Computed from the survey's data: 197.6 at 266.7 (EU 42), 202.5 at 273.3 (EU 43).
    value, _, _ = footwear.expected_first_mtp(Quantity((size_eu - 2) * 20 / 3), "men")
    assert value == pytest.approx(joint_mm, abs=0.05)


@pytest.mark.parametrize(("population", "foot_mm", "joint_mm"), [("men", 271.18, 200.94), ("women", 246.29, 182.05)])
def test_regression_passes_through_the_survey_means(population, foot_mm, joint_mm):
    # A least-squares line passes through the means; its four-digit slope leaves 0.02 mm.
    value, _, _ = footwear.expected_first_mtp(Quantity(foot_mm), population)
    assert value == pytest.approx(joint_mm, abs=0.03)


@pytest.mark.parametrize(("population", "from_foot_mm", "from_label_mm"), [("men", 7.8, 8.6), ("women", 6.5, 7.4)])
def test_interval_is_as_wide_as_published(population, from_foot_mm, from_label_mm):
    # Computed from the survey's SEE: from a foot without reading error, and from a label (5 mm, a 95 % half-width).
    for foot, half_width_mm in (
        (Quantity(266.7), from_foot_mm),
        (Quantity(266.7, ((5.0 / 1.96, math.inf),)), from_label_mm),
    ):
        value, low, high = footwear.expected_first_mtp(foot, population)
        assert high - value == pytest.approx(half_width_mm, abs=0.05)
        assert value - low == pytest.approx(high - value)


def test_interval_if_the_label_were_one_standard_deviation_out():
    # Computed from the survey's SEE: 10.6 for men.
    value, _, high = footwear.expected_first_mtp(Quantity(266.7, ((5.0, math.inf),)), "men")
    assert high - value == pytest.approx(10.6, abs=0.06)


def test_interval_holds_new_feet_as_often_as_it_says():
    # Second route: feet and joints drawn about the published regression, read with an error of their own.
    draw = np.random.default_rng(1)
    true_mm = draw.normal(271.18, 13.10, 20_000)
    joint_mm = 0.46 + 0.7393 * true_mm + draw.normal(0, 3.98, true_mm.size)
    value, low, high = footwear.expected_first_mtp(Quantity(271.18, ((2.0, math.inf),)), "men")
    off_mm = joint_mm - (0.46 + 0.7393 * (true_mm + draw.normal(0, 2.0, true_mm.size)))
    inside = np.mean((low - value <= off_mm) & (off_mm <= high - value))
    assert inside == pytest.approx(0.95, abs=0.006)
    assert stats.norm.ppf(0.975) * off_mm.std() == pytest.approx(high - value, rel=0.03)


@given(feet_mm.filter(lambda foot: 160 < foot < 340), st.floats(0, 5))
def test_without_a_population_both_are_spanned(foot_mm, u_mm):
    foot = Quantity(foot_mm, ((u_mm, math.inf),))
    men, women = (footwear.expected_first_mtp(foot, name) for name in ("men", "women"))
    value, low, high = footwear.expected_first_mtp(foot, None)
    assert value == pytest.approx((men[0] + women[0]) / 2)
    assert (low, high) == (min(men[1], women[1]), max(men[2], women[2]))
    assert low <= value <= high


# --- Refusals -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("foot_length_mm", "said"),
    [
        (26.3, r"foot_length_mm is 26\.3; expected 150 to 350\. Entered in cm\?"),
        (10.5, r"foot_length_mm is 10\.5; expected 150 to 350\. Entered in inches\?"),
        (0.263, r"foot_length_mm is 0\.263; expected 150 to 350\. Entered in m\?"),
        (700, r"foot_length_mm is 700; expected 150 to 350\.$"),
        (-260, r"foot_length_mm is -260; expected 150 to 350\.$"),
        (math.nan, r"foot_length_mm is nan; expected 150 to 350\.$"),
        (math.inf, r"foot_length_mm is inf; expected 150 to 350\.$"),
    ],
)
def test_an_impossible_foot_is_refused_with_its_likely_slip(foot_length_mm, said):
    for use in (
        lambda foot: footwear.size_from_foot(foot, "eu"),
        lambda foot: footwear.size_from_foot(foot, "uk"),
        lambda foot: footwear.sizes_differ(42, foot),
        lambda foot: footwear.expected_first_mtp(Quantity(foot), "men"),
    ):
        with pytest.raises(ValueError, match=said):
            use(foot_length_mm)


@pytest.mark.parametrize(
    ("size", "system", "said"),
    [
        (420, "eu", r"size is 420 in the system eu; expected 24\.5 to 54\.5\.$"),
        (8.5, "eu", r"size is 8\.5 in the system eu; expected 24\.5 to 54\.5\. Is it uk\?"),
        (270, "eu", r"size is 270 in the system eu; .* Is it mondopoint\?"),
        (42, "uk", r"size is 42 in the system uk; .* Is it eu\?"),
        (42, "us_women", r"size is 42 in the system us_women; .* Is it eu\?"),
        (27, "mondopoint", r"size is 27 in the system mondopoint; expected 150\.0 to 350\.0\. Entered in cm\?"),
        (42, "mondopoint", r"size is 42 in the system mondopoint; .* Is it eu\?"),
        (math.nan, "eu", r"size is nan in the system eu; expected 24\.5 to 54\.5\.$"),
        (42, "mens", r"system is 'mens'; expected eu, uk, us_men, us_women or mondopoint"),
    ],
)
def test_an_impossible_label_is_refused_with_its_likely_slip(size, system, said):
    with pytest.raises(ValueError, match=said):
        footwear.eu_from_label(size, system)


def test_the_other_ways_round_are_refused_too():
    with pytest.raises(ValueError, match=r"size is 60 in the system eu; expected 24\.5 to 54\.5"):
        footwear.eu_from_label(60, "eu")
    with pytest.raises(ValueError, match=r"size is 25 in the system uk; .* Is it eu\?"):
        footwear.eu_from_label(25, "uk")
    with pytest.raises(ValueError, match=r"size is 270 in the system eu"):
        footwear.sizes_differ(270, 270)
    with pytest.raises(ValueError, match="population is 'Men'; expected men, women or None"):
        footwear.expected_first_mtp(Quantity(270), "Men")


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(SYSTEMS))
def test_any_number_on_a_label_is_either_converted_or_refused(size, system):
    try:
        eu = footwear.eu_from_label(size, system)
    except ValueError:
        with pytest.raises(ValueError, match=re.escape(f"size is {size} in")):
            footwear.eu_from_label(size, system)
    else:
        assert 24.4 < eu < 54.6
