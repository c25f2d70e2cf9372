"""What is taken from an executed notebook, and what of it is not kept."""

import copy

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output

from fitkit.batch.engine import NotebookError, load_template
from fitkit.batch.record import ResultsError, cleaned, emitted
from fitkit.report import RESULTS_TYPE, SHEET_TYPE

KEY = "rider-1_2026-03-04_road"
RESULTS = {"format": "cleat-stance-results", "version": 1, "session": KEY, "results": [{"name": "hip.spacing"}]}


def notebook(*outputs):
    shown = [new_output("display_data", data) for data in outputs]
    return new_notebook(cells=[new_code_cell("record.results()", outputs=shown)])


def test_results_and_sheet_come_from_one_output():
    both = {RESULTS_TYPE: RESULTS, SHEET_TYPE: {"title": "x"}}
    assert emitted(notebook({"text/plain": "words"}, both), KEY) == (RESULTS, {"title": "x"})


@pytest.mark.parametrize("count", [0, 2])
def test_exactly_one_output_is_expected(count):
    both = {RESULTS_TYPE: RESULTS, SHEET_TYPE: {}}
    with pytest.raises(ResultsError, match=f"shows {count} outputs with results"):
        emitted(notebook(*[both] * count), KEY)


def test_results_without_a_sheet_are_refused():
    with pytest.raises(ResultsError, match="without the rider's sheet"):
        emitted(notebook({RESULTS_TYPE: RESULTS}), KEY)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"session": "rider-2_2026-03-04_road"}, "session of the notebook's results is rider-2_"),
        ({"version": 2}, "version of the notebook's results is 2"),
        ({"format": None}, "format of the notebook's results is None"),
        ({"results": {"hip.spacing": 1}}, "no list of named results"),
        ({"results": [{"name": 1}]}, "no list of named results"),
        ({"results": [{"name": "hip.spacing", "value": float("nan")}]}, "NaN or infinite"),
    ],
)
def test_results_of_another_visit_or_shape_are_refused(change, said):
    with pytest.raises(ResultsError, match=said):
        emitted(notebook({RESULTS_TYPE: RESULTS | change, SHEET_TYPE: {}}), KEY)


def test_what_differs_from_run_to_run_is_taken_out():
    template = new_notebook(cells=[new_code_cell("# one", id="one")])
    executed = copy.deepcopy(template)
    executed.cells.insert(0, new_code_cell("session = 'x'", metadata={"tags": ["injected-parameters"]}))
    executed.cells[1].metadata.update({"tags": [], "papermill": {"start_time": "now"}, "execution": {"iopub": "now"}})
    executed.metadata["papermill"] = {"input_path": "/somewhere"}
    found = cleaned(executed, template)
    assert [cell.id for cell in found.cells] == ["visit-0", "one"]
    assert found.metadata == {}
    assert found.cells[1].metadata == {}
    assert found.cells[0].metadata.tags == ["injected-parameters"]


@pytest.mark.parametrize(
    ("source", "tags", "said"),
    [
        ('sesion = ""', ["parameters"], r"has the parameters \['sesion'\]; expected one, 'session'"),
        ('session = ""\nother = 1', ["parameters"], r"has the parameters \['other', 'session'\]"),
        ('session = ""', [], r"has the parameters \[\]"),
    ],
)
def test_a_template_with_other_parameters_is_refused(tmp_path, source, tags, said):
    path = tmp_path / "{braces} client_report.ipynb"
    nbformat.write(new_notebook(cells=[new_code_cell(source, metadata={"tags": tags})]), path)
    with pytest.raises(NotebookError, match=said):
        load_template(path)


def test_a_template_that_is_no_notebook_is_refused(tmp_path):
    path = tmp_path / "client_report.ipynb"
    path.write_text("[]", encoding="utf-8")
    with pytest.raises(NotebookError, match=r"client_report\.ipynb is not a notebook"):
        load_template(path)
