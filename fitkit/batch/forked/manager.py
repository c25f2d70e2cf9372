"""Manager and client of forked kernels, without the waiting that fresh kernels need."""

from __future__ import annotations

import time
from queue import Empty
from typing import Any

from jupyter_client.asynchronous import AsyncKernelClient
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

from fitkit.batch.forked.provisioner import NAME

__all__ = ["ForkedKernelClient", "ForkedKernelManager", "manager_of"]


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
