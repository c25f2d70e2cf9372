"""The blank measuring sheet and the setting strips, before they are printed."""

import pytest

from fitkit import session
from fitkit.report.pages import blank_sheet_html, floor_order, setting_strip_html, strips

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


def test_the_blank_sheet_holds_what_is_measured_on_the_floor_once():
    on_sheet = [path.replace("{side}", "*") for _, paths in floor_order() for path in paths]
    assert len(on_sheet) == len(set(on_sheet))
    assert set(on_sheet) | set(NOT_ON_THE_FLOOR) == set(patterns())


def test_the_blank_sheet_asks_for_no_name_and_no_network():
    page = blank_sheet_html()
    assert "No names" in page
    assert "http" not in page.replace("http-equiv", "")
    assert "Client’s id" in page


def test_a_strip_has_the_line_to_set_and_the_old_line(assessed):
    left, right = strips(assessed())
    # By hand from the example: found 11, 11, 12 and moved 5 between the scribed lines; right decided not to move.
    assert left.old_mm == pytest.approx(34 / 3)
    assert left.set_to_mm == pytest.approx(34 / 3 + 5)
    assert right.old_mm == pytest.approx(40 / 3)
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
