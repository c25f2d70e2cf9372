"""Odd folders, odd machines and odd inputs: full disk, no home, other letters, links, hostile files."""

import contextlib
import json
import os
import shutil
import stat
import subprocess

import pytest

from tests.faults.conftest import CHECKOUT


def rights(path):
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture
def small_disk(tmp_path):
    """Return a folder on a disk of its own with 400 kB, None where this machine lets nobody make one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(disk)]
    try:
        subprocess.run(command, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        yield None
        return
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_full_disk_fails_visits_and_half_a_record_stands_nowhere(clinic, small_disk):
    # One visit shows more than the disk holds; where no small disk can be made, its files are refused instead.
    large = "session.startswith('large')" if small_disk else "False"
    clinic.notebook(f"if {large}:\n    print('x' * 1_000_000)")
    good, other, bad = clinic.visit("a-good"), clinic.visit("b-good"), clinic.visit("large")
    if small_disk:
        clinic.out = small_disk / "out"
    else:
        clinic.environment["FULL_DISK_FOR"] = bad
    done = clinic.report()
    assert done.returncode == 1, done.stderr
    assert clinic.statuses() == {good: "made", other: "made", bad: "failed"}
    assert clinic.summary()[bad]["reason"] == "the disk is full; make room, then run again"
    assert clinic.whole(good)
    assert clinic.whole(other)
    assert not (clinic.out / bad).exists()
    clinic.nothing_left_over()
    clinic.notebook()
    clinic.environment.pop("FULL_DISK_FOR", None)
    assert clinic.report().returncode == 0
    assert clinic.whole(bad)


def test_a_disk_without_any_room_is_a_wrong_call_or_says_what_could_not_be_written(clinic, small_disk):
    good = clinic.visit("good")
    if small_disk is None:
        clinic.environment["FULL_DISK_FOR"] = "index.html"
    else:
        clinic.out = small_disk / "out"
        assert clinic.report().returncode == 0
        before = (clinic.out / "index.html").read_bytes()
        with contextlib.suppress(OSError), (small_disk / "filler").open("wb") as file:
            while True:
                file.write(bytes(4096))
                file.flush()
        clinic.notebook("pass  # changed")
    done = clinic.report()
    assert done.returncode in (1, 2)
    assert "No space left" in done.stderr or "full" in done.stderr
    assert "Traceback" not in done.stderr
    if small_disk:
        assert (clinic.out / "index.html").read_bytes() == before
        assert clinic.whole(good)


@pytest.mark.parametrize("home", ["/dev/null/nowhere", None])
def test_no_home_to_write_to(clinic, home):
    for name in ("HOME", "XDG_RUNTIME_DIR", "XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        clinic.environment.pop(name, None)
        if home:
            clinic.environment[name] = home
    key = clinic.visit("rider-1")
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert clinic.whole(key)


@pytest.mark.parametrize("language", ["C", "POSIX"])
def test_other_letters_and_long_names_under_a_plain_locale(clinic, language):
    clinic.environment |= {"LC_ALL": language, "LANG": language}
    folder = clinic.folder / "Größe {braces} 100 % 'ü' \u202e" / ("n" * 200)
    folder.mkdir(parents=True)
    clinic.out = folder / "out"
    shutil.move(clinic.sessions, folder / "sessions")
    clinic.sessions = folder / "sessions"
    shutil.copy(clinic.notebook_path, folder / "client_report.ipynb")
    clinic.notebook_path = folder / "client_report.ipynb"
    key = clinic.visit("rider-1", complaints=[{"region": "heel", "side": "left", "severity": 1, "since": "2025"}])
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert clinic.whole(key)
    assert "\u202e" not in done.stderr


def test_links_and_read_only_input_stay_as_they_were(clinic):
    key, linked = clinic.visit("rider-1"), clinic.visit("rider-2")
    elsewhere = clinic.folder / "elsewhere"
    elsewhere.mkdir()
    real = elsewhere / f"{linked}.json"
    (clinic.sessions / f"{linked}.json").rename(real)
    (clinic.sessions / f"{linked}.json").symlink_to(real)
    (clinic.folder / "link").symlink_to(clinic.sessions)
    for path in (real, clinic.sessions / f"{key}.json"):
        path.chmod(0o400)
    clinic.sessions.chmod(0o500)
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns, rights(path)) for path in clinic.sessions.iterdir()}
    sessions, clinic.sessions = clinic.sessions, clinic.folder / "link"
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert clinic.statuses() == {key: "made", linked: "made"}
    assert before == {path: (path.read_bytes(), path.stat().st_mtime_ns, rights(path)) for path in sessions.iterdir()}
    sessions.chmod(0o700)


def test_reports_inside_the_sessions_folder_are_private_and_not_taken_for_sessions(clinic):
    clinic.out = clinic.sessions / "reports"
    first, second = clinic.visit("rider-1", "2025-01-01"), clinic.visit("rider-1")
    for status in ("made", "unchanged"):
        done = clinic.report()
        assert done.returncode == 0, done.stderr
        assert clinic.statuses() == {first: status, second: status}
    for path in [clinic.out, *clinic.out.rglob("*")]:
        assert rights(path) == (0o700 if path.is_dir() else 0o600), path
    clinic.nothing_left_over()


def test_a_changed_template_makes_all_again(clinic):
    keys = [clinic.visit("rider-1"), clinic.visit("rider-2")]
    assert clinic.report().returncode == 0
    clinic.notebook("pass  # changed")
    assert clinic.report().returncode == 0
    assert clinic.statuses() == dict.fromkeys(keys, "made")


def test_changed_house_rules_make_all_again_and_changed_times_none(clinic):
    keys = [clinic.visit("rider-1"), clinic.visit("rider-2")]
    rules = clinic.folder / "rules.json"
    own = json.loads((CHECKOUT / "templates" / "house_rules.json").read_text(encoding="utf-8"))
    rules.write_text(json.dumps(own), encoding="utf-8")
    assert clinic.report("--rules", rules).returncode == 0
    assert clinic.statuses() == dict.fromkeys(keys, "made")
    for year, key in enumerate(keys):  # a clock set back, and one set forward
        os.utime(clinic.sessions / f"{key}.json", (year * 4e9, year * 4e9))
    assert clinic.report("--rules", rules).returncode == 0
    assert clinic.statuses() == dict.fromkeys(keys, "unchanged")
    own["spread"]["cleat_setback_mm"] = 1.4
    rules.write_text(json.dumps(own), encoding="utf-8")
    assert clinic.report("--rules", rules).returncode == 0
    assert clinic.statuses() == dict.fromkeys(keys, "made")


def test_a_notebook_sees_copies_of_its_inputs_and_nothing_else(clinic):
    clinic.notebook(SEES)
    clinic.visit("rider-1", "2025-01-01", rider={"mass_kg": 70})
    key = clinic.visit("rider-1", fitter_id="f1", ride={"films": [{"file": "json.py"}, {"file": "films/left.mp4"}]})
    study = {"fitter_id": "f1", "date": "2026-01-01"}
    study |= {"place_sd_mm": 1, "place_df": 9, "spread_sd_mm": 1, "spread_df": 9}
    for name, text in {
        "fitters/f1.json": json.dumps(study),
        "films/left.mp4": "film",
        "films/right.mp4": "not named",
        "json.py": "raise SystemExit('a film was imported')",
        "colorsys.py": "not named",
    }.items():
        path = clinic.sessions / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    text = (clinic.out / key / "record.ipynb").read_text(encoding="utf-8")
    seen = json.loads(text)["cells"][2]["outputs"][0]["text"]
    assert "".join(seen).split() == [
        "films/left.mp4",
        "fitters/f1.json",
        "json.py",
        "previous/rider-1_2025-01-01_road.json",
        f"{key}.json",
    ]
    assert str(clinic.folder) not in text


SEES = """
import json, sys
from pathlib import Path
assert "" not in sys.path and "." not in sys.path
print("\\n".join(sorted(str(path) for path in Path().rglob("*") if path.is_file())))
"""


def test_the_same_input_gives_the_same_bytes(clinic):
    clinic.visit("rider-1"), clinic.visit("rider-2")
    clinic.report()
    first, clinic.out = clinic.out, clinic.folder / "elsewhere" / "out"
    clinic.report("--workers", "1")
    names = sorted(str(path.relative_to(first)) for path in first.rglob("*") if path.is_file())
    assert names == sorted(str(path.relative_to(clinic.out)) for path in clinic.out.rglob("*") if path.is_file())
    for name in names:
        if name != "runlog.jsonl":
            assert (first / name).read_bytes() == (clinic.out / name).read_bytes(), name


def test_hostile_files_beside_good_ones(clinic):
    good = [clinic.visit("good-1"), clinic.visit("good-2")]
    document = json.loads((clinic.sessions / f"{good[0]}.json").read_bytes())
    twice = json.dumps(document | {"client_id": "twice"})
    hostile = {
        "large_2026-03-04_road.json": json.dumps(
            document | {"client_id": "large", "fitter_id": "x" * 10_000_000}
        ).encode(),
        "deep_2026-03-04_road.json": b"[" * 200_000,
        "climb_2026-03-04_road.json": json.dumps(document | {"client_id": "../../climb"}).encode(),
        "bom_2026-03-04_road.json": b"\xef\xbb\xbf" + json.dumps(document | {"client_id": "bom"}).encode(),
        "wide_2026-03-04_road.json": json.dumps(document | {"client_id": "wide"}).encode("utf-16"),
        "empty_2026-03-04_road.json": b"",
        "nan_2026-03-04_road.json": json.dumps(
            document | {"client_id": "nan", "rider": {"mass_kg": float("nan")}}
        ).encode(),
        "script_2026-03-04_road.json": json.dumps(
            document | {"client_id": "script", "<script>\x1b[2J": "=cmd()"}
        ).encode(),
        "a/twice_2026-03-04_road.json": twice.encode(),
        "b/twice_2026-03-04_road.json": twice.encode(),
        "=cmd().json": b"{}",
    }
    for name, data in hostile.items():
        (clinic.sessions / name).parent.mkdir(exist_ok=True)
        (clinic.sessions / name).write_bytes(data)
    (clinic.sessions / "folder_2026-03-04_road.json").mkdir()
    os.mkfifo(clinic.sessions / "pipe_2026-03-04_road.json")
    (clinic.sessions / os.fsdecode(b"\xff\x1b[2J.json")).touch()
    done = clinic.report()
    assert done.returncode == 1, done.stderr
    made = [key for key, status in clinic.statuses().items() if status == "made"]
    assert made == good
    assert all(clinic.whole(key) for key in good)
    failed = [row for row in clinic.summary().values() if row["status"] == "failed"]
    # Both files of the visit there twice stand in one row.
    assert len(failed) == len(hostile) - 1 + 3
    assert all(row["reason"] for row in failed)
    told = done.stderr + clinic.index() + (clinic.out / "summary.csv").read_text(encoding="utf-8")
    assert "\x1b" not in told
    assert "<script" not in clinic.index()
    for name, data in hostile.items():
        assert (clinic.sessions / name).read_bytes() == data
    assert not (clinic.folder / "climb_2026-03-04_road").exists()
