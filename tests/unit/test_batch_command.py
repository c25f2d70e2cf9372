"""The command line: what it prints and returns."""

import json

import pytest

from fitkit import session
from fitkit.__main__ import main
from fitkit.batch.folder import opened
from fitkit.files import Access


@pytest.fixture
def call(capsys):
    """Return a function that carries out a command and returns its exit code, output and messages."""

    def call(*words):
        try:
            code = main([str(word) for word in words])
        except SystemExit as end:
            code = end.code
        return code, *capsys.readouterr()

    return call


def test_new_writes_a_session_and_prints_its_path_and_never_overwrites(call, tmp_path):
    code, printed, said = call("new", "rider-7", "--setup", "gravel", "--in", tmp_path)
    assert code == 0
    (path,) = tmp_path.glob("rider-7_*_gravel.json")
    assert printed == f"{path}\n"
    assert "rider-7 is a new client" in said
    before = path.read_bytes()
    path.write_bytes(before + b"\n")
    code, printed, said = call("new", "rider-7", "--setup", "gravel", "--in", tmp_path)
    assert (code, printed) == (1, "")
    assert str(path) in said
    assert path.read_bytes() == before + b"\n"


@pytest.mark.parametrize("client", ["../rider", "Rider", "", "r" * 41, "rider_1", "rider\n"])
def test_new_refuses_what_is_no_client_id(call, tmp_path, client):
    code, _, said = call("new", client, "--in", tmp_path)
    assert code == 2
    assert "expected 1 to 40 small letters, digits and hyphens" in said
    assert list(tmp_path.iterdir()) == []


def test_new_refuses_what_is_no_setup(call, tmp_path):
    code, _, said = call("new", "rider-1", "--setup", "Road Bike", "--in", tmp_path)
    assert code == 2
    assert "Road Bike" in said


def test_check_is_fine_with_a_fine_file_and_prints_all_problems_of_others(call, tmp_path):
    call("new", "rider-7", "--in", tmp_path)
    code, printed, _ = call("check", tmp_path)
    assert code == 0
    assert ": fine\n" in printed
    document = {"format": "cleat-stance-session", "version": 1, "client_id": "x", "visit_date": "2026-03-04"}
    document |= {"setup": "road", "rider": {"stature_mm": "tall", "mass_kg": True}, "b\x1b[2J": 1}
    bad = tmp_path / "x_2026-03-04_road.json"
    bad.write_text(json.dumps(document), encoding="utf-8")
    before = bad.read_bytes()
    code, printed, _ = call("check", tmp_path)
    assert code == 1
    assert f"{bad}: 3 problems\n" in printed
    assert printed.count("\n  - ") == 3
    assert "\x1b" not in printed
    assert bad.read_bytes() == before


def test_check_asks_about_unusual_values_and_missing_files(call, tmp_path):
    document = {"format": "cleat-stance-session", "version": 1, "client_id": "x", "visit_date": "2026-03-04"}
    document |= {"setup": "road", "rider": {"stature_mm": 1300}, "ride": {"films": [{"file": "a.mp4"}]}}
    (tmp_path / "x_2026-03-04_road.json").write_text(json.dumps(document), encoding="utf-8")
    code, printed, _ = call("check", tmp_path)
    assert code == 0
    assert "rider.stature_mm is 1300" in printed
    assert "a.mp4 is named in the session and not there" in printed


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("check",),
        ("report", "x"),
        ("report", "nowhere", "--out", "out"),
        ("check", "nowhere"),
        ("report", ".", "--out", "out", "--workers", "0"),
        ("report", ".", "--out", "out", "--workers", "two"),
        ("check", ".", "--rules", "nowhere.json"),
        ("forget", "rider-1", "--in", "nowhere"),
        ("forget", "rider-1"),
        ("frobnicate",),
    ],
)
def test_wrong_calls_end_with_2_and_say_why(call, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    code, printed, said = call(*words)
    assert code == 2
    assert printed == ""
    assert said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("before", [True, False])
def test_house_rules_are_taken_before_and_after_the_command(call, tmp_path, before):
    rules = tmp_path / "rules.json"
    rules.write_text("{}", encoding="utf-8")
    words = ("--rules", rules, "check", tmp_path) if before else ("check", tmp_path, "--rules", rules)
    code, _, said = call(*words)
    assert code == 2
    assert "rules.json: " in said


@pytest.mark.parametrize("words", [("--help",), ("report", "--help"), ("new", "--help"), ("forget", "--help")])
def test_help_answers(call, words):
    code, printed, _ = call(*words)
    assert code == 0
    assert "python -m fitkit" in printed


def test_forget_removes_a_client_everywhere_and_no_other(call, tmp_path):
    sessions, out = tmp_path / "sessions", tmp_path / "out"
    for client in ("rider-1", "rider-10"):
        call("new", client, "--in", sessions)
        # A workbench's own folders beside the sessions.
        (sessions / "visits" / f"{client}_2026-03-04_road").mkdir(parents=True)
        record = out / f"{client}_2026-03-04_road"
        record.mkdir(parents=True)
        (record / "results.json").write_text('{"results": []}', encoding="utf-8")
    (out / ".cleat-stance-reports").touch()
    line = {"run": "1", "at": "", "file": "", "status": "made", "key": "rider-10_2026-03-04_road"}
    lines = [line, line | {"key": "rider-1_2026-03-04_road"}, line | {"key": None, "file": "/x/rider-1_bad.json"}]
    (out / "runlog.jsonl").write_text("".join(json.dumps(item) + "\n" for item in lines) + '{"key": "rider-1', "utf-8")
    code, _, _ = call("forget", "rider-1", "--in", sessions, "--out", out)
    assert code == 0
    left = [path for path in tmp_path.rglob("*") if "rider-1_" in path.name]
    assert left == []
    for name in ("runlog.jsonl", "index.html", "summary.csv"):
        text = (out / name).read_text(encoding="utf-8")
        assert "rider-10" in text
        assert "rider-1_" not in text
        assert '"rider-1' not in text.replace('"rider-10', "")
    assert len(list(sessions.glob("rider-10_*.json"))) == 1
    code, _, said = call("forget", "rider-1", "--in", sessions, "--out", out)
    assert code == 1
    assert "nothing found of rider-1" in said


def test_forget_meets_a_run_before_it_removes_anything(call, tmp_path):
    sessions, out = tmp_path / "sessions", tmp_path / "out"
    call("new", "rider-1", "--in", sessions)
    with opened(out, Access()):
        code, _, said = call("forget", "rider-1", "--in", sessions, "--out", out)
    assert code == 2
    assert "is being written by another run" in said
    assert len(list(sessions.glob("rider-1_*.json"))) == 1


def test_a_forget_that_was_killed_is_completed_by_the_next(call, tmp_path):
    sessions, out = tmp_path / "sessions", tmp_path / "out"
    call("new", "rider-2", "--in", sessions)
    with opened(out, Access()):
        pass
    for name in ("index.html", "summary.csv"):
        (out / name).write_text("rider-1_2026-03-04_road", encoding="utf-8")
    # The session and the record were removed already.
    call("forget", "rider-1", "--in", sessions, "--out", out)
    for name in ("index.html", "summary.csv"):
        assert "rider-1" not in (out / name).read_text(encoding="utf-8")


def test_forget_says_that_records_may_stand_elsewhere_and_which_files_were_left(call, tmp_path):
    sessions = tmp_path / "sessions"
    call("new", "rider-1", "--in", sessions)
    assert "Records and overviews may stand elsewhere" in call("forget", "rider-1", "--in", sessions)[2]
    call("new", "rider-1", "--in", sessions)
    path = next(sessions.glob("rider-1_*.json"))
    film = tmp_path / "film.csv"
    film.touch()
    path.write_text(
        json.dumps(json.loads(path.read_bytes()) | {"ride": {"films": [{"file": str(film)}]}}), encoding="utf-8"
    )
    code, _, said = call("forget", "rider-1", "--in", sessions)
    assert code == 1
    assert f"{film}: outside the folder" in said
    assert film.exists()
    assert not path.exists()


def test_forget_takes_one_visit_away_and_leaves_the_clients_others(call, tmp_path):
    sessions, out = tmp_path / "sessions", tmp_path / "out"
    keys = ["rider-1_2026-01-05_road", "rider-1_2026-03-04_road", "rider-1_2026-03-04_track"]
    for key in keys:
        client, day, setup = key.split("_")
        session.new(client, day, setup, sessions)
        (sessions / "visits" / key).mkdir(parents=True)
        (out / key).mkdir(parents=True)
        (out / key / "results.json").write_text('{"results": []}', encoding="utf-8")
    (out / ".cleat-stance-reports").touch()
    line = {"run": "1", "at": "", "status": "made"}
    lines = [line | {"key": key, "file": f"{key}.json"} for key in keys]
    (out / "runlog.jsonl").write_text("".join(json.dumps(item) + "\n" for item in lines), encoding="utf-8")
    both = ("--in", sessions, "--out", out)
    code, _, said = call("forget", "rider-1", *both, "--visit", "2026-03-04")
    assert code == 2
    assert "2 visits on 2026-03-04: rider-1_2026-03-04_road, rider-1_2026-03-04_track" in said
    code, _, said = call("forget", "rider-1", *both, "--visit", "2026-03-05")
    assert code == 1
    assert "nothing found of rider-1 on 2026-03-05" in said
    for words in (("rider-1", "--visit", "4 March"), ("rider-1", "--visit", "2026-03")):
        assert call("forget", *words, *both)[0] == 2
    assert all(list(tmp_path.rglob(f"{key}.json")) for key in keys)
    code, printed, _ = call("forget", "rider-1", *both, "--visit", "2026-01-05")
    assert code == 0
    assert keys[0] in printed
    assert [path for path in tmp_path.rglob("*") if path.name.strip(".").startswith(keys[0])] == []
    assert call("forget", "rider-1", *both, "--visit", "2026-03-04_road")[0] == 0
    left = {path.name for path in tmp_path.rglob("rider-1_*")}
    assert left == {keys[2], f"{keys[2]}.json", f"{keys[2]}.history.jsonl"}
    for name in ("runlog.jsonl", "index.html", "summary.csv"):
        text = (out / name).read_text(encoding="utf-8")
        assert "2026-03-04" in text
        assert "2026-01-05" not in text
        assert "_road" not in text
