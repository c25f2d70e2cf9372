"""Worker processes side by side; the death of one fails its own visit and nothing else."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import shutil
import tempfile
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from multiprocessing import connection
from pathlib import Path

from fitkit.batch.job import Job
from fitkit.batch.processes import end_group, stopping_signals_held
from fitkit.batch.worker import LOG, serve
from fitkit.words import one_line

__all__ = ["Pool"]

# The path of a socket may have 104 bytes on some systems, and the names inside the folder take some thirty.
_LONGEST_PRIVATE_PATH = 60
_SPAWN = multiprocessing.get_context("spawn")


@dataclass
class _Lane:
    """One worker process with the visit it is at."""

    process: multiprocessing.process.BaseProcess
    link: connection.Connection
    private: str
    job: Job | None = None
    engine: str = ""
    begun: float = 0.0
    groups: list[int] = field(default_factory=list)

    @property
    def deadline(self) -> float:
        """When the worker must have answered; it keeps the notebook's own limit itself."""
        limits = self.job.limits
        return self.begun + limits.notebook_s + limits.pages_s


class Pool:
    """Some worker processes, started as they are needed."""

    def __init__(
        self, workers: int, environment: Mapping[str, str], *, wake: int | None = None, keep: bool = False
    ) -> None:
        self.keep = keep
        self.workers = workers
        self.environment = dict(environment)
        self.wake = wake
        self._lanes: list[_Lane] = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *exception: object) -> None:
        for lane in list(self._lanes):
            self._end(lane)

    def run(self, jobs: Iterable[Job]) -> Iterator[tuple[Job, dict]]:
        """Work through the jobs and give each with what its worker said, in the order they are done."""
        waiting = deque(jobs)
        while not self._is_stopped() and self._fill(waiting):
            connection.wait(self._watched(), timeout=self._patience())
            for lane in [lane for lane in self._lanes if lane.job]:
                outcome = self._outcome(lane)
                if outcome is not None:
                    job, lane.job = lane.job, None
                    yield job, outcome

    def _is_stopped(self) -> bool:
        return self.wake is not None and bool(connection.wait([self.wake], timeout=0))

    def _fill(self, waiting: deque[Job]) -> bool:
        """Give every free lane a job, open lanes while there are jobs, close idle ones; return whether any is busy."""
        for lane in [lane for lane in self._lanes if lane.job is None]:
            # One that ended between two visits must not cost the second.
            if waiting and lane.process.is_alive():
                self._give(lane, waiting.popleft())
            elif not self.keep or not lane.process.is_alive():
                self._end(lane)
        while waiting and len(self._lanes) < self.workers:
            self._give(self._open(), waiting.popleft())
        return any(lane.job for lane in self._lanes)

    def _open(self) -> _Lane:
        private = _private_folder()
        ours, theirs = _SPAWN.Pipe()
        environment = {**self.environment, **_kept_in(private)}
        process = _SPAWN.Process(target=serve, args=(theirs, private, environment), daemon=True)
        with stopping_signals_held():
            process.start()
        theirs.close()
        lane = _Lane(process, ours, private)
        self._lanes.append(lane)
        return lane

    def _give(self, lane: _Lane, job: Job) -> None:
        lane.job, lane.begun, lane.groups = job, time.monotonic(), []
        # A worker that has just died is noticed by its process, in the next round.
        with contextlib.suppress(OSError):
            lane.link.send(job)

    def _watched(self) -> list:
        watched = [item for lane in self._lanes for item in (lane.link, lane.process.sentinel)]
        return watched if self.wake is None else [*watched, self.wake]

    def _patience(self) -> float:
        first = min(lane.deadline for lane in self._lanes if lane.job)
        return max(0.0, first - time.monotonic())

    def _outcome(self, lane: _Lane) -> dict | None:
        """Return what became of a lane's visit, None while it is under way."""
        # Looked at first: what a worker said just before it ended is then there to be read.
        is_alive = lane.process.is_alive()
        said = _read(lane)
        if said is not None:
            return said
        seconds = round(time.monotonic() - lane.begun, 2)
        if not is_alive:
            reason = _ending(lane)
            self._end(lane)
            return {"status": "failed", "reason": reason, "seconds": seconds, "engine": lane.engine}
        if time.monotonic() > lane.deadline:
            self._end(lane)
            return {
                "status": "failed",
                "reason": f"the worker process did not answer in {seconds:.0f} s",
                "seconds": seconds,
                "engine": lane.engine,
            }
        return None

    def _end(self, lane: _Lane) -> None:
        """End a worker with everything it started, and remove its private folder."""
        self._lanes.remove(lane)
        lane.process.kill()
        lane.process.join()
        # What it still said before it ended may be the group of a kernel.
        _read(lane)
        for group in lane.groups:
            end_group(group)
        lane.link.close()
        shutil.rmtree(lane.private, ignore_errors=True)


def _read(lane: _Lane) -> dict | None:
    """Take in what a worker said; return the outcome if that was among it."""
    with contextlib.suppress(EOFError, OSError):
        while lane.link.poll():
            kind, content = lane.link.recv()
            if kind == "done":
                lane.groups = []
                return content
            if kind == "engine":
                lane.engine = content
            else:
                lane.groups.append(content)
    return None


def _ending(lane: _Lane) -> str:
    """Return how a worker ended, with the last it printed where it ended by itself."""
    lane.process.join()
    code = lane.process.exitcode
    if code < 0:
        return f"the worker process ended (signal {-code})"
    try:
        printed = Path(lane.private, LOG).read_text(encoding="utf-8", errors="replace").split("\n")
    except OSError:
        printed = []
    last = next((line for line in reversed(printed) if line.strip()), "nothing printed")
    return f"the worker process ended (exit {code}): {one_line(last)}"


def _private_folder() -> str:
    """Make a folder nobody else can read, with a path short enough for sockets where the system offers one."""
    for place in (os.environ.get("XDG_RUNTIME_DIR", ""), tempfile.gettempdir()):
        if place and len(os.fsencode(place)) <= _LONGEST_PRIVATE_PATH and os.access(place, os.W_OK | os.X_OK):
            with contextlib.suppress(OSError):
                return tempfile.mkdtemp(prefix="cleat-", dir=place)
    return tempfile.mkdtemp(prefix="cleat-")


def _kept_in(private: str) -> dict[str, str]:
    """Return the variables that keep kernels out of the home folder, which may be shared or not writable."""
    folders = {"JUPYTER_RUNTIME_DIR": "run", "IPYTHONDIR": "ipython"}
    for name in folders.values():
        Path(private, name).mkdir(mode=0o700)
    return {variable: str(Path(private, name)) for variable, name in folders.items()}
