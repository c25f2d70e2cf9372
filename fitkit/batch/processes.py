"""Programs we start: their environment, their bounds, how they are interrupted and ended; the browser that prints."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from multiprocessing import connection, parent_process, resource_tracker
from pathlib import Path
from types import FrameType

import fitkit
from fitkit.words import one_line

try:
    import resource
except ImportError:  # not a Unix system
    resource = None


# Ctrl-C, a request to end, and the loss of the terminal.
STOPPING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
# The path of a socket may have 104 bytes on some systems, and the names inside the folder take some thirty.
_LONGEST_PRIVATE_PATH = 60


def end_group(group: int) -> None:
    """End a process and its children, without asking them; none left is fine."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(group, signal.SIGKILL)
        else:
            os.kill(group, signal.SIGTERM)


@contextlib.contextmanager
def memory_limit(most_mb: int | None) -> Iterator[None]:
    """Refuse this process, and each it starts meanwhile, memory beyond a limit; None lifts the one in force."""
    if resource is None or not hasattr(resource, "RLIMIT_DATA"):
        yield
        return
    # Memory that can be written to: what is only set aside, as the drawing library does by gigabytes, is not counted.
    before = resource.getrlimit(resource.RLIMIT_DATA)
    most = before[1] if most_mb is None else most_mb * 1_000_000
    resource.setrlimit(resource.RLIMIT_DATA, (most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, before)


@contextlib.contextmanager
def stopping_signals_held() -> Iterator[None]:
    """Hold back the signals that stop a run, and let programs started meanwhile begin with them held back.

    A process that meets Ctrl-C while Python still starts would print a traceback over the run's own messages.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Starting the tracker of shared resources lets the signals through again, so that it comes first.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, STOPPING)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def stand_apart(groups: list[int]) -> None:
    """Begin a process for one visit: a group of its own, deaf to what stops the run, which ends it in order.

    If the run is killed it ends by itself, and takes along its own group and the groups in the list.
    """
    if hasattr(os, "setsid"):
        os.setsid()
        groups.append(os.getpid())
    for number in STOPPING:
        # A handler that does nothing, since an ignored signal would stay ignored in the kernels too.
        signal.signal(number, lambda number, frame: None)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPPING)
    threading.Thread(target=_end_with_parent, args=(groups,), daemon=True).start()


def _end_with_parent(groups: list[int]) -> None:
    connection.wait([parent_process().sentinel])
    shutil.rmtree(os.environ["FITKIT_PRIVATE"], ignore_errors=True)
    for group in reversed(groups):
        end_group(group)
    os._exit(1)


@contextlib.contextmanager
def private_folder() -> Iterator[str]:
    """Give a folder nobody else can read, with a path short enough for sockets where the system offers one."""
    place = os.environ.get("XDG_RUNTIME_DIR", "")
    is_usable = len(os.fsencode(place)) <= _LONGEST_PRIVATE_PATH and os.access(place, os.W_OK | os.X_OK)
    where = place if is_usable else None
    with tempfile.TemporaryDirectory(prefix="cleat-", dir=where, ignore_cleanup_errors=True) as private:
        yield private


def kernel_environment(private: str) -> dict[str, str]:
    """Return the variables that make a notebook find this very kit, give the same bytes, and leave nothing at home."""
    ours = str(Path(fitkit.__file__).resolve().parent.parent)
    others = os.environ.get("PYTHONPATH")
    return {
        "PYTHONPATH": os.pathsep.join([ours, others]) if others else ours,
        "PYTHONSAFEPATH": "1",
        "PYTHONSTARTUP": "",  # a person's own start-up file is none of a record's business
        "PYTHONHASHSEED": "0",
        "OPENBLAS_NUM_THREADS": "1",
        "JUPYTER_PREFER_ENV_PATH": "1",
        # The home folder may be shared, or not writable.
        "JUPYTER_RUNTIME_DIR": private,
        "IPYTHONDIR": private,
        "FITKIT_PRIVATE": private,
    }


@contextlib.contextmanager
def environment_set(wanted: Mapping[str, str]) -> Iterator[None]:
    """Have variables in the environment for as long as the block runs."""
    before = {name: os.environ.get(name) for name in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


class Interruption:
    """Notes the first stopping signal while its block runs.

    ``wake`` is a file descriptor that can be read from then on; ``signal`` is the number, None before.
    """

    def __init__(self) -> None:
        self.signal: int | None = None
        self.wake, self._note = os.pipe()
        self._before: dict[int, object] = {}

    @property
    def exit_code(self) -> int:
        """128 and the signal's number, as shells count."""
        return 128 + self.signal

    def __enter__(self) -> Interruption:
        if threading.current_thread() is threading.main_thread():
            for number in STOPPING:
                # A run started to outlive its terminal has these ignored already, and keeps them so.
                if signal.getsignal(number) is not signal.SIG_IGN:
                    self._before[number] = signal.signal(number, self._noted)
        return self

    def __exit__(self, *exception: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
        os.close(self.wake)
        os.close(self._note)

    def _noted(self, number: int, frame: FrameType | None) -> None:
        if self.signal is None:
            self.signal = number
            os.write(self._note, b"!")


_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
# The page cannot reach the network while it is printed.
_BROWSER_OPTIONS = (
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
_PRINT_S = 60


class PrintError(Exception):
    """A page could not be made into a PDF; its text says why."""


def find_browser() -> str | None:
    """Return the path of a Chromium, None where there is none."""
    return next((found for name in _BROWSERS if (found := shutil.which(name))), None)


def print_page(browser: str, page: Path, target: Path, *, started: Callable[[int], None]) -> None:
    """Print an HTML file to a PDF file."""
    with tempfile.TemporaryDirectory(prefix="p", dir=os.environ["JUPYTER_RUNTIME_DIR"]) as profile:
        command = [browser, *_BROWSER_OPTIONS, f"--user-data-dir={profile}", f"--print-to-pdf={target}", page.as_uri()]
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
            process.wait(_PRINT_S)
        except subprocess.TimeoutExpired:
            raise PrintError(f"{page.name} could not be printed within {_PRINT_S} s") from None
        finally:
            end_group(process.pid)
            process.wait()
    if not target.is_file() or not target.read_bytes().startswith(b"%PDF"):
        raise PrintError(
            f"{page.name} could not be printed: {one_line(Path(browser).name)} ended with {process.returncode}"
        )
