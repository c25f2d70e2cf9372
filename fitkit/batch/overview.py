"""The clinic's overview: one executed notebook and one page over many visits; and, when asked, a learned house rule."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TextIO

import nbformat
from nbformat import NotebookNode
from papermill.exceptions import PapermillExecutionError

from fitkit import files
from fitkit.batch import inputs
from fitkit.batch.engine import in_kernel
from fitkit.batch.folder import OVERVIEW_PAGES, ReportFolder, opened
from fitkit.batch.inputs import Found, load_house, staged_house
from fitkit.batch.job import stage
from fitkit.batch.processes import environment_set, kernel_environment, private_folder
from fitkit.batch.record import cleaned
from fitkit.files import Access, os_reason
from fitkit.house import House, HouseProblems
from fitkit.problems import WrongCallError
from fitkit.words import count, one_line

_TEMPLATE = "clinic_overview.ipynb"
_NOTEBOOK, _PAGE = OVERVIEW_PAGES
_TITLE = "Cleat and stance notebooks: the clinic's overview"
_SESSIONS = "sessions"
_CELL_S = 1800
_MOST_NAMED = 500


@dataclass(frozen=True)
class OverviewOptions:
    """How an overview is to be made."""

    out: Path  # the folder it goes to; may be the folder of the records
    rules: Path | None = None  # house rules and parts table in place of those shipped
    parts: Path | None = None  # house rules and parts table in place of those shipped
    day: date | None = None  # the day against which follow-ups are counted; today by default
    export_band: Path | None = None  # a new house-rules file to write with the learned band: a person's own decision
    decided_by: str | None = None  # id of that person; needed with `export_band`


def overview(session_places: Sequence[Path | str], options: OverviewOptions, *, screen: TextIO | None = None) -> int:
    """Make the overview of all visits and return the exit code."""
    screen = screen or sys.stderr
    _check(options)
    access = Access(group=load_house(options.rules, options.parts).rules.access == "group")
    out = Path(os.path.abspath(options.out))
    found = inputs.find(session_places, apart=out)
    found.say_beside(screen)
    for refused in found.refused:
        screen.write(f"{one_line(refused.path)}: not counted: {one_line(refused.reason, longest=4000)}\n")
    day = options.day or date.today()
    with opened(out, access) as folder:
        house, environment = staged_house(options.rules, options.parts, folder.making)
        try:
            staged = _stage(found, folder.making, day)
            executed = _run(staged, environment)
            _write(folder, executed)
            page = one_line(folder.path / _PAGE)
            screen.write(f"overview of {count(len(found.visits), 'visit')}: {page}\n")
            if options.export_band:
                _export(staged, house, options, access, day, screen)
        except _FailedError as error:
            screen.write(f"{error}\n")
            return 1
        except OSError as error:
            screen.write(f"the overview could not be written: {os_reason(error)}\n")
            return 1
    return 1 if found.refused else 0


class _FailedError(Exception):
    """The overview was not made; the text says why."""


def _check(options: OverviewOptions) -> None:
    if options.export_band is None:
        return
    if not options.decided_by:
        raise WrongCallError("--export-band needs --decided-by: the id of the person who decides on the new house rule")
    if options.export_band.exists():
        raise WrongCallError(f"{one_line(options.export_band)} is there already; expected the name of a new file")
    if not options.export_band.absolute().parent.is_dir():
        raise WrongCallError(f"{one_line(options.export_band.parent)} is not a folder; expected one that is there")


def _stage(found: Found, making: Path, day: date) -> Path:
    """Copy what the notebook reads into one private folder, so that it sees one state and no path gets into it."""
    folder = making / _SESSIONS
    folder.mkdir(mode=0o700)
    for visit in found.visits:
        for item in visit.inputs:
            # Its own file and the fitter's study; the visit before is among the visits, films are not looked at.
            is_read = item.name == visit.path.name or item.name.startswith("fitters/")
            if is_read and not (folder / item.name).exists():
                stage(item, folder / item.name)
    wrong = [f"{one_line(refused.path.name)}: {one_line(refused.reason)}" for refused in found.refused[:_MOST_NAMED]]
    note = {"day": day.isoformat(), "not_counted": wrong}
    Access().write(folder / "overview.json", json.dumps(note).encode())
    return folder


def _run(staged: Path, environment: Mapping[str, str]) -> NotebookNode:
    template = nbformat.read(files.template(_TEMPLATE), as_version=4)
    with private_folder() as private, environment_set({**kernel_environment(private), **environment}):
        try:
            executed = in_kernel(template, {_SESSIONS: _SESSIONS}, staged.parent, execution_timeout=_CELL_S)
        except PapermillExecutionError as error:
            raise _FailedError(f"the overview's notebook stopped: {error.ename}: {one_line(error.evalue)}") from error
    return cleaned(executed, template)


def _write(folder: ReportFolder, executed: NotebookNode) -> None:
    from fitkit.report import pages

    notebook = nbformat.writes(executed, version=4) + "\n"
    folder.access.replace(folder.path / _NOTEBOOK, notebook.encode())
    folder.access.replace(folder.path / _PAGE, pages.record_html(executed, title=_TITLE).encode())


def _export(staged: Path, house: House, options: OverviewOptions, access: Access, day: date, screen: TextIO) -> None:
    # Only an export needs the numbers once more outside the notebook, from the same copies.
    from fitkit.clinic import learning, visits

    loaded = visits.clinic_of(visits.load(staged).sessions, house, day=day)
    band = learning.band_of(loaded)
    try:
        rule = learning.rule_from(band, house.rules.starting_band, by=options.decided_by, day=day)
        learning.write_rules(house.rules, rule, options.export_band, mode=access.file_mode)
    except learning.NotLearnedError as error:
        raise _FailedError(f"{one_line(options.export_band)} is not written: {error}") from error
    except HouseProblems as error:
        said = "; ".join(one_line(problem) for problem in error.problems)
        raise _FailedError(f"{one_line(options.export_band)} is not written: {said}") from error
    screen.write(f"new house rules: {one_line(options.export_band)}: {one_line(rule.source)}\n")
