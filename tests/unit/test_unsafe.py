"""What must not be ridden: each limit just inside and just outside, in what is fitted and in what is being tried.

The limits are house rules or the parts table's own, typed out here; the pitch of the pedal thread is 1.270 mm
(JIS B 0225-1960).
"""

import copy
import dataclasses
import re

import pytest

from fitkit.assessment import assess
from fitkit.report import rider_sheet, stance

START = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-1",
    "visit_date": "2026-03-02",
    "setup": "road",
    "rider": {"mass_kg": 112},
    "shoes": {"left": {"bolt_length_mm": 10}, "right": {"bolt_length_mm": 10}},
    "bike": {
        "pedal_family": "A",
        "crank_thread_depth_mm": 14,
        "left": {"spindle_thread_mm": 14, "heel_gap_heel_in_mm": 20},
        "right": {"spindle_thread_mm": 14, "heel_gap_heel_in_mm": 20},
    },
    "as_found": {
        "left": {"cleat_setback_mm": [12], "cleat_toe_out_deg": [5]},
        "right": {"cleat_setback_mm": [12], "cleat_toe_out_deg": [5]},
    },
}


@pytest.fixture
def unsafe(assessed):
    """Return a function that gives what is not safe, as (what, side), with `changes` made."""

    def find(changes):
        return [(each.what, each.side) for each in assessed(changes, start_from=copy.deepcopy(START)).unsafe]

    return find


def test_nothing_is_unsafe_to_begin_with(unsafe):
    assert unsafe({}) == []


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    ("what", "inside", "outside"),
    [
        # 14 mm of thread less washers of 3 are 8.66 turns, give or take 0.4; less 5 they are 7.09; 8 are wanted.
        ("thread", {"as_left.{side}.washer_mm": 3}, {"as_left.{side}.washer_mm": 5}),
        # 14 - 3.8 = 10.2 mm are 8.03 turns: enough only without the readings' error.
        ("thread", {"as_left.{side}.washer_mm": 3.2}, {"as_left.{side}.washer_mm": 3.8}),
        # C-spindle-10 is for riders up to 100 kg in the table shipped.
        (
            "mass",
            {"rider.mass_kg": 100, "bike.pedal_family": "C", "decided.{side}.spindle_id": "C-spindle-10"},
            {"rider.mass_kg": 100.5, "bike.pedal_family": "C", "decided.{side}.spindle_id": "C-spindle-10"},
        ),
        # A-extender-25 is for riders up to 90 kg in the table shipped.
        (
            "mass",
            {"rider.mass_kg": 90, "decided.{side}.extender_id": "A-extender-25"},
            {"rider.mass_kg": 91, "decided.{side}.extender_id": "A-extender-25"},
        ),
        (
            "bolt",
            {"as_left.{side}.shim_mm": 3, "as_left.{side}.bolt_length_mm": 13},
            {"as_left.{side}.shim_mm": 3, "as_left.{side}.bolt_length_mm": 12.9},
        ),
        (
            "bolt",
            {"as_left.{side}.adapter_stack_mm": 3, "as_left.{side}.bolt_length_mm": 13},
            {"as_left.{side}.adapter_stack_mm": 3},
        ),
        # A-base-10 is 3 mm high in the table shipped.
        (
            "bolt",
            {"as_left.{side}.base_adapter_id": "A-base-10", "as_left.{side}.bolt_length_mm": 13},
            {"as_left.{side}.base_adapter_id": "A-base-10", "as_left.{side}.bolt_length_mm": 12},
        ),
        # What the bolts as found were longer by already carries the shim as found.
        (
            "bolt",
            {
                "as_found.{side}.shim_mm": 3,
                "as_found.{side}.bolt_length_mm": 13.1,
                "as_left.{side}.shim_mm": 6.1,
                "as_left.{side}.bolt_length_mm": 16.2,
            },
            {
                "as_found.{side}.shim_mm": 3,
                "as_found.{side}.bolt_length_mm": 13,
                "as_left.{side}.shim_mm": 6,
            },
        ),
        # C-spindle-7 has 15 mm of thread and B-spindle-5 has 14 in the table shipped, whatever the old one had: less
        # washers of 4.4 they are 8.35 and 7.56 turns.
        (
            "thread",
            {
                "bike.crank_thread_depth_mm": 18,
                "bike.{side}.spindle_thread_mm": 9,
                "decided.{side}": {"spindle_id": "C-spindle-7", "washer_mm": 4.4, "cleat_toe_out_deg": [5]},
            },
            {
                "bike.crank_thread_depth_mm": 18,
                "bike.{side}.spindle_thread_mm": 18,
                "decided.{side}": {"spindle_id": "B-spindle-5", "washer_mm": 4.4, "cleat_toe_out_deg": [5]},
            },
        ),
        # C-extender-30 has no mass limit in the table shipped; taken off again it forbids nothing.
        (
            "mass",
            {
                "as_found.{side}.extender_id": "C-extender-30",
                "as_left.{side}.extender_mm": 0,
                "as_left.{side}.heel_gap_heel_in_mm": 5,
            },
            {"as_found.{side}.extender_id": "C-extender-30"},
        ),
        # A foot 3 mm from the crank, moved in by another spindle (-3 in the table shipped): it may touch.
        (
            "gap",
            {"bike.{side}.ankle_gap_mm": 6, "decided.{side}.spindle_id": "A-spindle-minus-3"},
            {"bike.{side}.ankle_gap_mm": 3, "decided.{side}.spindle_id": "A-spindle-minus-3"},
        ),
        # One that touched as found is not well because the cleat was moved back, only once it is measured again.
        (
            "gap",
            {
                "bike.{side}.ankle_gap_mm": 0,
                "as_left.{side}.cleat_setback_mm": [18],
                "as_left.{side}.ankle_gap_mm": 4,
            },
            {"bike.{side}.ankle_gap_mm": 0, "as_left.{side}.cleat_setback_mm": [18]},
        ),
        # One reading of a gap has a spread of 0.5: 2 clears 0 with its error, 0.5 does not.
        ("gap", {"bike.{side}.ankle_gap_mm": 2}, {"bike.{side}.ankle_gap_mm": 0.5}),
        ("gap", {"as_left.{side}.forefoot_gap_mm": 3}, {"as_left.{side}.forefoot_gap_mm": 0}),
        (
            "turned",
            {"bike.{side}.heel_gap_heel_in_mm": 4, "decided.{side}.cleat_toe_out_deg": [5.5]},
            {"bike.{side}.heel_gap_heel_in_mm": 4, "decided.{side}.cleat_toe_out_deg": [5.6]},
        ),
        (
            "turned",
            {"bike.{side}.heel_gap_heel_in_mm": 10, "decided.{side}.cleat_toe_out_deg": [12]},
            {"bike.{side}.heel_gap_heel_in_mm": 9.9, "decided.{side}.cleat_toe_out_deg": [12]},
        ),
        (
            "turned",
            {
                "bike.{side}.heel_gap_heel_in_mm": 4,
                "as_left.{side}.cleat_toe_out_deg": [12],
                "as_left.{side}.heel_gap_heel_in_mm": 6,
            },
            {"bike.{side}.heel_gap_heel_in_mm": 4, "as_left.{side}.cleat_toe_out_deg": [12]},
        ),
    ],
)
def test_each_limit_just_inside_and_just_outside(unsafe, side, what, inside, outside):
    def at(changes):
        return {path.replace("{side}", side): value for path, value in changes.items()}

    assert unsafe(at(inside)) == []
    assert unsafe(at(outside)) == [(what, side)]


def test_two_parts_too_weak_for_the_rider_are_both_said(assessed):
    changes = {"decided.left.spindle_id": "C-spindle-10", "decided.left.extender_id": "A-extender-25"}
    found = [each.words for each in assessed(changes, start_from=START).unsafe if each.what == "mass"]
    assert found == [
        "left: C-spindle-10 is for riders up to 100 kg, the rider is 112 kg",
        "left: A-extender-25 is for riders up to 90 kg, the rider is 112 kg",
    ]


def test_three_washers_that_leave_7_turns_are_said_to_fitter_and_rider(assessed):
    # 12 mm of thread less 3 mm of washers are 9 mm: 7.09 turns of 1.270.
    changes = {"bike.left.spindle_thread_mm": 12, "as_left.left.washer_mm": 3}
    found = assessed(changes, start_from=START)
    [each] = found.unsafe
    assert (each.what, each.side, each.limit, each.unit) == ("thread", "left", 8, "turns")
    assert each.value == pytest.approx(7.087, abs=0.001)
    # Two calliper readings of SD .2 mm, 1.96 standard deviations of their difference: .44 turns either way.
    assert re.search(r"7\.1 turns of pedal thread engaged \(6\.[67] to 7\.5\), 8 wanted", each.words)
    assert rider_sheet(found)["unsafe"] == ["Do not ride until the left pedal has enough thread in the crank again."]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_heel_gap_of_4_after_a_turn_of_7_degrees_is_said(assessed, side):
    changes = {f"bike.{side}.heel_gap_heel_in_mm": 4, f"decided.{side}.cleat_toe_out_deg": [-2]}
    found = assessed(changes, start_from=START)
    [each] = found.unsafe
    assert (each.what, each.side, each.value, each.limit) == ("turned", side, 4, 10)
    said = f"{side}: turned by 7.0 degrees since heel to crank, heel in was 4 mm: measure it again"
    assert each.words == said
    waits_for = f"Do not ride until the gap between your {side} foot and the crank has been measured again."
    assert rider_sheet(found)["unsafe"] == [waits_for]


def test_a_gap_measured_after_the_turn_stands_although_the_turn_is_read_again(unsafe):
    changes = {
        "bike.left.heel_gap_heel_in_mm": 4,
        "trials": [{"position": {"left": {"cleat_toe_out_deg": [12], "heel_gap_heel_in_mm": 6}}, "kept": True}],
        "as_left.left.cleat_toe_out_deg": [12.2],
    }
    assert unsafe(changes) == []
    changes["as_left.left.cleat_toe_out_deg"] = [5]
    assert unsafe(changes) == [("turned", "left")]


def test_the_lean_is_a_caution_and_where_the_house_refuses_it_not_safe(assessed):
    # 268 - 172.5 - 12 = 83.5 up: 25 degrees is reached at 179.07 out.
    low = {
        "bike.bottom_bracket_height_mm": 268,
        "bike.crank_length_mm": 172.5,
        "bike.left.pedal_below_axle_mm": 12,
        "bike.left.pedal_outer_edge_mm": 179.5,
    }
    found = assessed(low, start_from=START)
    assert found.unsafe == ()
    assert any("less than the 25 of" in note for note in found["left.lean.clearance"].notes)
    for edge, expected in ((179.5, [("lean", "left")]), (179.0, [])):
        low["bike.left.pedal_outer_edge_mm"] = edge
        strict = refusing(assessed(low, start_from=START).visit)
        assert [(each.what, each.side) for each in assess(strict).unsafe] == expected


def refusing(visit):
    rules = visit.house.rules.model_copy(update={"lean_under_least": "refuse"})
    return dataclasses.replace(visit, house=dataclasses.replace(visit.house, rules=rules))


def test_an_adapter_whose_stack_is_not_known_asks_for_the_bolts(assessed):
    visit = assessed({"decided.left.base_adapter_id": "A-base-10"}, start_from=START).visit
    blank = [part.model_copy(update={"stack_mm": None}) for part in visit.house.parts]
    found = assess(dataclasses.replace(visit, house=dataclasses.replace(visit.house, parts=tuple(blank)))).unsafe
    assert [(each.what, each.limit) for each in found] == [("bolt", None)]
    assert "the stack of A-base-10 is not known" in found[0].words


def test_a_part_with_a_limit_and_no_mass_recorded_is_not_safe(unsafe):
    changes = {"rider": {}, "decided.left.extender_id": "A-extender-25"}
    assert unsafe(changes) == [("mass", "left")]


def test_an_extender_for_90_kg_under_a_rider_of_112_is_not_fine(assessed):
    found = assessed({"as_left.left.extender_id": "A-extender-25"}, start_from=START)
    [each] = [each for each in found.unsafe if each.what == "mass"]
    assert (each.value, each.limit, each.unit) == (112, 90, "kg")
    assert each.words == "left: A-extender-25 is for riders up to 90 kg, the rider is 112 kg"
    assert found.as_document()["unsafe"][0]["what"] == "mass"


@pytest.mark.parametrize(("kept", "there"), [(None, True), (False, False), (True, True)])
def test_what_is_being_tried_is_held_against_the_limits_too(unsafe, kept, there):
    trial = {"position": {"left": {"washer_mm": 5}}, "kept": kept}
    assert (("thread", "left") in unsafe({"trials": [trial]})) is there


def test_a_gap_does_not_hold_once_the_shoe_was_turned_or_moved(assessed):
    gap = {"bike.left.heel_gap_heel_in_mm": 4}
    turned = assessed({**gap, "decided.left.cleat_toe_out_deg": [-2]}, start_from=START)
    assert "Heel to crank, heel in | was gap 4 mm; moved since: measure again | gap 20 mm" in repr(
        stance.foot_gaps(turned)
    )
    for field, near, far in (
        ("cleat_setback_mm", [12.5], [12.6]),
        ("shoe_outward_mm", [0.5], [0.6]),
        ("washer_mm", 0.5, 0.6),
    ):
        for value, is_void in ((near, False), (far, True)):
            said = repr(stance.foot_gaps(assessed({**gap, f"as_left.left.{field}": value}, start_from=START)))
            assert ("measure again" in said) is is_void, (field, value)


def test_an_id_recorded_as_fitted_changes_the_half_stance_where_nothing_newer_was_measured(assessed):
    crank = {"bike.left.crank_face_to_centreline_mm": [73], "bike.left.spindle_to_cleat_centre_mm": 53}
    # 73 + 53 as it came; A-spindle-6 adds 6 against the family's own 0.
    assert assessed(crank, start_from=START)["left.half_stance"].value == 126
    by_id = assessed({**crank, "decided.left.spindle_id": "A-spindle-6"}, start_from=START)["left.half_stance"]
    assert by_id.value == 132
    assert any("A-spindle-6 by the parts table, not measured again" in note for note in by_id.notes)
    measured = {**crank, "decided.left.spindle_id": "A-spindle-6", "as_left.left.spindle_to_cleat_centre_mm": 58}
    assert assessed(measured, start_from=START)["left.half_stance"].value == 131


def test_turns_carry_the_error_of_their_readings(assessed):
    turns = assessed({"as_left.left.washer_mm": 2}, start_from=START)["left.thread.turns"]
    # 14 - 2 = 12 mm over 1.270 (computed by hand: 9.449); 12 is less than the crank's 14.
    assert turns.value == pytest.approx(9.449, abs=0.001)
    # Spindle and washer of 0.2 mm each: 1.96 x 0.283 / 1.27 = 0.44 turns.
    assert (turns.high - turns.low) / 2 == pytest.approx(0.44, abs=0.03)
