"""The work folder and the command that opens it; Lab itself is tested on the screen."""

import json
import os
import stat
from pathlib import Path

import pytest

from fitkit import files, session, workbench
from fitkit.forms.controls import made_once
from fitkit.workbench import lab, open_command, strip_outputs
from fitkit.workbench.folder import NOTEBOOKS, WorkFolder, WorkFolderError, default_folder
from fitkit.workbench.start_page import TakingAway, _Page, _Papers


@pytest.fixture
def work(tmp_path):
    folder = WorkFolder(tmp_path / "work")
    folder.prepare()
    return folder


def test_the_work_folder_is_private_and_outside_the_kit(work):
    assert stat.S_IMODE(work.root.stat().st_mode) == 0o700
    assert stat.S_IMODE((work.root / "start_here.ipynb").stat().st_mode) == 0o600
    assert default_folder().is_absolute()


def test_a_work_folder_in_the_kit_is_refused():
    with pytest.raises(WorkFolderError, match="demo_sessions lies in the kit's own folder"):
        WorkFolder(files.notebook("start_here.ipynb").parents[1] / "demo_sessions").prepare()


def test_each_visit_has_notebooks_that_know_its_session(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    assert path == work.root / "2026" / "rider-1_2026-03-04_road.json"
    folder = work.open_visit(path)
    for name in NOTEBOOKS:
        notebook = json.loads((folder / f"{name}.ipynb").read_text(encoding="utf-8"))
        told = [cell for cell in notebook["cells"] if "parameters" in cell["metadata"].get("tags", ())]
        assert told[0]["source"].endswith('session = "../../2026/rider-1_2026-03-04_road.json"')
        assert (folder / "../../2026/rider-1_2026-03-04_road.json").resolve() == path.resolve()


def test_notebooks_are_brought_up_to_date_and_sessions_left_alone(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    folder = work.open_visit(path)
    before = path.read_bytes(), path.stat().st_mtime_ns
    (folder / "1_intake.ipynb").write_text("{}", encoding="utf-8")
    work.prepare()
    assert "Intake" in (folder / "1_intake.ipynb").read_text(encoding="utf-8")
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize(
    ("client", "day", "setup", "found"),
    [
        ("rider/7", "2026-03-04", "road", "rider/7"),
        ("../x", "2026-03-04", "road", "../x"),
        ("rider-7", "2026-02-30", "road", "2026-02-30"),
        ("rider-7", "../../x", "road", "../../x"),
        ("rider-7", "2026-03-04", "ro/ad", "ro/ad"),
    ],
)
def test_a_bad_id_or_day_is_refused_and_nothing_written(work, client, day, setup, found):
    before = sorted(work.root.rglob("*"))
    with pytest.raises(session.SessionProblems, match=found):
        work.new_visit(client, day, setup, access="owner")
    assert sorted(work.root.rglob("*")) == before


def test_a_session_from_elsewhere_is_copied_but_never_over_another(work, tmp_path):
    outside = session.new("rider-1", "2026-03-04", "road", tmp_path / "elsewhere")
    taken = work.take_in(outside)
    assert taken.read_bytes() == outside.read_bytes()
    assert stat.S_IMODE(taken.stat().st_mode) == 0o600
    assert work.take_in(outside) == taken
    session.update(taken, {"rider.mass_kg": (None, 74)}, fitter=None, at="2026-03-04T10:00:00")
    with pytest.raises(WorkFolderError, match=r"rider-1_2026-03-04_road\.json stands in the work folder already"):
        work.take_in(outside)


def test_what_is_no_session_ends_in_words(work, tmp_path, capsys):
    wrong = tmp_path / "letter.json"
    wrong.write_text("[]", encoding="utf-8")
    assert open_command(wrong, work.root, False) == 2
    assert "expected one JSON object" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_ends_in_words(tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert open_command(None, tmp_path / "file" / "work", False) == 1
    assert "cannot be written: Not a directory" in capsys.readouterr().err


def test_outputs_are_stripped_before_lab_saves():
    cell = {"cell_type": "code", "outputs": [{"text": "secret"}], "execution_count": 3, "metadata": {"execution": {}}}
    model = {"type": "notebook", "content": {"cells": [cell], "metadata": {"widgets": {"state": "secret"}}}}
    strip_outputs(model, path="x", contents_manager=None)
    assert "secret" not in json.dumps(model)
    assert cell["execution_count"] is None
    strip_outputs({"type": "file", "content": "left alone"})
    strip_outputs({"type": "notebook", "content": None})


def test_a_clients_notebooks_and_papers_are_forgotten(work):
    for client in ("rider-1", "rider-12"):
        work.open_visit(work.new_visit(client, "2026-03-04", "road", access="owner"))
    (work.root / "papers" / "rider-1_2026-03-04_road").mkdir()
    assert len(work.forget("rider-1")) == 2
    assert (work.root / "visits" / "rider-12_2026-03-04_road").is_dir()


def test_the_run_folder_is_short_and_private(tmp_path):
    work = WorkFolder(tmp_path / ("long" * 20))
    work.own.mkdir(parents=True)
    folder = lab.run_folder(work)
    assert len(str(folder)) < 60
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert folder.stat().st_uid == os.getuid()
    folder.rmdir()


def test_what_a_killed_lab_left_is_not_taken_for_a_running_one(work):
    told = {"url": "http://127.0.0.1:9/", "token": "x", "pid": 1}
    (lab.run_folder(work) / "jpserver-1.json").write_text(json.dumps(told), encoding="utf-8")
    (lab.run_folder(work) / "jpserver-2.json").write_text("{", encoding="utf-8")
    assert lab.find_running(work) is None


def test_films_and_power_files_come_with_the_session_that_names_them(work):
    demo = Path(__file__).resolve().parents[2] / "demo_sessions"
    taken = work.take_in(demo / "rider-105_2026-03-02_road.json")
    copied = sorted(path.name for path in taken.parent.glob("*.csv"))
    assert copied == [f"{taken.stem}_film_found.csv", f"{taken.stem}_film_trial3.csv"]
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in taken.parent.glob("*.csv"))


def test_the_notebooks_functions_stay_functions_however_often_a_cell_runs(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    for _ in range(2):
        assert workbench.papers(path) is workbench.papers(path)
        assert workbench.start(work.root) is workbench.start(work.root)


def test_each_paper_of_a_visit_is_made_private_by_its_button(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    for made in workbench.papers(path).children[0].children[:-1]:
        assert " s" in made.description  # how long it takes
        made.click()
    papers = {file.name: file for file in (work.root / "papers" / path.stem).rglob("*.html")}
    papers.pop("index.html", None)  # the record is made by a process of its own
    papers.pop("record.html", None)
    assert {*papers} == {"rider_sheet.html", "setting_strip.html", "workshop_slip.html", "room_sheet.html"}
    made_once(_Papers, path)._making.wait()
    made_once(_Papers, path)._look_at_record()
    record = work.root / "papers" / path.stem / "record" / path.stem / "record.html"
    assert record.relative_to(work.root).as_posix() in made_once(_Papers, path)._status.value
    papers["record.html"] = record
    assert all(stat.S_IMODE(file.stat().st_mode) == 0o600 for file in papers.values())


def page_of(work):
    return made_once(_Page, work)


def said(page):
    return page._status.value


def test_a_new_visit_asks_about_a_day_to_come_and_an_unknown_rider_and_takes_no_name(work):
    workbench.start(work.root)
    page = page_of(work)
    page._client.value, page._date.value = "Anna Berg", "2999-01-02"
    page._begun()
    assert "never a name" in said(page)
    assert "anna" not in said(page)
    page._client.value = "rider-9"
    page._begun()
    page._date.value = "2999-01-03"  # changed after it was asked: asked again
    page._begun()
    assert "2999-01-03 is still to come" in said(page)
    page._date.value = "2999-01-02"
    for asked in ("2999-01-02 is still to come", "No earlier visit has the id rider-9", "Begun: rider-9_2999-01-02"):
        assert work.sessions() == []
        page._begun()
        assert asked in said(page)
    assert page._client.value == ""  # an Enter too many begins nothing
    page._client.value, page._date.value = "rider-9", "25.11.2026"
    page._begun()
    assert "Did you mean 2026-11-25" in said(page)


def test_the_start_page_says_first_what_must_not_be_overlooked(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    gap = {"bike.left.heel_gap_heel_in_mm": (None, 0), "signs.0": (None, {"sign": "chest_pain"})}
    session.update(path, gap, fitter=None, at="2026-03-04T10:00:00")
    workbench.start(work.root)
    row = page_of(work)._visits.value.split("rider-1<br>")[1].split("</tr>")[0]
    last = row.split("<td>")[-1]
    assert last.startswith("<p><b>This hour: chest pain</b></p><p><b>Not safe as fitted: left: ")
    assert "cleat setback" in last.split("</p>")[-1]


def test_a_sign_is_on_the_start_page_even_where_the_visit_cannot_be_worked_out(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    wrong = {"bike.pedal_family": (None, "unheard-of"), "signs.0": (None, {"sign": "fever"})}
    session.update(path, wrong, fitter=None, at="2026-03-04T10:00:00")
    workbench.start(work.root)
    shown = page_of(work)._visits.value
    assert "Today: fever" in shown
    assert "cannot be worked out" in shown


def test_the_start_page_follows_what_another_window_does(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    workbench.start(work.root)
    page = page_of(work)
    before = page._state()
    session.update(path, {"signs.0": (None, {"sign": "fever"})}, fitter=None, at="2026-03-04T10:00:00")
    assert page._state() != before
    page._show()  # as the watch does
    assert "Today: fever" in page._visits.value
    assert "Changed in another window." in page._visits.value
    page.refresh()
    assert "Changed in another window." not in page._visits.value
    before = page._state()
    work.new_visit("rider-2", "2026-03-04", "road", access="owner")
    assert page._state() != before
    path.unlink()
    page._show()
    assert "rider-1" not in page._visits.value


def test_one_visit_is_taken_away_when_it_was_named_and_asked_twice(work):
    wrong = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    others = [
        work.new_visit(*each, access="owner")
        for each in (
            ("rider-1", "2026-01-05", "road"),
            ("rider-1", "2026-03-04", "track"),
            ("rider-2", "2026-03-04", "road"),
        )
    ]
    for path in (wrong, *others):
        work.open_visit(path)
        (work.root / "papers" / path.stem).mkdir()
    session.update(wrong, {"rider.mass_kg": (None, 74)}, fitter="f1", at="2026-03-04T10:00:00")
    then = []
    away = TakingAway(work, lambda: then.append(1))
    for typed, words in (
        ("", "Type which visit first."),
        ("rider-9 2026-03-04", "There is no such visit here."),
        (
            "rider-1 2026-03-04",
            "2 visits fit: rider-1, visit of 4 March 2026, track set-up; rider-1, visit of",
        ),
        ("rider-1 2026-03-04 road", "rider-1, visit of 4 March 2026, road set-up; 1 change saved in it."),
        (
            "rider-1 2026-01-05",
            "rider-1, visit of 5 January 2026, road set-up; nothing saved in it since",
        ),
        ("rider-1 2026-03-04 road", "The client&#x27;s 2 other visits would stay."),  # asked anew: another stood there
        ("rider-1 2026-03-04 road", "Nothing brings it back."),
    ):
        away._which.value = typed
        away._pressed()
        assert words in away._status.value
        assert wrong.exists()
    away._pressed()
    assert "Taken away: rider-1, visit of 4 March 2026, road set-up." in away._status.value
    assert then
    assert [path for path in work.root.rglob("*") if wrong.stem in path.name] == []
    for path in others:
        assert path.exists()
        assert (work.root / "visits" / path.stem).is_dir()
        assert (work.root / "papers" / path.stem).is_dir()


def test_an_empty_visit_hides_no_follow_up_that_is_due(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    session.update(path, {"follow_up_due": (None, "2026-03-20")}, fitter=None, at="2026-03-04T10:00:00")
    again = work.new_visit("rider-1", "2026-03-19", "road", access="owner")
    workbench.start(work.root)
    assert "rider-1, road: 2026-03-20 (overdue)" in page_of(work)._visits.value
    session.update(again, {"rider.mass_kg": (None, 74)}, fitter=None, at="2026-03-19T10:00:00")
    page_of(work)._look_again()
    assert "(overdue)" not in page_of(work)._visits.value


def made_record(path):
    """Let the button make the record, and return what is said."""
    papers = _Papers(path)
    papers._make_record()
    papers._making.wait()
    papers._look_at_record()
    return papers._status.value


@pytest.mark.parametrize("days", [["2026-03-04"], ["2025-03-04", "2026-03-04"]], ids=["first", "second"])
def test_the_record_from_the_button_is_compared_with_the_last_visit(work, days):
    for day in days:
        path = work.new_visit("rider-1", day, "road", access="owner")
        setback = {f"{position}.left.cleat_setback_mm": (None, [11, 11]) for position in ("as_found", "as_left")}
        session.update(path, setback, fitter="f1", at=f"{day}T10:00:00")
    assert "Open the page" in made_record(path)
    page = (work.root / "papers" / path.stem / "record" / path.stem / "record.html").read_text(encoding="utf-8")
    assert ("2025-03-04" in page or "4 March 2025" in page) is (len(days) == 2)


def test_without_consent_no_record_is_made_and_none_is_shown(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    session.update(path, {"consent.record": (None, False)}, fitter="f1", at="2026-03-04T10:00:00")
    said = made_record(path)
    assert "does not agree to a record" in said
    assert "Open the page" not in said
