"""From a whole session to its results: each number is what it says, and moves only with what it depends on."""

import json
import math
import re
from pathlib import Path

import pytest

from fitkit.assessment import RESULT_NAMES, row_of
from fitkit.session.study import FitterStudy

STUDY = FitterStudy(fitter_id="f2", date="2026-02-10", place_sd_mm=0.8, place_df=19, spread_sd_mm=0.6, spread_df=20)
# The simplest rider: EU 42, three readings, nothing seen, nothing decided.
PLAIN = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-001",
    "visit_date": "2026-03-02",
    "setup": "road",
    "shoes": {"left": {"size": 42, "size_system": "eu"}},
    "as_found": {"left": {"cleat_setback_mm": [11, 11, 12]}},
}


def changed_names(before, after):
    """Return the names of the results that differ at all: value, interval, grade, source, needs or notes."""
    return {name for name in RESULT_NAMES if before[name] != after[name]}


# Typed out from the file's description: each foot's results with their units, then those of both.
OF_A_FOOT = {
    "cleat_setback.as_found": "mm",
    "cleat_setback.as_left": "mm",
    "cleat_setback.square_to_axle": "mm",
    "cleat_setback.band_low": "mm",
    "cleat_setback.band_high": "mm",
    "cleat_setback.start": "mm",
    "cleat_setback.move": "mm",
    "cleat_setback.slot_least": "mm",
    "cleat_setback.slot_greatest": "mm",
    "cleat_setback.shortfall": "mm",
    "mtp1.expected": "mm",
    "float.free_heel_in": "deg",
    "float.free_heel_out": "deg",
    "half_stance": "mm",
    "half_stance.wish": "mm",
    "half_stance.remaining": "mm",
    "frontal_lean": "deg",
    "thread.turns": "turns",
    "lean.clearance": "deg",
    "toe.gap": "mm",
    "toe.gap_after": "mm",
    "calf_lever.ratio": "1",
    "untouched.knee_change": "deg",
    "height_only.saddle_down": "mm",
    "full.saddle_forward": "mm",
    "full.saddle_down": "mm",
    "pitch_habit.saddle_down": "mm",
    "pitch_habit.knee_change": "deg",
    "stack.saddle_down": "mm",
    "forward_limit": "mm",
}
OF_BOTH = {
    "stance.width": "mm",
    "stance.difference": "mm",
    "hip.spacing": "mm",
    "saddle.height_only.down": "mm",
    "bar.height_only.down": "mm",
}


def test_every_name_is_there_with_its_unit(assessed):
    expected = [(f"{side}.{name}", unit) for side in ("left", "right") for name, unit in OF_A_FOOT.items()]
    expected += OF_BOTH.items()
    document = assessed().as_document()
    assert [(result["name"], result["unit"]) for result in document["results"]] == expected
    assert list(RESULT_NAMES) == [name for name, _ in expected]
    json.dumps(document, allow_nan=False)


@pytest.mark.parametrize("name", [*OF_A_FOOT, *OF_BOTH])
def test_every_result_is_shown_by_a_section_of_the_record(name):
    # As the template's notebook calls them.
    template = (Path(__file__).parents[2] / "templates" / "client_report.ipynb").read_text()
    assert f"record.{row_of(name).section}(" in template


def test_a_value_has_everything_and_a_missing_one_says_its_need(assessed):
    for result in assessed().as_document()["results"]:
        if result["value"] is None:
            assert result["needs"]
        else:
            assert result["low"] <= result["value"] <= result["high"]
            assert result["grade"]
            assert result["source"]
            assert result["needs"] is None


def test_a_rider_of_eu_42_with_readings_11_11_12(assessed):
    # Common practice, no source: EU 42, 13 to 18, about 15 for a rider not known yet.
    results = assessed(start_from=PLAIN)
    assert results["left.cleat_setback.band_low"].value == 13
    assert results["left.cleat_setback.band_high"].value == 18
    start = results["left.cleat_setback.start"]
    assert (start.value, start.low, start.high) == (15, 13, 18)
    move = results["left.cleat_setback.move"]
    assert move.value == pytest.approx(15 - 34 / 3)
    assert move.low <= 4 <= move.high


def test_as_found_has_the_interval_worked_by_hand(assessed):
    # s2 = (4 x 1 + 2 x 1/3) / 6; u2 = 1.5^2 + s2/3; t at Welch-Satterthwaite (JCGM 100:2008, G.4), table G.2.
    found = assessed(start_from=PLAIN)["left.cleat_setback.as_found"]
    reading2 = (4 + 2 / 3) / 6 / 3
    u = math.sqrt(2.25 + reading2)
    assert found.value == pytest.approx(34 / 3)
    assert found.high - found.value == pytest.approx(1.96 * u, rel=0.01)


def test_moved_between_scribed_lines_does_not_carry_the_marks_error(assessed):
    move = assessed({"decided.moved_mm": {"left": 5}})["left.cleat_setback.move"]
    # A normal with SD 0.5: 95 % within 0.98 (any table of the normal distribution).
    assert (move.value, round(move.high - move.value, 2)) == (5, 0.98)


def test_decided_by_the_same_mark_carries_reading_error_only(assessed):
    changes = {"decided": {"left": {"cleat_setback_mm": [16, 16, 16]}}}
    move = assessed(changes)["left.cleat_setback.move"]
    assert move.value == pytest.approx(16 - 34 / 3)
    assert move.high - move.value < assessed()["left.cleat_setback.as_found"].half_width


def test_the_fitters_own_study_narrows_a_mark_and_nothing_else(assessed):
    before, after = assessed(), assessed(study=STUDY)
    from_marks = (".as_found", ".as_left", ".square_to_axle", ".slot_least", ".slot_greatest")
    expected = {name for name in RESULT_NAMES if "cleat_setback" in name and name.endswith(from_marks)}
    assert changed_names(before, after) - expected <= advice_that_depends_on_the_mark()
    assert expected <= changed_names(before, after)
    assert after["left.cleat_setback.as_found"].half_width < before["left.cleat_setback.as_found"].half_width


def advice_that_depends_on_the_mark():
    """Return later results into which a cleat setback's error goes."""
    parts = ("shortfall", "calf_lever", "untouched", "height_only", "full", "toe.gap_after", "frontal_lean")
    return {name for name in RESULT_NAMES if any(part in name for part in parts)}


def test_found_anew_halves_the_marks_error_for_that_foot_alone(assessed):
    before, after = assessed({"taken": {}}), assessed({"taken": {"as_found.left.cleat_setback_mm": "mark_found_anew"}})
    changed = changed_names(before, after)
    assert "left.cleat_setback.as_found" in changed
    assert not any(name.startswith("right.") for name in changed - advice_that_depends_on_the_mark())
    narrower = after["left.cleat_setback.as_found"].half_width
    assert narrower < before["left.cleat_setback.as_found"].half_width


def test_found_anew_says_nothing_for_one_reading(assessed):
    one = {"as_found.left.cleat_setback_mm": [11]}
    anew = {**one, "taken": {"as_found.left.cleat_setback_mm": "mark_found_anew"}}
    assert not changed_names(assessed({**one, "taken": {}}), assessed(anew))


def test_a_struck_reading_no_longer_counts(assessed):
    struck = [{"field": "as_found.left.cleat_setback_mm", "index": 2, "reason": "tape slipped"}]
    before, after = assessed(), assessed({"struck": struck})
    assert after["left.cleat_setback.as_found"].value == 11
    # The spread is pooled over both feet, so the right foot's interval changes, never its value.
    assert all(before[name].value == after[name].value for name in RESULT_NAMES if name.startswith("right."))


def test_toe_out_of_one_foot_changes_its_rotation_alone(assessed):
    changed = changed_names(assessed(), assessed({"as_found.right.cleat_toe_out_deg": [9]}))
    rotation = {
        "right.cleat_setback.square_to_axle",
        "right.float.free_heel_in",
        "right.float.free_heel_out",
    }
    assert changed == rotation


def test_one_shoe_size_changes_that_foots_band_alone(assessed):
    changed = changed_names(assessed(), assessed({"shoes.right.size": 43}))
    assert {f"right.cleat_setback.{name}" for name in ("band_low", "band_high", "start")} <= changed
    assert not any(name.startswith("left.") for name in changed)
    assert not any("as_found" in name or "slot" in name for name in changed)


def test_the_most_urgent_of_several_signs_is_named(assessed):
    signs = [{"sign": sign, "side": "both", "cleared": None} for sign in ("knee_swollen", "fever", "chest_pain")]
    assert assessed({"signs": signs})["left.cleat_setback.start"].needs == "clinician: chest_pain"


def test_a_sign_cleared_by_a_licensed_role_gives_the_advice_back(assessed):
    cleared = {"role": "physiotherapist", "finding": "settled", "date": "2026-03-01"}
    signs = [{"sign": "knee_swollen", "side": "left", "cleared": cleared}]
    assert not changed_names(assessed(), assessed({"signs": signs}))


def mirrored(document):
    """Return a session with left and right exchanged."""
    words = {"left": "right", "right": "left"}
    text = json.dumps(document)
    return json.loads(re.sub(r"(?<![a-z_])(left|right)(?![a-z_])", lambda found: words[found[0]], text))


def test_left_and_right_mirror_each_other(assessed, example):
    straight, mirror = assessed(), assessed(start_from=mirrored(example))
    # Draws of the two sides differ, so intervals of what is not linear agree only about.
    for name in RESULT_NAMES:
        other = name.replace("left.", "\0").replace("right.", "left.").replace("\0", "right.")
        if straight[name].value is None or other.startswith("stance.difference"):
            continue
        assert mirror[other].value == pytest.approx(straight[name].value, abs=1e-9), name
        assert mirror[other].half_width == pytest.approx(straight[name].half_width, rel=0.1, abs=0.05), name


def test_slots_that_end_before_the_target(assessed):
    slots = {"least_cleat_setback_mm": 5, "greatest_cleat_setback_mm": 13}
    plain = {**PLAIN, "shoes": {"left": {"size": 42, "size_system": "eu", **slots}}}
    results = assessed(start_from=plain)
    assert results["left.cleat_setback.shortfall"].value == 2
    assert results["left.cleat_setback.move"].value == pytest.approx(13 - 34 / 3)


def test_a_slot_end_that_matters_must_be_measured(assessed):
    results = assessed(start_from={**PLAIN, "shoes": {"left": {"size": 42, "size_system": "eu"}}})
    assert results["left.cleat_setback.shortfall"].needs.startswith("the slots' rear end")
    forward = {**PLAIN, "as_found": {"left": {"cleat_setback_mm": [25]}}, "rider": {"riding": "short_maximal"}}
    forward |= {"shoes": {"left": {"size": 42, "size_system": "eu"}}}
    assert assessed(start_from=forward)["left.cleat_setback.shortfall"].needs.startswith("the slots' front end")


def test_as_left_without_readings_is_as_found_plus_the_move(assessed):
    results = assessed({"as_left": {"moved_mm": {"left": 4}}})
    assert results["left.cleat_setback.as_left"].value == pytest.approx(34 / 3 + 4)
    assert results["right.cleat_setback.as_left"].value is None


def test_below_eu_40_there_is_a_band_and_no_point(assessed):
    results = assessed(start_from={**PLAIN, "shoes": {"left": {"size": 38, "size_system": "eu"}}})
    assert results["left.cleat_setback.band_low"].value == 7
    assert results["left.cleat_setback.band_high"].value == 15
    assert "rearward end" in results["left.cleat_setback.start"].needs


def test_label_and_foot_more_than_a_size_apart_show_both_bands(assessed):
    results = assessed({"rider.left.foot_length_mm": [255, 255]})
    assert any("by the foot" in note for note in results["left.cleat_setback.band_low"].notes)


def test_contrary_shifts_are_said_and_not_made(assessed):
    results = assessed({"rider.riding": "short_maximal"})  # the left heel drops: the high end
    assert results["left.cleat_setback.start"].value == 15
    assert any("contrary" in note for note in results["left.cleat_setback.start"].notes)
    assert results["right.cleat_setback.start"].value == 13


@pytest.mark.parametrize(
    ("removed", "result", "need"),
    [
        ("as_found.left.cleat_setback_mm", "left.cleat_setback.as_found", "cleat setback as found"),
        ("as_found.left.cleat_toe_out_deg", "left.cleat_setback.square_to_axle", "cleat toe-out"),
        ("rider.left.mtp1_big_toe_side_mm", "left.cleat_setback.square_to_axle", "big-toe side"),
        ("rider.left.natural_toe_out_deg", "left.float.free_heel_in", "natural toe-out"),
        ("bike.float_deg", "left.float.free_heel_out", "float"),
        ("rider.left.foot_length_mm", "left.mtp1.expected", "foot length"),
        ("as_left.left.cleat_setback_mm", "left.cleat_setback.as_left", "measured again"),
    ],
)
def test_what_was_not_measured_is_not_assessed(assessed, removed, result, need):
    estimate = assessed({removed: None})[result]
    assert estimate.value is None
    assert need in estimate.needs


def test_a_size_without_its_system_is_no_label(assessed):
    shoes = {"left": {"size": 42}}
    assert "size system" in assessed(start_from={**PLAIN, "shoes": shoes})["left.cleat_setback.start"].needs
    # With a measured foot the band comes from that, and the result says so.
    by_foot = assessed({"shoes.left.size_system": None})["left.cleat_setback.band_low"]
    assert any("foot length" in note for note in by_foot.notes)
