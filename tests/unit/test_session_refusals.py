"""What is wrong with a file is refused with path, value and what was expected, all at once, the file untouched."""

import copy
import json
import os
import pickle
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit import session
from fitkit.session.paths import put, steps_of

EXAMPLE = Path(__file__).parent / "data" / "rider-042_2026-03-04_road.json"
TREE = json.loads(EXAMPLE.read_bytes())
AT = "2026-03-04T15:10:00+00:00"
SETBACK = "as_found.left.cleat_setback_mm"


def struck(field=SETBACK, index=0, reason="slipped"):
    return {"field": field, "index": index, "reason": reason}


def cleared(**changes):
    return {"role": "sports physician", "finding": "old scar, healed", "date": "2026-03-03"} | changes


def pitch(*angles):
    return [{"crank_angle_deg": angle, "pitch_deg": 10 + place} for place, angle in enumerate(angles)]


def refuse(folder, data, match):
    """Check that loading and saving both refuse the bytes with the message, and that the file stays as it is."""
    path = folder / EXAMPLE.name
    path.write_bytes(data)
    with pytest.raises(session.SessionProblems, match=match) as caught:
        session.load(path)
    assert caught.value.path == path
    with pytest.raises(session.SessionProblems, match=match):
        session.update(path, {"bike.float_deg": (6, 7)}, fitter="f2", at=AT)
    assert path.read_bytes() == data
    assert not (folder / "rider-042_2026-03-04_road.history.jsonl").exists()
    return caught.value


@pytest.mark.parametrize(
    ("dotted", "value", "match"),
    [
        (
            "rider.left.foot_length_mm",
            [26.3],
            r"rider\.left\.foot_length_mm\.0 is 26\.3; expected 150 to 350\. Entered in cm\?",
        ),
        ("rider.left.foot_length_mm", [267, 2670], r"foot_length_mm\.1 is 2670; .*decimal point"),
        ("rider.stature_mm", 1.755, r"rider\.stature_mm is 1\.755; expected 900 to 2500\. Entered in m\?"),
        ("rider.mass_kg", 740, r"rider\.mass_kg is 740; expected 20 to 300\. A decimal point"),
        ("rider.left.thigh_mm", 428, r"rider\.left\.thigh_mm is 428; expected a list of readings\. Write \[428\]"),
        (
            "rider.left.thigh_mm",
            ["428"],
            r'thigh_mm\.0 is "428"; expected a number from 200 to 700\. Take the quotation',
        ),
        ("rider.left.thigh_mm", [428, None], r"thigh_mm\.1 is null; expected a number"),
        ("rider.left.thigh_mm", {"first": 428}, r"thigh_mm is a group of 1 fields; expected a list of readings"),
        ("rider.stature_mm", True, r"rider\.stature_mm is true; expected a number"),
        ("rider.stature_mm", [1755], r"rider\.stature_mm is a list of 1; expected a number"),
        ("rider.stature_mm", 10**400, r"rider\.stature_mm is 1000"),
        ("rider.riding", "slow", r'rider\.riding is "slow"; expected one of everyday, long_steady, time_trial, mixed'),
        ("rider.left.thigh", 428, r"rider\.left\.thigh is an unknown field \(428\).*Did you mean thigh_mm\?"),
        ("rider.nickname", None, r"rider\.nickname is an unknown field \(null\)"),
        ("bike", 3, r"bike is 3; expected a group of fields"),
        ("trials", {}, r"trials is a group of 0 fields; expected a list"),
        ("trials.0", 3, r"trials\.0 is 3; expected a group of fields"),
        ("trials.0.kept", 1, r"trials\.0\.kept is 1; expected true or false"),
        ("trials.0.note", "a\x00b", r'trials\.0\.note is "a\\x00b"; expected text without NUL'),
        ("trials.0.note", "\ud800", r'trials\.0\.note is "\\ud800"'),
        ("trials.0.smooth_at_bottom", 11, r"smooth_at_bottom is 11; expected 0 to 10"),
        ("trials.0.unsteadiness.left", [-1], r"unsteadiness\.left\.0 is -1; expected 0 to 10"),
        ("complaints.0.severity", 30, r"complaints\.0\.severity is 30; expected 0 to 10"),
        ("complaints.0.region", "knee", r'region is "knee"; expected one of low_back, neck'),
        ("complaints.0.since", "2025-13", r'since is "2025-13"; expected a real date'),
        ("complaints.0.since", "2025-1", r'since is "2025-1"; expected a real date'),
        ("seen.0.what", "heel_drop", r'what is "heel_drop".*Did you mean heel_drops\?'),
        ("seen.0.side", "middle", r'side is "middle"; expected one of left, right, both'),
        ("format", "cleat-stance-results", r'format is "cleat-stance-results"; expected "cleat-stance-session"'),
        ("version", 2, r"made by another version of the kit: version 2; this one reads 1"),
        ("version", True, r"version is true; expected the whole number 1"),
        ("version", "1", r'version is "1"; expected the whole number 1'),
        ("client_id", "../rider-042", r'client_id is "\.\./rider-042"; expected 1 to 40'),
        ("client_id", "Rider-042", r'client_id is "Rider-042"; expected 1 to 40'),
        ("client_id", "rider-042\n", r'client_id is "rider-042\\n"; expected 1 to 40'),
        ("client_id", "r" * 41, r'client_id is "r{41}"; expected 1 to 40'),
        ("client_id", None, r"client_id is missing; expected 1 to 40"),
        ("setup", "", r'setup is ""; expected 1 to 40'),
        ("visit_date", "2026-02-29", r'visit_date is "2026-02-29"; expected a real date'),
        ("visit_date", "20260304", r'visit_date is "20260304"; expected a real date'),
        ("visit_date", "2026-03", r'visit_date is "2026-03"; expected a real date'),
        ("follow_up_due", "15.4.2026", r'follow_up_due is "15\.4\.2026"; expected a real date'),
        (
            "client_id",
            "rider-43",
            r'file name is "rider-042_2026-03-04_road\.json"; expected "rider-43_2026-03-04_road',
        ),
        ("shoes.left.least_cleat_setback_mm", 20, r"least_cleat_setback_mm is 20; expected at most .* 19"),
        ("shoes.left.size", 270, r"shoes\.left\.size is 270; expected 15 to 60 in the system eu"),
        ("signs", [{"sign": "headache"}], r'signs\.0\.sign is "headache"; expected one of chest_pain'),
        ("signs", [{"sign": "fever", "cleared": {"role": "nurse"}}], r"signs\.0\.cleared\.finding is missing"),
        ("signs", [{"sign": "fever", "cleared": cleared(role=" ")}], r'cleared\.role is " "; expected text that says'),
        ("signs", [{"sign": "fever", "cleared": cleared(date=None)}], r"cleared\.date is missing"),
        ("signs", [{"sign": "chest_pain", "cleared": cleared()}], r"signs\.0\.cleared is filled in for chest_pain"),
        ("struck", [struck(field="as_found.left.cleat")], r'struck\.0\.field is "as_found\.left\.cleat"'),
        ("struck", [struck(field="rider.stature_mm")], r'struck\.0\.field is "rider\.stature_mm"'),
        ("struck", [struck(field="trials.*.position.left.cleat_setback_mm")], r'struck\.0\.field is "trials\.\*'),
        ("struck", [struck(field=SETBACK + ".0")], r'struck\.0\.field is "as_found\.left\.cleat_setback_mm\.0"'),
        ("struck", [struck(index=3)], r"struck\.0\.index is 3; expected 0 to 2"),
        ("struck", [struck(index=-1)], r"struck\.0\.index is -1; expected 0 to 2"),
        ("struck", [struck(index=1.0)], r"struck\.0\.index is 1\.0; expected a whole number"),
        ("struck", [struck(field="rider.foot_hang_mm")], r"struck\.0\.index is 0; expected .*foot_hang_mm has none"),
        ("struck", [struck(), struck()], r"struck\.1 is reading 0 of as_found\.left\.cleat_setback_mm again"),
        ("struck", [struck(reason="")], r'struck\.0\.reason is ""; expected text that says something'),
        ("taken", {"as_found.left.cleat": "tape_left_on"}, r"taken\.as_found\.left\.cleat is an unknown field"),
        (
            "taken",
            {SETBACK: "again"},
            r'taken\.as_found\.left\.cleat_setback_mm is "again"; expected one of mark_found',
        ),
        ("ride.films", [{"file": "a.mp4", "trial": 1}], r"ride\.films\.0\.trial is 1; expected 0 to 0, or null"),
        ("ride.power_files", [{"file": "/etc/a.fit"}], r'power_files\.0\.file is "/etc/a\.fit"; expected .*relative'),
        ("ride.left.foot_pitch_table", pitch(361), r"crank_angle_deg is 361; expected 0 to 360"),
        (
            "ride.left.foot_pitch_table",
            pitch(90, 90),
            r"table\.1\.crank_angle_deg is 90 again; expected each crank angle",
        ),
        (
            "ride.left.foot_pitch_table",
            pitch(0, 360),
            r"table\.1\.crank_angle_deg is 360; expected the same pitch at 0",
        ),
        ("ride.left.foot_pitch_table", [{"crank_angle_deg": 5}], r"table\.0\.pitch_deg is missing"),
        ("sign_off", {"fitter_id": "f2", "at": "today"}, r'sign_off\.at is "today"; expected a real date and time'),
        ("consent.film", "yes", r'consent\.film is "yes"; expected true or false'),
    ],
)
def test_wrong_value_is_refused(tmp_path, dotted, value, match):
    tree = copy.deepcopy(TREE)
    put(tree, steps_of(dotted), value)
    refuse(tmp_path, json.dumps(tree).encode(), match)


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        # RFC 8259: none of these numbers is JSON, or fits a number.
        ("1755", "NaN", r"rider\.stature_mm is not a finite number \(NaN\)"),
        ("1755", "-Infinity", r"rider\.stature_mm is not a finite number \(-inf\)"),
        ("1755", "1e999", r"rider\.stature_mm is not a finite number \(\+inf\)"),
        ("1755", "9" * 5000, r"number of thousands of digits"),
        ("1755", "0x6DB", r"not JSON \(line 5"),
        ('"mass_kg": 74', '"mass_kg": 74, "mass_kg": 75', r"rider\.mass_kg is there twice"),
        ('"what": "heel_drops"', '"what": "ankling", "what": "heel_drops"', r"seen\.0\.what is there twice"),
        ("[33]", "[" * 5000 + "33" + "]" * 5000, r"nested too deeply"),
        ("[33]", "[" * 300 + "33" + "]" * 300, r"mtp1_big_toe_side_mm\.0 is a list of 1; expected a number"),
        ("calmer at the bottom", "x" * 1_000_000, r"larger than 1000000 bytes"),
    ],
)
def test_text_that_no_session_may_hold_is_refused(tmp_path, old, new, match):
    refuse(tmp_path, EXAMPLE.read_text().replace(old, new, 1).encode(), match)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "file is empty"),
        (b" \n", "file is empty"),
        (b"[1, 2]", "file is a list of 2; expected one JSON object"),
        (b"{'format': 1}", "not JSON .line 1, column 2"),
        (EXAMPLE.read_bytes()[:900], "not JSON"),
        (EXAMPLE.read_text().encode("utf-16"), "in UTF-16 or UTF-32"),
        (EXAMPLE.read_text().encode("utf-16-le"), "in UTF-16 or UTF-32"),
        (EXAMPLE.read_text().encode("utf-32"), "in UTF-16 or UTF-32"),
        (EXAMPLE.read_text().encode("utf-8-sig"), "UTF-8 with a byte-order mark"),
        (EXAMPLE.read_text().replace("calmer", "ruhiger für").encode("latin-1"), "not UTF-8 .byte .* is 0xfc"),
    ],
)
def test_bytes_that_are_no_session_are_refused(tmp_path, data, match):
    refuse(tmp_path, data, match)


def test_every_problem_comes_at_once_with_its_path(tmp_path):
    tree = copy.deepcopy(TREE)
    changes = {
        "version": 2,
        "visit_date": "2026-02-30",
        "zoo": 1,
        "rider.left.foot_length_mm": [267, 26.3],
        "rider.stature_mm": "1755",
        "rider.riding": "slow",
        "bike.right.axle_to_toe_mm": True,
        "shoes.right.least_cleat_setback_mm": 30,
        "struck": [struck(index=9)],
        "signs": [{"sign": "fainting", "cleared": cleared()}],
        "ride.films": [{"file": "a.mp4", "trial": 4}],
    }
    for dotted, value in changes.items():
        put(tree, steps_of(dotted), value)
    data = json.dumps(tree).replace('"mass_kg": 74', '"mass_kg": 74, "mass_kg": 74').encode()
    caught = refuse(tmp_path, data, "13 problems")
    assert {problem.where for problem in caught.problems} == {
        "version",
        "visit_date",
        "zoo",
        "rider.left.foot_length_mm.1",
        "rider.stature_mm",
        "rider.riding",
        "rider.mass_kg",
        "bike.right.axle_to_toe_mm",
        "shoes.right.least_cleat_setback_mm",
        "struck.0.index",
        "signs.0.cleared",
        "ride.films.0.trial",
        "file name",
    }


def test_a_message_never_holds_a_long_value(tmp_path):
    tree = copy.deepcopy(TREE) | {"fitter_id": "f" * 300_000, "k" * 300_000: 1}
    caught = refuse(tmp_path, json.dumps(tree).encode(), re.escape("f" * 59 + "…"))
    assert len(str(caught)) < 1000
    tree = copy.deepcopy(TREE)
    tree["rider"]["inseam_mm"] = [1] * 2000
    caught = refuse(tmp_path, json.dumps(tree).encode(), "2000 problems")
    assert len(caught.problems) == 2000
    assert len(str(caught)) < 10_000


def test_problems_survive_the_way_between_processes():
    problems = session.SessionProblems(Path("a.json"), [session.Problem("a", "1", "2", "Mend it.")])
    again = pickle.loads(pickle.dumps(problems))  # noqa: S301 - our own bytes
    assert str(again) == str(problems) == "a.json: 1 problem\n- a is 1; expected 2. Mend it."


def test_what_is_no_readable_file_is_refused(tmp_path, monkeypatch):
    with pytest.raises(session.SessionProblems, match=r"nobody.*\n- file is missing"):
        session.load(tmp_path / "nobody_2026-03-04_road.json")
    with pytest.raises(session.SessionProblems, match="file is a folder"):
        session.load(tmp_path)
    with pytest.raises(session.SessionProblems, match="file is missing"):
        session.update(tmp_path / "nobody_2026-03-04_road.json", {}, fitter="f2", at=AT)
    os.mkfifo(tmp_path / "pipe.json")
    with pytest.raises(session.SessionProblems, match="file is no regular file"):
        session.load(tmp_path / "pipe.json")
    with pytest.raises(session.SessionProblems, match=r"unreadable \(embedded null byte"):
        session.load("a\x00b.json")

    def refused(*_args, **_options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(session.SessionProblems, match=r"unreadable \(Permission denied"):
        session.load(EXAMPLE)


def test_files_under_another_name_are_refused(tmp_path):
    for name in ("rider-42_2026-03-04_road.json", "rider-042_2026-03-04_road.JSON", "copy.json"):
        (tmp_path / name).write_bytes(EXAMPLE.read_bytes())
        with pytest.raises(session.SessionProblems, match=rf'file name is "{name}"'):
            session.load(tmp_path / name)


@pytest.mark.parametrize(
    ("dotted", "value"),
    [
        ("as_left.left.cleat_setback_mm", [-5]),
        ("rider.left.natural_toe_out_deg", [-8]),
        ("as_found.left.wedge_deg", -2),
        ("as_found.left.shoe_outward_mm", [-4.5]),
        ("decided.moved_mm.left", -12),
        ("wish.left.half_stance_change_mm", -6),
        ("ride.left.foot_pitch_mean_deg", -5),
        ("complaints.0.since", "2019"),
        ("complaints.0.since", "2025-11-30"),
        ("complaints.0.severity", 0),
        ("trials.0.note", "bell \x07, escape \x1b, Grüße"),
        ("trials.0.seen", [{"what": "ankling", "side": "both"}]),
        ("shoes.left.greatest_cleat_setback_mm", 6),
        ("ride.films", [{"file": "filmed/left side.mp4", "trial": 0}, {"file": "b.mp4", "trial": None}]),
        ("ride.left.foot_pitch_table", [{"crank_angle_deg": a, "pitch_deg": 9} for a in (0, 90, 180, 360)]),
        ("signs", [{"sign": "chest_pain", "cleared": None}, {"sign": "fever", "cleared": cleared()}]),
        ("taken", {"trials.0.position.left.cleat_setback_mm": "mark_found_anew", SETBACK: None}),
        ("sign_off", {"fitter_id": "f2", "at": "2026-03-04T17:00:00Z", "amendments": []}),
    ],
)
def test_values_that_are_fine_are_read(dotted, value):
    tree = copy.deepcopy(TREE)
    put(tree, steps_of(dotted), value)
    visit = session.parse(json.dumps(tree).encode())
    assert session.parse(session.dump(visit)) == visit


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
PLACES = st.sampled_from(
    [info.dotted.replace("*", "0") for info in session.fields()] + ["rider", "trials", "bike.left"]
)


@settings(max_examples=150, deadline=None)
@given(dotted=PLACES, value=JSON)
def test_any_value_anywhere_is_read_or_refused_in_words(dotted, value):
    tree = copy.deepcopy(TREE)
    try:
        put(tree, steps_of(dotted), value)
    except LookupError:
        return
    problems, visit = (), None
    try:
        visit = session.parse(json.dumps(tree).encode())
    except session.SessionProblems as caught:
        problems = caught.problems
    assert problems or session.parse(session.dump(visit)) == visit
    assert all(len(str(problem)) < 1000 for problem in problems)
