"""Runs one notebook: the record's own in IPython's shell in this process, any other in a kernel of its own.

A shell in this process is not a kernel: it shows nothing that a cell's child processes print, keeps no state of
widgets, and does not outlive a hard exit. So it serves the notebook that came with the kit alone, told by a digest.
"""

from __future__ import annotations

import contextlib
import copy
import hashlib
import io
import json
import os
import socket
import tempfile
import warnings
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import nbformat
import papermill
from ipykernel.ipkernel import IPythonKernel
from IPython.core.displayhook import CapturingDisplayHook
from IPython.core.displaypub import CapturingDisplayPublisher
from IPython.core.interactiveshell import InteractiveShell
from jupyter_client.manager import AsyncKernelManager
from nbclient.exceptions import CellExecutionError, DeadKernelError
from nbformat import NotebookNode
from papermill.exceptions import PapermillExecutionError
from papermill.parameterize import parameterize_notebook
from traitlets.config import Config

from fitkit.batch.job import Limits
from fitkit.batch.processes import end_group, memory_limit
from fitkit.words import one_line

PARAMETER = "session"
# The code of templates/client_report.ipynb; a test says what it is after a change.
SHIPPED = "4c37298afc803bde62183d2527968bf45a1f08af51435546ed2e53ad72deb809"
_KERNEL = "python3"
_LANGUAGE = "python"
# Some systems take 104 bytes for a socket's whole path; the kernel adds a number to this.
_LONGEST_ADDRESS = 95
# Python's own error and NumPy's.
_OUT_OF_MEMORY = ("MemoryError", "_ArrayMemoryError")


class NotebookError(Exception):
    """The notebook did not run to its end; its text says where and why."""


def code_digest(notebook: NotebookNode) -> str:
    """Return the digest of what a notebook would run; its text and what it shows do not count."""
    code = [[cell.source, cell.metadata.get("tags", [])] for cell in notebook.cells if cell.cell_type == "code"]
    return hashlib.sha256(json.dumps(code).encode()).hexdigest()


def is_shipped(notebook: NotebookNode) -> bool:
    """Whether a notebook runs what the record's notebook ran when it came with the kit."""
    return code_digest(notebook) == SHIPPED


def load_template(path: Path) -> NotebookNode:
    """Return the notebook to run."""
    try:
        template = nbformat.v4.reads(path.read_text(encoding="utf-8"))
        if is_shipped(template):
            return template  # known to be a notebook, with the one parameter
        template = nbformat.read(path, as_version=4)
    except (ValueError, KeyError, AttributeError, TypeError) as error:
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


def run(
    template: NotebookNode,
    session_name: str,
    folder: Path,
    *,
    limits: Limits,
    in_shell: bool,
    tell: Callable[..., None],
) -> NotebookNode:
    """Execute the notebook for one session and return it with its outputs."""
    at = "the start of the notebook"

    def entered(cell: NotebookNode, cell_index: int) -> None:
        nonlocal at
        at = _cell_name(cell, cell_index)
        tell("cell", at)

    parameters = {PARAMETER: session_name}
    try:
        with memory_limit(limits.notebook_memory_mb):
            if in_shell:
                executed = _in_shell(template, parameters, folder, entered)
            else:
                options = {"start_timeout": limits.kernel_start_s, "on_cell_start": entered}
                executed = in_kernel(template, parameters, folder, lambda group: tell("group", group), **options)
    except Exception as error:  # whatever it is, it is one visit's failure and has to be told in words
        raise NotebookError(_reason(error, at, limits)) from error
    finally:
        tell("cell", "")
    _check_complete(executed)
    return executed


def in_kernel(
    template: NotebookNode,
    parameters: Mapping[str, str],
    folder: Path,
    started: Callable[[int], None] = lambda group: None,
    **options: object,
) -> NotebookNode:
    """Execute a notebook in a kernel of its own, of which nothing is left running."""
    groups = []

    class WatchedKernelManager(AsyncKernelManager):
        """A kernel manager that tells the process group of its kernel."""

        async def start_kernel(self, **kw: object) -> None:
            await super().start_kernel(**kw)
            groups.append(self.provisioner.pid)
            started(self.provisioner.pid)

    try:
        with _sockets() as config:
            return papermill.execute_notebook(
                template,
                None,
                parameters,
                cwd=folder,
                kernel_name=_KERNEL,
                language=_LANGUAGE,
                progress_bar=False,
                request_save_on_cell_execute=False,
                record_timing=False,
                kernel_manager_class=WatchedKernelManager,
                shutdown_kernel="immediate",
                # A film named numpy.py beside the session must not be imported.
                extra_arguments=["--IPKernelApp.ignore_cwd=True"],
                config=config,
                **options,
            )
    finally:
        for group in groups:
            end_group(group)


@contextlib.contextmanager
def _sockets() -> Iterator[Config]:
    """Give the kernel a private folder for its sockets; ports of the machine where there can be no such sockets."""
    # JUPYTER_RUNTIME_DIR is this run's own.
    runtime = os.environ["JUPYTER_RUNTIME_DIR"]
    with tempfile.TemporaryDirectory(prefix="k", dir=runtime, ignore_cleanup_errors=True) as folder:
        address = os.path.join(folder, "s")
        if hasattr(socket, "AF_UNIX") and len(os.fsencode(address)) <= _LONGEST_ADDRESS:
            yield Config({"KernelManager": {"transport": "ipc", "ip": address}})
        else:
            yield Config()


def _in_shell(
    template: NotebookNode, parameters: Mapping[str, str], folder: Path, entered: Callable[[NotebookNode, int], None]
) -> NotebookNode:
    """Execute a notebook in this process's own shell, to the first cell that fails; what is printed comes first."""
    notebook = copy.deepcopy(template)
    notebook.metadata |= {"papermill": NotebookNode(), "language_info": IPythonKernel.language_info}
    for cell in notebook.cells:
        cell.metadata.setdefault("tags", [])
    notebook = parameterize_notebook(notebook, parameters, kernel_name=_KERNEL, language=_LANGUAGE)
    shell = InteractiveShell.instance(config=Config({"HistoryManager": {"enabled": False}}))
    # The shell's advice to a person who types; where warnings are errors it would hide the exit itself.
    warnings.filterwarnings("ignore", message="To exit: use", category=UserWarning)
    with contextlib.chdir(folder):
        for index, cell in enumerate(notebook.cells):
            if cell.cell_type == "code" and cell.source.strip():
                entered(cell, index)
                error = _run_cell(shell, cell)
                if error is not None:
                    name, said = type(error).__name__, str(error)
                    raise PapermillExecutionError(index, cell.execution_count, cell.source, name, said, [])
    return notebook


def _run_cell(shell: InteractiveShell, cell: NotebookNode) -> BaseException | None:
    """Run one cell, keep what it printed and showed as a kernel would have sent it, and return what it failed by."""
    shown: list[dict] = []
    shell.display_pub = CapturingDisplayPublisher(parent=shell)
    shell.display_pub.outputs = shown
    shell.display_trap.hook = CapturingDisplayHook(shell, shown)
    printed = {"stdout": io.StringIO(), "stderr": io.StringIO()}
    with contextlib.redirect_stdout(printed["stdout"]), contextlib.redirect_stderr(printed["stderr"]):
        ended = shell.run_cell(cell.source, store_history=True)
    cell.execution_count = ended.execution_count
    outputs = [{"output_type": "stream", "name": name, "text": text.getvalue()} for name, text in printed.items()]
    outputs = [output for output in outputs if output["text"]]
    for one in shown:
        content = {"data": one["data"], "metadata": one["metadata"] or {}}
        if "update" in one:  # displayed, not the value of the cell's last expression
            outputs.append({"output_type": "display_data", **content})
        else:
            outputs.append({"output_type": "execute_result", "execution_count": ended.execution_count, **content})
    cell.outputs = nbformat.from_dict(json.loads(json.dumps(outputs)))
    return ended.error_before_exec or ended.error_in_exec


def _reason(error: Exception, at: str, limits: Limits) -> str:
    most = f"a notebook may take {limits.notebook_memory_mb} MB"
    if isinstance(error, DeadKernelError):
        return f"the kernel ended by itself or was killed at {at}"
    if isinstance(error, MemoryError):
        return f"out of memory at {at}; {most}"
    if isinstance(error, PapermillExecutionError):
        if error.ename in _OUT_OF_MEMORY:
            return f"out of memory at {at}; {most}"
        if error.ename == CellExecutionError.__name__:
            # Told that the cell failed, but shown no error: there was no room left to write one.
            return f"out of memory, it seems, at {at}; {most}"
        return f"{at} stopped: {error.ename}: {one_line(error.evalue)}"
    return f"{at} failed: {type(error).__name__}: {one_line(error)}"


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
