"""Hip spacing against outside libraries and published rows; segments from stature against the published shares."""

from __future__ import annotations

import math

import numpy as np
import pytest
from GTC import ureal
from scipy import stats

from fitkit.calculations import anthropometry
from fitkit.calculations.anthropometry import (
    CALF_LINK_MEN_MM,
    THIGH_LINK_MEN_MM,
    THIGH_LINK_WOMEN_MM,
    inseam_contradiction,
    segment_of_stature,
)
from fitkit.calculations.readings import Quantity, exact

# --- Hip spacing ---------------------------------------------------------------------------------------------------


def test_ct_line_against_its_own_correlation():
    # Skeletal Radiology, doi 10.1007/s00256-009-0791-x: 160 (8), 227 (16), r 0.35. A sample made to have just these
    # moments gives back, by scipy's regression, the line in use and its residual SD of 7.5.
    x = np.array([-1.0, 1.0, -1.0, 1.0])
    noise = np.array([-1.0, -1.0, 1.0, 1.0])
    width, spacing = 227 + 16 * x, 160 + 8 * (0.35 * x + math.sqrt(1 - 0.35**2) * noise)
    line = stats.linregress(width, spacing)
    assert (width.std(), spacing.std(), line.rvalue) == pytest.approx((16, 8, 0.35))
    for at in (190.0, 227.0, 259.0):
        assert anthropometry.spacing_ct_line(at) == pytest.approx(line.intercept + line.slope * at)
    residual = (spacing - anthropometry.spacing_ct_line(width)).std()
    ct = anthropometry.hip_spacing(inter_asis_mm=227.0, pelvic_depth_mm=None, leg_length_mm=None).rows[0]
    assert residual == pytest.approx(7.5, abs=0.01)
    assert ct.high_mm - ct.value_mm == pytest.approx(stats.norm.ppf(0.975) * residual, abs=0.02)


@pytest.mark.parametrize(("width", "ct", "models"), [(227.0, 160, 164), (259.0, 166, 186)])
def test_rows_of_the_published_models(width, ct, models):
    # Rows computed by hand from Bell 1990 (0.36 of the width a side) and Harrington 2007, width only (0.33, 7.3).
    # Beside the wide pelvis they stand far from CT: the agreement is poor, and that is what the span is for.
    found = anthropometry.hip_spacing(inter_asis_mm=width, pelvic_depth_mm=None, leg_length_mm=None)
    assert found.value_mm == pytest.approx(ct, abs=0.5)
    rows = {row.name: row for row in found.rows}
    assert rows["Bell"].value_mm == pytest.approx(0.72 * width)
    assert rows["Harrington, width only"].value_mm == pytest.approx(0.66 * width + 14.6)
    assert rows["Bell"].value_mm == pytest.approx(models, abs=1)
    assert rows["Hara"].needs == "leg length"


def test_span_by_hand():
    # By hand from the published rows: CT 160 with 14.7, Bell 163.44, Harrington 2 (0.28 x 150 + 0.16 x 227 + 7.9)
    # = 172.44, Hara 2 (0.086 x 920 + 8) = 174.24, each with 7.5.
    found = anthropometry.hip_spacing(inter_asis_mm=227.0, pelvic_depth_mm=150.0, leg_length_mm=920.0)
    assert [row.name for row in found.rows] == ["CT line", "Bell", "Harrington", "Hara"]
    assert [row.value_mm for row in found.rows] == pytest.approx([160, 163.44, 172.44, 174.24])
    assert (found.value_mm, found.low_mm, found.high_mm) == pytest.approx((160, 145.3, 181.74))


def test_without_a_pelvis_width_there_is_no_value():
    found = anthropometry.hip_spacing(inter_asis_mm=None, pelvic_depth_mm=150.0, leg_length_mm=900.0)
    assert (found.value_mm, found.low_mm, found.needs) == (None, None, "inter-ASIS distance")
    assert found.rows[-1].value_mm == pytest.approx(170.8)


@pytest.mark.parametrize(
    ("name", "value"), [("inter_asis_mm", -227.0), ("pelvic_depth_mm", 0.0), ("leg_length_mm", math.nan)]
)
def test_absurd_bodies_are_refused(name, value):
    whole = {"inter_asis_mm": 227.0, "pelvic_depth_mm": None, "leg_length_mm": None, name: value}
    with pytest.raises(ValueError, match=f"{name} is {value}"):
        anthropometry.hip_spacing(**whole)


def test_draws_of_the_spacing_fill_its_span():
    found = anthropometry.hip_spacing(inter_asis_mm=259.0, pelvic_depth_mm=None, leg_length_mm=None)
    draws = anthropometry.spacing_draws(found, np.random.default_rng(0).standard_normal(200_000))
    # 2.5 and 97.5 percentiles by numpy; 200,000 draws leave about 0.1 mm.
    assert np.percentile(draws, [2.5, 97.5]) == pytest.approx([found.low_mm, found.high_mm], abs=0.2)
    plain = anthropometry.HipSpacing(160.0, 145.3, 174.7, None, ())
    assert anthropometry.spacing_draws(plain, np.array([-2.0, 0.0, 1.0])) == pytest.approx([145, 160, 167.5])


def test_trouser_size_is_refused_with_the_published_correlation():
    # openintro bdims, computed: r .494 (men), .482 (women); SD 20.7 and 23.1 leave 18 and 20 mm.
    words = anthropometry.trouser_size_words()
    for part in ("no measure of hip spacing", "0.49 in men", "0.48 in women", "18 and 20 mm"):
        assert part in words


# --- Segments ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("segment", "drillis", "de_leva"),
    [("thigh_mm", 0.245, 0.2425), ("shank_mm", 0.246, 0.2493)],
)
def test_length_lies_between_both_published_shares(segment, drillis, de_leva):
    # Drillis & Contini 1966 as quoted by Winter; De Leva 1996.
    found = segment_of_stature(segment, exact(1755.0), "men").length
    assert min(drillis, de_leva) * 1755.0 < found.value < max(drillis, de_leva) * 1755.0


def test_ankle_height_of_the_survey_mean():
    # Gordon et al. 2014: mean malleolus height 72.90 (men), share of stature .0415, so a stature of 1757.
    assert segment_of_stature("ankle_height_mm", exact(72.90 / 0.0415), "men").length.value == pytest.approx(72.90)
    women, either = (segment_of_stature("ankle_height_mm", exact(1700.0), p).length for p in ("women", None))
    assert women.value == pytest.approx(0.0385 * 1700.0)
    assert women.value < either.value < 0.0415 * 1700.0
    assert either.u > women.u


def test_thigh_and_shank_hold_the_survey_means():
    # Gordon et al. 2014, derived thigh and calf links: 409.3 and 418.8 at the men's mean stature (72.90 / .0415).
    stature = exact(72.90 / 0.0415)
    for found, survey in (
        (segment_of_stature("thigh_mm", stature, "men"), THIGH_LINK_MEN_MM),
        (segment_of_stature("shank_mm", stature, "men"), CALF_LINK_MEN_MM),
    ):
        assert abs(found.length.value - survey.value) < found.length.half_width()


def test_interval_against_gtc():
    found = segment_of_stature("thigh_mm", Quantity(1755.0, ((3.0, 4),)), "women").length
    share = ureal((0.245 + 0.2425) / 2, (0.245 - 0.2425) / np.sqrt(12))
    gtc = share * ureal(1755.0, 3.0, 4) + ureal(0.0, THIGH_LINK_WOMEN_MM.uncertainty)
    assert (found.value, found.u) == pytest.approx((gtc.x, gtc.u))


def test_every_published_length_has_source_and_note():
    for found in (
        segment_of_stature("thigh_mm", exact(1755.0), None),
        segment_of_stature("ankle_height_mm", exact(1755.0), "men"),
    ):
        assert "Gordon et al. 2014" in found.source
        assert found.note


def test_leg_and_inseam_that_fit_pass():
    # The mean leg of both surveys: (.245 + .246 + .0415) over crotch height .4815 of stature.
    assert (
        inseam_contradiction(
            thigh_mm=0.245 * 1755, shank_mm=0.246 * 1755, ankle_height_mm=0.0415 * 1755, inseam_mm=0.4815 * 1755
        )
        is None
    )


@pytest.mark.parametrize(("thigh_mm", "sum_mm"), [(330.0, 833), (528.0, 1031)])
def test_leg_that_contradicts_its_inseam_is_said(thigh_mm, sum_mm):
    said = inseam_contradiction(thigh_mm=thigh_mm, shank_mm=431.0, ankle_height_mm=72.0, inseam_mm=843.0)
    assert f"make {sum_mm} mm; expected 843 to 1012" in said


def test_missing_number_never_passes():
    assert inseam_contradiction(thigh_mm=float("nan"), shank_mm=431.0, ankle_height_mm=72.0, inseam_mm=843.0)
