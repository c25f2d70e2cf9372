"""Saving a session: field by field, nothing lost, nothing half done, every change in the history, private."""

import json
import os
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fitkit import files, session

EXAMPLE = Path(__file__).parent / "data" / "rider-042_2026-03-04_road.json"
AT = "2026-03-04T15:10:00+00:00"
SETBACK = "as_found.left.cleat_setback_mm"


@pytest.fixture
def path(tmp_path):
    """Return a session file as a colleague copied it: the example, without a history."""
    copied = tmp_path / EXAMPLE.name
    copied.write_bytes(EXAMPLE.read_bytes())
    copied.chmod(0o600)
    return copied


@pytest.fixture
def fresh(tmp_path):
    """Return a new session file."""
    return session.new("rider-7", "2026-05-01", "road", tmp_path)


def save(path, changes, **options):
    return session.update(path, changes, **({"fitter": "f2", "at": AT} | options))


def tree_of(path):
    return json.loads(path.read_bytes())


def mode_of(path):
    return stat.S_IMODE(path.stat().st_mode)


def replayed(path):
    return session.replay(session.history(path))


def refuse(path, match, act, *arguments, **options):
    """Check that the act is refused with the message and leaves file and history as they are."""
    beside = [path, *path.parent.glob("*.history.jsonl")]
    before = [each.read_bytes() for each in beside]
    with pytest.raises(session.SessionProblems, match=match) as caught:
        act(path, *arguments, **({"fitter": "f2", "at": AT} | options))
    assert caught.value.path == path
    assert [each.read_bytes() for each in beside] == before


def test_a_new_session_holds_its_names_and_is_private(tmp_path):
    old_mask = os.umask(0o002)
    try:
        path = session.new("rider-7", "2026-05-01", "road", tmp_path / "2026" / "may")
    finally:
        os.umask(old_mask)
    assert path == tmp_path / "2026" / "may" / "rider-7_2026-05-01_road.json"
    assert session.key(session.load(path)) == path.stem
    assert {each.name: mode_of(each) for each in path.parent.iterdir()} == {
        "rider-7_2026-05-01_road.json": 0o600,
        "rider-7_2026-05-01_road.history.jsonl": 0o600,
        ".rider-7_2026-05-01_road.lock": 0o600,
    }
    assert mode_of(path.parent) == mode_of(path.parent.parent) == 0o700
    first = session.history(path)[0]
    assert (first.field, first.old, first.new, first.note) == ("", None, tree_of(path), "new")
    assert datetime.fromisoformat(first.at).tzinfo is not None


def test_a_new_session_for_the_group_stays_so_through_saves(tmp_path):
    old_mask = os.umask(0o077)
    try:
        path = session.new("rider-7", "2026-05-01", "road", tmp_path / "clinic", access="group")
        save(path, {"rider.stature_mm": (None, 1755)})
    finally:
        os.umask(old_mask)
    assert {mode_of(each) for each in path.parent.iterdir()} == {0o660}
    assert mode_of(path.parent) == 0o770


def test_a_save_keeps_rights_but_never_those_of_others(path):
    path.chmod(0o644)
    save(path, {"bike.float_deg": (6, 7)})
    assert {mode_of(each) for each in path.parent.iterdir() if each.suffix != ".lock"} == {0o640}


def test_new_is_never_over_an_existing_file(fresh):
    before = fresh.read_bytes()
    with pytest.raises(FileExistsError, match=r"rider-7_2026-05-01_road\.json"):
        session.new("rider-7", "2026-05-01", "road", fresh.parent)
    assert fresh.read_bytes() == before
    assert len(session.history(fresh)) == 1


@pytest.mark.parametrize(
    ("client_id", "visit_date", "setup", "match"),
    [
        ("../rider", "2026-05-01", "road", r'client_id is "\.\./rider"'),
        ("", "2026-05-01", "road", 'client_id is ""'),
        ("rider-7", "2026-02-29", "road", 'visit_date is "2026-02-29"'),
        ("rider-7", "2026-05-01", "Road", 'setup is "Road"'),
    ],
)
def test_new_refuses_wrong_names(tmp_path, client_id, visit_date, setup, match):
    with pytest.raises(session.SessionProblems, match=match):
        session.new(client_id, visit_date, setup, tmp_path / "not made")
    assert list(tmp_path.iterdir()) == []


def test_new_refuses_an_unknown_access(tmp_path):
    with pytest.raises(ValueError, match='access is "world"; expected one of owner, group'):
        session.new("rider-7", "2026-05-01", "road", tmp_path, access="world")


def test_fields_lists_items_and_groups_are_saved(fresh):
    complaint = {"region": "knee_front", "side": "left"}
    saved = save(
        fresh,
        {
            "rider.stature_mm": (None, 1755),
            "rider.left.foot_length_mm": ((), (267, 266.5)),
            "rider.left.foot_length_mm.2": (None, 267),
            "complaints.0": (None, complaint),
            "complaints.0.severity": (None, 3),
            "trials.0.note": (None, "calmer"),
            "taken.rider.left.foot_length_mm": (None, "mark_found_anew"),
            "signs": ([], [{"sign": "fever", "cleared": None}]),
            "decided": (None, {"moved_mm": {"left": 5, "right": None}}),
        },
    )
    assert saved.refused == {}
    assert saved.session == session.load(fresh)
    assert saved.session.rider.left.foot_length_mm == (267, 266.5, 267)
    assert saved.session.complaints[0].severity == 3
    assert saved.session.trials[0].note == "calmer"
    assert saved.session.decided.moved_mm.left == 5
    assert saved.session.taken == {"rider.left.foot_length_mm": "mark_found_anew"}
    assert replayed(fresh) == tree_of(fresh)
    assert [change.field for change in session.history(fresh)][1:3] == ["rider.stature_mm", "rider.left.foot_length_mm"]
    assert {change.fitter for change in session.history(fresh)[1:]} == {"f2"}
    assert {change.at for change in session.history(fresh)[1:]} == {AT}


def test_values_of_a_session_can_be_handed_back(path):
    visit = session.load(path)
    saved = save(path, {"trials": (visit.trials, (*visit.trials, {"note": "second"})), "wish": (visit.wish, None)})
    assert saved.refused == {}
    assert [trial.note for trial in saved.session.trials] == ["calmer at the bottom", "second"]


def test_a_field_changed_meanwhile_is_refused_and_the_others_saved(path):
    save(path, {"bike.float_deg": (6, 9)}, fitter="f3")
    saved = save(path, {"bike.float_deg": (6, 7), "bike.crank_length_mm": (172.5, 170)})
    assert saved.refused == {"bike.float_deg": (6, 9, 7)}
    assert saved.session.bike.float_deg == 9
    assert saved.session.bike.crank_length_mm == 170
    again = save(path, {"trials.1": (None, {"note": "mine"})})
    assert again.refused == {}
    refused = save(path, {"trials.1": (None, {"note": "other"})}).refused
    assert refused == {"trials.1": (None, {"note": "mine"}, {"note": "other"})}
    assert replayed(path) == tree_of(path)


def test_what_says_the_same_is_no_conflict_and_no_change(path):
    save(path, {"bike.float_deg": (6, 7)})
    before, lines = path.read_bytes(), len(session.history(path))
    for seen, mine in [(6, 7), (6.0, 7.0), (7, 7)]:
        assert save(path, {"bike.float_deg": (seen, mine)}).refused == {}
    for nothing in (None, (), []):
        assert save(path, {"rider.foot_hang_mm": (nothing, nothing), "since_last": (None, {})}).refused == {}
    assert save(path, {"wish.same_both_sides": (None, True)}).refused == {}
    assert (path.read_bytes(), len(session.history(path))) == (before, lines)
    for seen, mine in [(None, False), (False, True), (True, False)]:
        assert save(path, {"wish.same_both_sides": (seen, mine)}).refused == {}
    assert session.load(path).wish.same_both_sides is False


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"rider.stature_mm": (1755, 175.5)}, r"rider\.stature_mm is 175\.5; .*Entered in cm"),
        ({"rider.stature_mm": (1755, float("nan"))}, r"rider\.stature_mm is not a finite number \(NaN\)"),
        ({"rider.stature_mm": (1755, "1760")}, r'rider\.stature_mm is "1760"'),
        ({"rider.left.shank_mm": ([431], 432)}, r"rider\.left\.shank_mm is 432; expected a list"),
        ({"rider.nickname": (None, "Al")}, r'rider\.nickname is an unknown field \("Al"\)'),
        ({"rider.stature_mm.0": (None, 1)}, r"rider\.stature_mm\.0 is no place to save to"),
        ({"trials.5.note": (None, "x")}, r"trials\.5\.note is no place to save to .*place 5 in a list of 1"),
        ({"trials.-1.note": (None, "x")}, r"trials\.-1\.note is no place to save to"),
        (
            {"complaints.0": ({"region": "knee_front", "side": "left", "severity": 3, "since": "2025-11"}, None)},
            "is null",
        ),
        ({"": (None, 1)}, 'field is ""; expected a dotted path'),
        ({"client_id": ("rider-042", "rider-43")}, "client_id is to be changed; expected as the file is named"),
        ({"version": (1, 2)}, "version is to be changed"),
        ({"sign_off": (None, {"fitter_id": "f2", "at": AT})}, "sign_off is to be changed; expected signing off"),
        ({"sign_off.amendments.0": (None, {})}, r"sign_off\.amendments\.0 is to be changed"),
        ({SETBACK: ([11, 11, 12], [11, 11])}, r"cleat_setback_mm is a list of 2; expected at least the 3 readings"),
        ({"as_found": (None, None), SETBACK: ([11, 11, 12], None)}, r"cleat_setback_mm is a list of 0"),
        (
            {"trials.0.note": ("calmer at the bottom", "x" * 1_000_001)},
            r"file is 10\d+ bytes; expected at most 1000000",
        ),
    ],
)
def test_a_wrong_save_saves_nothing(path, changes, match):
    save(path, {"bike.float_deg": (6, 7)})
    refuse(path, match, session.update, {"bike.crank_length_mm": (172.5, 165), **changes})


def test_dropping_a_trial_drops_its_readings_and_is_refused(path):
    visit = session.load(path)
    refuse(
        path,
        r"trials\.0\.position\.left\.cleat_setback_mm is a list of 0",
        session.update,
        {"trials": (visit.trials, [])},
    )


def test_who_and_when_must_be_right(path):
    wanted = {"bike.float_deg": (6, 7)}
    refuse(path, 'fitter is "F 2"; expected 1 to 40', session.update, wanted, fitter="F 2")
    refuse(path, 'at is "now"; expected a real date and time', session.update, wanted, at="now")
    saved = save(path, wanted, fitter=None, at=datetime(2026, 3, 4, 15, 10, tzinfo=UTC))
    assert saved.session.bike.float_deg == 7
    assert (session.history(path)[-1].fitter, session.history(path)[-1].at) == (None, AT)


def test_a_reading_is_struck_with_its_reason_and_stays(path):
    saved = session.strike(path, SETBACK, 2, "tape slipped", fitter="f2", at=AT)
    assert saved.session.as_found.left.cleat_setback_mm == (11, 11, 12)
    assert session.kept(saved.session, SETBACK) == (11, 11)
    last = session.history(path)[-1]
    assert (last.field, last.note) == ("struck.0", "tape slipped")
    assert last.new == {"field": SETBACK, "index": 2, "reason": "tape slipped"}
    assert replayed(path) == tree_of(path)
    refuse(path, "reading 2 of .* again", session.strike, SETBACK, 2, "again")
    refuse(path, r"struck\.1\.index is 3; expected 0 to 2", session.strike, SETBACK, 3, "slipped")
    refuse(path, r'struck\.1\.field is "rider\.stature_mm"', session.strike, "rider.stature_mm", 0, "slipped")
    refuse(path, r'struck\.1\.reason is " "', session.strike, SETBACK, 0, " ")


def test_after_sign_off_a_change_needs_a_reason_and_is_an_amendment(path):
    session.sign_off(path, fitter="f2", at=AT)
    later = "2026-03-05T09:00:00+00:00"
    refuse(path, r"reason is missing; .* signed off by f2", session.update, {"bike.float_deg": (6, 7)})
    refuse(path, "reason is missing", session.update, {"bike.float_deg": (6, 7)}, reason=" ")
    refuse(
        path, "amendments.0.fitter_id is missing", session.update, {"bike.float_deg": (6, 7)}, reason="a", fitter=None
    )
    refuse(path, f"sign_off is there already, by f2 at {AT[:10]}", session.sign_off)
    changes = {"bike.float_deg": (6, 7), "bike.crank_length_mm": (172.5, 170)}
    save(path, changes, fitter="f3", at=later, reason="read from the pedal again")
    session.strike(path, SETBACK, 0, "tape slipped", fitter="f2", at=later)
    assert save(path, {"bike.float_deg": (7, 7)}).refused == {}
    first, second = session.load(path).sign_off.amendments
    assert (first.fitter_id, first.at, first.reason) == ("f3", later, "read from the pedal again")
    assert first.fields == ("bike.float_deg", "bike.crank_length_mm")
    assert (second.reason, second.fields) == ("tape slipped", ("struck.0",))
    assert replayed(path) == tree_of(path)


def test_a_change_by_hand_is_noticed_at_the_next_save(path):
    save(path, {"bike.float_deg": (6, 7)})
    tree = tree_of(path)
    tree["rider"]["mass_kg"] = 75
    tree["rider"]["left"]["thigh_mm"] = [428, 430]
    tree["complaints"].append({"region": "neck"})
    tree["trials"][0]["note"] = "by hand"
    tree["since_last"] = {"kept": True, "complaints": None}
    del tree["bike"]["left"]["axle_to_toe_mm"]
    path.write_text(json.dumps(tree))
    save(path, {"bike.float_deg": (7, 8)})
    outside = {c.field: (c.old, c.new, c.fitter) for c in session.history(path)[2:] if c.note == "changed outside"}
    assert outside == {
        "rider.mass_kg": (74, 75, None),
        "rider.left.thigh_mm": ([428], [428, 430], None),
        "complaints.1": (None, {"region": "neck"}, None),
        "trials.0.note": ("calmer at the bottom", "by hand", None),
        "since_last.kept": (None, True, None),
        "bike.left.axle_to_toe_mm": (96, None, None),
    }
    assert session.history(path)[-1].field == "bike.float_deg"
    assert replayed(path) == tree_of(path)


def test_a_file_without_a_history_begins_one_with_the_whole_session(path):
    save(path, {"bike.float_deg": (6, 7)})
    first, second = session.history(path)
    assert (first.field, first.note, first.fitter) == ("", "changed outside", None)
    assert first.new == json.loads(session.dump(session.load(EXAMPLE)))
    assert (second.field, second.old, second.new) == ("bike.float_deg", 6, 7)


def test_an_editor_that_took_readings_out_is_noticed_too(path):
    save(path, {"bike.float_deg": (6, 7)})
    tree = tree_of(path)
    tree["trials"], tree["complaints"] = [], []
    path.write_text(json.dumps(tree))
    save(path, {"bike.float_deg": (7, 8)})
    assert {c.field for c in session.history(path)[2:]} == {"trials", "complaints", "bike.float_deg"}
    assert replayed(path) == tree_of(path)


def test_a_last_line_cut_short_is_left_out_and_mended(path):
    save(path, {"bike.float_deg": (6, 7)})
    save(path, {"bike.float_deg": (7, 8)})
    kept = path.with_name(f"{path.stem}.history.jsonl")
    kept.write_bytes(kept.read_bytes()[:-30])
    assert [change.new for change in session.history(path)][1:] == [7]
    save(path, {"bike.float_deg": (8, 9)})
    assert [(c.old, c.new, c.note) for c in session.history(path)][1:] == [
        (6, 7, None),
        (7, 8, "changed outside"),
        (8, 9, None),
    ]
    assert replayed(path) == tree_of(path)


@pytest.mark.parametrize("line", [b"nonsense\n", b"[1]\n", b'{"at": 1}\n', b"\xff\n"])
def test_another_damaged_line_of_the_history_is_said(path, line):
    save(path, {"bike.float_deg": (6, 7)})
    kept = path.with_name(f"{path.stem}.history.jsonl")
    kept.write_bytes(kept.read_bytes() + line + b'{"half')
    with pytest.raises(session.SessionProblems, match="history line 3 is"):
        session.history(path)
    refuse(path, "history line 3 is .*Move the history aside", session.update, {"bike.float_deg": (7, 8)})


def test_a_leftover_history_is_added_to_and_never_cut(fresh):
    save(fresh, {"rider.stature_mm": (None, 1755)})
    leftover = next(fresh.parent.glob("*.history.jsonl"))
    before = leftover.read_bytes()
    fresh.unlink()
    again = session.new("rider-7", "2026-05-01", "road", fresh.parent)
    after = leftover.read_bytes()
    assert after.startswith(before)
    assert after.count(b"\n") == before.count(b"\n") + 1
    assert replayed(again) == tree_of(again)
    save(again, {"rider.stature_mm": (None, 1760)})
    assert leftover.read_bytes().startswith(after)
    assert [change.new for change in session.history(again) if change.field == "rider.stature_mm"] == [1755, 1760]


def test_a_leftover_history_that_is_damaged_is_left_alone_and_nothing_begun(fresh):
    leftover = next(fresh.parent.glob("*.history.jsonl"))
    leftover.write_bytes(b"{}\n")
    fresh.unlink()
    with pytest.raises(session.SessionProblems, match="history line 1"):
        session.new("rider-7", "2026-05-01", "road", fresh.parent)
    assert leftover.read_bytes() == b"{}\n"
    assert not fresh.exists()


def test_sign_off_keeps_the_reason_and_the_starts_in_force(path):
    session.update(path, {"rider.mass_kg": (None, 74)}, fitter="f2", at=AT)
    starts = {"left": 18.25, "right": None}
    session.sign_off(path, fitter="f2", at=AT, reason="rides home slowly", starts_mm=starts)
    assert tree_of(path)["sign_off"] == {
        "fitter_id": "f2",
        "at": AT,
        "reason": "rides home slowly",
        "starts_mm": {"left": 18.25},
    }
    assert replayed(path) == tree_of(path)


def test_sign_off_without_reason_and_starts_is_as_before(fresh):
    session.sign_off(fresh, fitter="f2", at=AT)
    assert tree_of(fresh)["sign_off"] == {"fitter_id": "f2", "at": AT}


def test_a_history_that_does_not_fit_together_is_said():
    change = session.Change(AT, "f2", "trials.3.note", None, "x")
    with pytest.raises(session.SessionProblems, match=r'history line 1 is about "trials\.3\.note"'):
        session.replay([change])


def test_a_full_disk_leaves_the_file_as_it_was(path, monkeypatch):
    save(path, {"bike.float_deg": (6, 7)})
    before, names = path.read_bytes(), sorted(os.listdir(path.parent))

    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(OSError, match=r"road\.json was not saved and is as it was: No space left on device"):
        save(path, {"bike.float_deg": (7, 8)})
    with pytest.raises(OSError, match=r"rider-8_2026-05-01_road\.json was not saved"):
        session.new("rider-8", "2026-05-01", "road", path.parent)
    assert path.read_bytes() == before
    assert sorted(set(os.listdir(path.parent)) - {".rider-8_2026-05-01_road.lock"}) == names
    monkeypatch.undo()
    assert save(path, {"bike.float_deg": (7, 8)}).session.bike.float_deg == 8


def test_a_real_limit_on_file_size_leaves_the_file_as_it_was(path):
    # The system itself refuses the write: its limit on the size of files, 2000 bytes here.
    code = (
        "import resource, signal, sys; from fitkit import session\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))\n"
        f"session.update(sys.argv[1], {{'bike.float_deg': (6, 7)}}, fitter='f2', at='{AT}')"
    )
    before = path.read_bytes()
    run = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=False)
    assert "was not saved and is as it was: File too large" in run.stderr
    assert path.read_bytes() == before
    assert sorted(os.listdir(path.parent)) == [f".{path.stem}.lock", path.name]


def test_a_history_that_cannot_be_written_is_said_and_caught_up(path, monkeypatch):
    save(path, {"bike.float_deg": (6, 7)})
    real, calls = os.fsync, []

    def full_at_the_history(descriptor):
        calls.append(descriptor)
        if len(calls) == 3:  # first the session, then its folder
            raise OSError(28, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(files.os, "fsync", full_at_the_history)
    with pytest.raises(OSError, match=r"the session was saved, but not its history .*No space left"):
        save(path, {"bike.float_deg": (7, 8)})
    monkeypatch.undo()
    assert session.load(path).bike.float_deg == 8
    assert len(session.history(path)) == 2
    save(path, {"bike.float_deg": (8, 9)})
    assert [(c.new, c.note) for c in session.history(path)[2:]] == [(8, "changed outside"), (9, None)]


def test_a_file_that_stays_locked_is_said(path, monkeypatch):
    monkeypatch.setattr(files, "_WAIT_S", 0.02)
    with (
        files.locked(path, mode=0o600),
        pytest.raises(TimeoutError, match=r"road\.json has been locked .* 0\.02 s"),
    ):
        save(path, {"bike.float_deg": (6, 7)})
    assert path.read_bytes() == EXAMPLE.read_bytes()


def test_what_a_killed_save_left_does_not_stop_the_next(path):
    (path.parent / f".{path.stem}.tmp").write_bytes(b"half")
    assert save(path, {"bike.float_deg": (6, 7)}).session.bike.float_deg == 7
    assert not (path.parent / f".{path.stem}.tmp").exists()


def test_a_save_through_a_link_changes_the_file_itself(path, tmp_path):
    linked = tmp_path / "linked"
    linked.mkdir()
    (linked / path.name).symlink_to(path)
    save(linked / path.name, {"bike.float_deg": (6, 7)})
    assert (linked / path.name).is_symlink()
    assert session.load(path).bike.float_deg == 7
    assert len(session.history(path)) == 2


def test_forget_removes_this_client_and_nobody_else(tmp_path):
    for client in ("rider-4", "rider-42", "rider"):
        for folder in (tmp_path, tmp_path / "2025"):
            save(session.new(client, "2026-05-01", "road", folder), {"rider.stature_mm": (None, 1700)})
    other = tmp_path / "rider-42_2026-05-01_road.json"
    (tmp_path / "copy of a visit.json").write_bytes((tmp_path / "rider-4_2026-05-01_road.json").read_bytes())
    (tmp_path / "rider-4_2026-06-01_road.json").write_bytes(other.read_bytes())  # another client inside
    (tmp_path / "rider-4_2026-07-01_road.json").write_bytes(b"{half")
    (tmp_path / "rider-4.json").write_bytes(b"{}")
    (tmp_path / "2025" / ".rider-4_2026-05-01_road.tmp").write_bytes(b"half")
    removed, left = session.forget("rider-4", tmp_path)
    assert left == ()
    assert sorted(str(each.relative_to(tmp_path)) for each in removed) == [
        ".rider-4_2026-05-01_road.lock",
        "2025/.rider-4_2026-05-01_road.lock",
        "2025/.rider-4_2026-05-01_road.tmp",
        "2025/rider-4_2026-05-01_road.history.jsonl",
        "2025/rider-4_2026-05-01_road.json",
        "copy of a visit.json",
        "rider-4_2026-05-01_road.history.jsonl",
        "rider-4_2026-05-01_road.json",
        "rider-4_2026-07-01_road.json",
    ]
    left = sorted(each.name for each in tmp_path.iterdir() if "rider-4" in each.name and "rider-42" not in each.name)
    assert left == ["rider-4.json", "rider-4_2026-06-01_road.json"]
    assert len(list(tmp_path.rglob("rider-42_*"))) == len(list(tmp_path.rglob("rider_*"))) == 4
    assert session.forget("rider-4", tmp_path) == ((), ())


def test_one_visit_is_forgotten_with_its_history_and_the_others_stay(tmp_path):
    for day, setup in (("2026-05-01", "road"), ("2026-05-01", "track"), ("2026-06-01", "road")):
        save(session.new("rider-4", day, setup, tmp_path / "2026"), {"rider.stature_mm": (None, 1700)})
    (tmp_path / "copy.json").write_bytes((tmp_path / "2026" / "rider-4_2026-05-01_road.json").read_bytes())
    assert session.keys_of("rider-4", tmp_path) == {
        f"rider-4_{visit}" for visit in ("2026-05-01_road", "2026-05-01_track", "2026-06-01_road")
    }
    session.forget("rider-4", tmp_path, key="rider-4_2026-05-01_road")
    left = sorted(each.name for each in tmp_path.rglob("*") if each.is_file() and not each.name.startswith("."))
    kept = ("rider-4_2026-05-01_track", "rider-4_2026-06-01_road")
    assert left == [f"{name}{end}" for name in kept for end in (".history.jsonl", ".json")]


def test_films_and_power_files_go_with_the_client_that_names_them(tmp_path):
    folder, elsewhere = tmp_path / "2026", tmp_path / "elsewhere.csv"
    elsewhere.write_bytes(b"power")

    def visit(client, day, films=(), power_files=()):
        path = session.new(client, day, "road", folder)
        tree = json.loads(path.read_bytes())
        named = {"films": films, "power_files": power_files}
        tree["ride"] = {name: [{"file": file} for file in files] for name, files in named.items()}
        path.write_text(json.dumps(tree), encoding="utf-8")

    visit("rider-4", "2026-05-01", ["films/left.csv", "shared.csv", "gone.csv"], ["linked.csv", "../elsewhere.csv"])
    visit("rider-4", "2026-06-01", ["rider-42_2026-05-01_road.json"])
    visit("rider-42", "2026-05-01", ["shared.csv"])
    (folder / "films").mkdir()
    for name in ("films/left.csv", "shared.csv", "real.csv", "other.csv"):
        (folder / name).write_bytes(b"knee")
    (folder / "linked.csv").symlink_to(folder / "real.csv")
    (folder / "round.csv").symlink_to(folder / "round.csv")
    visit("rider-43", "2026-05-01", ["round.csv", "half\0name"])
    removed, left = session.forget("rider-4", folder)
    assert {folder / "films/left.csv", folder / "linked.csv"} <= set(removed)
    assert sorted(path.name for path in folder.rglob("*.csv")) == ["other.csv", "round.csv", "shared.csv"]
    assert elsewhere.exists()
    assert [line.split(": ")[1] for line in left] == [
        "another visit names it too, so that it was not removed",
        "outside the folder, so that it was not removed",
        "no film and no power file, so that it was not removed",
    ]
    assert session.load(folder / "rider-42_2026-05-01_road.json").client_id == "rider-42"


@pytest.mark.parametrize("client_id", ["", "rider-4*", "..", "rider.4", "Rider-4"])
def test_forget_refuses_what_is_no_id(fresh, client_id):
    with pytest.raises(
        session.SessionProblems, match=f'client_id is "{client_id.replace("*", "[*]")}"; expected 1 to 40'
    ):
        session.forget(client_id, fresh.parent)
    assert fresh.exists()


def test_forget_says_when_it_cannot_look(tmp_path):
    with pytest.raises(FileNotFoundError, match="not here"):
        session.forget("rider-4", tmp_path / "not here")
