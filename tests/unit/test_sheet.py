"""The rider's sheet is true: every real difference is on it, in plain words, on the right side and in the right way."""

import copy
import json
import re

import pytest

from fitkit import house, session
from fitkit.assessment import Visit, assess
from fitkit.report import rider_sheet
from fitkit.report.pages import sheet_html
from fitkit.report.record import Record
from fitkit.session.bike import Position, PositionSide

START = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-1",
    "visit_date": "2026-03-02",
    "setup": "road",
    "rider": {"mass_kg": 70},
    "shoes": {side: {"size": 42, "size_system": "eu", "bolt_length_mm": 10} for side in ("left", "right")},
    "bike": {side: {"spindle_to_cleat_centre_mm": 53} for side in ("left", "right")} | {"pedal_family": "A"},
    "as_found": {
        **{
            side: {"cleat_setback_mm": [12], "cleat_toe_out_deg": [5], "shoe_outward_mm": [1], "bolt_length_mm": 10}
            for side in ("left", "right")
        },
        "saddle_height_mm": [740],
        "saddle_setback_mm": [70],
        "bar_height_mm": [660],
        "bar_reach_mm": [545],
    },
}
AS_LEFT = START["as_found"]

# Every field of one side of a position: what it becomes, and what the rider reads.
SIDED = {
    "cleat_setback_mm": [([16], "went 4 mm toward the heel"), ([9.5], "went 2.5 mm toward the toes")],
    "cleat_toe_out_deg": [([8], "turned by 3°, toes outward"), ([3], "turned by 2°, toes inward")],
    "shoe_outward_mm": [([4], "stands 3 mm further out"), ([-1], "stands 2 mm further in")],
    "washer_mm": [(2, "pedal washers: 2 mm (before: none)")],
    "extender_mm": [(20, "pedal extender: 20 mm (before: none)")],
    "shim_mm": [(3, "shim under the cleat: 3 mm (before: none)")],
    "wedge_deg": [
        (1.5, "wedge under the foot: 1.5°, thick at the big-toe side (before: none)"),
        (-2, "wedge under the foot: 2°, thick at the little-toe side (before: none)"),
    ],
    "spindle_to_cleat_centre_mm": [(57, "cleat from the crank: 57 mm (before: 53 mm)")],
    "spindle_id": [("A-spindle-6", "pedal spindle: A-spindle-6 (before: not recorded)")],
    "extender_id": [("A-extender-25", "extender: A-extender-25 (before: none)")],
    "base_adapter_id": [("A-base-10", "adapter under the cleat: A-base-10 (before: none)")],
    "adapter_stack_mm": [(3, "adapter's height under the cleat: 3 mm (before: none)")],
    "bolt_length_mm": [(13, "cleat bolts: 13 mm (before: 10 mm)")],
}
NOT_SETTINGS = {
    *("cleat_bolt_torque_nm", "pedal_torque_nm"),
    *("heel_gap_heel_in_mm", "heel_gap_heel_out_mm", "ankle_gap_mm", "forefoot_gap_mm"),
}
WHOLE = {
    "saddle_height_mm": [([737], "Saddle height: 3 mm down."), ([742.5], "Saddle height: 2.5 mm up.")],
    "saddle_setback_mm": [
        ([66], "Saddle behind the crank centre: 4 mm forward."),
        ([73], "Saddle behind the crank centre: 3 mm back."),
    ],
    "bar_height_mm": [([650], "Bar height: 10 mm down."), ([665], "Bar height: 5 mm up.")],
    "bar_reach_mm": [([540], "Reach to the bar: 5 mm closer."), ([555], "Reach to the bar: 10 mm further away.")],
}


@pytest.fixture
def sheet(tmp_path):
    """Return a function that makes the sheet of `START` with changes by dotted paths."""

    def make(changes=None, *, start=START):
        document = copy.deepcopy(start)
        for dotted, value in (changes or {}).items():
            *path, last = dotted.split(".")
            place = document
            for step in path:
                place = place[int(step)] if step.isdigit() else place.setdefault(step, {})
            place[last] = value
        file = tmp_path / "rider-1_2026-03-02_road.json"
        file.write_text(json.dumps(document), encoding="utf-8")
        return rider_sheet(Record(file).assessment)

    return make


def said(made):
    return " ".join([*made["changes"], *made["parts"]])


def test_every_field_of_a_position_is_here():
    assert set(PositionSide.model_fields) == set(SIDED) | NOT_SETTINGS
    assert set(Position.model_fields) == {*WHOLE, "left", "right", "moved_mm", "note"}


@pytest.mark.parametrize("position", ["decided", "as_left"])
@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("name", "value", "words"), [(name, *case) for name, cases in SIDED.items() for case in cases])
def test_one_change_of_a_foot_is_named_with_its_side_and_way(sheet, side, position, name, value, words):
    made = sheet({f"{position}.{side}.{name}": value})
    assert words in said(made)
    lower = said(made).lower()
    assert f"{side} " in lower
    assert f"{'right' if side == 'left' else 'left'} " not in lower
    assert made["title"] == "What we changed"
    assert "Nothing" not in said(made)


@pytest.mark.parametrize(("name", "value", "words"), [(name, *case) for name, cases in WHOLE.items() for case in cases])
def test_one_change_of_saddle_or_bars_is_named_with_its_way(sheet, name, value, words):
    made = sheet({f"as_left.{name}": value})
    assert words in said(made)
    assert made["title"] == "What we changed"


@pytest.mark.parametrize(("moved", "words"), [(12, "went 12 mm toward the heel"), (-3, "went 3 mm toward the toes")])
def test_a_trial_that_was_kept_is_what_the_rider_leaves_on(sheet, moved, words):
    trial = {"position": {"moved_mm": {"right": moved}}, "kept": True}
    assert f"Your right cleat {words}." in said(sheet({"trials": [trial]}))
    for kept in (False, None):
        assert "cleat went" not in said(sheet({"trials": [{**trial, "kept": kept}]}))


def test_nothing_changed_is_said_only_where_all_was_measured_again(sheet):
    assert said(sheet({"as_left": AS_LEFT})) == "Nothing was changed."
    some = sheet({"as_left": {**AS_LEFT, "saddle_height_mm": []}})
    assert said(some) == "Nothing was noted as changed. Where “now” shows —, it was not measured again."
    rows = {row["what"]: row["now"] for row in some["rows"]}
    assert (rows["Saddle height, crank centre to saddle top"], rows["Bar height"]) == ("—", "as before")


def test_what_was_decided_and_not_measured_again_is_said(sheet):
    made = sheet({"decided.moved_mm": {"left": 4}})
    assert "Decided, and not measured again after tightening: left cleat." in made["changes"]
    again = sheet({"decided.moved_mm": {"left": 4}, "as_left.left.cleat_setback_mm": [16]})
    assert "Decided, and not" not in said(again)


def test_the_change_printed_is_now_minus_before_as_printed_and_what_was_typed_stands_beside_it(sheet):
    changes = {"as_found.left.cleat_setback_mm": [11, 11, 12], "decided.moved_mm": {"left": 5}}
    made = sheet({**changes, "as_left.left.cleat_setback_mm": [16]})
    # 11.33 is printed as 11.5, so the change is 4.5.
    assert made["rows"][0] == {
        "what": "Left cleat behind the joint",
        "before": "11.5 mm",
        "now": "16 mm",
        "changed": True,
    }
    assert "Your left cleat went 4.5 mm toward the heel (5 mm by the lines scribed on the sole)." in said(made)


@pytest.mark.parametrize(("left", "way"), [(12.5, "heel"), (11, "toes")])
def test_a_cleat_that_only_reads_otherwise_is_not_said_to_have_been_moved(sheet, left, way):
    made = sheet({"decided.moved_mm": {"left": 0}, "as_left.left.cleat_setback_mm": [left]})
    assert f"Your left cleat was not moved; measured again it reads {abs(left - 12):g} mm nearer the {way}." in said(
        made
    )
    assert made["odd"] == []


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    "field", ["washer_mm", "extender_mm", "spindle_to_cleat_centre_mm", "spindle_id", "extender_id"]
)
def test_a_pedal_touched_alone_brings_the_left_handed_thread_and_the_makers_limits(sheet, side, field):
    value = {"spindle_id": "A-spindle-6", "extender_id": "A-extender-25"}.get(
        field, 20 if field != "spindle_to_cleat_centre_mm" else 60
    )
    lines = " ".join(sheet({f"as_left.{side}.{field}": value})["bolts"])
    assert "The left pedal has a left-handed thread." in lines
    assert "maker's limits" in lines
    assert "Pedals: torque not recorded, see the maker's figure." in lines


def test_no_pedal_touched_says_nothing_of_its_thread(sheet):
    assert "left-handed" not in " ".join(sheet({"as_left.left.cleat_setback_mm": [16]})["bolts"])


def test_torque_is_printed_as_typed_and_never_made_up(sheet):
    typed = {"as_left.left.cleat_bolt_torque_nm": 5, "as_left.right.cleat_bolt_torque_nm": 5.5}
    assert sheet(typed)["bolts"] == ["Cleat bolts were tightened to: left 5 N m, right 5.5 N m."]
    assert sheet({"as_left.left.cleat_bolt_torque_nm": 5})["bolts"][0].endswith("left 5 N m, right not recorded.")
    assert "N m" not in json.dumps(sheet())


def test_both_cleats_and_pedals_are_checked_again_after_the_first_ride(sheet):
    assert "After that first ride have the bolts of both cleats, and both pedals, checked again." in sheet()["rides"]


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_toe_warning_is_by_the_cleat_as_it_leaves(sheet, side):
    gap = {f"bike.{side}.axle_to_tyre_mm": 104, f"bike.{side}.axle_to_toe_mm": 96}
    warning = (
        f"When you turn slowly with your {side} foot forward, your toe can touch the front wheel. "
        "Do not pedal in tight turns."
    )
    # 8 mm as found, give or take 4: 2 toward the heel leave 6, 8 leave nothing; advice nobody followed changes none.
    assert sheet(gap)["toes"] == []
    assert sheet({**gap, f"as_left.{side}.cleat_setback_mm": [14]})["toes"] == []
    assert sheet({**gap, f"as_left.{side}.cleat_setback_mm": [20]})["toes"] == [warning]
    ahead = {f"as_found.{side}.cleat_setback_mm": [4], f"bike.{side}.axle_to_toe_mm": 98}
    assert sheet({**gap, **ahead})["toes"] == []


def test_both_toes_are_warned_of_once(sheet):
    gap = {f"bike.{side}.axle_to_{what}_mm": 96 for side in ("left", "right") for what in ("tyre", "toe")}
    assert sheet(gap)["toes"][0].startswith("When you turn slowly with either foot forward, your toe can touch")


def test_not_safe_as_fitted_stands_boxed_in_place_of_the_first_rides(sheet):
    threads = {"bike.left.spindle_thread_mm": 12, "bike.crank_thread_depth_mm": 14}
    page = sheet_html(sheet({**threads, "as_left.left.washer_mm": 3}))
    assert "Do not ride until the left pedal has enough thread in the crank again." in page
    assert "Your first rides" not in page
    assert "Ride an easy hour" not in page
    assert "Your first rides" in sheet_html(sheet())


@pytest.mark.parametrize(
    ("sign", "instruction"),
    [
        (
            "chest_pain",
            "emergency care, this hour: call the local emergency number; do not ride or drive yourself",
        ),
        ("leg_weakness", "do not ride or drive yourself"),
        ("fever", "see a doctor, today"),
        ("knee_swollen", "see a doctor or licensed clinician, before anything is changed on shoe or bicycle"),
        ("growing_under_18", "together with a parent or guardian"),
    ],
)
def test_a_sign_sends_the_rider_on_with_its_urgency(sheet, sign, instruction):
    made = sheet({"signs": [{"sign": sign, "side": "left"}]})
    assert instruction in " ".join(made["stopped"])
    assert made["figure"] is None
    assert "toward the" not in json.dumps({**made, "rows": []})


@pytest.mark.parametrize(
    "begun",
    [
        {"trials": [{"position": {"moved_mm": {"left": 4}}}]},
        {"decided": {"moved_mm": {"left": 4}}},
        {"as_left": {"left": {"cleat_setback_mm": [16]}}},
    ],
)
def test_what_was_begun_before_a_sign_is_put_back(sheet, begun):
    signs = {"signs": [{"sign": "fever"}]}
    assert "put back as found" in said(sheet({**signs, **begun}))
    assert "put back as found" not in said(sheet(signs))


@pytest.mark.parametrize(("young", "may"), [({"rider.age_years": 15}, True), ({"signs": [{"sign": "fever"}]}, False)])
def test_under_18_the_advice_stops_and_riding_does_not(sheet, young, may):
    made = sheet(young)
    assert ("You may ride as you came." in said(made)) is may
    assert ("until then do not" in said(made)) is not may
    assert ("parent or guardian" in said(made)) is may


def test_when_to_stop_and_whom_to_call_stand_on_every_sheet(sheet):
    page = sheet_html(sheet())
    for words in (
        "new or sharper pain at a knee, hip, back or foot",
        "a foot that stays numb off the bike",
        "a cleat that will not let go, or that has moved",
        "chest pain, fainting, breathlessness out of proportion, a weak leg, a change in bladder or bowel control, "
        "a hot swollen calf",
    ):
        assert words in page


@pytest.mark.parametrize(
    ("decided", "left", "words"),
    [
        (737, 740, "Saddle height 3 mm down, to 737"),
        (743, 740, "Saddle height 3 mm up, to 743"),
    ],
)
def test_a_saddle_decided_and_not_done_is_still_to_do(sheet, decided, left, words):
    made = sheet({"decided.saddle_height_mm": [decided], "as_left.saddle_height_mm": [left]})
    assert f"Still to do: {words}." in made["remains"]


@pytest.mark.parametrize(("moved", "words"), [(4, "4 mm toward the heel"), (-3, "3 mm toward the toes")])
def test_a_cleat_moved_from_no_reading_is_said_by_its_scribed_lines(sheet, moved, words):
    made = sheet({"as_found.left.cleat_setback_mm": [], "as_left.moved_mm": {"left": moved}})
    assert f"Your left cleat went {words} by the lines scribed on the sole." in said(made)
    assert made["rows"][0]["now"] == words
    assert made["rows"][0]["before"] == "scribed line"
    assert "Nothing" not in said(made)


def test_a_toe_comes_nearer_by_what_was_moved_from_no_reading_too(sheet):
    gap = {"bike.left.axle_to_tyre_mm": 104, "bike.left.axle_to_toe_mm": 96, "as_found.left.cleat_setback_mm": []}
    assert sheet(gap)["toes"] == []
    assert "tight turns" in sheet({**gap, "as_left.moved_mm": {"left": 8}})["toes"][0]


def test_readings_against_what_was_typed_say_both_ways(sheet):
    made = sheet({"decided.moved_mm": {"left": -3}, "as_left.left.cleat_setback_mm": [15]})
    assert "went 3 mm toward the heel (3 mm toward the toes by the lines scribed on the sole)." in said(made)


def test_nothing_changed_is_not_said_of_what_was_never_measured(sheet):
    for field in ("left.cleat_setback_mm", "right.cleat_setback_mm", "saddle_height_mm"):
        made = sheet({"as_left": AS_LEFT, f"as_found.{field}": []}, start=copy.deepcopy(START))
        assert "Nothing was changed." not in said(made), field


def test_struck_readings_were_not_measured_again(sheet):
    struck = [{"field": "as_left.saddle_height_mm", "index": 0, "reason": "slipped"}]
    made = sheet({"as_left": AS_LEFT, "struck": struck})
    assert "Nothing was changed." not in said(made)


@pytest.mark.parametrize(
    ("field", "value", "shown"),
    [
        ("cleat_setback_mm", -2, "2 mm ahead"),
        ("cleat_toe_out_deg", -3, "3° inward"),
        ("shoe_outward_mm", -4, "4 mm inside"),
    ],
)
def test_a_number_below_nothing_is_said_in_words(sheet, field, value, shown):
    rows = sheet({f"as_left.left.{field}": [value]})["rows"]
    assert shown in [row["now"] for row in rows]


def test_a_part_decided_and_not_noted_as_fitted_is_said(sheet):
    made = sheet({"decided.left.washer_mm": 2})
    assert "Decided, and not noted again as fitted: left pedal washers." in made["changes"]
    assert "not noted" not in said(sheet({"as_left.left.washer_mm": 2}))


def test_parts_taken_off_are_said(sheet):
    made = sheet({"as_found.right.washer_mm": 2, "as_left.right.washer_mm": 0})
    assert "Right pedal washers: taken off (before: 2 mm)." in said(made)
    assert "left-handed thread" in " ".join(made["bolts"])


def test_a_torque_noted_as_found_is_not_that_of_today(sheet):
    assert sheet({"as_found.left.cleat_bolt_torque_nm": 5})["bolts"] == [
        "Cleat bolts: torque not recorded, see the maker's figure."
    ]


@pytest.fixture
def followed(example):
    """Return a function that makes the sheet of a full visit, and of one after it."""

    def make(changes, *, after=None):
        visits = []
        for day, given in (("2026-03-04", changes), ("2026-05-04", after)):
            if given is not None:
                document = {**copy.deepcopy(example), "visit_date": day, "seen": [], **given}
                visits.append(session.parse(json.dumps(document).encode()))
        last = visits[-1]
        previous = visits[0] if after is not None else None
        return rider_sheet(assess(Visit(session.key(last), last, house.load(), previous)))

    return make


ONLY_MOVED = {"trials": [], "as_left": {}}
SAME_AGAIN = {"trials": [], "decided": {}, "as_left": {}}


# The leg reaches further with the cleat further back, so the saddle comes down, and up with it further forward.
@pytest.mark.parametrize(("moved", "way"), [(5, "down"), (-5, "up")])
def test_the_saddle_that_a_moved_cleat_still_asks_for_is_to_do(followed, moved, way):
    made = followed({**ONLY_MOVED, "decided": {"moved_mm": {"left": moved, "right": moved}}})
    (owed,) = [line for line in made["remains"] if line.startswith("Still to do")]
    assert re.fullmatch(rf"Still to do: Saddle height [\d.]+ mm {way}, to 7[\d.]+\.", owed)


def test_the_saddle_owes_nothing_where_no_cleat_was_moved_or_it_was_measured_again(followed, example):
    moved = {"decided": {"moved_mm": {"left": 5, "right": 5}}}
    for given in (
        SAME_AGAIN,
        {**ONLY_MOVED, "decided": {"moved_mm": {"left": 0, "right": 0}}},
        {"trials": [], **moved, "as_left": {"saddle_height_mm": [738]}},
    ):
        assert "Still to do" not in " ".join(followed(given)["remains"])


def test_advice_that_nobody_followed_asks_nothing_of_the_saddle(followed):
    ahead = {"left": {"cleat_setback_mm": [4]}, "right": {"cleat_setback_mm": [13.5]}, "saddle_height_mm": [738]}
    made = followed({**SAME_AGAIN, "as_found": ahead, "decided": {"moved_mm": {"right": 3}}})
    # The right one was moved, the left one only advised: the sum of both is that of no bicycle.
    assert "Still to do" not in " ".join(made["remains"])


@pytest.mark.parametrize(
    ("name", "decided", "left", "words"),
    [
        ("saddle_height_mm", 735, 738, "Saddle height 3 mm down, to 735"),
        ("saddle_height_mm", 742, 738, "Saddle height 4 mm up, to 742"),
        ("saddle_setback_mm", 66, 71, "Saddle behind the crank centre 5 mm forward, to 66"),
        ("saddle_setback_mm", 75, 71, "Saddle behind the crank centre 4 mm back, to 75"),
        ("bar_height_mm", 655, 662, "Bar height 7 mm down, to 655"),
        ("bar_height_mm", 668, 662, "Bar height 6 mm up, to 668"),
        ("bar_reach_mm", 540, 545, "Reach to the bar 5 mm closer, to 540"),
        ("bar_reach_mm", 550, 545, "Reach to the bar 5 mm further away, to 550"),
    ],
)
def test_what_was_left_undone_last_time_is_carried_forward_until_it_is_done(
    followed, example, name, decided, left, words
):
    then = {"trials": [], "decided": {name: [decided]}, "as_left": {name: [left]}}
    undone = {**SAME_AGAIN, "as_found": {**example["as_found"], name: [left]}}
    done = {**SAME_AGAIN, "as_found": {**example["as_found"], name: [decided]}}
    assert f"Still to do from last time: {words}." in followed(then, after=undone)["remains"]
    assert "from last time" not in " ".join(followed(then, after=done)["remains"])


def test_a_cleat_put_back_owes_nothing_of_last_time(followed, example):
    then = {**ONLY_MOVED, "decided": {"moved_mm": {"left": 5, "right": 5}}, "complaints": []}
    stands = {**example["as_found"], "left": {**example["as_found"]["left"], "cleat_setback_mm": [16.3]}}
    after = {**SAME_AGAIN, "as_found": stands}
    assert "Still to do from last time: Saddle height" in " ".join(followed(then, after=after)["remains"])
    worse = {**after, "complaints": [{"region": "knee_front", "side": "left", "severity": 6}]}
    made = followed(then, after=worse)
    assert "from last time" not in " ".join(made["remains"])
    assert re.fullmatch(r"Left cleat 5 mm toward the toes, to 11\.5 mm\.", made["back"][0])


def test_the_drawing_says_what_the_words_say(sheet):
    made = sheet({"as_left.left.cleat_setback_mm": [16], "as_left.right.cleat_setback_mm": [9]})
    assert "Left shoe from below, toes up: 4 mm toward the heel." in made["figure"]
    assert "Right shoe from below, toes up: 3 mm toward the toes." in made["figure"]
    kept = sheet({"as_left": AS_LEFT})["figure"]
    assert "Left shoe from below, toes up: not moved." in kept
    assert "Right shoe from below, toes up: as it was found." in sheet()["figure"]


def test_the_clinics_own_telephone_stands_on_the_sheet_and_a_line_where_there_is_none(sheet):
    made = sheet()
    assert 'Our number: <span class="blank">' in sheet_html(made)
    assert "Our number: <b>0000 123</b>" in sheet_html({**made, "telephone": "0000 123"})


def test_left_and_right_alike_stand_in_one_line(sheet):
    both = {f"as_left.{side}.washer_mm": 2 for side in ("left", "right")}
    made = sheet(both)
    assert "Left and right pedal washers: 2 mm (before: none)." in said(made)
    assert [row["now"] for row in made["rows"] if row["what"] == "Left and right pedal washers"] == ["2 mm"]
    apart = sheet({**both, "as_left.right.washer_mm": 1})
    assert "Left pedal washers: 2 mm (before: none). Right pedal washers: 1 mm (before: none)." in said(apart)


def test_nothing_for_the_fitter_is_on_the_sheet(sheet):
    wish = {"left": {"half_stance_change_mm": 10}, "right": {"half_stance_change_mm": 10}}
    page = sheet_html(sheet({"wish": wish, "as_left": AS_LEFT}))
    text = re.sub(r"<style>.*?</style>|data:image[^\"]*|<[^>]*>", "", page, flags=re.DOTALL)
    for words in ("wish", "within the error", "our parts", "%", "95", "not assessed", "grade"):
        assert words not in text, words
