"""Starts a kernel as a copy of the warm process, in place of a fresh program; the name is in pyproject.toml."""

from __future__ import annotations

import asyncio
import os
import select
import signal
from collections.abc import Awaitable
from typing import Any

from jupyter_client.provisioning import LocalProvisioner
from traitlets import Any as AnyTrait

from fitkit.batch.forked.template import READY

__all__ = ["NAME", "ForkedProvisioner"]

NAME = "cleat-stance-forked"
_START_S = 60


class ForkedProvisioner(LocalProvisioner):
    """A kernel that `fitkit.batch.forked.helpers.Template` copies from itself.

    It is no child of this process: a descriptor tells of its end in place of a `Popen` object.
    """

    template = AnyTrait(help="The warm process, with a method ask().")
    _end: int | None = None

    @property
    def has_process(self) -> bool:
        """Whether there is a kernel."""
        return self._end is not None

    async def poll(self) -> int | None:
        """Return None while the kernel runs; how it ended is not known, so that 1 stands for every end."""
        if self._end is None:
            return 0
        return 1 if self._has_ended() else None

    async def wait(self) -> int | None:
        """Wait for the kernel's end."""
        if self._end is not None:
            if not self._has_ended():
                await _readable(self._end)
            os.close(self._end)
            self._end = None
        return 0

    async def send_signal(self, signum: int) -> None:
        """Send a signal to the kernel and its children."""
        if self._end is not None and not self._has_ended():
            try:
                os.killpg(self.pid, signum)
            except ProcessLookupError:
                # It has been copied and has no group of its own yet.
                signal.pidfd_send_signal(self._end, signum)

    async def kill(self, restart: bool = False) -> None:
        """End the kernel and its children without asking."""
        await self.send_signal(signal.SIGKILL)

    async def terminate(self, restart: bool = False) -> None:
        """Ask the kernel and its children to end."""
        await self.send_signal(signal.SIGTERM)

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> dict:
        """Start the kernel and wait until its sockets are there."""
        ready, theirs = os.pipe()
        try:
            request = {
                # The command is "python -m module arguments"; a copy has the module already.
                "arguments": cmd[cmd.index("-f") - 1 :],
                "folder": str(kwargs.get("cwd") or os.getcwd()),
                "environment": kwargs["env"],
            }
            try:
                self.pid, self._end = self.template.ask(request, theirs)
            finally:
                os.close(theirs)
            self.pgid = self.pid
            await asyncio.wait_for(_readable(ready), _START_S)
            if os.read(ready, 1) != READY:
                raise RuntimeError("the kernel ended before it was ready")
        finally:
            os.close(ready)
        return self.connection_info

    def _has_ended(self) -> bool:
        return bool(select.select([self._end], [], [], 0)[0])


def _readable(descriptor: int) -> Awaitable[None]:
    loop = asyncio.get_running_loop()
    seen = loop.create_future()
    loop.add_reader(descriptor, lambda: seen.done() or seen.set_result(None))
    seen.add_done_callback(lambda _: loop.remove_reader(descriptor))
    return seen
