"""What a Dask worker runs: each visit in a process of the kit's own, kept for the next visit."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from multiprocessing.connection import Connection

from fitkit.batch.cluster.parcel import Parcel, Returned, differences, kit_facts

__all__ = ["facts", "make"]


def facts() -> tuple[tuple[str, str], ...]:
    """Return what decides a record's bytes on this machine."""
    return kit_facts()


def make(parcel: Parcel) -> Returned:
    """Make one record and return it."""
    differ = differences(parcel.facts)
    if differ:
        return _failed(f"a worker of the cluster has another kit: {differ}")
    lane = _LANES.take(parcel)
    try:
        returned = lane.ask(parcel)
    except (EOFError, OSError):
        lane.close()
        return _failed("the kit's process on the cluster's worker ended")
    _LANES.put_back(lane)
    return returned


def _failed(reason: str) -> Returned:
    return Returned({"status": "failed", "reason": reason, "seconds": 0.0})


class _Lane:
    """A process of the kit's own; it ends with this one."""

    def __init__(self, parcel: Parcel) -> None:
        self.kind = (parcel.house, parcel.forked)
        ours, theirs = socket.socketpair()
        with theirs:
            # A session of its own: what stops the Dask worker is not meant for it, it ends when the link does.
            self._process = subprocess.Popen(
                [sys.executable, "-m", "fitkit.batch.cluster.lane", str(theirs.fileno())],
                stdin=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                start_new_session=True,
            )
        self._link = Connection(ours.detach())

    def ask(self, parcel: Parcel) -> Returned:
        """Have a record made."""
        self._link.send(parcel)
        return self._link.recv()

    def close(self) -> None:
        """Let the process end."""
        self._link.close()
        self._process.wait()


class _Lanes:
    """The processes that have nothing to do at present."""

    def __init__(self) -> None:
        self._idle: list[_Lane] = []
        self._lock = threading.Lock()

    def take(self, parcel: Parcel) -> _Lane:
        """Return one that fits, begun where there is none; those of other house rules are closed."""
        with self._lock:
            others = [lane for lane in self._idle if lane.kind != (parcel.house, parcel.forked)]
            self._idle = [lane for lane in self._idle if lane not in others]
            found = self._idle.pop() if self._idle else None
        for lane in others:
            lane.close()
        return found or _Lane(parcel)

    def put_back(self, lane: _Lane) -> None:
        """Keep one for the next visit."""
        with self._lock:
            self._idle.append(lane)


_LANES = _Lanes()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=lambda: _LANES.__init__())
