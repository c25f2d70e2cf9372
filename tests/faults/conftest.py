"""A clinic in a test's own folder, whose records come from a small notebook in real kernels."""

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

DRIVER = Path(__file__).parent / "driver.py"
CHECKOUT = Path(__file__).parents[2]
# Long enough for a slow machine; nothing is asserted about time.
PATIENCE_S = 90

PARAMETERS = '# Which visit\nsession = ""'
RESULTS = """
# Results
from pathlib import Path
from IPython.display import display
key = Path(session).stem
results = {"format": "cleat-stance-results", "version": 1, "session": key,
           "results": [{"name": "hip.spacing", "value": 150.0}]}
display({"application/vnd.cleat-stance-results+json": results,
         "application/vnd.cleat-stance-sheet+json": {"title": key}, "text/plain": "results"}, raw=True)
"""


class Clinic:
    """Sessions, a notebook, a report folder, and runs over them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sessions = folder / "sessions"
        self.out = folder / "out"
        self.notes = folder / "notes"
        self.notebook_path = folder / "templates" / "client_report.ipynb"
        self.environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "NOTES": str(self.notes)}
        self.cell_s, self.notebook_s = 60, 300
        for path in (self.sessions, self.notes, self.notebook_path.parent):
            path.mkdir(parents=True)
        self.notebook()

    def notebook(self, fault: str = "pass", results: str = RESULTS) -> None:
        """Write the notebook: its parameter, a cell with a fault, the results."""
        cells = [new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]})]
        cells += [new_code_cell(f"# The fault\n{fault}"), new_code_cell(results.strip())]
        for index, cell in enumerate(cells):
            cell.id = f"cell-{index}"
        nbformat.write(new_notebook(cells=cells), self.notebook_path)

    def visit(self, client: str, date: str = "2026-03-04", **more: object) -> str:
        """Write a session file and return its key."""
        key = f"{client}_{date}_road"
        document = {"format": "cleat-stance-session", "version": 1, "client_id": client, "visit_date": date}
        text = json.dumps(document | {"setup": "road", **more})
        (self.sessions / f"{key}.json").write_text(text, encoding="utf-8")
        return key

    def command(self, *words: object) -> list[str]:
        """Return the whole command of a run."""
        begun = [sys.executable, "-W", "error", str(DRIVER), str(self.notebook_path), str(self.cell_s)]
        return [*begun, str(self.notebook_s), *(str(word) for word in words)]

    def report(self, *words: object) -> subprocess.CompletedProcess:
        """Run a batch to its end."""
        command = self.command("report", self.sessions, "--out", self.out, *words)
        return subprocess.run(
            command,
            env=self.environment,
            cwd=self.folder,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )

    def start(self, *words: object) -> subprocess.Popen:
        """Begin a batch and return its process."""
        command = self.command("report", self.sessions, "--out", self.out, *words)
        return subprocess.Popen(
            command,
            env=self.environment,
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def summary(self) -> dict[str, dict]:
        """Return the summary's rows by key."""
        text = (self.out / "summary.csv").read_text(encoding="utf-8")
        return {row["key"]: row for row in csv.DictReader(io.StringIO(text))}

    def statuses(self) -> dict[str, str]:
        """Return each visit's status."""
        return {key: row["status"] for key, row in self.summary().items()}

    def log(self) -> list[dict]:
        """Return the run log's lines."""
        return [json.loads(line) for line in (self.out / "runlog.jsonl").read_text(encoding="utf-8").splitlines()]

    def index(self) -> str:
        """Return the index."""
        return (self.out / "index.html").read_text(encoding="utf-8")

    def whole(self, key: str) -> bool:
        """Whether a visit's record stands in its place with all its files, none of them cut off."""
        folder = self.out / key
        names = ("record.ipynb", "record.html", "rider_sheet.html", "results.json")
        if sorted(path.name for path in folder.iterdir()) != sorted(names):
            return False
        json.loads((folder / "record.ipynb").read_bytes())
        return json.loads((folder / "results.json").read_bytes())["session"] == key

    def note(self, name: str) -> str:
        """Wait for a note that a notebook leaves and return what it says."""
        path = self.notes / name
        wait_for(lambda: path.exists() and path.read_text(encoding="utf-8").endswith("."))
        return path.read_text(encoding="utf-8").rstrip(".")

    def ended(self) -> None:
        """Wait until all processes that the bad visit's notebook noted have ended."""
        pids = self.pids("pids-bad")
        wait_for(lambda: not any(is_running(pid) for pid in pids))

    def nothing_left_over(self) -> None:
        """Demand that the run cleared up behind itself."""
        assert not list(self.out.glob(".making/*"))
        assert not list(self.out.glob(".*.tmp"))

    def pids(self, name: str) -> list[int]:
        """Return the processes a notebook noted."""
        return [int(word) for word in self.note(name).split()]


def wait_for(condition) -> None:
    """Wait until something is so."""
    end = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > end:
            pytest.fail("waited in vain")
        time.sleep(0.05)


def is_running(pid: int) -> bool:
    """Whether a process runs; one that has ended and only waits to be noticed does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


@pytest.fixture
def clinic(tmp_path):
    """Return a clinic; whatever its notebooks noted of their processes is ended afterwards."""
    clinic = Clinic(tmp_path)
    yield clinic
    for path in clinic.notes.glob("pids-*"):
        for word in path.read_text(encoding="utf-8").rstrip(".").split():
            if is_running(int(word)):
                os.kill(int(word), signal.SIGKILL)
