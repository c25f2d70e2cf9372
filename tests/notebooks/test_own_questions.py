"""The analytical user's notebook: copied once, run on an invented year, and no small group leaves the clinic."""

import subprocess
import sys

import nbclient
import nbformat
import numpy as np
import pytest

from fitkit.clinic.visits import load
from fitkit.workbench.folder import WorkFolder
from tests import invented_year

NAME = "own_questions.ipynb"


def told_again(documents):
    """Return the visits of a year, the second ones with half of what hurt at the first one, 2 of 10 less."""
    first = {one["client_id"]: one for one in documents if "since_last" not in one}
    for one in documents:
        if "since_last" in one and one["client_id"] in first:
            then = first[one["client_id"]].get("complaints", [])
            one["complaints"] = [{**each, "severity": max(each["severity"] - 2, 0)} for each in then]
    return documents


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    """Return a work folder with a part of an invented year."""
    folder = WorkFolder(tmp_path_factory.mktemp("year") / "work")
    folder.prepare()
    invented_year.write(folder.root / "2026", told_again(invented_year.documents(150)))
    return folder


def run(root):
    """Return the notebook of a work folder as it ran, with what each cell showed."""
    notebook = nbformat.read(root / NAME, as_version=4)
    nbclient.NotebookClient(notebook, resources={"metadata": {"path": str(root)}}).execute()
    return {cell.id: cell.outputs for cell in notebook.cells if cell.cell_type == "code"}


def words(outputs):
    """Return the plain words of a cell's outputs."""
    return "\n".join(output.get("data", {}).get("text/plain", "") for output in outputs)


def test_it_runs_on_an_invented_year(work):
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--nbval-lax", str(work.root / NAME)]
    found = subprocess.run(command, capture_output=True, text=True, cwd=work.root, timeout=300, check=False)
    assert found.returncode == 0, found.stdout[-3000:]


def test_the_charts_show_what_the_visits_hold_and_no_small_group(work):
    shown = run(work.root)
    chart = shown["left"][-1]["data"]["application/vnd.vegalite.v5+json"]
    (rows,) = [rows for rows in chart["datasets"].values() if "median" in rows[0]]
    # From the documents themselves: all feet of a size (a half size goes with the next), the mean of its readings.
    documents = told_again(invented_year.documents(150))
    for row in rows:
        feet = [
            (one["client_id"], float(np.mean(one[row["when"].replace(" ", "_")][side]["cleat_setback_mm"])))
            for one in documents
            for side in ("left", "right")
            if int(one["shoes"][side]["size"] + 0.5) == row["size"]
        ]
        assert row["riders"] == len({client for client, _ in feet}) >= 5
        assert row["median"] == pytest.approx(np.median([place for _, place in feet]), abs=0.051)
    assert "rider-" not in str(shown)  # no client's id on the screen
    assert "under 5 riders (house rule): " in words(shown["left"])
    # 2 of 10 less at the second visit, whoever the rider.
    scores = shown["complaints-chart"][-1]["data"]["application/vnd.vegalite.v5+json"]["datasets"].values()
    lines = next(rows for rows in scores if "now" in rows[0])
    assert lines
    assert all(row["now"] <= row["then"] for row in lines)
    spread = shown["repeats"][-1]["data"]["application/vnd.vegalite.v5+json"]
    rows = next(iter(spread["datasets"].values()))
    held = [row["low"] <= invented_year.READING_SD_MM <= row["high"] for row in rows]
    assert np.mean(held) >= 0.8  # of 95 % intervals of the spread with which the year was made
    for name in ("left", "complaints-chart", "repeats"):
        spec = shown[name][-1]["data"]["application/vnd.vegalite.v5+json"]
        assert spec["title"]
        assert spec["description"]
        assert '"tooltip"' in str(spec).replace("'", '"')
        actions = shown[name][-1]["metadata"]["application/vnd.vegalite.v5+json"]["embed_options"]["actions"]
        assert not actions["editor"]  # no chart's data is handed to a page elsewhere


@pytest.mark.parametrize("visits", [0, 3])
def test_with_no_or_few_visits_it_says_so_and_draws_nothing(tmp_path, visits):
    folder = WorkFolder(tmp_path / "work")
    folder.prepare()
    invented_year.write(folder.root / "2026", visits)
    shown = run(folder.root)
    assert ("No visit was found." if not visits else f"{visits} visits of") in words(shown["clinic"])
    for name in ("left", "complaints", "complaints-chart", "repeats"):
        assert "Nothing can be shown: no group has 5 riders or more." in words(shown[name])
        assert "vegalite" not in str(shown[name])


def test_what_was_written_into_it_stays_and_the_trainees_copy_is_no_visit(work):
    own = work.root / NAME
    before = own.read_text(encoding="utf-8")
    own.write_text(before.replace("# Your own question", "# Mine"), encoding="utf-8")
    (work.root / "learning").mkdir(exist_ok=True)
    path = next((work.root / "2026").iterdir())
    (work.root / "learning" / path.name).write_bytes(path.read_bytes())
    work.prepare()
    assert "# Mine" in own.read_text(encoding="utf-8")
    assert len(load(work.root).visits) == 150
