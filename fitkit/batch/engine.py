"""What runs a worker's notebooks: kernels copied from a warm one, or plain ones where that cannot be."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.batch.forked.helpers import Helpers, NoForkError, can_fork

if TYPE_CHECKING:
    from jupyter_client.manager import AsyncKernelManager

__all__ = ["Engine"]


class Engine:
    """The engine of one worker."""

    def __init__(self, private: Path, *, forked: bool) -> None:
        self._helpers = Helpers(private) if forked and can_fork() else None
        if self._helpers:
            self._helpers.start()

    @property
    def name(self) -> str:
        """The engine as the run log names it."""
        return "forked" if self._helpers else "plain"

    def manager(self) -> type[AsyncKernelManager]:
        """Return the class of the manager that starts the next kernel."""
        # Imported only now, so that a worker's helpers can warm up meanwhile.
        from jupyter_client.manager import AsyncKernelManager

        from fitkit.batch.forked.provisioner import manager_of

        if self._helpers:
            try:
                self._helpers.start()
                return manager_of(self._helpers.ready())
            except (NoForkError, OSError) as error:
                sys.stderr.write(f"plain kernels from here on: {error}\n")
                self._helpers = None
        return AsyncKernelManager
