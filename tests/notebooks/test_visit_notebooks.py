"""The notebooks of a visit run with any session as their one parameter, each from that file alone."""

import shutil

import nbformat
import papermill
import pytest

from fitkit import session
from fitkit.workbench.folder import NOTEBOOKS
from tests.notebooks.refresh import ROOT


@pytest.fixture
def empty(tmp_path):
    return session.new("rider-empty", "2026-03-04", "road", tmp_path)


@pytest.mark.parametrize("name", NOTEBOOKS)
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_each_runs_with_a_session_in_which_nothing_is_measured(name, empty, tmp_path):
    source = shutil.copy(ROOT / "notebooks" / f"{name}.ipynb", tmp_path)
    out = tmp_path / "out.ipynb"
    before = empty.read_bytes()
    given = {"session": str(empty)}
    papermill.execute_notebook(source, out, given, cwd=tmp_path, progress_bar=False, log_output=False)
    words = "\n".join(
        output.get("data", {}).get("text/plain", "")
        for cell in nbformat.read(out, as_version=4).cells
        if cell.cell_type == "code"
        for output in cell.outputs
    )
    assert "Not drawn" not in words
    assert "rider-101" not in words
    assert empty.read_bytes() == before
