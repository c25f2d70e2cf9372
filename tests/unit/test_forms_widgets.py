"""Forms without a screen: made once however often a cell runs, and saying what happened."""

import pytest

from fitkit import forms, session
from fitkit.forms.controls import made_once
from fitkit.forms.draft import draft_of
from fitkit.forms.form import Form
from fitkit.forms.sections import paths_of
from fitkit.report import Record


@pytest.fixture
def path(tmp_path):
    return session.new("rider-1", "2026-03-04", "road", tmp_path / "2026")


def words(widget):
    """Return all that a form says."""
    inside = "".join(words(child) for child in getattr(widget, "children", ()))
    return inside + str(getattr(widget, "value", "")) + getattr(widget, "description", "")


def row_of(path, section, pattern):
    forms.form(path, section)
    made = made_once(Form, draft_of(path), section)
    for fold in made.folds:
        if pattern in fold.declared.fields and not fold.inside:
            fold._button.click()
    return next(row for row in made.shown_rows() if row.paths == paths_of(pattern))


def test_a_cell_run_twice_has_one_form_that_saves_once(path):
    first, second = forms.form(path, "body"), forms.form(path, "body")
    assert first is second
    row = row_of(path, "body", "rider.mass_kg")
    row.inputs[0].value = "74"
    assert [change.field for change in session.history(path)] == ["", "rider.mass_kg"]


def test_what_was_typed_stays_beside_its_message(path):
    row = row_of(path, "body", "rider.{side}.foot_length_mm")
    row.inputs[0].value = "26.7"
    assert row.inputs[0].value == "26.7"
    assert "Left: Not saved. " in words(row.box)
    assert "Take 267" in words(row.box)
    assert "Not saved yet:" in words(forms.head(path))


def test_a_view_follows_a_save(path):
    shown = forms.live(path, lambda file: str(session.load(file).rider.mass_kg))
    row_of(path, "body", "rider.mass_kg").inputs[0].value = "74"
    assert "74.0" in words(shown)


def test_a_view_that_cannot_be_drawn_says_so(path):
    def draw(_):
        raise ValueError("no such drawing")

    assert "Not drawn: no such drawing" in words(forms.live(path, draw))
    parts = {"as_found.left.spindle_id": (None, "no-such"), "as_found.right.spindle_id": (None, "no-such")}
    session.update(path, parts, fitter=None, at="2026-03-04T10:00:00")
    said = words(forms.live(path, Record, "positions"))
    assert "Not drawn: Spindle is &quot;no-such&quot;; expected a spindle" in said
    assert "And 1 more." in said
    assert "spindle_id" not in said  # no dotted path on a screen


def test_last_visit_is_offered_and_taken_only_when_ticked(path):
    earlier = session.new("rider-1", "2025-03-04", "road", path.parent.parent / "2025")
    left = {"as_left.left.cleat_setback_mm": (None, [15, 16]), "as_left.saddle_height_mm": (None, [736])}
    session.update(earlier, left, fitter=None, at="2025-03-04T10:00:00")
    offer = forms.last_time(path, "as_found")
    assert "As left on 2025-03-04" in words(offer)
    ticks = [child for child in offer.children if "15 16" in getattr(child, "description", "")]
    assert session.load(path).as_found.left.cleat_setback_mm == ()
    ticks[0].value = True
    offer.children[-1].children[0].click()
    loaded = session.load(path)
    assert loaded.as_found.left.cleat_setback_mm == (15, 16)
    assert loaded.as_found.saddle_height_mm == ()
    assert session.history(path)[-1].note == "confirmed, as on 2025-03-04"


def test_left_and_right_exchanged_against_the_last_visit_is_asked(path):
    earlier = session.new("rider-1", "2025-03-04", "road", path.parent.parent / "2025")
    feet = {"rider.left.foot_length_mm": (None, [280]), "rider.right.foot_length_mm": (None, [262])}
    session.update(earlier, feet, fitter=None, at="2025-03-04T10:00:00")
    row = row_of(path, "body", "rider.{side}.foot_length_mm")
    row.inputs[0].value, row.inputs[1].value = "262", "280"
    assert "Are left and right exchanged?" in words(row.box)


def test_sign_off_needs_a_fitter_and_then_asks_for_reasons(path):
    control = forms.sign_off(path)
    assert "needs the fitter" in words(control)
    row_of(path, "visit", "fitter_id").inputs[0].value = "f2"
    control.children[-1].children[0].click()
    assert "Signed off by f2" in words(control)
    row = row_of(path, "body", "rider.mass_kg")
    row.inputs[0].value = "74"
    assert "Give the reason" in words(row.box)
    assert "Reason for changing a signed visit" in words(forms.form(path, "body"))
    assert "Reason for changing a signed visit" not in words(forms.form(path, "shoes"))
    draft = draft_of(path)
    draft.reason = "read again"
    draft.save_all()
    assert "Body mass (kg). read again" in words(forms.sign_off(path))


def test_a_strike_is_taken_back_where_it_was_struck(path):
    row = row_of(path, "as_found_cleats", "as_found.{side}.cleat_setback_mm")
    row.inputs[0].value = "11 31"
    draft_of(path).strike("as_found.left.cleat_setback_mm", 1, "tape slipped")
    assert "31 (reading 2) is struck: tape slipped" in words(row.box)
    [again] = [one for one in row.box.children[-1].children if "Count reading 2 again" in one.description]
    again.click()
    assert session.load(path).struck == ()


def test_further_fields_are_folded_until_the_file_holds_one(path):
    def fold(section, gives):
        return next(each for each in made_once(Form, draft_of(path), section).folds if each.declared.gives == gives)

    assert "Thigh" not in words(forms.form(path, "body"))
    session.update(path, {"rider.left.thigh_mm": (None, [410])}, fitter=None, at="2026-03-04T10:00:00")
    forms.form(path, "body")
    assert "Thigh" in words(forms.form(path, "body"))
    button = fold("body", "for the saddle")._button
    button.click()
    assert "Thigh" not in words(forms.form(path, "body"))  # folded by hand, it stays folded
    assert "Kept since last" not in words(forms.form(path, "since_last"))


def test_a_day_for_the_next_visit_is_offered_until_one_is_typed(path):
    row = row_of(path, "follow_up", "follow_up_due")
    offered = row.box.children[-1].children[0]
    assert offered.description == "Take 2026-04-15"  # six weeks after 4 March
    offered.click()
    assert session.load(path).follow_up_due == "2026-04-15"
    assert "Take" not in words(row.box)


def test_a_trial_is_called_by_what_was_moved_and_measured_in_it(path):
    trial = {"position": {"moved_mm": {"left": 6}, "left": {"cleat_setback_mm": [17]}}, "unsteadiness": {"left": [2]}}
    session.update(path, {"trials.0": (None, trial)}, fitter=None, at="2026-03-04T10:00:00")
    forms.form(path, "trials")
    [panel] = made_once(Form, draft_of(path), "trials").panels
    assert panel._which.options[0][0] == "1: cleat moved left 6, cleat setback left 17, unsteadiness left 2"


def test_parts_of_the_table_are_offered_and_others_can_be_typed(path):
    row = row_of(path, "bike", "bike.pedal_family")
    assert row.inputs[0].options
    assert not row.inputs[0].ensure_option


def test_one_side_alone_is_said(path):
    row_of(path, "as_found_cleats", "as_found.{side}.cleat_setback_mm").inputs[0].value = "11"
    assert "One side alone: Cleat setback left." in words(forms.form(path, "as_found_cleats"))


def test_a_form_of_a_file_that_is_gone_says_so(path):
    path.unlink()
    forms.form(path, "body")
    assert "is gone" in words(forms.head(path))
    assert draft_of(path).session is None


def test_an_entry_goes_only_when_asked_for_twice(path):
    session.update(path, {"complaints.0": (None, {"region": "knee_front"})}, fitter=None, at="2026-03-04T10:00:00")
    forms.form(path, "complaints")
    panel = made_once(Form, draft_of(path), "complaints").panels[0]
    panel._go.click()
    assert "Press once more" in words(panel.box)
    assert len(session.load(path).complaints) == 1
    panel.refresh()  # something else was done meanwhile
    panel._go.click()
    assert len(session.load(path).complaints) == 1
    panel._go.click()
    assert session.load(path).complaints == ()
    assert "Taken out." in words(panel.box)
    assert panel._go not in panel._bar.children


def test_signing_asks_first_about_what_hardly_agrees(path):
    wrong = {"fitter_id": (None, "f1"), "follow_up_due": (None, "2025-04-13")}
    session.update(path, wrong, fitter="f1", at="2026-03-04T10:00:00")
    box = forms.sign_off(path)
    sign = box.children[1].children[0]
    sign.click()
    assert "Follow-up due is" in words(box)
    assert session.load(path).sign_off is None
    sign.click()
    assert session.load(path).sign_off.fitter_id == "f1"
    assert "Please look." in words(row_of(path, "follow_up", "follow_up_due").box)


def test_a_refusal_calls_fields_by_their_titles(path):
    session.update(path, {"shoes.left.greatest_cleat_setback_mm": (None, 6)}, fitter=None, at="2026-03-04T10:00:00")
    row = row_of(path, "as_found_cleats", "shoes.{side}.least_cleat_setback_mm")
    row.inputs[0].value = "19"
    assert "expected at most slots' rear end, 6" in words(row.box).replace("&#x27;", "'")
    assert "greatest_cleat" not in words(row.box)


def test_names_of_the_parts_table_stand_where_one_is_asked_for(path):
    family = row_of(path, "bike", "bike.pedal_family")
    assert "In the parts table as shipped: A, B, C" in words(family.box)
    spindle = row_of(path, "as_found_width", "as_found.{side}.spindle_id")
    assert "is the pedal family typed?" in words(spindle.box)
    family.inputs[0].value = "A"
    assert "A-spindle-0" in words(spindle.box)
