"""Visits on which a kit went wrong once: the first sentence is what an expert would say, the sheet is true."""

import copy
import json

import pytest

from fitkit.report import rider_sheet
from fitkit.report.record import Record

START = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-1",
    "visit_date": "2026-03-02",
    "setup": "road",
    "signs_asked": True,
    "seen_asked": True,
    "rider": {"mass_kg": 74},
    "shoes": {
        side: {"size": 42, "size_system": "eu", "least_cleat_setback_mm": 6, "greatest_cleat_setback_mm": 30}
        for side in ("left", "right")
    },
    "bike": {"pedal_family": "A"},
    "as_found": {side: {"cleat_setback_mm": [15]} for side in ("left", "right")},
}
UNSTEADY = [{"what": "unsteady", "side": "both"}]


@pytest.fixture
def visit(tmp_path):
    """Return a function that makes the record of `START` with changes by dotted paths."""

    def make(changes):
        document = copy.deepcopy(START)
        for dotted, value in changes.items():
            *path, last = dotted.split(".")
            place = document
            for step in path:
                place = place.setdefault(step, {})
            place[last] = value
        file = tmp_path / "rider-1_2026-03-02_road.json"
        file.write_text(json.dumps(document), encoding="utf-8")
        return Record(file)

    return make


def ridden(setback_mm, score, **more):
    place, scores = {"cleat_setback_mm": [setback_mm]}, {"left": [score], "right": [score]}
    return {"position": {"left": place, "right": place}, "unsteadiness": scores, "saddle_corrected": True, **more}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"as_found.left.cleat_setback_mm": [26], "seen": UNSTEADY},
            "Left cleat 26 mm behind the joint (22.5 to 29.5): look for another cause before moving it (saddle height, "
            "a worn cleat, a loose shoe, the float); the foot is unsteady; the cleat stands well toward the heel",
        ),
        (
            {
                "as_found.left.cleat_setback_mm": [10],
                "seen": UNSTEADY,
                "trials": [ridden(10, 7), ridden(15, 6), ridden(20, 6)],
            },
            "Left cleat 10 mm behind the joint (6.5 to 13.5): look for another cause before moving it (saddle height, "
            "a worn cleat, a loose shoe, the float); unsteady wherever the cleat stood, so the cleat is hardly "
            "the cause",
        ),
        (
            # EU 47 begins at 20.5; 2 above it 22.5, and the slots end at 14.
            {
                "as_found.left.cleat_setback_mm": [14],
                "shoes.left.size": 47,
                "shoes.left.greatest_cleat_setback_mm": 14,
            },
            "Slots end 8.5 mm short: base adapter A-base-10, or another shoe. Left cleat 14 mm behind the joint",
        ),
        (
            {"as_found.left.cleat_setback_mm": [9], "signs": [{"sign": "chest_pain"}]},
            "Left cleat 9 mm behind the joint (5.5 to 12.5): no advice before a clinician has seen to chest pain.",
        ),
        (
            {"as_found.left.cleat_setback_mm": [9], "rider.age_years": 16},
            "Left cleat 9 mm behind the joint (5.5 to 12.5): no advice before a clinician and a parent or guardian "
            "agree to it (under 18 and still growing).",
        ),
        (
            {"trials": [{"position": {"moved_mm": {"left": 12}}, "kept": True}]},
            "Left cleat found 15 mm behind the joint (11.5 to 18.5): kept in a trial 12 mm toward the heel, to 27.",
        ),
        (
            {"as_found.left.cleat_setback_mm": [16], "trials": [ridden(12, 1), ridden(14, 6)]},
            "Left cleat 16 mm behind the joint (12.5 to 19.5): ride 14 once more; steady ahead of where it was "
            "unsteady",
        ),
        (
            {
                "rider.riding": "short_maximal",
                "as_found.left.cleat_setback_mm": [26],
                "seen": [{"what": "hip_drop", "side": "left"}],
            },
            "Left cleat 26 mm behind the joint (22.5 to 29.5): leave it; what was seen or hurts speaks against going "
            "toward the toes.",
        ),
        (
            {
                "as_found.left.cleat_setback_mm": [12],
                "seen": [{"what": "heel_drops", "side": "left"}],
                "shoes.left.cleat_wear": "worn",
            },
            "Left cleat 12 mm behind the joint (8.5 to 15.5): look for another cause before moving it (saddle height, "
            "a worn cleat, a loose shoe, the float); the heel drops; the cleat is worn.",
        ),
        (
            {"as_found.left.cleat_setback_mm": [12], "seen": UNSTEADY},
            "Left cleat 12 mm behind the joint (8.5 to 15.5): today 6 mm toward the heel, to 18; the foot is unsteady. "
            "Too far toward the heel costs less than too far toward the toes.",
        ),
    ],
)
def test_the_first_sentence_is_what_an_expert_would_say(visit, changes, sentence):
    assert visit(changes).first_numbers().lines[0].startswith(sentence)


@pytest.mark.parametrize(
    ("changes", "fitter", "rider"),
    [
        (
            # 12 - 3 = 9 mm over a pitch of 1.270 (JIS B 0225-1960) are 7.1 turns.
            {"bike.crank_thread_depth_mm": 14, "bike.left": {"spindle_thread_mm": 12}, "as_left.left.washer_mm": 3},
            "Not safe as fitted: left: 7.1 turns of pedal thread engaged (6.7 to 7.5), 8 wanted",
            "Do not ride until the left pedal has enough thread in the crank again.",
        ),
        (
            {"rider.mass_kg": 112, "as_left.left.extender_id": "A-extender-25"},
            "Not safe as fitted: left: A-extender-25 is for riders up to 90 kg, the rider is 112 kg",
            "Do not ride until the maker of the part in your left pedal or cleat has been asked about your weight.",
        ),
        (
            {
                "as_found.left.cleat_toe_out_deg": [5],
                "as_left.left.cleat_toe_out_deg": [-2],
                "bike.left": {"heel_gap_heel_in_mm": 4},
            },
            "Not safe as fitted: left: turned by 7",
            "Do not ride until the gap between your left foot and the crank has been measured again.",
        ),
        (
            {"as_left.left.shim_mm": 3},
            "Not safe as fitted: left: shim or adapter is 3 mm more than as found, longer bolts are not recorded",
            "Do not ride until your left cleat has bolts that are long enough.",
        ),
    ],
)
def test_what_is_not_safe_leads_the_record_and_stands_on_the_sheet(visit, changes, fitter, rider):
    record = visit(changes)
    assert record.signs().lines[0].startswith(fitter)
    assert record.signs().kind == "stop"
    assert rider in rider_sheet(record.assessment)["unsafe"]


def test_feet_of_39_5_and_40_5_are_sent_to_places_one_size_apart(visit):
    found = {f"as_found.{side}.cleat_setback_mm": [3] for side in ("left", "right")}
    advice = visit({**found, "shoes.left.size": 39.5, "shoes.right.size": 40.5}).assessment.advice
    # The trade's line rises by 1.5 mm a size; below EU 40 it is continued as a house rule.
    assert advice["right"].to_mm - advice["left"].to_mm == pytest.approx(1.5)


def test_a_toe_is_not_warned_of_for_a_move_that_nobody_made(visit):
    near = {"bike.left": {"axle_to_tyre_mm": 104, "axle_to_toe_mm": 97}, "as_found.left.cleat_setback_mm": [8]}
    record = visit(near)
    assert record.assessment.advice["left"].next_mm == 13
    assert rider_sheet(record.assessment)["toes"] == []


def test_a_sign_of_this_hour_comes_before_what_is_not_safe(visit):
    changes = {"rider.mass_kg": 112, "as_left.left.extender_id": "A-extender-25", "signs": [{"sign": "chest_pain"}]}
    lines = visit(changes).signs().lines
    assert lines[0].startswith("Chest pain: see emergency care, this hour: call the local emergency number")
    assert lines[-1].startswith("Not safe as fitted: left: A-extender-25")
