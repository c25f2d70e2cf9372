"""The same work on a running Dask cluster of the clinic's own machines, in the shape of a pool of one machine.

Refused are unsafe addresses, a cluster where nobody is, and workers with another kit.
"""

from __future__ import annotations

import contextlib
import ipaddress
import re
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from multiprocessing import connection
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.batch import remote
from fitkit.batch.job import Job, failed
from fitkit.batch.pool import Pool
from fitkit.batch.remote import differences, packed, too_large
from fitkit.files import os_reason, sync_folder
from fitkit.problems import WrongCallError
from fitkit.words import one_line

if TYPE_CHECKING:
    from distributed import Client, Future

_ADDRESS = re.compile(r"(?P<kind>[a-z]+)://(?P<host>\[[0-9a-fA-F:.]+\]|[\w.-]+):(?P<port>\d{1,5})")
_EXPECTED = "expected tls://HOST:PORT, or tcp://127.0.0.1:PORT on this machine"
_ANSWER_S = 10
# Visits handed out beyond those under way, so that no worker waits for this machine.
_AHEAD = 2
_LOOK_S = 0.1
_WITHOUT_WORKERS_S = 60.0


def check_address(address: str) -> None:
    """Refuse an address over which health data could be read on its way."""
    found = _ADDRESS.fullmatch(address)
    if not found or int(found["port"]) > 65535 or found["kind"] not in ("tcp", "tls"):
        raise WrongCallError(f"the cluster's address is {one_line(address, longest=120)!r}; {_EXPECTED}")
    if not _is_safe(address):
        raise WrongCallError(
            f"{one_line(address)} is another machine and not encrypted: clients' health data would be readable on the "
            f"way; {_EXPECTED}"
        )


def _is_safe(address: str) -> bool:
    found = _ADDRESS.fullmatch(address)
    if not found:
        return False
    if found["kind"] == "tls" or found["host"] == "localhost":
        return True
    try:
        return ipaddress.ip_address(found["host"].strip("[]")).is_loopback
    except ValueError:
        return False


@contextlib.contextmanager
def connected(address: str) -> Iterator[Client]:
    """Hold the way to a cluster that may be used, for as long as the block runs."""
    check_address(address)
    try:
        from distributed import Client, Security
    except ImportError:
        raise WrongCallError(
            "--cluster needs the package 'distributed'; install the kit's extra [cluster], or leave out --cluster"
        ) from None
    if address.startswith("tls:") and Security().get_connection_args("client").get("ssl_context") is None:
        raise WrongCallError(
            f"{one_line(address)} needs certificates; name them in Dask's configuration, under distributed.comm.tls"
        )
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        raise WrongCallError(f"no cluster answers at {one_line(address)}: {one_line(error, longest=200)}") from None
    try:
        _check_workers(client, address)
        yield client
    finally:
        client.close()


def _check_workers(client: Client, address: str) -> None:
    workers = client.scheduler_info(n_workers=-1)["workers"]
    if not workers:
        raise WrongCallError(f"the cluster at {one_line(address)} has no workers; start some, then run again")
    unsafe = sorted(worker for worker in workers if not _is_safe(worker))
    if unsafe:
        raise WrongCallError(
            f"the cluster's worker {one_line(unsafe[0])} is another machine and not encrypted; {_EXPECTED}"
        )
    try:
        found = client.run(remote.kit_facts)
    except Exception as error:  # whatever a worker without the kit, or with an older one, stumbles over
        reason = one_line(error, longest=200)
        raise WrongCallError(
            f"the workers of {one_line(address)} do not have this kit ({reason}); install it there"
        ) from None
    for worker, facts in sorted(found.items()):
        differ = differences(facts)
        if differ:
            raise WrongCallError(
                f"the cluster's worker {one_line(worker)} has another version of the kit: {one_line(differ)}; "
                "install the same everywhere"
            )


@dataclass
class ClusterPool:
    """Visits on a cluster; those with files too large to be sent are made on this machine, afterwards."""

    client: Client
    environment: Mapping[str, str]
    _: KW_ONLY
    wake: int  # as of a pool of this machine
    forked: bool = True
    say: Callable[[str], object] = lambda message: None

    def __post_init__(self) -> None:
        self._under_way: dict[Future, Job] = {}
        self._last_seen = time.monotonic()

    def __enter__(self) -> ClusterPool:
        return self

    def __exit__(self, *exception: object) -> None:
        if self._under_way and self.client.status == "running":
            self.client.cancel(list(self._under_way))
        self._under_way.clear()

    def warm_up(self) -> None:
        """Do nothing: the cluster's workers get ready by themselves."""

    def run(self, jobs: Iterable[Job]) -> Iterator[tuple[Job, dict]]:
        """Work through the jobs and give each with what became of it, in the order they are done."""
        jobs = list(jobs)
        kept = [job for job in jobs if too_large(job)]
        waiting = deque(job for job in jobs if job not in kept)
        while (waiting or self._under_way) and not connection.wait([self.wake], timeout=_LOOK_S):
            yield from self._hand_out(waiting)
            yield from self._taken_in()
            reason = self._ending()
            if reason:
                yield from self._give_up(waiting, reason)
        if kept:
            with Pool(1, self.environment, forked=self.forked, wake=self.wake, say=self.say) as pool:
                yield from pool.run(kept)

    def _hand_out(self, waiting: deque[Job]) -> Iterator[tuple[Job, dict]]:
        room = sum(self.client.nthreads().values()) + _AHEAD if waiting and self.client.status == "running" else 0
        while waiting and len(self._under_way) < room:
            job = waiting.popleft()
            try:
                parcel = packed(job, self.environment, forked=self.forked)
            except OSError as error:
                name = Path(error.filename or "").name
                yield job, failed(f"{one_line(name)} could not be read or written: {os_reason(error)}")
                continue
            self._under_way[self.client.submit(remote.make, parcel, pure=False)] = job

    def _taken_in(self) -> Iterator[tuple[Job, dict]]:
        for future in [future for future in self._under_way if future.done()]:
            job = self._under_way.pop(future)
            yield job, self._outcome(future, job)
            future.release()

    def _outcome(self, future: Future, job: Job) -> dict:
        if future.status != "finished":
            error = future.exception() if future.status == "error" else None
            words = f"{type(error).__name__}: {error}" if error else "the cluster dropped it"
            return failed(f"the cluster's workers did not live to make it: {one_line(words)}")
        try:
            return _written(job, *future.result())
        except OSError as error:
            return failed(f"the record could not be written: {os_reason(error)}")

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
            yield job, failed(reason)


def _written(job: Job, outcome: dict, files: Mapping[str, bytes]) -> dict:
    """Write a record that came back, as a worker of this machine would have, and return what became of it."""
    if outcome["status"] == "made":
        folder = Path(job.making) / job.key
        job.access.make_folder(folder)
        for name, content in files.items():
            job.access.write(folder / name, content)
        sync_folder(folder)
    return outcome
