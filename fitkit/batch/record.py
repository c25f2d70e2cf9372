"""What a worker does for one visit: copies of the inputs, the notebook, the pages, the results."""

from __future__ import annotations

import contextlib
import errno
import json
import time
from collections.abc import Callable
from pathlib import Path

import nbformat
from nbformat import NotebookNode

from fitkit.batch import engine
from fitkit.batch.folder import record_files
from fitkit.batch.job import Job, digest_of_files, fingerprint, stage
from fitkit.batch.processes import PrintError, print_page
from fitkit.files import os_reason, remove, sync_folder
from fitkit.report import RESULTS_TYPE, SHEET_TYPE
from fitkit.words import one_line

_SLOWER = "a kernel of its own for each record, about 2 s"


class ResultsError(Exception):
    """The notebook ran, but did not show the results it should have; its text says what was found."""


def make(job: Job, warm_problem: str | None, tell: Callable[..., None]) -> dict:
    """Make one record and return what happened as plain words and numbers.

    ``warm_problem`` is why this process cannot run notebooks itself, nothing where it can, None where it is not asked
    to or is no copy of a warm one.
    """
    begun = time.monotonic()
    used = {"engine": ""}
    try:
        template = engine.load_template(Path(job.template))
        in_shell, why = _engine(job, template, warm_problem)
        used["engine"] = "forked" if in_shell else "plain"
        tell("engine", used["engine"], why)
        found = {"status": "made", "reason": "", **_make(job, template, in_shell, tell)}
    except (engine.NotebookError, ResultsError, PrintError) as error:
        found = {"status": "failed", "reason": str(error)}
    except OSError as error:
        found = {"status": "failed", "reason": _os_problem(error)}
    except Exception as error:  # one visit's failure must not become another's
        found = {"status": "failed", "reason": f"{type(error).__name__}: {one_line(error)}"}
    finally:
        with contextlib.suppress(OSError):
            remove(Path(job.making) / f"{job.key}.inputs")
    return {**found, **used, "seconds": round(time.monotonic() - begun, 2)}


def _engine(job: Job, template: NotebookNode, warm_problem: str | None) -> tuple[bool, str]:
    """Return whether this process runs the notebook itself, and why not where that is to be said."""
    if warm_problem is None:
        return False, ""
    if not engine.is_shipped(template):
        return False, f"{Path(job.template).name} is not as it came with the kit: {_SLOWER}"
    if warm_problem:
        return False, f"the process to be copied could not get ready ({one_line(warm_problem)}): {_SLOWER}"
    return True, ""


def _os_problem(error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        return "the disk is full; make room, then run again"
    name = Path(error.filename).name if isinstance(error.filename, str) else ""
    return f"{one_line(name)} could not be read or written: {os_reason(error)}" if name else os_reason(error)


def _make(job: Job, template: NotebookNode, in_shell: bool, tell: Callable[..., None]) -> dict:
    staged = Path(job.making) / f"{job.key}.inputs"
    staged.mkdir(mode=0o700)
    digests = {item.name: stage(item, staged / item.name) for item in job.inputs}
    executed = engine.run(template, job.inputs[0].name, staged, limits=job.limits, in_shell=in_shell, tell=tell)
    texts = texts_of(cleaned(executed, template), job.key, is_full=job.full)
    folder = Path(job.making) / job.key
    job.access.make_folder(folder)
    for name, text in texts.items():
        job.access.write(folder / name, text.encode())
    if job.browser:
        _print(job, folder, lambda group: tell("group", group))
    sync_folder(folder)
    names = record_files(pdf=job.browser is not None)
    return {
        "fingerprint": fingerprint(job.kit, digests),
        "record": digest_of_files(folder, names),
    }


def texts_of(notebook: NotebookNode, key: str, *, is_full: bool = False) -> dict[str, str]:
    """Return the files of a record by name from its executed notebook."""
    # The pages draw in the exporter and its templates.
    from fitkit.report import pages

    results, sheet = emitted(notebook, key)
    return {
        "record.ipynb": nbformat.writes(notebook, version=4) + "\n",
        "record.html": pages.record_html(notebook, title=_title(key), is_full=is_full),
        "rider_sheet.html": pages.sheet_html(sheet),
        "results.json": json.dumps(results, indent=1, ensure_ascii=False, allow_nan=False) + "\n",
    }


def _print(job: Job, folder: Path, started: Callable[[int], None]) -> None:
    for name in ("record", "rider_sheet"):
        target = folder / f"{name}.pdf"
        print_page(job.browser, folder / f"{name}.html", target, started=started)
        target.chmod(job.access.file_mode)


def _title(key: str) -> str:
    client, date, setup = key.split("_")
    return f"Cleat and stance notebooks: {client}, {date}, {setup}"


def cleaned(executed: NotebookNode, template: NotebookNode) -> NotebookNode:
    """Take out of an executed notebook what differs from run to run: times, paths and random names of cells."""
    executed.metadata.pop("papermill", None)
    named = {cell.get("id") for cell in template.cells}
    for index, cell in enumerate(executed.cells):
        cell.metadata.pop("papermill", None)
        cell.metadata.pop("execution", None)
        if not cell.metadata.get("tags", True):
            del cell.metadata["tags"]
        if cell.id not in named:
            cell.id = f"visit-{index}"
    return executed


def emitted(notebook: NotebookNode, key: str) -> tuple[dict, dict]:
    """Return the results and the rider's sheet that the notebook shows."""
    shown = [
        output.data
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        if RESULTS_TYPE in output.get("data", {})
    ]
    if len(shown) != 1:
        raise ResultsError(f"the notebook shows {len(shown)} outputs with results; expected exactly one")
    results, sheet = shown[0][RESULTS_TYPE], shown[0].get(SHEET_TYPE)
    if not isinstance(sheet, dict):
        raise ResultsError("the notebook shows results without the rider's sheet; expected both in one output")
    _check_results(results, key)
    return results, sheet


def _check_results(results: object, key: str) -> None:
    expected = {"format": "cleat-stance-results", "version": 1, "session": key}
    for name, value in expected.items():
        found = results.get(name) if isinstance(results, dict) else None
        if found != value:
            raise ResultsError(f"{name} of the notebook's results is {one_line(found)}; expected {value}")
    entries = results.get("results")
    if not isinstance(entries, list) or not all(
        isinstance(e, dict) and isinstance(e.get("name"), str) for e in entries
    ):
        raise ResultsError("the notebook's results have no list of named results")
    try:
        json.dumps(results, allow_nan=False)
    except ValueError:
        raise ResultsError("the notebook's results hold a number that is none (NaN or infinite)") from None
