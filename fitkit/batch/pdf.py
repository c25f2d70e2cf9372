"""Pages as PDF, made by a Chromium found on the computer; the page cannot reach the network while it is printed."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

from fitkit.batch.processes import end_group, memory_limit
from fitkit.words import one_line

__all__ = ["PrintError", "find_browser", "print_page"]

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pdf-header-footer",
    # No name is looked up, and what asks for an address directly meets a port nobody serves.
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=127.0.0.1:9",
)
_LIMIT_S = 60


class PrintError(Exception):
    """A page could not be made into a PDF; its text says why."""


def find_browser() -> str | None:
    """Return the path of a Chromium, None where there is none."""
    return next((found for name in _NAMES if (found := shutil.which(name))), None)


def print_page(browser: str, page: Path, target: Path, *, started: Callable[[int], None]) -> None:
    """Print an HTML file to a PDF file."""
    with tempfile.TemporaryDirectory(prefix="p", dir=os.environ["JUPYTER_RUNTIME_DIR"]) as profile:
        command = [browser, *_OPTIONS, f"--user-data-dir={profile}", f"--print-to-pdf={target}", page.as_uri()]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            # Chromium refuses to start for the administrator without this.
            command.insert(1, "--no-sandbox")
        # A browser does not run within this process's own limit.
        with memory_limit(None):
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "HOME": profile},
                start_new_session=True,
            )
        started(process.pid)
        try:
            process.wait(_LIMIT_S)
        except subprocess.TimeoutExpired:
            raise PrintError(f"{page.name} could not be printed within {_LIMIT_S} s") from None
        finally:
            end_group(process.pid)
            process.wait()
    if not target.is_file() or not target.read_bytes().startswith(b"%PDF"):
        raise PrintError(
            f"{page.name} could not be printed: {one_line(Path(browser).name)} ended with {process.returncode}"
        )
