"""The command ``open``: one thing to open, with one command."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import sys
import webbrowser
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from fitkit.session import SessionProblems
from fitkit.workbench import lab
from fitkit.workbench.folder import WorkFolder, WorkFolderError, default_folder

__all__ = ["open_command"]

_FINE, _PROBLEMS, _WRONG_CALL = 0, 1, 2
_OPENING_LIMIT_S = 90


class _Stopped(BaseException):
    """Somebody asked this process to end."""


def open_command(session: Path | None, work: Path | None, browser: bool) -> int:
    """Open the workbench, or find the one that runs, and show it."""
    folder = WorkFolder((work or default_folder()).absolute())
    try:
        folder.prepare()
        notebook = _notebook_for(folder, session)
        with FileLock(folder.own / "opening.lock", timeout=_OPENING_LIMIT_S, mode=0o600):
            running, process = lab.find_running(folder), None
            if running is None:
                process, running = lab.start(folder)
    except SessionProblems as error:
        sys.stderr.write(f"{error}\n")
        return _WRONG_CALL
    except (WorkFolderError, Timeout, OSError) as error:
        sys.stderr.write(f"{error}\n")
        return _PROBLEMS
    _show(running.address(notebook), browser)
    return _serve(process) if process else _FINE


def _notebook_for(folder: WorkFolder, session: Path | None) -> str:
    if session is None:
        return "start_here.ipynb"
    before = folder.session_path(session.stem)
    taken = folder.take_in(session)
    if before is None:
        sys.stderr.write(f"{session.name} was copied into the work folder: {taken}\n")
    visit = folder.open_visit(taken)
    return f"visits/{visit.name}/1_intake.ipynb"


def _show(address: str, browser: bool) -> None:
    shown = False
    if browser:
        with contextlib.suppress(webbrowser.Error):
            shown = webbrowser.open(address)
    if shown:
        print(f"The workbench is open in your browser: {address}", flush=True)
    else:
        print(address if not browser else f"No browser could be opened. Open this yourself: {address}", flush=True)


@contextlib.contextmanager
def _until_told() -> Iterator[None]:
    def told(*_: object) -> None:
        raise _Stopped

    before = {number: signal.signal(number, told) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _serve(process: subprocess.Popen) -> int:
    """Wait until Lab ends or somebody ends this command; leave nothing running."""
    print("Stop it with Ctrl+C; what was saved stays.", flush=True)
    try:
        with _until_told():
            code = process.wait()
    except _Stopped:
        lab.stop(process)
        print("Stopped.", flush=True)
        return _FINE
    lab.stop(process)
    return _FINE if code == 0 else _PROBLEMS
