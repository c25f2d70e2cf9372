"""What several folders of tests share: records made once, and where the browser is."""

import os
import shutil
from pathlib import Path

import pytest
from xdist.scheduler import LoadFileScheduling

ROOT = Path(__file__).resolve().parent.parent
DEMO_SESSIONS = ROOT / "demo_sessions"
CHROMIUM_HINT = "needs Chromium: apt-get install chromium fonts-liberation"


def pytest_xdist_make_scheduler(config, log):
    """Keep the tests of a file in one process, and all that need the one Lab and the one browser in another."""

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = super()._split_scope(nodeid)
            return "screens" if file.startswith("tests/screens/") else file

    return Scheduling(config, log)


@pytest.fixture(scope="session")
def demo_reports(tmp_path_factory) -> Path:
    """Return a report folder made from the demonstration sessions, as the README's command makes it."""
    from fitkit.__main__ import main

    out = tmp_path_factory.mktemp("demo") / "reports"
    assert main(["report", str(DEMO_SESSIONS), "--out", str(out)]) == 0
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
