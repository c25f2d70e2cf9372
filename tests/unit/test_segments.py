"""Segments from stature against the published shares, and inseams that contradict a leg."""

from __future__ import annotations

import numpy as np
import pytest
from GTC import ureal

from fitkit.calculations.anthropometry import (
    CALF_LINK_MEN_MM,
    THIGH_LINK_MEN_MM,
    THIGH_LINK_WOMEN_MM,
    inseam_contradiction,
    segment_of_stature,
)
from fitkit.calculations.readings import Quantity, exact


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
