"""Saving from a form: at once, one field at a time; what cannot be saved stays, with the reason in words."""

import errno
import json
from datetime import UTC, datetime

import pytest

from fitkit import session
from fitkit.forms.draft import Draft

NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
SETBACK = "as_found.left.cleat_setback_mm"


@pytest.fixture
def path(tmp_path):
    return session.new("rider-1", "2026-03-04", "road", tmp_path)


@pytest.fixture
def draft(path):
    return Draft(path, clock=lambda: NOON)


def saved(path, dotted):
    tree = json.loads(path.read_text(encoding="utf-8"))
    for step in dotted.split("."):
        tree = tree[int(step)] if step.isdigit() else tree.get(step, {})
    return tree or None


def test_what_is_typed_is_saved_at_once(draft, path):
    draft.enter(SETBACK, "11; 11,5")
    assert saved(path, SETBACK) == [11, 11.5]
    assert draft.saved_at == "12:00"
    assert draft.text(SETBACK) == "11 11.5"
    assert not draft.unsaved


def test_what_cannot_be_read_is_kept_as_typed(draft, path):
    draft.enter(SETBACK, "1O.5")
    assert saved(path, SETBACK) is None
    assert draft.text(SETBACK) == "1O.5"
    assert "10.5" in draft.unsaved[SETBACK].why
    draft.enter(SETBACK, "10.5")
    assert saved(path, SETBACK) == [10.5]


def test_a_reading_is_corrected_but_not_dropped(draft, path):
    draft.enter(SETBACK, "11 12")
    draft.enter(SETBACK, "11 13")
    assert saved(path, SETBACK) == [11, 13]
    draft.enter(SETBACK, "11")
    assert saved(path, SETBACK) == [11, 13]
    assert "Strike a reading out with a reason" in draft.unsaved[SETBACK].why
    assert draft.text(SETBACK) == "11"


def test_a_reading_is_struck_with_a_reason(draft, path):
    draft.enter(SETBACK, "11 31")
    assert "Say why" in draft.strike(SETBACK, 1, " ")
    assert draft.strike(SETBACK, 1, "tape slipped") == ""
    assert saved(path, "struck.0") == {"field": SETBACK, "index": 1, "reason": "tape slipped"}
    assert session.kept(session.load(path), SETBACK) == (11,)


def test_two_drafts_on_one_field_show_both_values_and_let_the_person_choose(path):
    here, there = Draft(path), Draft(path)
    there.enter("rider.stature_mm", "1755")
    here.enter("rider.stature_mm", "1760")
    unsaved = here.unsaved["rider.stature_mm"]
    assert unsaved.is_conflict
    assert "there 1755, here 1760" in unsaved.why
    assert saved(path, "rider.stature_mm") == 1755
    here.settle("rider.stature_mm", mine=True)
    assert saved(path, "rider.stature_mm") == 1760
    there.enter("rider.stature_mm", "1758")
    there.settle("rider.stature_mm", mine=False)
    assert there.text("rider.stature_mm") == "1760"


def test_two_drafts_on_different_fields_both_save(path):
    here, there = Draft(path), Draft(path)
    there.enter("rider.stature_mm", "1755")
    here.enter("rider.mass_kg", "74")
    assert (saved(path, "rider.stature_mm"), saved(path, "rider.mass_kg")) == (1755, 74)


def test_an_entry_waits_for_what_it_cannot_be_without(draft, path):
    draft.enter("complaints.0.severity", "3")
    assert "needs region too" in draft.unsaved["complaints.0.severity"].why
    draft.choose("complaints.0.region", "knee_front")
    assert saved(path, "complaints") == [{"region": "knee_front", "severity": 3}]
    assert not draft.unsaved


def test_an_entry_added_in_two_notebooks_becomes_two(path):
    here, there = Draft(path), Draft(path)
    there.choose("complaints.0.region", "hip")
    here.choose("complaints.0.region", "knee_front")
    assert saved(path, "complaints") == [{"region": "hip"}, {"region": "knee_front"}]


def test_a_cleared_sign_needs_role_finding_and_date(draft, path):
    draft.choose("signs.0.sign", "knee_swollen")
    draft.enter("signs.0.cleared.role", "physiotherapist")
    draft.enter("signs.0.cleared.finding", "no effusion")
    assert saved(path, "signs.0") == {"sign": "knee_swollen"}
    draft.enter("signs.0.cleared.date", "2026-03-03")
    assert saved(path, "signs.0.cleared.date") == "2026-03-03"
    assert not draft.unsaved


def test_trials_grow_field_by_field_with_lists_inside(draft, path):
    draft.enter("trials.0.position.left.cleat_setback_mm", "17")
    draft.choose("trials.0.seen.0.what", "unsteady")
    draft.enter("trials.0.unsteadiness.left", "5 6")
    assert saved(path, "trials") == [
        {
            "position": {"left": {"cleat_setback_mm": [17]}},
            "unsteadiness": {"left": [5, 6]},
            "seen": [{"what": "unsteady"}],
        }
    ]


def test_after_sign_off_the_reason_is_asked_and_an_amendment_written(draft, path):
    draft.enter("rider.mass_kg", "74")
    assert draft.sign_off("f2", reason=None, starts_mm={}) == ""
    draft.enter("rider.mass_kg", "75")
    assert "Give the reason" in draft.unsaved["rider.mass_kg"].why
    draft.reason = "read the scales again"
    draft.enter("fitter_id", "f2")
    draft.save_all()
    assert saved(path, "rider.mass_kg") == 75
    # One Save is one amendment, which names all it changed; its reason does not serve for the next.
    [amendment] = saved(path, "sign_off.amendments")
    assert amendment["reason"] == "read the scales again"
    assert amendment["fields"] == ["rider.mass_kg", "fitter_id"]
    assert draft.reason == ""
    draft.enter("rider.mass_kg", "76")
    draft.save_all()
    assert saved(path, "rider.mass_kg") == 75
    assert "Give the reason" in draft.unsaved["rider.mass_kg"].why


def test_a_removed_session_is_said_and_nothing_typed_is_lost(draft, path):
    data = path.read_bytes()
    path.unlink()
    draft.enter("rider.mass_kg", "74")
    assert "is gone" in draft.unsaved["rider.mass_kg"].why
    assert draft.text("rider.mass_kg") == "74"
    path.write_bytes(data)
    draft.save_all()
    assert saved(path, "rider.mass_kg") == 74


def test_a_session_of_a_newer_version_is_said(draft, path):
    path.write_text(path.read_text(encoding="utf-8").replace('"version": 1', '"version": 2'), encoding="utf-8")
    draft.enter("rider.mass_kg", "74")
    assert "version 2; this kit reads 1" in draft.unsaved["rider.mass_kg"].why


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "the folder is read-only")]
)
def test_a_full_or_closed_disk_is_said_and_the_next_save_brings_all(draft, path, monkeypatch, number, words):
    def fail(*_, **__):
        raise OSError(number, "no")

    with monkeypatch.context() as patch:
        patch.setattr(session, "update", fail)
        draft.enter("rider.mass_kg", "74")
    assert f"Not saved: {words}. What you typed stays here" in draft.unsaved["rider.mass_kg"].why
    draft.enter("rider.stature_mm", "1755")
    assert (saved(path, "rider.mass_kg"), saved(path, "rider.stature_mm")) == (74, 1755)


def test_an_entry_is_taken_out(draft, path):
    draft.choose("complaints.0.region", "hip")
    draft.choose("complaints.1.region", "hand")
    assert draft.take_out("complaints", 0) == ""
    assert saved(path, "complaints") == [{"region": "hand"}]


def test_pounds_are_offered_as_kilograms(draft, path):
    draft.enter("rider.mass_kg", "150 lb")
    assert saved(path, "rider.mass_kg") is None
    offer = draft.unsaved["rider.mass_kg"].entry.offer
    assert f"Did you mean {offer}?" in draft.unsaved["rider.mass_kg"].why
    assert float(offer) == pytest.approx(68.04, abs=0.01)  # 1 lb = 0.45359237 kg, agreement of 1959
    draft.enter("rider.mass_kg", offer)
    assert round(saved(path, "rider.mass_kg")) == 68


def test_sign_off_is_refused_while_something_is_not_saved(draft, path):
    draft.enter("rider.mass_kg", "7O")
    assert "not saved yet" in draft.sign_off("f2", reason=None, starts_mm={})
    assert session.load(path).sign_off is None
