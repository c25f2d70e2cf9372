"""The process that each kernel is a copy of: everything imported, nothing of any client in it.

Called as ``python -m fitkit.batch.forked.template SOCKET``, with the number of one end of a pair of sockets. Each
message on it asks for a kernel; the answer is the copy's number and a descriptor that tells of its end. When the
other end closes, that is with the worker, the process ends and takes the kernels along.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import random
import socket
import sys

from fitkit.batch.processes import end_group
from fitkit.quick_imports import hidden

__all__ = ["LONGEST_REQUEST_BYTES", "READY", "main"]

READY = b"R"
LONGEST_REQUEST_BYTES = 1 << 16
_USED_BY_KERNELS = (
    "ipykernel.heartbeat",
    "ipykernel.iostream",
    "ipykernel.ipkernel",
    "ipykernel.kernelapp",
    "ipykernel.zmqshell",
    "IPython.core.completer",
    "IPython.extensions.storemagic",
    "tornado.platform.asyncio",
    "fitkit.charts.plots",
)


def main() -> None:
    """Warm up, say so, and copy this process for each request; in a copy, be a kernel."""
    link = socket.socket(fileno=int(sys.argv[1]))
    _warm_up()
    threads = len(os.listdir("/proc/self/task"))
    if threads != 1:
        # A copy has only the thread that copies: locks held by the others would stay locked for ever.
        raise SystemExit(f"{threads} threads run in the process to be copied; expected 1")
    gc.collect()
    # What is here stays: the collector of a copy need not look at it, and its pages remain shared.
    gc.freeze()
    link.send(READY)
    request = _serve(link)
    if request is not None:
        _be_kernel(*request)


def _warm_up() -> None:
    """Import what kernels and notebooks need, and fill what a first use fills, with an invented rider."""
    # The debugger is never asked for in a batch, and brings 140 modules.
    with hidden("debugpy"):
        importlib.import_module("ipykernel.debugger")
    for name in _USED_BY_KERNELS:
        importlib.import_module(name)
    from fitkit.batch.forked import warm

    warm.up()


def _serve(link: socket.socket) -> tuple[dict, int] | None:
    """Copy this process for each request; return the request in a copy, None when no more will come."""
    running: set[int] = set()
    while True:
        message, descriptors, _, _ = socket.recv_fds(link, LONGEST_REQUEST_BYTES, 1)
        running -= _ended(running)
        if not message:
            for group in running:
                end_group(group)
            return None
        number = os.fork()
        if number == 0:
            link.close()
            return json.loads(message), descriptors[0]
        running.add(number)
        end = os.pidfd_open(number)
        socket.send_fds(link, [str(number).encode()], [end])
        os.close(end)
        os.close(descriptors[0])


def _ended(running: set[int]) -> set[int]:
    return {number for number in running if os.waitpid(number, os.WNOHANG)[0]}


def _be_kernel(request: dict, ready: int) -> None:
    os.setsid()
    os.chdir(request["folder"])
    os.environ.clear()
    os.environ.update(request["environment"])
    os.environ["JPY_PARENT_PID"] = str(os.getppid())
    _new_random_numbers()
    from ipykernel.kernelapp import IPKernelApp

    sys.argv = request["arguments"]
    kernel = IPKernelApp.instance(parent_handle=os.getppid())
    kernel.initialize([*request["arguments"][1:], "--HistoryManager.enabled=False"])
    os.write(ready, READY)
    os.close(ready)
    kernel.start()


def _new_random_numbers() -> None:
    """Begin random numbers anew: every copy would draw the same ones."""
    random.seed()
    with contextlib.suppress(KeyError):
        sys.modules["numpy"].random.seed()


if __name__ == "__main__":
    main()
