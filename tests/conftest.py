"""What several folders of tests share: records made once, and where the browser is."""

import os
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DEMO_SESSIONS = ROOT / "demo_sessions"
CHROMIUM_HINT = "needs Chromium: apt-get install chromium fonts-liberation"


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
