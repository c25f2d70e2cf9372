"""The command a clinic types, with the kit's own notebook and pages."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

from fitkit.assessment import RESULT_NAMES
from fitkit.batch.processes import find_browser

CHECKOUT = Path(__file__).parents[2]
SESSION = CHECKOUT / "tests" / "unit" / "data" / "rider-042_2026-03-04_road.json"


def report(sessions, out, *words):
    command = [sys.executable, "-W", "error", "-m", "fitkit", "report", str(sessions), "--out", str(out), *words]
    return subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True, check=False)


def test_a_record_is_private_whole_and_the_same_each_time(tmp_path):
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    shutil.copy(SESSION, sessions)
    for name in ("one", "two"):
        done = report(sessions, tmp_path / name)
        assert done.returncode == 0, done.stderr
    folder = tmp_path / "one" / SESSION.stem
    results = json.loads((folder / "results.json").read_bytes())
    assert results["session"] == SESSION.stem
    assert [result["name"] for result in results["results"]] == list(RESULT_NAMES)
    for path in folder.iterdir():
        assert path.read_bytes() == (tmp_path / "two" / SESSION.stem / path.name).read_bytes(), path.name
        assert str(tmp_path) not in path.read_text(encoding="utf-8")
        assert str(CHECKOUT) not in path.read_text(encoding="utf-8")
    for name in ("index.html", "summary.csv"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    for name in ("record.html", "rider_sheet.html"):
        page = (folder / name).read_text(encoding="utf-8")
        assert "default-src 'none'" in page
        assert not re.search(r"<script|src=\"(?!data:)", page)


def test_pages_as_pdf_where_there_is_a_chromium_and_else_words(tmp_path):
    done = report(SESSION, tmp_path / "out", "--pdf")
    if find_browser() is None:
        assert done.returncode == 2
        assert "--pdf needs Chromium" in done.stderr
        return
    assert done.returncode == 0, done.stderr
    for name in ("record.pdf", "rider_sheet.pdf"):
        path = tmp_path / "out" / SESSION.stem / name
        assert path.read_bytes().startswith(b"%PDF")
        assert path.stat().st_mode & 0o777 == 0o600
