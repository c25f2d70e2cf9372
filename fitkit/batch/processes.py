"""Programs of our own: their environment, their bounds, how they are interrupted and ended with all they started."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from multiprocessing import resource_tracker
from pathlib import Path
from types import FrameType

import fitkit

__all__ = [
    "STOPPING",
    "Interruption",
    "end_group",
    "kernel_environment",
    "limit_memory",
    "memory_not_limited",
    "stopping_signals_held",
]

try:
    import resource
except ImportError:  # not a Unix system
    resource = None


# Ctrl-C, a request to end, and the loss of the terminal.
STOPPING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


def end_group(group: int) -> None:
    """End a process and its children, without asking them; none left is fine."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(group, signal.SIGKILL)
        else:
            os.kill(group, signal.SIGTERM)


def limit_memory(process: int, most_mb: int, *, for_good: bool = True) -> None:
    """Refuse a process, and each one it starts from now on, memory beyond a limit; where the system can do it."""
    # Memory that can be written to: what is only set aside, as the drawing library does by gigabytes, is not counted.
    if resource is not None and hasattr(resource, "prlimit"):
        most = most_mb * 1_000_000
        with contextlib.suppress(ProcessLookupError):
            hardest = most if for_good else resource.prlimit(process, resource.RLIMIT_DATA)[1]
            resource.prlimit(process, resource.RLIMIT_DATA, (most, hardest))


@contextlib.contextmanager
def memory_not_limited() -> Iterator[None]:
    """Let a program that is started meanwhile be without this process's own limit: a browser does not run within it."""
    if resource is None:
        yield
        return
    before = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (before[1], before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, before)


@contextlib.contextmanager
def stopping_signals_held() -> Iterator[None]:
    """Hold back the signals that stop a run, and let programs started meanwhile begin with them held back.

    A worker that meets Ctrl-C while Python still starts would print a traceback over the run's own messages.
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


def kernel_environment() -> dict[str, str]:
    """Return the variables that make a kernel find this very kit, and give the same bytes each time."""
    ours = str(Path(fitkit.__file__).resolve().parent.parent)
    others = os.environ.get("PYTHONPATH")
    return {
        "PYTHONPATH": os.pathsep.join([ours, others]) if others else ours,
        "PYTHONSAFEPATH": "1",
        "PYTHONSTARTUP": "",  # a person's own start-up file is none of a record's business
        "PYTHONHASHSEED": "0",
        "OPENBLAS_NUM_THREADS": "1",
        "JUPYTER_PREFER_ENV_PATH": "1",
    }


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
