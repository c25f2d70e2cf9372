"""Which files a batch takes, which it refuses, and what belongs to each visit."""

import io
import json
import os
from pathlib import Path

import pytest

from fitkit.batch import inputs
from fitkit.problems import WrongCallError
from tests.conftest import ROOT


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a session file below the test's folder and returns its path."""

    def write(folder, client="rider-1", date="2026-03-04", setup="road", **more):
        path = tmp_path / folder / f"{client}_{date}_{setup}.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        document = {"format": "cleat-stance-session", "version": 1}
        document |= {"client_id": client, "visit_date": date, "setup": setup, "rider": {"mass_kg": 74}, **more}
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return write


def names(visit):
    return [item.name for item in visit.inputs]


def test_folders_are_searched_with_their_subfolders_in_order_of_keys(write, tmp_path):
    write("2026/b", client="rider-2")
    write("2025", client="rider-1", date="2025-01-01")
    write("2026/a", client="rider-1")
    found = inputs.find([tmp_path])
    assert [visit.key for visit in found.visits] == [
        "rider-1_2025-01-01_road",
        "rider-1_2026-03-04_road",
        "rider-2_2026-03-04_road",
    ]
    assert found.refused == ()


def test_the_previous_visit_is_the_latest_earlier_of_client_and_setup(write, tmp_path):
    write("a", date="2024-01-01")
    write("a", date="2025-01-01")
    write("a", date="2025-06-01", setup="gravel")
    write("a", date="2027-01-01")
    write("a", client="rider-10", date="2026-01-01")
    latest = write("a", date="2026-03-04")
    found = {visit.path: visit for visit in inputs.find([tmp_path]).visits}
    assert names(found[latest]) == [latest.name, "previous/rider-1_2025-01-01_road.json"]


@pytest.mark.parametrize("where", ["2026/fitters", "fitters"])
def test_the_fitters_study_lies_beside_the_session_or_its_year_folder(write, tmp_path, where):
    write("2026", fitter_id="f2")
    study = {"fitter_id": "f2", "date": "2026-01-10"}
    study |= {"place_sd_mm": 1.2, "place_df": 9, "spread_sd_mm": 0.8, "spread_df": 18}
    (tmp_path / where).mkdir(parents=True)
    (tmp_path / where / "f2.json").write_text(json.dumps(study), encoding="utf-8")
    (visit,) = inputs.find([tmp_path]).visits
    assert names(visit)[1:] == ["fitters/f2.json"]


def test_a_visit_in_which_nothing_was_measured_or_said_is_not_the_previous_one(write, tmp_path):
    write("a", date="2025-01-01")
    write("a", date="2025-06-01", rider={}, fitter_id="f1", consent={"record": True})
    latest = write("a", date="2026-03-04")
    found = {visit.path: visit for visit in inputs.find([tmp_path]).visits}
    assert len(found) == 3
    assert names(found[latest]) == [latest.name, "previous/rider-1_2025-01-01_road.json"]


def test_a_study_that_cannot_be_used_is_a_problem_of_its_visits(write, tmp_path):
    path = write("2026", fitter_id="f2")
    (path.parent / "fitters").mkdir()
    (path.parent / "fitters" / "f2.json").write_text('{"fitter_id": "f2"}', encoding="utf-8")
    found = inputs.find([tmp_path])
    assert found.visits == ()
    assert "fitters/f2.json: place_sd_mm is" in found.refused[0].reason


def test_report_folders_hidden_files_and_the_folder_apart_are_skipped(write, tmp_path):
    kept = write("a")
    (write("reports", client="rider-2").parent / ".cleat-stance-reports").touch()
    write("a/.hidden", client="rider-3")
    write("out", client="rider-4")
    (tmp_path / "a" / ".x.json").touch()
    found = inputs.find([tmp_path], apart=tmp_path / "out")
    assert [visit.path for visit in found.visits] == [kept]
    assert found.refused == ()


def test_two_files_of_one_visit_are_both_refused_and_the_others_kept(write, tmp_path):
    write("a"), write("b"), write("a", client="rider-2")
    found = inputs.find([tmp_path])
    assert [visit.key for visit in found.visits] == ["rider-2_2026-03-04_road"]
    assert len(found.refused) == 2
    for refused in found.refused:
        assert refused.key == "rider-1_2026-03-04_road"
        assert "one visit in 2 files" in refused.reason
        assert str(tmp_path / "a") in refused.reason


def test_a_file_reached_twice_counts_once(write, tmp_path):
    path = write("a")
    (tmp_path / "link").symlink_to(tmp_path / "a")
    (tmp_path / "a" / "round").symlink_to(tmp_path)
    found = inputs.find([path, tmp_path, tmp_path / "a"])
    assert [visit.path for visit in found.visits] == [path]
    assert found.refused == ()


def test_what_is_no_session_is_refused_with_its_reason(write, tmp_path):
    write("a")
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "empty.json").touch()
    (bad / "folder.json").mkdir()
    (bad / "gone.json").symlink_to(bad / "nowhere.json")
    os.mkfifo(bad / "pipe.json")
    (bad / "list.json").write_text("[1]", encoding="utf-8")
    (bad / "notes.txt").write_text("not looked at", encoding="utf-8")
    found = inputs.find([tmp_path])
    reasons = {refused.path.name: refused.reason for refused in found.refused}
    assert len(found.visits) == 1
    assert reasons.keys() == {"empty.json", "folder.json", "gone.json", "pipe.json", "list.json"}
    assert reasons["folder.json"] == "is a folder; expected a session file"
    assert reasons["gone.json"] == "is a link to a file that is not there"
    assert reasons["pipe.json"] == "is not an ordinary file; expected a session file"
    assert "empty" in reasons["empty.json"]
    assert all(refused.key is None for refused in found.refused)


@pytest.mark.parametrize(
    "name", ["../film.mp4", "a/../../film.mp4", "previous/film.mp4", "fitters/f2.json", "a\\film.mp4", "."]
)
def test_a_film_must_lie_in_the_sessions_folder(write, tmp_path, name):
    write("a", ride={"films": [{"file": name}]})
    found = inputs.find([tmp_path])
    assert found.visits == ()
    assert "ride.films.0.file is " in found.refused[0].reason
    assert "expected a f" in found.refused[0].reason


def test_a_film_that_is_a_link_out_of_the_folder_is_refused(write, tmp_path):
    path = write("in", ride={"films": [{"file": "film.csv"}]})
    outside = tmp_path / "other.csv"
    outside.write_bytes(b"secret")
    (path.parent / "film.csv").symlink_to(outside)
    (refused,) = inputs.find([path.parent]).refused
    assert "is a link out of the session's folder" in refused.reason


def test_a_film_whose_link_goes_round_stops_no_other_visit(write, tmp_path):
    path = write("in", ride={"films": [{"file": "film.csv"}]})
    (path.parent / "film.csv").symlink_to(path.parent / "film.csv")
    write("in", client="rider-2")
    assert "rider-2_2026-03-04_road" in [visit.key for visit in inputs.find([path.parent]).visits]


def test_house_rules_among_the_sessions_are_said_in_one_line_and_are_no_failure(write, tmp_path):
    path = write("in")
    for name in ("house_rules.json", "ours.json"):
        (path.parent / name).write_bytes((ROOT / "templates/house_rules.json").read_bytes())
    found = inputs.find([path.parent])
    assert found.refused == ()
    assert [visit.path for visit in found.visits] == [path]
    screen = io.StringIO()
    assert inputs.check([path.parent], screen=screen) == 0
    assert screen.getvalue().splitlines()[0] == "no visits, left alone: house_rules.json, ours.json"


def test_films_are_inputs_and_a_missing_one_is_told(write, tmp_path):
    films = [{"file": "films/left.mp4"}, {"file": "films/gone.mp4"}]
    path = write("a", ride={"films": films, "power_files": [{"file": "./films/left.mp4"}]})
    (path.parent / "films").mkdir()
    (path.parent / "films" / "left.mp4").write_bytes(b"film")
    (visit,) = inputs.find([tmp_path]).visits
    assert names(visit) == [path.name, "films/left.mp4", "films/gone.mp4"]
    assert visit.missing_files == ("films/gone.mp4",)


def test_without_consent_no_record_is_made(write, tmp_path):
    write("a", consent={"record": False})
    write("a", client="rider-2", consent={"film": False})
    found = inputs.find([tmp_path])
    assert [visit.key for visit in found.visits] == ["rider-2_2026-03-04_road"]
    assert "does not agree to a record" in found.refused[0].reason
    assert found.refused[0].is_withdrawn


def test_the_last_visit_is_the_latest_earlier_one_even_where_it_cannot_be_read(write, tmp_path):
    from fitkit.assessment.inputs import load_visit

    for day in ("2025-03-04", "2026-01-04", "2025-11-04", "2026-06-04"):
        write("a", date=day)
    now = write("a", date="2026-03-04")
    found = {visit.key: visit for visit in inputs.find([tmp_path]).visits}["rider-1_2026-03-04_road"]
    assert [i.name for i in found.inputs if i.name.startswith("previous/")] == ["previous/rider-1_2026-01-04_road.json"]
    assert load_visit(now).previous.visit_date == "2026-01-04"
    (now.parent / "rider-1_2026-01-04_road.json").write_text("{", encoding="utf-8")
    broken = load_visit(now)
    assert broken.previous is None
    assert broken.previous_problem.startswith("rider-1_2026-01-04_road.json cannot be read: file is not JSON")
    found = {visit.key: visit for visit in inputs.find([tmp_path]).visits}["rider-1_2026-03-04_road"]
    assert [i.name for i in found.inputs if i.name.startswith("previous/")] == ["previous/rider-1_2026-01-04_road.json"]


def test_nothing_found_and_no_such_place_are_wrong_calls(tmp_path):
    with pytest.raises(WrongCallError, match=f"no session file found in {tmp_path}"):
        inputs.find([tmp_path])
    with pytest.raises(WrongCallError, match="nowhere is not there"):
        inputs.find([tmp_path / "nowhere"])


def test_relative_places_become_absolute(write, tmp_path, monkeypatch):
    path = write("a")
    monkeypatch.chdir(path.parent)
    (visit,) = inputs.find([Path(path.name)]).visits
    assert visit.inputs[0].source == str(path)
