"""Runs one notebook in a kernel of its own, copied or plain, within time limits; nothing of it is left running."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import nbformat
import papermill
from jupyter_client.manager import AsyncKernelManager
from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
from nbformat import NotebookNode
from papermill.exceptions import PapermillExecutionError
from traitlets.config import Config

from fitkit.batch.forked.helpers import Helpers, NoForkError, can_fork
from fitkit.batch.job import Limits
from fitkit.batch.processes import end_group, limit_memory
from fitkit.words import one_line

__all__ = ["Engine", "NotebookError", "load_template", "run"]

PARAMETER = "session"
_KERNEL = "python3"
_LANGUAGE = "python"
# Some systems take 104 bytes for a socket's whole path; the kernel adds a number to this.
_LONGEST_ADDRESS = 95
# Python's own error and NumPy's.
_OUT_OF_MEMORY = ("MemoryError", "_ArrayMemoryError")


class NotebookError(Exception):
    """The notebook did not run to its end; its text says where and why."""


def load_template(path: Path) -> NotebookNode:
    """Return the notebook to run, once for all visits."""
    try:
        template = nbformat.read(path, as_version=4)
    except (ValueError, KeyError, AttributeError) as error:
        raise NotebookError(f"{path.name} is not a notebook: {one_line(error)}") from None
    names = sorted(_parameters(template))
    if names != [PARAMETER]:
        raise NotebookError(f"{path.name} has the parameters {names}; expected one, '{PARAMETER}'")
    return template


def _parameters(template: NotebookNode) -> dict:
    if not any("parameters" in cell.metadata.get("tags", []) for cell in template.cells):
        return {}
    template.metadata.setdefault("kernelspec", {"name": _KERNEL, "language": _LANGUAGE, "display_name": "Python 3"})
    return papermill.inspect_notebook(template)


@dataclass
class _Progress:
    """Where the run stands, for a message that names the cell."""

    groups: list[int]
    cell: str = "the start of the kernel"
    out_of_time: bool = False

    def enter(self, cell: NotebookNode, cell_index: int) -> None:
        self.cell = _cell_name(cell, cell_index)

    def stop(self) -> None:
        self.out_of_time = True
        for group in self.groups:
            end_group(group)


def run(
    template: NotebookNode,
    session_name: str,
    folder: Path,
    *,
    limits: Limits,
    started: Callable[[int], None],
    manager: type[AsyncKernelManager] = AsyncKernelManager,
) -> NotebookNode:
    """Execute the notebook for one session and return it with its outputs."""
    progress = _Progress(groups=[])
    timer = threading.Timer(limits.notebook_s, progress.stop)
    timer.daemon = True

    def note(group: int) -> None:
        limit_memory(group, limits.kernel_memory_mb)
        progress.groups.append(group)
        started(group)
        if progress.out_of_time:
            progress.stop()

    timer.start()
    try:
        with _sockets() as config:
            watched = _watched(manager, note)
            executed = _execute(template, session_name, folder, limits, config, progress, watched)
    except Exception as error:  # whatever it is, it is one visit's failure and has to be told in words
        raise NotebookError(_reason(error, progress, limits)) from error
    finally:
        timer.cancel()
        for group in progress.groups:
            end_group(group)
    _check_complete(executed)
    return executed


def _watched(manager: type[AsyncKernelManager], note: Callable[[int], None]) -> type[AsyncKernelManager]:
    class WatchedKernelManager(manager):
        """A kernel manager that tells the process group of its kernel."""

        async def _async_launch_kernel(self, kernel_cmd: list[str], **kw: object) -> None:
            await super()._async_launch_kernel(kernel_cmd, **kw)
            note(self.provisioner.pid)

    return WatchedKernelManager


def _execute(
    template: NotebookNode,
    session_name: str,
    folder: Path,
    limits: Limits,
    config: Config,
    progress: _Progress,
    manager: type[AsyncKernelManager],
) -> NotebookNode:
    return papermill.execute_notebook(
        template,
        None,
        {PARAMETER: session_name},
        kernel_name=_KERNEL,
        language=_LANGUAGE,
        progress_bar=False,
        request_save_on_cell_execute=False,
        record_timing=False,
        cwd=folder,
        start_timeout=limits.kernel_start_s,
        execution_timeout=limits.cell_s,
        shutdown_kernel="immediate",
        kernel_manager_class=manager,
        # A film named numpy.py beside the session must not be imported.
        extra_arguments=["--IPKernelApp.ignore_cwd=True"],
        on_cell_start=progress.enter,
        config=config,
    )


@contextlib.contextmanager
def _sockets() -> Iterator[Config]:
    """Give the kernel a private folder for its sockets; ports of the machine where there can be no such sockets."""
    # JUPYTER_RUNTIME_DIR is this worker's own.
    folder = tempfile.mkdtemp(prefix="k", dir=os.environ["JUPYTER_RUNTIME_DIR"])
    address = os.path.join(folder, "s")
    try:
        if hasattr(socket, "AF_UNIX") and len(os.fsencode(address)) <= _LONGEST_ADDRESS:
            yield Config({"KernelManager": {"transport": "ipc", "ip": address}})
        else:
            yield Config()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _reason(error: Exception, progress: _Progress, limits: Limits) -> str:
    if progress.out_of_time:
        return f"the notebook took longer than {limits.notebook_s:g} s; stopped at {progress.cell}"
    if isinstance(error, CellTimeoutError):
        return f"{progress.cell} took longer than {limits.cell_s:g} s"
    if isinstance(error, DeadKernelError):
        return f"the kernel ended by itself or was killed at {progress.cell}"
    if isinstance(error, PapermillExecutionError):
        if error.ename in _OUT_OF_MEMORY:
            return f"kernel out of memory at {progress.cell}; a kernel may take {limits.kernel_memory_mb} MB"
        if error.ename == CellExecutionError.__name__:
            # Told that the cell failed, but shown no error: there was no room left to write one.
            return f"kernel out of memory, it seems, at {progress.cell}; a kernel may take {limits.kernel_memory_mb} MB"
        return f"{progress.cell} stopped: {error.ename}: {one_line(error.evalue)}"
    return f"{progress.cell} failed: {type(error).__name__}: {one_line(error)}"


def _cell_name(cell: NotebookNode, index: int) -> str:
    first_line = cell.source.strip().partition("\n")[0].lstrip("# ")
    return f"cell {index + 1} ({one_line(first_line, longest=60)})"


def _check_complete(executed: NotebookNode) -> None:
    """Refuse a notebook that ended early without an error, as one that calls exit does."""
    for index, cell in enumerate(executed.cells):
        if cell.cell_type != "code" or not cell.source.strip():
            continue
        failed = [output for output in cell.outputs if output.output_type == "error"]
        if failed:
            raise NotebookError(f"{_cell_name(cell, index)} stopped: {failed[0].ename}: {one_line(failed[0].evalue)}")
        if cell.execution_count is None:
            raise NotebookError(f"{_cell_name(cell, index)} was not run; the notebook ended before it")


if TYPE_CHECKING:
    from jupyter_client.manager import AsyncKernelManager


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
