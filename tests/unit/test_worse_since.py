"""A rider who got worse after the last change: what was changed then goes back, and that is said first."""

import copy
import json

import pytest

from fitkit.report import Record

THEN = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-1",
    "visit_date": "2026-03-02",
    "setup": "road",
    "complaints": [{"region": "knee_front", "side": "left", "severity": 3, "since": "2025"}],
    "shoes": {side: {"size": 42, "size_system": "eu"} for side in ("left", "right")},
    "as_found": {
        "left": {"cleat_setback_mm": [11]},
        "right": {"cleat_setback_mm": [12]},
        "saddle_height_mm": [740],
    },
    "as_left": {
        "left": {"cleat_setback_mm": [16]},
        "right": {"cleat_setback_mm": [12]},
        "saddle_height_mm": [740],
    },
}
NOW = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-1",
    "visit_date": "2026-04-20",
    "setup": "road",
    "complaints": [{"region": "knee_front", "side": "left", "severity": 6}],
    "seen_asked": True,
    "shoes": {side: {"size": 42, "size_system": "eu"} for side in ("left", "right")},
    "as_found": {"left": {"cleat_setback_mm": [16.5]}, "right": {"cleat_setback_mm": [12]}},
}


@pytest.fixture
def seen_again(tmp_path):
    """Return a function that makes the record of the second visit, both changed by dotted paths."""

    def make(now=None, then=None):
        for document, changes in ((copy.deepcopy(THEN), then), (copy.deepcopy(NOW), now)):
            for dotted, value in (changes or {}).items():
                *path, last = dotted.split(".")
                place = document
                for step in path:
                    place = place.setdefault(step, {})
                place[last] = value
            name = f"rider-1_{document['visit_date']}_road.json"
            (tmp_path / name).write_text(json.dumps(document), encoding="utf-8")
        return Record(tmp_path / "rider-1_2026-04-20_road.json")

    return make


def test_the_cleat_goes_back_by_as_much_as_it_was_moved_and_the_old_number_stands_beside_it(seen_again):
    record = seen_again()
    assert record.assessment.advice["left"].kind == "put_back"
    # 16.5 as found now, moved by 16 - 11 = 5 then: 11.5.
    assert record.assessment.advice["left"].next_mm == 11.5
    left, right, *_ = record.first_numbers().lines
    assert left.startswith(
        "Left cleat 16.5 mm behind the joint (13 to 20): left front of the knee from 3 to 6 of 10 since the last "
        "change: put it back: 5 mm toward the toes, to 11.5 (it stood at 11 by the last visit's mark). "
        "Send on if it does not settle."
    )
    assert "put" not in right
    assert "Knee front, left | 3 of 10 | not named | 6 of 10" in repr(record.complaints_then_and_now())


def test_a_saddle_that_was_changed_goes_back_too(seen_again):
    record = seen_again(then={"as_left.saddle_height_mm": [735]})
    assert record.assessment.advice["left"].also_back == ("saddle_height_mm",)
    assert "; put the saddle height back as before." in record.first_numbers().lines[0]


@pytest.mark.parametrize(("saddle", "kind"), [(738, "move"), (737.5, "put_back")])
def test_where_only_the_saddle_was_changed_by_more_than_2_mm_the_cleat_stays(seen_again, saddle, kind):
    unmoved = {"as_left.left.cleat_setback_mm": [11.5], "as_left.saddle_height_mm": [saddle]}
    advice = seen_again(then=unmoved, now={"as_found.left.cleat_setback_mm": [9]}).assessment.advice["left"]
    assert advice.kind == kind
    if kind == "put_back":
        assert (advice.next_mm, advice.also_back) == (9, ("saddle_height_mm",))


def test_a_pain_in_the_middle_counts_for_either_foot_that_was_changed(seen_again):
    back = [{"region": "low_back", "severity": 4}]
    advice = seen_again(now={"complaints": back}).assessment.advice
    assert (advice["left"].kind, advice["right"].kind) == ("put_back", "leave")


@pytest.mark.parametrize(
    "complaint",
    [
        {"region": "knee_front", "side": "left", "severity": 4.9},
        {"region": "knee_front", "side": "left"},
        {"region": "calf", "side": "left", "severity": 3.9},
        {"region": "calf", "side": "left", "severity": 8, "since": "2026-02"},
        {"region": "neck", "side": "left", "severity": 9},
        {"region": "calf", "side": "right", "severity": 9},
    ],
)
def test_what_is_not_worse_puts_nothing_back_on_this_side(seen_again, complaint):
    assert seen_again(now={"complaints": [complaint]}).assessment.advice["left"].kind != "put_back"


def test_what_was_said_at_the_follow_up_counts_before_todays_list(seen_again):
    since = {"since_last.complaints": [{"region": "knee_front", "side": "left", "severity": 2}]}
    assert seen_again(now=since).assessment.advice["left"].kind != "put_back"


def test_a_decision_against_it_stands_with_the_worsening_in_front_and_asks_why(seen_again):
    line = seen_again(now={"decided.moved_mm": {"left": 0}}).first_numbers().lines[0]
    assert line.startswith(
        "Worse since the last visit: left front of the knee from 3 to 6 of 10; put back it would stand at 11.5. "
        "Say why it was decided otherwise. Left cleat found 16.5 mm behind the joint (13 to 20): decided to stay."
    )
    said = seen_again(now={"decided.moved_mm": {"left": 0}, "decided.note": "a fall between the visits"})
    assert "Say why" not in said.first_numbers().lines[0]


def test_worse_though_nothing_of_the_leg_was_changed_is_said_and_moves_nothing(seen_again):
    record = seen_again(then={"as_left.left.cleat_setback_mm": [11]}, now={"as_found.left.cleat_setback_mm": [15]})
    assert record.assessment.advice["left"].kind == "leave"
    assert (
        "Left: left front of the knee from 3 to 6 of 10 since the last visit, which changed nothing of this leg: "
        "look for another cause, and send on if it does not settle."
    ) in record.first_numbers().lines


def test_an_open_sign_comes_before_putting_back(seen_again):
    record = seen_again(now={"signs": [{"sign": "knee_swollen", "side": "left"}]})
    assert record.assessment.advice["left"].kind == "clinician"
    assert "toward the toes" not in repr(record.first_numbers())


def test_a_last_visit_without_readings_compares_nothing_and_stops_nothing(seen_again):
    record = seen_again(then={"as_found": {}, "as_left": {}})
    assert record.assessment.advice["left"].kind in ("leave", "move")
