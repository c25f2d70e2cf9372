"""The process behind one lane of the pool: takes a visit, makes its record, says what happened, takes the next."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from collections.abc import Mapping
from multiprocessing import connection, parent_process
from pathlib import Path

from fitkit.batch.kernel import Engine
from fitkit.batch.processes import STOPPING, end_group, limit_memory

__all__ = ["LOG", "serve"]

LOG = "worker.log"


def serve(link: connection.Connection, private: str, environment: Mapping[str, str]) -> None:
    """Work until the other end of the link closes.

    Each message of the other end is a `Job`; the answers are ``("engine", name)``, ``("group", id)`` for each program
    started, and ``("done", dict)``.
    """
    _stand_apart()
    groups: list[int] = []
    threading.Thread(target=_end_with_parent, args=(groups, private), daemon=True).start()
    _send_output_to(Path(private) / LOG)
    os.environ.update(environment)

    def started(group: int) -> None:
        groups[:] = [group]
        link.send(("group", group))

    engine = None
    while True:
        try:
            job = link.recv()
        except EOFError:
            return
        if engine is None:
            limit_memory(os.getpid(), job.limits.worker_memory_mb, for_good=False)
            # Its helpers warm up while this process imports.
            engine = Engine(Path(private), forked=job.forked)
        link.send(("engine", engine.name))
        # Only now: the numerical packages read the environment when they are imported.
        from fitkit.batch import record

        link.send(("done", record.make(job, started=started, engine=engine)))


def _stand_apart() -> None:
    """Leave the terminal's group: Ctrl-C is for the run, which then ends its workers in order."""
    if hasattr(os, "setsid"):
        os.setsid()
    for number in STOPPING:
        # A handler that does nothing, since an ignored signal would stay ignored in the kernels too.
        signal.signal(number, lambda number, frame: None)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPPING)


def _end_with_parent(groups: list[int], private: str) -> None:
    """Wait for the run to be killed; then take the kernel and everything of this worker along."""
    connection.wait([parent_process().sentinel])
    for group in groups:
        end_group(group)
    shutil.rmtree(private, ignore_errors=True)
    os._exit(1)


def _send_output_to(path: Path) -> None:
    """Keep what kernels and libraries print out of the run's own messages."""
    sys.stdout.flush()
    sys.stderr.flush()
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(descriptor, 1)
    os.dup2(descriptor, 2)
    os.close(descriptor)
