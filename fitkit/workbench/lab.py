"""Lab on the work folder: started, found again, stopped; its settings reach it through the environment only."""

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
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from fitkit import places
from fitkit.workbench.folder import WorkFolder, WorkFolderError

__all__ = ["Running", "find_running", "start", "stop"]

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
            told = json.loads(path.read_text(encoding="utf-8"))
            running = Running(told["url"], told["token"], told["pid"])
        except (OSError, ValueError, KeyError):
            continue
        if _answers(running):
            return running
    return None


def _answers(running: Running) -> bool:
    request = urllib.request.Request(f"{running.url}api/status", headers={"Authorization": f"token {running.token}"})  # noqa: S310
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))  # a proxy is no way to this machine
    try:
        with opener.open(request, timeout=3) as answer:
            return answer.status == 200
    except (OSError, ValueError):
        return False


def start(work: WorkFolder) -> tuple[subprocess.Popen, Running]:
    """Start Lab and wait until it answers."""
    log = work.own / "lab.log"
    _lay_out(work)
    with log.open("wb") as out:
        log.chmod(0o600)
        process = subprocess.Popen(
            [
                *(sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={work.root}"),
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
        stop(process)
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


def _lay_out(work: WorkFolder) -> None:
    """Put the workspace with its side bars shut into its place."""
    from jupyterlab_server.workspaces_handler import WorkspacesManager  # only where Lab is started: it costs a second

    WorkspacesManager(str(work.own / "workspaces")).save("fit", places.template("workbench/workspace.json").read_text())
    # A Lab that was killed has left its file; the next must not be taken for it.
    for stale in run_folder(work).glob("jpserver-*"):
        stale.unlink(missing_ok=True)


def _environment(work: WorkFolder) -> dict[str, str]:
    templates = places.template("workbench")
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


def stop(process: subprocess.Popen) -> None:
    """Stop Lab and its kernels."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(_STOP_LIMIT_S)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)  # a session of its own: the kernels that did not listen
    process.wait()
