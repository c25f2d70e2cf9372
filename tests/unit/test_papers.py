"""The sheet for the room, the setting strips and the workshop slip, before they are printed."""

import copy
import json
import re

from fitkit import house, session
from fitkit.assessment import Visit, assess
from fitkit.report.papers import floor_order, room_sheet_html, setting_strip_html, strips, workshop_slip
from tests.conftest import DEMO_SESSIONS, ROOT

# Typed from a label or a maker's paper, or decided in the visit: nothing to be measured on the floor.
NOT_ON_THE_FLOOR = (
    "bike.float_deg",
    "ride.*.foot_pitch_amplitude_deg",
    "ride.*.foot_pitch_phase_deg",
    "as_found.*.spindle_to_cleat_centre_mm",
    "as_found.*.adapter_stack_mm",
    "as_found.moved_mm.*",
    *(f"as_found.*.{name}" for name in ("bolt_length_mm", "cleat_bolt_torque_nm", "pedal_torque_nm")),
    *(f"as_found.*.{name}_gap_mm" for name in ("ankle", "forefoot")),  # stand on the bicycle's side of the sheet
    *(f"as_found.*.heel_gap_heel_{end}_mm" for end in ("in", "out")),
)


def patterns():
    for info in session.fields():
        root = info.dotted.split(".")[0]
        if info.unit and root in ("rider", "shoes", "bike", "ride", "as_found") and ".*" not in info.dotted:
            yield ".".join("*" if step in ("left", "right") else step for step in info.dotted.split("."))


def test_the_sheet_for_the_room_holds_what_is_measured_on_the_floor_once():
    on_sheet = [path.replace("{side}", "*") for path in floor_order() if not path.endswith("size_system")]
    assert len(on_sheet) == len(set(on_sheet))
    assert set(on_sheet) | set(NOT_ON_THE_FLOOR) == set(patterns())


def test_the_sheet_for_the_room_asks_for_no_name_and_no_network():
    page = room_sheet_html()
    assert "No names" in page
    assert "http" not in page.replace("http-equiv", "")
    assert "Client’s id" in page


def test_a_strip_has_the_line_to_set_and_the_old_line(assessed):
    left, right = strips(assessed())
    # By hand from the example: found 11, 11, 12 and moved 5 between the scribed lines, in half millimetres as the other
    # papers print them; right decided not to move.
    assert (left.old_mm, left.set_to_mm) == (11.5, 16.5)
    assert right.old_mm == 13.5
    assert right.set_to_mm is None


def test_a_sign_leaves_no_line_to_set(assessed):
    found = assessed({"signs": [{"sign": "knee_swollen"}]})
    assert [strip.set_to_mm for strip in strips(found)] == [None, None]
    page = setting_strip_html(found)
    assert 'class="set"' not in page
    assert "see a clinician first" in page


def test_nothing_measured_gives_an_empty_ruler(assessed, example):
    bare = {name: example[name] for name in ("format", "version", "client_id", "visit_date", "setup")}
    page = setting_strip_html(assessed(start_from=bare))
    assert 'class="old"' not in page
    assert "100 mm" in page


# --- The workshop slip: what a mechanic would do wrong without it ----------------------------------------------------

NOTHING_LEFT = {"as_left": {}, "trials": []}


def rows_of(slip):
    """Return what is to be done by what it is done to."""
    return {row["what"]: row for _, _, rows in slip["groups"] for row in rows}


def test_the_slip_says_how_far_which_way_and_from_where_to_where(assessed):
    rows = rows_of(workshop_slip(assessed(NOTHING_LEFT)))
    # Found 11, 11, 12; decided 5 between the scribed lines.
    assert rows["Left cleat"]["words"] == "5 mm toward the heel: from 11.5 to 16.5 mm behind the mark"
    assert rows["Left cleat"]["open"]
    assert rows["Right cleat"]["words"] == "decided: not moved, at 13.5 mm behind the mark"
    assert not rows["Right cleat"]["open"]
    assert rows["Bar height"]["words"] == "leave as found: 662 mm"


def test_a_cleat_ahead_of_the_mark_and_one_that_crosses_it_are_told_apart(assessed):
    crossing = {"as_found.left.cleat_setback_mm": [-3], "decided.moved_mm": {"left": 5}}
    words = rows_of(workshop_slip(assessed(NOTHING_LEFT | crossing)))["Left cleat"]["words"]
    assert words == "5 mm toward the heel: from 3 mm ahead of the mark to 2 mm behind the mark"


def test_a_saddle_owed_for_a_moved_cleat_is_never_to_be_left_as_found_besides():
    document = json.loads((DEMO_SESSIONS / "rider-101_2026-03-02_road.json").read_text(encoding="utf-8"))
    kept = {"position": {"moved_mm": {"left": 4, "right": 0}}, "kept": True}
    kept["unsteadiness"] = {"left": [1], "right": [1]}
    loaded = session.parse(json.dumps(document | {"decided": {}, "as_left": {}, "trials": [kept]}).encode())
    slip = workshop_slip(assess(Visit(session.key(loaded), loaded, house.load())))
    assert any("Saddle height 1 mm down" in line for line in slip["to_do"])
    assert not any(what.startswith("Saddle height") for what in rows_of(slip))
    assert any(what.startswith("Bar height") for what in rows_of(slip))


def test_what_is_noted_as_left_is_not_asked_for_again(assessed):
    rows = rows_of(workshop_slip(assessed()))
    assert rows["Left cleat"]["state"] == "noted as done"
    assert not rows["Left cleat"]["open"]
    assert "2 mm down: from 738 to 736 mm" in rows["Saddle height, crank centre to saddle top"]["words"]


def test_advice_that_nobody_decided_on_is_no_order(assessed):
    found = assessed(NOTHING_LEFT | {"decided": {}, "as_found.left.cleat_setback_mm": [6, 6, 6]})
    advice, row = found.advice["left"], rows_of(workshop_slip(found))["Left cleat"]
    # The heel drops: one step, which is 5 mm toward the heel (house rule).
    assert advice.next_mm == 11
    assert row["words"] == "5 mm toward the heel: from 6 to 11 mm behind the mark"
    assert row["state"] == "advised, not decided: ask first"
    assert not row["open"]


def test_parts_stand_by_name_with_their_thread_and_no_torque_is_made_up(assessed):
    parts = {"decided.left": {"spindle_id": "A-spindle-6", "washer_mm": 1, "shim_mm": 2, "cleat_bolt_torque_nm": 5}}
    slip = workshop_slip(assessed(NOTHING_LEFT | parts))
    rows = rows_of(slip)
    assert rows["Left pedal spindle"]["words"].startswith("A-spindle-6 (before")
    assert rows["Left pedal spindle"]["more"] == "spindle of family A, adds 6 mm"
    assert rows["Left pedal washers"]["words"] == "1 mm (before: none)"
    threads = {title: thread for title, thread, _ in slip["groups"]}
    # Common practice, no source: only the left pedal has a left-hand thread, so that riding does not undo it.
    assert threads["Left"] == "left pedal: left-hand thread, tighten anticlockwise, seen from outside"
    assert threads["Right"] == "right pedal: right-hand thread, tighten clockwise, seen from outside"
    assert "Cleat bolts, torque: left 5 N m; right by the maker's figure, not noted here." in slip["torques"]
    assert "Pedals, torque: by the maker's figure, not noted here." in slip["torques"]


def test_what_is_not_safe_stands_first_and_what_to_check_has_its_least(assessed):
    thin = {"as_left.left.washer_mm": 6, "bike.left.heel_gap_heel_in_mm": 0}
    slip = workshop_slip(assessed(thin))
    assert any(line.startswith("Left: 6.3 turns") for line in slip["unsafe"])  # (14 - 6) / 1.27 mm a turn
    checks = {what: (left, right) for what, left, right in slip["checks"]}
    assert checks["Pedal thread engaged"][0].startswith("6.3 turns")
    assert checks["Pedal thread engaged"][0].endswith("at least 8 wanted")
    assert checks["Heel to crank, heel in"][1] == "not measured"


def test_what_made_it_worse_is_put_back_and_nothing_says_leave_it(example):
    then = copy.deepcopy(example) | {"visit_date": "2026-02-01", "trials": [], "decided": {}, "complaints": []}
    then["as_left"] = {"left": {"washer_mm": 2}, "saddle_height_mm": [750]}
    now = copy.deepcopy(example) | {"trials": [], "decided": {}, "as_left": {}}
    now["complaints"] = [{"region": "knee_front", "side": "left", "severity": 6, "since": "2026-02"}]
    now["as_found"]["saddle_height_mm"] = [750]
    now, then = (session.parse(json.dumps(document).encode()) for document in (now, then))
    slip = workshop_slip(assess(Visit(session.key(now), now, house.load(), then)))
    lines = [row["words"] for _, _, rows in slip["groups"] for row in rows]
    assert "Saddle height, crank centre to saddle top: back to 738 mm." in lines
    assert not any("750" in line for line in lines)


def test_a_sign_stops_the_work_and_puts_back_what_was_tried(assessed):
    slip = workshop_slip(assessed({"signs": [{"sign": "hot_swollen_calf"}]}))
    assert "Nothing is to be changed on cleats, saddle or width before" in " ".join(slip["stopped"])
    assert [title for title, _, _ in slip["groups"]] == ["Put back"]
    assert rows_of(slip)["Left cleat"]["words"] == "back to 11.5 mm behind the mark (now 16 mm behind the mark)"
    untouched = NOTHING_LEFT | {"decided": {}, "signs": [{"sign": "hot_swollen_calf"}]}
    assert workshop_slip(assessed(untouched))["groups"] == []


def test_papers_pages_and_notebooks_share_one_scale_of_type_and_one_family():
    scale = {"8.5pt", "9pt", "9.5pt", "10.5pt", "11pt", "12.5pt", "14pt", "19pt"}
    styles = [
        *(ROOT / "templates").rglob("*.css"),
        *(ROOT / "templates").rglob("*.j2"),
        *(ROOT / "templates").rglob("*.js"),
    ]
    assert len(styles) > 8
    for path in styles:
        text = path.read_text(encoding="utf-8")
        sizes = set(re.findall(r"font(?:-size)?: ?([0-9.]+[a-z]+)", text))
        assert sizes - {"5.5px"} <= scale, path  # a name drawn in millimetres
        families = re.findall(r"font: ?[^;}]*?/[0-9.]+ ([^;}]+)", text)
        assert {family.split(",")[0].strip().strip('"') for family in families} <= {"Times New Roman"}, path
