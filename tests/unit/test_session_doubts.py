"""What is possible alone and hardly together is asked again; parts the table lacks are problems."""

import json

import pytest

from fitkit import house, session
from fitkit.assessment.questions import questions
from fitkit.assessment.visit import load_visit

SLOTS = {"left": {"least_cleat_setback_mm": 6, "greatest_cleat_setback_mm": 19}}
BASE = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-001",
    "visit_date": "2026-03-02",
    "setup": "road",
    "shoes": SLOTS,
}


TURNED = {
    "bike": {"left": {"heel_gap_heel_in_mm": 4, "forefoot_gap_mm": 12}},
    "as_found": {"left": {"cleat_toe_out_deg": [5]}},
}


# One invented pedal family and another, written out here: no expectation comes from the table as shipped.
TABLE = """family,id,kind,adds_mm,play_mm,setback_gain_mm,stack_mm,thread_mm,fitted_by,minutes,in_stock,\
max_rider_kg,centreline_error_mm
P,P-0,spindle,0,,,,14,rider,10,1,,0.5
P,P-base,base_adapter,,,10,3,,rider,10,1,,0.5
Q,Q-0,spindle,0,,,,14,rider,10,1,,0.5
"""


@pytest.fixture(autouse=True)
def table(tmp_path, monkeypatch):
    path = tmp_path / "our_parts.csv"
    path.write_text(TABLE, encoding="utf-8")
    monkeypatch.setenv("FITKIT_PARTS", str(path))


def asked(**fields):
    found = session.parse(json.dumps({**BASE, **fields}).encode())
    return [str(doubt) for doubt in questions(found, house.load())]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            {"as_found": {"left": {"cleat_setback_mm": [1.1, 1.1]}}},
            "at 1 mm; expected 6 or more, where the slots begin",
        ),
        (
            {"as_found": {"left": {"cleat_setback_mm": [11]}}, "decided": {"moved_mm": {"left": 20}}},
            "at 31 mm; expected 19 or less, where the slots end",
        ),
        (
            {
                "as_found": {"left": {"cleat_setback_mm": [11]}},
                "decided": {"moved_mm": {"left": -4}},
                "as_left": {"left": {"cleat_setback_mm": [15]}},
            },
            "is 15.0; expected 7.0, as decided, within 2 mm",
        ),
        (
            {"decided": {"left": {"cleat_setback_mm": [23]}}},
            "decided.left.cleat_setback_mm is at 23 mm; expected 19 or less, where the slots end",
        ),
        (
            {
                "as_found": {"left": {"cleat_setback_mm": [11]}},
                "decided": {"moved_mm": {"left": 3}, "left": {"cleat_setback_mm": [18]}},
            },
            "decided.moved_mm.left is 3.0; expected 7.0, from as found to the place typed",
        ),
        (
            {
                "as_found": {"left": {"cleat_setback_mm": [11]}},
                "as_left": {"moved_mm": {"left": -3}, "left": {"cleat_setback_mm": [14]}},
            },
            "as_left.moved_mm.left is -3.0; expected 3.0, from as found to the place typed",
        ),
        (
            {
                "trials": [
                    {"kept": True, "position": {"left": {"cleat_setback_mm": [12]}}},
                    {"kept": False, "position": {"left": {"cleat_setback_mm": [18]}}},
                    {"kept": True, "position": {"left": {"cleat_setback_mm": [16]}}},
                ]
            },
            "trials.2.kept is kept, with the left cleat at 16.0 mm; expected one trial kept: an earlier one is kept "
            "too, with it at 12.0 mm",
        ),
        (
            {"trials": [{"position": {"left": {"cleat_setback_mm": [25]}}}]},
            "trials.0.position.left.cleat_setback_mm is at 25 mm; expected 19 or less, where the slots end",
        ),
        (
            {"bike": {"pedal_family": "P"}, "decided": {"left": {"spindle_id": "Q-0"}}},
            'decided.left.spindle_id is "Q-0", of family Q; expected one of family P, as the pedals found',
        ),
        (
            {"trials": [{"complaints": [{"region": "knee_front"}]}]},
            "trials.0.complaints.0.severity is not said; expected the rider's own score",
        ),
        ({"trials": [{"kept": True, "position": {"note": "good"}}]}, "trials.0.kept is kept, without a reading"),
        (
            {
                "bike": {
                    "q_factor_mm": [147],
                    "left": {"crank_face_to_centreline_mm": [73]},
                    "right": {"crank_face_to_centreline_mm": [78]},
                }
            },
            "bike.q_factor_mm is 147.0; expected 151.0, left and right crank face together",
        ),
        (
            {"complaints": [{"region": "knee_front"}]},
            "complaints.0.severity is not said; expected the rider's own score",
        ),
        ({"trials": [{"kept": True}]}, "trials.0.kept is kept, without a reading"),
        (
            {"rider": {"left": {"foot_length_mm": [267]}, "right": {"foot_length_mm": [246]}}},
            "is 267.0; expected 246.0, as the right one, within 10 mm",
        ),
        ({"follow_up_due": "2026-03-01"}, 'is "2026-03-01"; expected a day after 2026-03-02'),
    ],
)
def test_what_hardly_agrees_is_asked(fields, words):
    assert any(words in line for line in asked(**fields)), asked(**fields)


def test_what_agrees_is_not_asked():
    feet = {"left": {"foot_length_mm": [267]}, "right": {"foot_length_mm": [261]}}
    assert not asked(rider=feet, follow_up_due="2026-04-13")
    found, left = {"left": {"cleat_setback_mm": [11]}}, {"left": {"cleat_setback_mm": [15]}}
    assert not asked(as_found=found, decided={"moved_mm": {"left": 4}}, as_left=left)
    faces = {side: {"crank_face_to_centreline_mm": [75]} for side in ("left", "right")}
    assert not asked(bike={"q_factor_mm": [147], **faces})
    twice = [{"kept": True, "position": {"left": {"cleat_setback_mm": [place]}}} for place in (15, 15.5)]
    assert not asked(trials=twice)


def test_a_fitted_adapter_moves_the_rear_end_of_the_slots():
    beyond = {"left": {"cleat_setback_mm": [26]}}
    assert asked(as_left=beyond)
    assert not asked(as_left={"left": {"cleat_setback_mm": [26], "base_adapter_id": "P-base"}})
    assert not asked(decided={"left": {"base_adapter_id": "P-base"}}, as_left=beyond)
    tried = [{"kept": False, "position": {"left": {"base_adapter_id": "P-base", "cleat_setback_mm": [26]}}}]
    assert not asked(trials=tried)
    assert asked(trials=tried, as_left=beyond)  # taken off again
    assert asked(as_found={"left": {"base_adapter_id": "P-base"}}, as_left=beyond)  # the slots were measured with it
    further = {"left": {"cleat_setback_mm": [34], "base_adapter_id": "P-base"}}
    [doubt] = asked(as_left=further)
    assert "at 34 mm; expected 29 or less, where the slots end, the adapter's 10 mm counted" in doubt


def test_a_cleat_turned_with_a_small_gap_is_asked_about_until_it_is_measured_again():
    said = "measured again: it was 4.0 mm before the cleat was turned by 7.0°"
    [doubt] = asked(**TURNED, decided={"left": {"cleat_toe_out_deg": [12]}})
    assert said in doubt
    [doubt] = asked(**TURNED, trials=[{"position": {"left": {"cleat_toe_out_deg": [-2]}}}])
    assert said in doubt
    assert asked(**TURNED, decided={"left": {"cleat_toe_out_deg": [5.5]}}) == []
    again = {"left": {"heel_gap_heel_in_mm": 6}}
    assert asked(**TURNED, decided={"left": {"cleat_toe_out_deg": [12]}}, as_left=again) == []
    assert asked(**TURNED, trials=[{"position": {"left": {"cleat_toe_out_deg": [12]}}, "kept": False}]) == []


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"bike": {"pedal_family": "Z"}}, 'bike.pedal_family is "Z"; expected one of P, Q, as in the our_parts.csv'),
        (
            {"trials": [{"position": {"right": {"base_adapter_id": "P-0"}}}]},
            'trials.0.position.right.base_adapter_id is "P-0"; expected a base adapter of the our_parts.csv',
        ),
        ({"as_left": {"left": {"spindle_id": "P-9"}}}, 'as_left.left.spindle_id is "P-9"; expected a spindle of the'),
        ({"decided": {"left": {"extender_id": "P-9"}}}, 'decided.left.extender_id is "P-9"; expected an extender'),
    ],
)
def test_a_part_the_table_lacks_is_a_problem_of_the_file(tmp_path, fields, words):
    path = tmp_path / "rider-001_2026-03-02_road.json"
    path.write_text(json.dumps({**BASE, **fields}), encoding="utf-8")
    with pytest.raises(session.SessionProblems) as found:
        load_visit(path)
    assert words in str(found.value)
