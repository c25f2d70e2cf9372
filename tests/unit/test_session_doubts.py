"""What is possible alone and hardly together is asked again."""

import json

import pytest

from fitkit import session
from fitkit.session.checks import doubts

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


def asked(**fields):
    return [str(doubt) for doubt in doubts(session.parse(json.dumps({**BASE, **fields}).encode()))]


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
            "decided.moved_mm.left is 3.0; expected 7.0, from as found to the place decided",
        ),
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


def test_a_fitted_adapter_moves_the_rear_end_of_the_slots():
    beyond = {"left": {"cleat_setback_mm": [26]}}
    assert asked(as_left=beyond)
    assert not asked(as_left={"left": {"cleat_setback_mm": [26], "base_adapter_id": "A-base-10"}})


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
