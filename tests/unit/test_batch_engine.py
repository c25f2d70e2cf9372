"""Which notebook a copy of the warm process may run, how a kernel is reached, and what the end of either is called."""

import sys

import nbformat
import pytest
from nbclient.exceptions import DeadKernelError
from nbformat.v4 import new_code_cell, new_markdown_cell
from papermill.exceptions import PapermillExecutionError

from fitkit import files
from fitkit.batch import engine, pool
from fitkit.batch.job import Limits


def test_the_digest_is_that_of_the_notebook_that_comes_with_the_kit():
    # After a change of the notebook's code: run `python -m pytest tests/faults/test_engines.py`, then renew SHIPPED.
    assert engine.code_digest(shipped()) == engine.SHIPPED


def test_text_and_outputs_may_change_and_code_may_not():
    changed = shipped()
    changed.cells.append(new_markdown_cell("The clinic's own words"))
    changed.cells[1].outputs = []
    assert engine.is_shipped(changed)
    changed.cells.append(new_code_cell("record.soles()"))
    assert not engine.is_shipped(changed)
    changed = shipped()
    changed.cells[1].metadata.tags = ["skip-execution"]
    assert not engine.is_shipped(changed)


def shipped():
    return nbformat.read(files.template("client_report.ipynb"), as_version=4)


@pytest.mark.skipif(sys.platform != "linux", reason="the warm process is copied on Linux")
def test_linux_copies_the_warm_process():
    assert pool.can_fork()


def test_sockets_lie_in_a_private_folder_that_is_removed(tmp_path, monkeypatch):
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path / "r"))
    (tmp_path / "r").mkdir()
    monkeypatch.setattr(engine, "_LONGEST_ADDRESS", 300)
    with engine._sockets() as config:
        assert config.KernelManager.transport == "ipc"
        (private,) = (tmp_path / "r").iterdir()
        assert config.KernelManager.ip == str(private / "s")
        assert private.stat().st_mode & 0o777 == 0o700
    assert list((tmp_path / "r").iterdir()) == []


def test_a_path_too_long_for_sockets_means_ports(tmp_path, monkeypatch):
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr(engine, "_LONGEST_ADDRESS", 10)
    with engine._sockets() as config:
        assert "KernelManager" not in config


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (DeadKernelError("Kernel died"), "the kernel ended by itself or was killed at cell 2 (Load the visit)"),
        (RuntimeError("no\nspec"), "cell 2 (Load the visit) failed: RuntimeError: no spec"),
        (MemoryError(), "out of memory at cell 2 (Load the visit); a notebook may take 2000 MB"),
        (
            PapermillExecutionError(1, 2, "", "ValueError", "size is \x1b[31m99", []),
            r"cell 2 (Load the visit) stopped: ValueError: size is \x1b[31m99",
        ),
    ],
)
def test_a_failure_names_the_cell_and_the_reason(error, said):
    at = engine._cell_name(new_code_cell("# Load the visit\nx = 1"), 1)
    assert engine._reason(error, at, Limits()) == said
