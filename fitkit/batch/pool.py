"""Each visit in a process of its own, some side by side; the death of one fails its own visit and nothing else."""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass, field
from multiprocessing import connection, forkserver
from pathlib import Path

from fitkit.batch.job import Job, failed
from fitkit.batch.processes import (
    end_group,
    environment_set,
    kernel_environment,
    memory_limit,
    private_folder,
    stand_apart,
    stopping_signals_held,
)
from fitkit.words import one_line

_WARM = "fitkit.batch.warm"
_IMPORTED = ["fitkit.batch.record", "fitkit.report.pages"]
_TRIES, _PAUSE_S = 3, 0.5  # to copy a warm process that was ended from outside


def can_fork() -> bool:
    """Whether this system can copy a warm process, and count the threads in it before."""
    return "forkserver" in multiprocessing.get_all_start_methods() and os.path.isdir("/proc/self/task")


@dataclass
class _Work:
    """One visit under way."""

    job: Job
    process: multiprocessing.process.BaseProcess
    link: connection.Connection
    log: Path  # what the process and its libraries print
    engine: str = ""
    at: str = ""  # the notebook's cell; empty outside the notebook
    begun: float = field(default_factory=time.monotonic)
    cell_begun: float = field(default_factory=time.monotonic)
    groups: list[int] = field(default_factory=list)  # kernels and browsers, which have groups of their own

    def late(self) -> tuple[float, str]:
        """Return when the visit will have taken too long, and the reason it will have failed for."""
        limits = self.job.limits
        whole = self.begun + limits.notebook_s
        if not self.at:
            longest = limits.notebook_s + limits.pages_s
            return self.begun + longest, f"the record's process did not end in {longest:g} s"
        cell = self.cell_begun + limits.cell_s
        if cell < whole:
            return cell, f"{self.at} took longer than {limits.cell_s:g} s"
        return whole, f"the notebook took longer than {limits.notebook_s:g} s; stopped at {self.at}"


@dataclass
class Pool:
    """Some processes at a time, each a copy of a warm one where the system can do that."""

    workers: int
    environment: Mapping[str, str]
    _: KW_ONLY
    wake: int  # a file descriptor that can be read once the run is to stop
    forked: bool = True
    say: Callable[[str], object] = lambda message: None

    def __post_init__(self) -> None:
        self._environment = dict(self.environment)
        self._context = multiprocessing.get_context("forkserver" if can_fork() else "spawn")
        self._works: list[_Work] = []
        self._said: set[str] = set()
        self._held = contextlib.ExitStack()

    def __enter__(self) -> Pool:
        self._private = Path(self._held.enter_context(private_folder()))
        self._environment |= kernel_environment(str(self._private))
        return self

    def __exit__(self, *exception: object) -> None:
        for work in list(self._works):
            self._end(work)
        self._held.close()

    def warm_up(self) -> None:
        """Have the process to be copied get ready, without waiting for it; where it has ended, begin another."""
        if self._context.get_start_method() == "forkserver":
            self._context.set_forkserver_preload([_WARM] if self.forked else _IMPORTED)
            with environment_set(self._environment), stopping_signals_held():
                forkserver.ensure_running()

    def run(self, jobs: Iterable[Job]) -> Iterator[tuple[Job, dict]]:
        """Work through the jobs and give each with what became of it, in the order they are done."""
        waiting = deque(jobs)
        while (waiting or self._works) and not connection.wait([self.wake], timeout=0):
            while waiting and len(self._works) < self.workers:
                self._works.append(self._begin(waiting.popleft()))
            first_late = min(work.late()[0] for work in self._works)
            links = [work.link for work in self._works]
            connection.wait([*links, self.wake], timeout=max(0.0, first_late - time.monotonic()))
            for work in list(self._works):
                outcome = self._outcome(work)
                if outcome is not None:
                    self._end(work)
                    yield work.job, outcome

    def _begin(self, job: Job) -> _Work:
        ours, theirs = self._context.Pipe(duplex=False)
        log = self._private / f"{job.key}.log"
        is_copy = self._context.get_start_method() == "forkserver"
        arguments = (theirs, job, str(log), self._environment, self.forked and is_copy)
        process = self._context.Process(target=serve, args=arguments, daemon=True)
        try:
            self._start(process)
        except (OSError, EOFError) as error:
            if not is_copy:
                raise
            self._say(f"no warm process to copy ({one_line(error) or 'it ended'}): plain kernels, about 2 s a record")
            self._context = multiprocessing.get_context("spawn")
            return self._begin(job)
        finally:
            theirs.close()
        return _Work(job, process, ours, log)

    def _start(self, process: multiprocessing.process.BaseProcess) -> None:
        """Start a copy; where the warm process ends in this moment, of the one that takes its place."""
        for left in reversed(range(_TRIES)):
            self.warm_up()
            try:
                with environment_set(self._environment), stopping_signals_held():
                    process.start()
            except (OSError, EOFError):
                if not left:
                    raise
                time.sleep(_PAUSE_S)  # a process that was killed may be seen for a moment longer
            else:
                return

    def _say(self, message: str) -> None:
        if message and message not in self._said:
            self._said.add(message)
            self.say(message)

    def _outcome(self, work: _Work) -> dict | None:
        """Return what became of a visit, None while it is under way."""
        reason = ""
        try:
            if (made := self._read(work)) is not None:
                return made
        except (EOFError, OSError):
            reason = _ending(work)
        late, too_long = work.late()
        if not reason and time.monotonic() > late:
            reason = too_long
        seconds = round(time.monotonic() - work.begun, 2)
        return failed(reason, seconds, engine=work.engine) if reason else None

    def _read(self, work: _Work) -> dict | None:
        """Take in what a visit's process said; return the outcome if that was among it."""
        while work.link.poll():
            kind, *content = work.link.recv()
            if kind == "done":
                work.groups.clear()
                return content[0]
            if kind == "engine":
                work.engine, why = content
                self._say(why)
            elif kind == "cell":
                work.at, work.cell_begun = content[0], time.monotonic()
            elif kind == "group":
                work.groups.append(content[0])
        return None

    def _end(self, work: _Work) -> None:
        """End a visit's process with everything it started."""
        self._works.remove(work)
        # Its own group, once it has one; itself, should it have none yet.
        end_group(work.process.pid)
        work.process.kill()
        # What it still said before it ended may be the group of a kernel.
        with contextlib.suppress(EOFError, OSError):
            self._read(work)
        for group in work.groups:
            end_group(group)
        work.process.join()
        work.process.close()
        work.link.close()
        work.log.unlink(missing_ok=True)


def _ending(work: _Work) -> str:
    """Return how a visit's process ended, with the last it printed where it ended by itself."""
    work.process.join()
    code, at = work.process.exitcode, f" at {work.at}" if work.at else ""
    if code < 0:
        return f"the record's process ended (signal {-code}){at}"
    try:
        printed = work.log.read_text(encoding="utf-8", errors="replace").split("\n")
    except OSError:
        printed = []
    last = next((line for line in reversed(printed) if line.strip()), "nothing printed")
    return f"the record's process ended (exit {code}){at}: {one_line(last)}"


def serve(link: connection.Connection, job: Job, log: str, environment: Mapping[str, str], is_warm: bool) -> None:
    """Make one record in this process, which is the visit's own.

    What is sent: ``("engine", name, why)``, ``("group", id)`` of each program started, ``("cell", name)`` as the
    notebook goes on and with no name at its end, and ``("done", dict)``.
    """
    os.environ.update(environment)
    groups: list[int] = []
    stand_apart(groups)
    _send_output_to(log)

    def tell(*message: object) -> None:
        if message[0] == "group":
            groups.append(message[1])
        link.send(message)

    # Only now: the numerical packages read the environment when they are imported.
    record = importlib.import_module("fitkit.batch.record")
    warm = sys.modules.get(_WARM)
    # The fork server keeps to itself that it could not import what it should.
    problem = warm.PROBLEM if warm else "it could not be loaded"
    with memory_limit(job.limits.process_memory_mb):
        tell("done", record.make(job, problem if is_warm else None, tell))


def _send_output_to(path: str) -> None:
    """Keep what kernels and libraries print out of the run's own messages."""
    sys.stdout.flush()
    sys.stderr.flush()
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(descriptor, 1)
    os.dup2(descriptor, 2)
    os.close(descriptor)
