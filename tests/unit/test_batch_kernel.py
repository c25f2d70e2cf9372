"""How a kernel is reached, and what its end is called."""

import pytest
from nbclient.exceptions import CellTimeoutError, DeadKernelError
from nbformat.v4 import new_code_cell
from papermill.exceptions import PapermillExecutionError

from fitkit.batch import kernel
from fitkit.batch.job import Limits


def test_sockets_lie_in_a_private_folder_that_is_removed(tmp_path, monkeypatch):
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path / "r"))
    (tmp_path / "r").mkdir()
    monkeypatch.setattr(kernel, "_LONGEST_ADDRESS", 300)
    with kernel._sockets() as config:
        assert config.KernelManager.transport == "ipc"
        (private,) = (tmp_path / "r").iterdir()
        assert config.KernelManager.ip == str(private / "s")
        assert private.stat().st_mode & 0o777 == 0o700
    assert list((tmp_path / "r").iterdir()) == []


def test_a_path_too_long_for_sockets_means_ports(tmp_path, monkeypatch):
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr(kernel, "_LONGEST_ADDRESS", 10)
    with kernel._sockets() as config:
        assert "KernelManager" not in config


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (CellTimeoutError("slow"), "cell 2 (Load the visit) took longer than 60 s"),
        (DeadKernelError("Kernel died"), "the kernel ended by itself or was killed at cell 2 (Load the visit)"),
        (RuntimeError("no\nspec"), "cell 2 (Load the visit) failed: RuntimeError: no spec"),
        (
            PapermillExecutionError(1, 2, "", "ValueError", "size is \x1b[31m99", []),
            r"cell 2 (Load the visit) stopped: ValueError: size is \x1b[31m99",
        ),
    ],
)
def test_a_failure_names_the_cell_and_the_reason(error, said):
    progress = kernel._Progress(groups=[])
    progress.enter(cell=new_code_cell("# Load the visit\nx = 1"), cell_index=1)
    assert kernel._reason(error, progress, Limits()) == said
    progress.out_of_time = True
    assert (
        kernel._reason(error, progress, Limits())
        == "the notebook took longer than 300 s; stopped at cell 2 (Load the visit)"
    )
