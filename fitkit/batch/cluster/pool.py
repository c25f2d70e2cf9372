"""Visits handed to a cluster and records taken in, in the shape of a pool of one machine."""

from __future__ import annotations

import contextlib
import os
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from multiprocessing import connection
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.batch.cluster import remote
from fitkit.batch.cluster.parcel import Returned, packed, too_large
from fitkit.batch.job import Job
from fitkit.batch.pool import Pool
from fitkit.files import os_reason, sync_folder
from fitkit.words import one_line

if TYPE_CHECKING:
    from distributed import Client, Future

__all__ = ["ClusterPool"]

# Visits handed out beyond those under way, so that no worker waits for this machine.
_AHEAD = 2
_LOOK_S = 2.0
_WITHOUT_WORKERS_S = 60.0


class ClusterPool:
    """Visits on a cluster; those with files too large to be sent are made on this machine, afterwards."""

    def __init__(
        self,
        client: Client,
        environment: Mapping[str, str],
        *,
        wake: int | None = None,
        say: Callable[[str], object] = lambda message: None,
    ) -> None:
        self.client = client
        self.say = say
        self.environment = dict(environment)
        self.wake = wake
        self._under_way: dict[Future, Job] = {}
        self._told, self._tell = os.pipe()
        os.set_blocking(self._told, False)
        self._last_seen = time.monotonic()

    def __enter__(self) -> ClusterPool:
        return self

    def __exit__(self, *exception: object) -> None:
        if self._under_way and self.client.status == "running":
            self.client.cancel(list(self._under_way))
        self._under_way.clear()

    def run(self, jobs: Iterable[Job]) -> Iterator[tuple[Job, dict]]:
        """Work through the jobs and give each with what became of it, in the order they are done."""
        jobs = list(jobs)
        kept = [job for job in jobs if too_large(job)]
        waiting = deque(job for job in jobs if job not in kept)
        while (waiting or self._under_way) and not self._is_stopped():
            yield from self._hand_out(waiting)
            self._wait()
            yield from self._taken_in()
            reason = self._ending()
            if reason:
                yield from self._give_up(waiting, reason)
        if kept and not self._is_stopped():
            with Pool(1, self.environment, wake=self.wake, say=self.say) as pool:
                yield from pool.run(kept)

    def _is_stopped(self) -> bool:
        return self.wake is not None and bool(connection.wait([self.wake], timeout=0))

    def _hand_out(self, waiting: deque[Job]) -> Iterator[tuple[Job, dict]]:
        room = sum(self.client.nthreads().values()) + _AHEAD if waiting and self.client.status == "running" else 0
        while waiting and len(self._under_way) < room:
            job = waiting.popleft()
            try:
                parcel = packed(job, self.environment)
            except OSError as error:
                name = Path(error.filename or "").name
                yield job, _failed(f"{one_line(name)} could not be read or written: {os_reason(error)}")
                continue
            future = self.client.submit(remote.make, parcel, pure=False)
            self._under_way[future] = job
            future.add_done_callback(self._note)

    def _note(self, future: Future) -> None:
        # Called on a thread of the client's; the pipe is what `run` waits for.
        with contextlib.suppress(OSError):
            os.write(self._tell, b".")

    def _wait(self) -> None:
        watched = [self._told] if self.wake is None else [self._told, self.wake]
        connection.wait(watched, timeout=_LOOK_S)
        with contextlib.suppress(BlockingIOError):
            os.read(self._told, 4096)

    def _taken_in(self) -> Iterator[tuple[Job, dict]]:
        for future in [future for future in self._under_way if future.done()]:
            job = self._under_way.pop(future)
            yield job, self._outcome(future, job)
            future.release()

    def _outcome(self, future: Future, job: Job) -> dict:
        if future.status != "finished":
            error = future.exception() if future.status == "error" else None
            words = f"{type(error).__name__}: {error}" if error else "the cluster dropped it"
            return _failed(f"the cluster's workers did not live to make it: {one_line(words)}")
        try:
            return _written(job, future.result())
        except OSError as error:
            return _failed(f"the record could not be written: {os_reason(error)}")

    def _ending(self) -> str:
        """Return why no more can come from the cluster, nothing while some can."""
        if self.client.status != "running":
            return "the cluster has gone"
        if self.client.nthreads():
            self._last_seen = time.monotonic()
        if time.monotonic() - self._last_seen > _WITHOUT_WORKERS_S:
            return f"the cluster had no workers for {_WITHOUT_WORKERS_S:.0f} s"
        return ""

    def _give_up(self, waiting: deque[Job], reason: str) -> Iterator[tuple[Job, dict]]:
        left = [*self._under_way.values(), *waiting]
        self._under_way.clear()
        waiting.clear()
        for job in left:
            yield job, _failed(reason)


def _failed(reason: str) -> dict:
    return {"status": "failed", "reason": reason, "seconds": 0.0}


def _written(job: Job, returned: Returned) -> dict:
    """Write a record that came back, as a worker of this machine would have, and return what became of it."""
    if returned.outcome["status"] == "made":
        folder = Path(job.making) / job.key
        job.access.make_folder(folder)
        for name, content in returned.files:
            job.access.write(folder / name, content)
        sync_folder(folder)
    return returned.outcome
