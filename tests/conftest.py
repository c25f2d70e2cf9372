"""What several folders of tests share: records made once, and where the browser is."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from filelock import FileLock
from xdist.scheduler import LoadFileScheduling

ROOT = Path(__file__).resolve().parent.parent
DEMO_SESSIONS = ROOT / "demo_sessions"
# What takes longest begins first, so that no process is left with it at the end.
LONGEST_FIRST = (
    "screens",
    *(f"tests/faults/test_{name}.py" for name in ("processes", "surroundings", "engines", "cluster")),
    "tests/notebooks/test_notebooks.py",
    "pages",
)
CHROMIUM_HINT = "needs Chromium: apt-get install chromium fonts-liberation"


def pytest_xdist_make_scheduler(config, log):
    """Keep the tests of a file in one process, all that need the one Lab too, and those of papers in the browser."""

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = super()._split_scope(nodeid)
            if file in ("tests/screens/test_pages.py", "tests/screens/test_papers.py"):
                return "pages"
            return "screens" if file.startswith("tests/screens/") else file

        def _assign_work_unit(self, node):
            for scope in reversed(LONGEST_FIRST):
                if scope in self.workqueue:
                    self.workqueue.move_to_end(scope, last=False)
            super()._assign_work_unit(node)

    return Scheduling(config, log)


@pytest.fixture(scope="session")
def demo_reports(tmp_path_factory, worker_id) -> Path:
    """Return a report folder of the demonstration sessions, made by the README's command once for all processes."""
    own = tmp_path_factory.getbasetemp()
    shared = own if worker_id == "master" else own.parent
    out, done = shared / "demo-reports", shared / "demo-reports.done"
    with FileLock(shared / "demo-reports.lock"):
        if not done.exists():
            command = [sys.executable, "-W", "error", "-m", "fitkit", "report", str(DEMO_SESSIONS), "--out", str(out)]
            made = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
            assert made.returncode == 0, made.stderr
            done.touch()
    return out


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return Chromium's path; without it the test is skipped with the line that brings it, never in CI."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(CHROMIUM_HINT)
        pytest.skip(CHROMIUM_HINT)
    return found
