"""Every published value has unit, source and status, and what was computed from others is computed again here."""

import dataclasses
import inspect
import math
import re

import pytest

from fitkit import constants, estimate
from fitkit.calculations import footwear
from fitkit.constants import Published

NAMED = {name: entry for name, entry in vars(constants).items() if isinstance(entry, Published)}
ENDINGS = {"mm": "_MM", "cm": "_CM", "deg": "_DEG", "%": "_PERCENT", "W": "_W", "rpm": "_RPM", "N": "_N"}


@pytest.mark.parametrize("name", NAMED)
def test_every_value_has_unit_source_and_status(name):
    entry = NAMED[name]
    assert isinstance(entry, Published)
    assert entry.unit
    assert entry.source
    assert entry.status in constants.STATUSES
    assert entry.grade in estimate.GRADES
    assert ENDINGS.get(entry.unit, "_") in name


def test_every_value_stands_once_and_is_exported():
    written = re.findall(r"^([A-Z][A-Z0-9_]*) = Published\(", inspect.getsource(constants), flags=re.MULTILINE)
    assert sorted(written) == sorted(NAMED)


def test_what_comes_from_memory_is_flagged_and_graded_so():
    from_memory = {name for name, entry in NAMED.items() if entry.status == "from memory"}
    assert from_memory == {"US_MEN_ABOVE_UK", "US_WOMEN_ABOVE_UK"}
    assert {NAMED[name].grade for name in from_memory} == {"from memory"}
    assert {entry.grade for entry in NAMED.values() if entry.status == "common practice, no source"} == {
        "common practice"
    }


def test_torques_are_words_only():
    # The maker's figure rules: a number here could be taken for a setting.
    assert all(isinstance(entry.value, str) for name, entry in NAMED.items() if "TORQUE" in name)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"source": " "}, "the value 3.0 mm has no source"),
        ({"unit": ""}, "the value 3.0 has no unit"),
        ({"status": "P"}, "status is 'P'; expected one of: read in the publication"),
        ({"value": math.nan}, "the value is nan; expected finite numbers"),
        ({"value": (1.0, math.inf)}, r"the value is \(1.0, inf\); expected finite numbers"),
        ({"value": ()}, r"the value is \(\); expected finite numbers"),
        ({"value": "about 3"}, "the value 'about 3' has the unit 'mm'; expected 'in words' for words only"),
        ({"unit": "in words"}, "the value 3.0 has the unit 'in words'"),
        ({"uncertainty": 0.0}, "uncertainty is 0.0; expected above 0, or None"),
        ({"uncertainty": math.nan}, "uncertainty is nan; expected above 0, or None"),
    ],
)
def test_a_value_without_what_it_needs_is_an_error(change, said):
    fine = Published(3.0, "mm", None, "somebody 1900, somewhere", "from memory")
    with pytest.raises(ValueError, match=said):
        dataclasses.replace(fine, **change)


def test_no_docstring_types_a_published_value_again():
    # A number that stands twice can be changed once only.
    texts = [inspect.getdoc(module) or "" for module in (constants, footwear)]
    texts += [inspect.getdoc(getattr(footwear, name)) or "" for name in vars(footwear) if not name.startswith("__")]
    values = {
        v for entry in NAMED.values() for v in (entry.value if isinstance(entry.value, tuple) else (entry.value,))
    }
    # One or two figures may be anything: an angle, a size in an example.
    telling = {f"{v:g}" for v in values if isinstance(v, float) and len(f"{v:g}".replace(".", "").strip("-0")) > 2}
    found = {number for text in texts for number in re.findall(r"\d+\.\d+", text)}
    assert found.isdisjoint(telling)


# --- What is computed from other published values, computed again ---------------------------------------------------


def _v(name):
    return NAMED[name].value


def test_barleycorn_and_paris_point():
    # Barleycorn 8.467 mm in Jurca et al. 2019.
    assert _v("BARLEYCORN_MM") == pytest.approx(8.467, abs=5e-4)
    assert 3 * _v("PARIS_POINT_MM") == pytest.approx(20)


@pytest.mark.parametrize(
    ("who", "foot_mm", "foot_sd", "joint_mm", "joint_sd"),
    [("MEN", 271.18, 13.10, 200.94, 10.47), ("WOMEN", 246.29, 12.44, 182.05, 9.64)],
)
def test_regression_agrees_with_the_survey_means_and_spreads(who, foot_mm, foot_sd, joint_mm, joint_sd):
    # Gordon et al. 2014: a least-squares line passes through the means, and its SEE squared is what the line leaves
    # of the variance; standard deviations printed to 0.01 leave 0.03 in the SEE.
    intercept, slope = _v(f"FIRST_MTP_INTERCEPT_{who}_MM"), _v(f"FIRST_MTP_SLOPE_{who}")
    assert intercept + slope * foot_mm == pytest.approx(joint_mm, abs=0.03)
    left = joint_sd**2 - (slope * foot_sd) ** 2
    assert math.sqrt(left) == pytest.approx(_v(f"FIRST_MTP_SEE_{who}_MM"), abs=0.03)


def test_ct_line_follows_from_its_own_correlation():
    # Skeletal Radiology, doi 10.1007/s00256-009-0791-x: 160 (8), inter-ASIS 227 (16), r 0.35.
    assert _v("HIP_SPACING_CT_SLOPE") == pytest.approx(0.35 * 8 / 16)
    assert _v("HIP_SPACING_CT_RESIDUAL_SD_MM") == pytest.approx(8 * math.sqrt(1 - 0.35**2), abs=0.05)
    assert _v("HIP_SPACING_CT_HALF_WIDTH_MM") == pytest.approx(1.96 * 8 * math.sqrt(1 - 0.35**2), abs=0.05)
    assert _v("HIP_MODEL_HALF_WIDTH_MM") == _v("HIP_SPACING_CT_RESIDUAL_SD_MM")
    at_259_mm = _v("HIP_SPACING_CT_MM") + _v("HIP_SPACING_CT_SLOPE") * (259 - _v("INTER_ASIS_CT_MM"))
    assert at_259_mm == pytest.approx(166, abs=0.5)


def test_thread_turns_follow_from_the_thread():
    # JIS B 0225-1960: 9/16 in by 20 per inch.
    assert _v("PEDAL_THREAD_PITCH_MM") == pytest.approx(25.4 / 20)
    assert 12 / _v("PEDAL_THREAD_PITCH_MM") == pytest.approx(9.449, abs=5e-4)


@pytest.mark.parametrize(("adds_mm", "percent"), [(20, 31), (12.5, 19), (4, 6)])
def test_an_extender_bends_the_crank_by_the_ratio_of_arms(adds_mm, percent):
    # Computed from ISO 4210-8's force arm of 65 mm.
    assert 100 * adds_mm / _v("CRANK_FORCE_ARM_MM") == pytest.approx(percent, abs=0.5)


def test_saddle_height_rules_agree_in_the_worked_example():
    # Computed: inseam 840, seat tube 73 degrees, knee 35, crank 172.5 gives 911.9, 915.6, 914.2.
    gatti_cm = (
        _v("SADDLE_GATTI_CONSTANT_CM")
        + _v("SADDLE_GATTI_PER_INSEAM") * 84
        + _v("SADDLE_GATTI_PER_KNEE_CM_PER_DEG") * 35
        + _v("SADDLE_GATTI_PER_INSEAM_AND_ANGLE") * 84 * 73
    )
    assert 10 * gatti_cm == pytest.approx(911.9, abs=0.05)
    assert _v("SADDLE_PER_INSEAM_HAMLEY") * 840 == pytest.approx(915.6, abs=0.05)
    assert _v("SADDLE_PER_INSEAM_FROM_CRANK_CENTRE") * 840 + 172.5 == pytest.approx(914.2, abs=0.05)


def test_the_trade_figure_of_a_sprint_is_smaller_than_four_sprints_can_show():
    # MDC95 = 1.96 sqrt(2) SEM at the CV of Martin, Wagner, Coyle 1997: 4.6 % for means of four; the trade's figure is
    # common practice, no source.
    of_four = 1.96 * math.sqrt(2) * _v("SPRINT_CV_PERCENT") / math.sqrt(4)
    assert of_four == pytest.approx(4.6, abs=0.05)
    forward, back = _v("SPRINT_PEAK_FORWARD_AND_BACK_W")
    assert 100 * (forward - back) / forward < of_four
