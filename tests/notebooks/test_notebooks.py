"""Notebooks run from start to end, show what they showed before, and carry nobody's numbers."""

import subprocess
import sys

import nbformat
import pytest

from tests.notebooks.refresh import ROOT, is_compared, notebooks

NAMES = [str(path.relative_to(ROOT)) for path in notebooks()]


@pytest.fixture(params=NAMES)
def notebook(request):
    return nbformat.read(ROOT / request.param, as_version=4)


def test_compared_cells_exist_and_have_outputs(notebook):
    # nbval passes a cell without an execution count whatever it does: such cells must have both.
    compared = [cell for cell in notebook.cells if cell.cell_type == "code" and is_compared(cell)]
    assert compared
    assert all(cell.execution_count and cell.outputs for cell in compared)


def test_no_other_output_is_committed(notebook):
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert not any(cell.outputs or cell.execution_count for cell in code if not is_compared(cell))


def test_a_person_sees_words_and_no_code(notebook, request):
    if "own_questions" in request.node.name:
        return  # its code is there to be read and changed
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.source.startswith("# "), cell.source
            assert cell.metadata["jupyter"]["source_hidden"]
            assert "def " not in cell.source


def test_there_is_one_cell_of_parameters(notebook):
    tagged = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
    assert len(tagged) == 1


def test_outputs_are_what_they_were():
    # One process for all of them; what it prints names the notebook and the cell.
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--nbval-lax", *NAMES]
    found = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=900, check=False)
    assert found.returncode == 0, found.stdout[-3000:]
    assert all(name in found.stdout for name in NAMES)
