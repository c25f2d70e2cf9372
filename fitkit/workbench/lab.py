"""The command ``open``: Lab on the work folder is started or found again, shown, and stopped with the command.

Its settings reach Lab through the environment only.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
import webbrowser
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from filelock import FileLock, Timeout

from fitkit import files
from fitkit.session import SessionProblems
from fitkit.workbench.folder import WorkFolder, WorkFolderError, default_folder

_FINE, _PROBLEMS, _WRONG_CALL = 0, 1, 2
_OPENING_LIMIT_S = 90

_LONGEST_RUN_PATH = 50  # a socket's path may have 104 characters, and Lab adds about 45
_START_LIMIT_S = 60
_STOP_LIMIT_S = 15
_FIRST_PORT = 8940


@dataclass(frozen=True)
class Running:
    """A Lab that answers."""

    url: str  # its address, with a slash at the end
    token: str  # what lets a browser in
    pid: int  # its process

    def address(self, notebook: str = "start_here.ipynb") -> str:
        """Return what to open in a browser to see a notebook of the work folder."""
        return f"{self.url}doc/workspaces/fit/tree/{quote(notebook)}?token={self.token}"

    def begin(self, notebook: str) -> None:
        """Let a notebook's kernel get ready while the browser opens; without it the notebook starts its own."""
        about = {"path": notebook, "name": notebook, "type": "notebook", "kernel": {"name": "python3"}}
        with contextlib.suppress(OSError, ValueError):
            _ask(self, "api/sessions", json.dumps(about).encode())


def run_folder(work: WorkFolder) -> Path:
    """Return the private folder for what runs: in the work folder, or a short one where that path is too long."""
    folder = work.own / "run"
    if len(str(folder.resolve())) > _LONGEST_RUN_PATH:
        name = hashlib.sha256(str(work.root.resolve()).encode()).hexdigest()[:10]
        folder = Path(tempfile.gettempdir()) / f"fit-{name}"
    folder.mkdir(mode=0o700, exist_ok=True)
    found = folder.lstat()
    if hasattr(os, "getuid") and (found.st_uid != os.getuid() or folder.is_symlink()):
        raise WorkFolderError(f"{folder} belongs to somebody else; set TMPDIR to a folder of your own")
    folder.chmod(0o700)
    return folder


def find_running(work: WorkFolder) -> Running | None:
    """Return the Lab that serves this work folder, None where none answers."""
    for path in run_folder(work).glob("jpserver-*.json"):
        try:
            written = json.loads(path.read_text(encoding="utf-8"))
            running = Running(written["url"], written["token"], written["pid"])
        except (OSError, ValueError, KeyError):
            continue
        if _answers(running):
            return running
    return None


def _answers(running: Running) -> bool:
    try:
        return _ask(running, "api/status") == 200
    except (OSError, ValueError):
        return False


def _ask(running: Running, what: str, content: bytes | None = None) -> int:
    headers = {"Authorization": f"token {running.token}"}
    request = urllib.request.Request(f"{running.url}{what}", data=content, headers=headers)  # noqa: S310 - our own
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))  # a proxy is no way to this machine
    with opener.open(request, timeout=3) as answer:
        return answer.status


def start(work: WorkFolder) -> tuple[subprocess.Popen, Running]:
    """Start Lab and wait until it answers."""
    log = work.own / "lab.log"
    files.remove(run_folder(work))  # what a Lab that was killed has left: it must not be taken for this one
    with log.open("wb") as out:
        log.chmod(0o600)
        process = subprocess.Popen(
            [
                *(sys.executable, "-P", "-m", "fitkit.workbench.served", f"--ServerApp.root_dir={work.root}"),
                *(f"--ServerApp.port={_FIRST_PORT}", "--ServerApp.port_retries=200", "--ServerApp.log_level=WARN"),
                # Lab refuses the administrator without this; in a container that is the only person there is.
                *(["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []),
            ],
            cwd=work.root,
            env=_environment(work),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            umask=0o077,
        )
    try:
        return process, _wait(work, process, log)
    except BaseException:
        stop(process, work)
        raise


def _wait(work: WorkFolder, process: subprocess.Popen, log: Path) -> Running:
    limit = time.monotonic() + _START_LIMIT_S
    while time.monotonic() < limit and process.poll() is None:
        if (running := find_running(work)) and running.pid == process.pid:
            return running
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(0.1)
    tail = log.read_text(encoding="utf-8", errors="replace")[-2000:]
    raise WorkFolderError(f"Lab did not start; the end of {log}:\n{tail}")


def _environment(work: WorkFolder) -> dict[str, str]:
    templates = files.template("workbench")
    own = {
        "JUPYTER_CONFIG_PATH": templates / "config",
        "JUPYTER_PATH": templates / "share",
        "JUPYTER_CONFIG_DIR": work.own / "config",
        "JUPYTER_DATA_DIR": work.own / "data",
        "JUPYTER_RUNTIME_DIR": run_folder(work),
        "JUPYTERLAB_SETTINGS_DIR": work.own / "settings",
        "JUPYTERLAB_WORKSPACES_DIR": work.own / "workspaces",
        "IPYTHONDIR": work.own / "ipython",
        "JUPYTER_TOKEN": secrets.token_urlsafe(24),
        "JUPYTER_PLATFORM_DIRS": "1",
    }
    return {**os.environ, **{name: str(value) for name, value in own.items()}}


def stop(process: subprocess.Popen, work: WorkFolder) -> None:
    """Stop Lab and its kernels; its token, its key for cookies and its sockets go with it."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(_STOP_LIMIT_S)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)  # a session of its own: the kernels that did not listen
    process.wait()
    files.remove(run_folder(work))


class _Stopped(BaseException):
    """Somebody asked this process to end."""


def open_command(session: Path | None, work: Path | None, browser: bool) -> int:
    """Open the workbench, or find the one that runs, and show it."""
    folder = WorkFolder((work or default_folder()).absolute())
    try:
        folder.prepare()
        notebook = _notebook_for(folder, session)
        with FileLock(folder.own / "opening.lock", timeout=_OPENING_LIMIT_S, mode=0o600):
            running, process = find_running(folder), None
            if running is None:
                process, running = start(folder)
    except SessionProblems as error:
        sys.stderr.write(f"{error}\n")
        return _WRONG_CALL
    except (WorkFolderError, Timeout, OSError) as error:
        sys.stderr.write(f"{error}\n")
        return _PROBLEMS
    running.begin(notebook)
    _show(folder, running.address(notebook), browser)
    return _serve(process, folder) if process else _FINE


def _notebook_for(folder: WorkFolder, session: Path | None) -> str:
    if session is None:
        return "start_here.ipynb"
    before = folder.session_path(session.stem)
    taken = folder.take_in(session)
    if before is None:
        sys.stderr.write(f"{session.name} was copied into the work folder: {taken}\n")
    return f"visits/{folder.open_visit(taken).name}/1_intake.ipynb"


def _show(folder: WorkFolder, address: str, browser: bool) -> None:
    words = address
    if browser:
        words = f"No browser could be opened. Open this yourself: {address}"
        with contextlib.suppress(webbrowser.Error, OSError):
            if webbrowser.open(_leading_to(address, run_folder(folder))):
                words = f"The workbench is open in your browser. If it shows nothing, open this there: {address}"
    print(words, flush=True)


def _leading_to(address: str, folder: Path) -> str:
    """Return a private page that leads on: an address with its token in a browser's command line is everybody's."""
    page = folder / "open.html"
    page.unlink(missing_ok=True)
    files.write_new(page, f'<meta http-equiv="refresh" content="0; url={address}">'.encode(), lasting=False)
    return page.as_uri()


@contextlib.contextmanager
def _signals_stop() -> Iterator[None]:
    def stopped(*_: object) -> None:
        raise _Stopped

    before = {number: signal.signal(number, stopped) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _serve(process: subprocess.Popen, work: WorkFolder) -> int:
    """Wait until Lab ends or somebody ends this command; leave nothing running."""
    print("Stop it with Ctrl+C; what was saved stays.", flush=True)
    try:
        with _signals_stop():
            code = process.wait()
    except _Stopped:
        stop(process, work)
        print("Stopped.", flush=True)
        return _FINE
    stop(process, work)
    return _FINE if code == 0 else _PROBLEMS
