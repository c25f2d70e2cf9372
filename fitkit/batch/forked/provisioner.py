"""Starts and ends a kernel as a copy of the warm process, not as a program; its name is in pyproject.toml."""

from __future__ import annotations

import asyncio
import os
import select
import signal
import time
from collections.abc import Awaitable
from queue import Empty
from typing import Any

from jupyter_client.asynchronous import AsyncKernelClient
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning import LocalProvisioner
from traitlets import Any as AnyTrait

from fitkit.batch.forked.template import READY

__all__ = ["NAME", "ForkedKernelClient", "ForkedKernelManager", "ForkedProvisioner", "manager_of"]

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


class ForkedKernelClient(AsyncKernelClient):
    """A client that is ready when the kernel has gone idle after its first request."""

    async def _async_wait_for_ready(self, timeout: float | None = None) -> None:
        # The library waits for 0.2 s of silence instead, lest something unasked for still comes. From a forked
        # kernel, whose sockets are there before anybody speaks, nothing does.
        end = time.monotonic() + (timeout or float("inf"))
        while time.monotonic() < end:
            asked = self.kernel_info()
            try:
                await self._answered(asked)
                return
            except Empty:
                if not await self._async_is_alive():
                    raise RuntimeError("the kernel ended before it answered") from None
        raise RuntimeError(f"the kernel did not answer in {timeout} s")

    wait_for_ready = _async_wait_for_ready

    async def _answered(self, asked: str) -> None:
        """Wait for the answer to a request, and for the kernel to say that it is idle again."""
        while True:
            message = await self.shell_channel.get_msg(timeout=1)
            if message["parent_header"].get("msg_id") == asked and message["msg_type"] == "kernel_info_reply":
                self._handle_kernel_info_reply(message)
                break
        while True:
            message = await self.iopub_channel.get_msg(timeout=0.2)
            if message["parent_header"].get("msg_id") == asked and message["content"].get("execution_state") == "idle":
                return


class ForkedKernelManager(AsyncKernelManager):
    """A manager whose kernels are copies of a warm process."""

    template: Any = None

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.client_class = f"{__name__}.{ForkedKernelClient.__name__}"

    @property
    def kernel_spec(self) -> KernelSpec | None:
        """The installed kernel, started in our way."""
        spec = super().kernel_spec
        if spec is not None:
            started = {"provisioner_name": NAME, "config": {"template": self.template}}
            spec.metadata = {**spec.metadata, "kernel_provisioner": started}
        return spec

    async def _async_interrupt_kernel(self) -> None:
        # Before it ends a kernel the library interrupts it; one that is idle then takes seconds to end.
        if not self.shutting_down:
            await super()._async_interrupt_kernel()

    async def _async_wait(self, pollinterval: float = 0.1) -> None:
        # The library looks every 0.1 s instead.
        if self.has_kernel:
            await self.provisioner.wait()


def manager_of(template: object) -> type[ForkedKernelManager]:
    """Return a manager class whose kernels are copies of this warm process."""
    return type(ForkedKernelManager.__name__, (ForkedKernelManager,), {"template": template})
