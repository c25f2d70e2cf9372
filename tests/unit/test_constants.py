"""Every published value has unit, source and status, and what was computed from others is computed again here."""

import dataclasses
import inspect
import math
import re

import pytest
from scipy import optimize, stats

from fitkit import constants, estimate
from fitkit.calculations import footwear
from fitkit.constants import Published

NAMED = {name: getattr(constants, name) for name in constants.__all__ if name.isupper() and name != "STATUSES"}
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
    from_memory = {name for name, entry in NAMED.items() if entry.is_from_memory}
    assert from_memory == {"US_MEN_ABOVE_UK", "US_WOMEN_ABOVE_UK", "FIFTH_MTP_SHARE"}
    assert {NAMED[name].grade for name in from_memory} == {"from memory"}
    assert {entry.grade for entry in NAMED.values() if entry.status == "common practice, no source"} == {
        "common practice"
    }


def test_torques_are_words_only():
    # The maker's figure rules: a number here could be taken for a setting.
    torques = [entry.value for name, entry in NAMED.items() if "TORQUE" in name]
    assert len(torques) == 2
    assert all(isinstance(words, str) and "maker's figure rules" in words for words in torques)


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


def test_inch_barleycorn_and_paris_point():
    # 9/16 in is 14.2875 mm in the table of JIS B 0225-1960; barleycorn 8.467 mm in Jurca et al. 2019.
    assert _v("INCH_MM") == pytest.approx(14.2875 * 16 / 9)
    assert _v("BARLEYCORN_MM") == pytest.approx(8.467, abs=5e-4)
    assert 3 * _v("PARIS_POINT_MM") == pytest.approx(20)


@pytest.mark.parametrize("who", ["MEN", "WOMEN"])
def test_regression_agrees_with_the_survey_means_and_spreads(who):
    # Gordon et al. 2014: a least-squares line passes through the means, and its SEE squared is what the line leaves
    # of the variance; standard deviations printed to 0.01 leave 0.03 in the SEE.
    foot, joint = NAMED[f"FOOT_LENGTH_{who}_MM"], NAMED[f"FIRST_MTP_{who}_MM"]
    intercept, slope = _v(f"FIRST_MTP_INTERCEPT_{who}_MM"), _v(f"FIRST_MTP_SLOPE_{who}")
    assert intercept + slope * foot.value == pytest.approx(joint.value, abs=0.03)
    left = joint.uncertainty**2 - (slope * foot.uncertainty) ** 2
    assert math.sqrt(left) == pytest.approx(_v(f"FIRST_MTP_SEE_{who}_MM"), abs=0.03)
    share = NAMED[f"FIRST_MTP_SHARE_{who}"]
    assert joint.value / foot.value == pytest.approx(share.value, abs=0.0002)
    # Fifth and ninety-fifth percentiles of a normal share.
    for end, sign in zip(_v(f"FIRST_MTP_SHARE_P5_P95_{who}"), (-1, 1), strict=True):
        assert end == pytest.approx(share.value + sign * stats.norm.ppf(0.95) * share.uncertainty, abs=0.003)


def test_foot_tip_ahead_of_the_joint():
    # Nominal feet of EU 42, 43, 47 by EU = 0.15 foot + 2 (ISO 19407:2015).
    for size, ahead_mm in zip((42, 43, 47), _v("FOOT_TIP_AHEAD_OF_JOINT_MM"), strict=True):
        foot_mm = (size - 2) / 0.15
        joint_mm = _v("FIRST_MTP_INTERCEPT_MEN_MM") + _v("FIRST_MTP_SLOPE_MEN") * foot_mm
        assert foot_mm - joint_mm == pytest.approx(ahead_mm, abs=0.5)


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
    assert _v("PEDAL_THREAD_DIAMETER_MM") == pytest.approx(9 / 16 * 25.4)
    assert _v("PEDAL_THREAD_PITCH_MM") == pytest.approx(25.4 / _v("PEDAL_THREADS_PER_INCH"))
    assert 12 / _v("PEDAL_THREAD_PITCH_MM") == pytest.approx(9.449, abs=5e-4)
    assert _v("PEDAL_TURNS_PER_MM") == pytest.approx(1 / 1.27, abs=5e-4)


@pytest.mark.parametrize(("adds_mm", "percent"), [(20, 31), (12.5, 19), (4, 6)])
def test_an_extender_bends_the_crank_by_the_ratio_of_arms(adds_mm, percent):
    # Computed from ISO 4210-8's force arm of 65 mm.
    assert 100 * adds_mm / _v("CRANK_FORCE_ARM_MM") == pytest.approx(percent, abs=0.5)


def test_locked_ankle_leg_in_millimetres_per_degree():
    # Second route: hip-to-ankle distance by the law of cosines, differentiated numerically.
    def distance(knee_deg):
        inside = math.radians(180 - knee_deg)
        return math.sqrt(2 * 430**2 - 2 * 430**2 * math.cos(inside))

    for knee_deg, mm_per_deg in zip(_v("LOCKED_ANKLE_KNEE_DEG"), _v("LOCKED_ANKLE_MM_PER_DEG"), strict=True):
        slope = optimize.approx_fprime([knee_deg], lambda at: distance(at[0]), 1e-5)[0]
        assert -slope == pytest.approx(mm_per_deg, abs=0.006)


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


@pytest.mark.parametrize("pairs", [5, 10, 20])
def test_interval_of_a_tem_is_that_of_chi_square(pairs):
    ends = [math.sqrt(pairs / stats.chi2.ppf(p, pairs)) for p in (0.975, 0.025)]
    assert _v(f"TEM_INTERVAL_{pairs}_PAIRS") == pytest.approx(ends, abs=0.006)


def test_smallest_detectable_change_of_a_sprint():
    # MDC95 = 1.96 sqrt(2) SEM at the CV of Martin, Wagner, Coyle 1997; at a CV of 3 %: 8.3 and 4.2.
    for cv, single, of_four in (
        (_v("SPRINT_CV_PERCENT"), _v("SPRINT_MDC_SINGLE_PERCENT"), _v("SPRINT_MDC_OF_FOUR_PERCENT")),
        (3.0, 8.3, 4.2),
    ):
        assert 1.96 * math.sqrt(2) * cv == pytest.approx(single, abs=0.05)
        assert 1.96 * math.sqrt(2) * cv / math.sqrt(4) == pytest.approx(of_four, abs=0.05)
    # The trade's own figure (common practice, no source) is smaller than four sprints can show.
    forward, back = _v("SPRINT_PEAK_FORWARD_AND_BACK_W")
    assert 100 * (forward - back) / forward < _v("SPRINT_MDC_OF_FOUR_PERCENT")
