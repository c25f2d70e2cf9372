"""The two warm processes of a worker, started at once and ended with it."""

from __future__ import annotations

import contextlib
import importlib.metadata
import json
import os
import socket
import subprocess
import sys
from pathlib import Path

from fitkit.batch.forked.template import LONGEST_REQUEST_BYTES, READY
from fitkit.rendering import RENDERER

__all__ = ["Helpers", "NoForkError", "can_fork"]

_ENTRY_POINTS = "jupyter_client.kernel_provisioners"
_PROVISIONER = "cleat-stance-forked"
_START_S = 120


class NoForkError(Exception):
    """No kernel can be copied; its text says why."""


def can_fork() -> bool:
    """Whether this system and this install have all that forked kernels need."""
    has_calls = hasattr(os, "fork") and hasattr(os, "pidfd_open") and hasattr(socket, "recv_fds")
    if not (has_calls and os.path.isdir("/proc/self/task")):
        return False
    return bool(importlib.metadata.entry_points(group=_ENTRY_POINTS, name=_PROVISIONER))


class Helpers:
    """The warm processes of one worker; made again where they have ended."""

    def __init__(self, private: Path) -> None:
        self._address = str(private / "renderer")
        self._renderer: subprocess.Popen | None = None
        self._template: _Template | None = None

    def start(self) -> None:
        """Start whatever does not run, without waiting for it."""
        if self._renderer is None or self._renderer.poll() is not None:
            self._renderer = _start_renderer(self._address)
            os.environ[RENDERER] = self._address
        if self._template is None or not self._template.is_alive():
            self._template = _Template()

    def stop(self) -> None:
        """End both, with the kernels."""
        if self._template:
            self._template.stop()
        if self._renderer:
            self._renderer.stdin.close()
            self._renderer.wait()

    def ready(self) -> _Template:
        """Return the process to be copied as soon as it is warm; raises NoForkError where it cannot be."""
        self._template.wait()
        return self._template


def _start_renderer(address: str) -> subprocess.Popen:
    # The socket listens from here on: whoever comes before the process is warm waits for it.
    with contextlib.suppress(FileNotFoundError):
        os.unlink(address)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(address)
        listening.listen(16)
        return _start("renderer", listening.fileno())


def _start(module: str, descriptor: int) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", f"fitkit.batch.forked.{module}", str(descriptor)],
        stdin=subprocess.PIPE,
        pass_fds=[descriptor],
    )


class _Template:
    """The process that is copied, and our end of the link to it."""

    def __init__(self) -> None:
        self._link, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._link.settimeout(_START_S)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "fitkit.batch.forked.template", str(theirs.fileno())],
                stdin=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
            )
        self._is_warm = False

    def is_alive(self) -> bool:
        """Whether it runs."""
        return self._process.poll() is None

    def stop(self) -> None:
        """End it, with its kernels."""
        self._link.close()
        self._process.wait()

    def wait(self) -> None:
        """Wait until it is warm."""
        if not self._is_warm:
            try:
                self._is_warm = self._link.recv(1) == READY
            except OSError as error:
                raise NoForkError(f"no warm process to copy: {error}") from None
            if not self._is_warm:
                raise NoForkError("the process to be copied ended before it was warm")

    def ask(self, request: dict, ready: int) -> tuple[int, int]:
        """Have a kernel copied."""
        message = json.dumps(request).encode()
        if len(message) > LONGEST_REQUEST_BYTES:
            raise NoForkError(f"the environment has {len(message)} bytes; expected {LONGEST_REQUEST_BYTES} at most")
        socket.send_fds(self._link, [message], [ready])
        number, descriptors, _, _ = socket.recv_fds(self._link, 16, 1)
        if not number:
            raise NoForkError("the process to be copied has ended")
        return int(number), descriptors[0]
