"""Sign-off: first what was not measured again, what is unusual, what is not safe; a second press signs."""

import pytest

from fitkit import forms, session
from fitkit.assessment import assess, load_visit
from fitkit.forms.draft import draft_of

AT = "2026-03-04T10:00:00"
STARTED = {
    "fitter_id": "f1",
    "shoes.left": {"size": 42, "size_system": "eu"},
    "shoes.right": {"size": 39, "size_system": "eu"},
    "as_found.left.cleat_setback_mm": [11, 12],
    "as_left.left.cleat_setback_mm": [15, 15],
}


@pytest.fixture
def path(tmp_path):
    made = session.new("rider-1", "2026-03-04", "road", tmp_path)
    save(made, STARTED)
    return made


def save(path, fields):
    session.update(path, {name: (None, value) for name, value in fields.items()}, fitter="f1", at=AT)


def shown(control):
    inner = "".join(shown(child) for child in getattr(control, "children", ()))
    return inner + str(getattr(control, "value", ""))


def press(control):
    control.children[-1].children[0].click()
    return shown(control)


def signed(path):
    return session.load(path).sign_off


def test_nothing_to_ask_about_is_signed_at_once_with_the_starts_in_force(path):
    press(forms.sign_off(path))
    starts = signed(path).starts_mm
    assert starts.left is not None
    assert starts.left == assess(load_visit(path))["left.cleat_setback.start"].value
    assert starts.right is None  # below EU 40 there is none
    assert signed(path).reason is None


def test_what_was_not_measured_again_comes_first_and_a_second_press_signs(path):
    save(path, {"as_found.right.cleat_setback_mm": [12], "as_found.saddle_height_mm": [720]})
    save(path, {"as_found.left.cleat_toe_out_deg": [4], "as_left.moved_mm.right": 2})
    control = forms.sign_off(path)
    said = press(control)
    assert "Not measured again as left: left cleat toe-out, right cleat setback, saddle height." in said
    assert signed(path) is None
    press(control)
    assert signed(path).fitter_id == "f1"


def test_what_is_unusual_and_an_open_sign_are_listed(path):
    save(path, {"rider.stature_mm": 1150, "signs.0": {"sign": "knee_swollen"}})
    said = press(forms.sign_off(path))
    assert "Open sign: a swollen knee. See a doctor or licensed clinician" in said
    assert "1150" in said
    assert signed(path) is None


def test_decided_and_left_more_than_2_mm_apart_is_said(path):
    save(path, {"decided.left.cleat_setback_mm": [18]})
    said = press(forms.sign_off(path))
    assert "is 15.0; expected 18.0, as decided, within 2 mm" in said
    assert signed(path) is None


def test_what_is_not_safe_needs_a_reason_which_is_kept(path):
    save(path, {"bike.left.heel_gap_heel_in_mm": 0})
    control = forms.sign_off(path)
    said = press(control)
    assert "Not safe as fitted: left: " in said
    assert "it may touch" in said
    assert "type why it is signed all the same" in press(control)
    assert signed(path) is None
    control.children[1].children[2].children[1].value = "the rider walks home"
    press(control)
    assert signed(path).reason == "the rider walks home"


def test_what_became_unsafe_between_two_presses_is_asked_again(path):
    save(path, {"as_found.right.cleat_setback_mm": [12]})
    control = forms.sign_off(path)
    press(control)
    save(path, {"bike.left.heel_gap_heel_in_mm": 0})  # in another window
    assert "it may touch" in press(control)
    assert signed(path) is None


@pytest.mark.parametrize("typed", ["7O.5", "7400"])
def test_sign_off_with_something_typed_and_refused_is_refused(path, typed):
    control = forms.sign_off(path)
    draft_of(path).enter("rider.mass_kg", typed)
    said = press(control)
    assert "1 of the things typed are not saved yet; settle them first." in said
    press(control)
    assert signed(path) is None
    draft_of(path).enter("rider.mass_kg", "70.5")
    press(control)
    assert signed(path) is not None


def test_sign_off_with_something_typed_and_not_saved_is_refused(path, monkeypatch):
    control = forms.sign_off(path)
    with monkeypatch.context() as patch:
        patch.setattr(session, "update", fail)
        draft_of(path).enter("rider.mass_kg", "70.5")
    press(control)
    assert signed(path) is None


def fail(*_, **__):
    raise OSError(28, "no space left on device")


def test_a_visit_that_cannot_be_worked_out_is_not_signed(path):
    save(path, {"bike.pedal_family": "unheard-of"})
    said = press(forms.sign_off(path))
    assert "Not signed." in said
    assert "unheard-of" in said
    good = path.read_bytes()
    path.write_text("{", encoding="utf-8")
    assert "Not signed." in press(forms.sign_off(path))
    path.write_bytes(good)
    assert signed(path) is None
