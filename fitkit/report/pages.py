"""The pages: record and rider's sheet of a visit, setting strips at true size, and a blank measuring sheet.

One file each, no script, no network: a content security policy in the page forbids both.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from itertools import chain, takewhile
from typing import TYPE_CHECKING

import jinja2
from nbconvert import HTMLExporter, TemplateExporter
from nbformat import NotebookNode

from fitkit import cautions, files
from fitkit import session as sessions
from fitkit.words import Catalogue, catalogue, day, plain

if TYPE_CHECKING:
    from fitkit.assessment import Assessment

__all__ = ["Strip", "blank_sheet_html", "floor_order", "record_html", "setting_strip_html", "sheet_html", "strips"]


def record_html(notebook: NotebookNode, *, title: str, is_full: bool = False) -> str:
    """Return the record's page: prose, tables and pictures of an executed notebook, without its code.

    Cells tagged "folded" are folded away; `is_full` opens them, which also prints them.
    """
    shown, contents = _with_content(notebook)
    style = _style("paper.css", "record.css")
    resources = {"title": title, "style": style, "contents": contents, "is_full": is_full}
    body, _ = _exporter().from_notebook_node(shown, resources)
    return body


_HEADING = re.compile(r"(##+) (.+)")
_NOTHING = re.compile(r'\s*(<p class="nothing">[^<]*</p>)?\s*')


def _with_content(notebook: NotebookNode) -> tuple[NotebookNode, list[tuple[str, str]]]:
    """Return the notebook without outputs that say nothing and parts without any other, and the list of its parts."""
    parts: list[tuple[int, list[NotebookNode]]] = [(1, [])]
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and (heading := _HEADING.match(cell.source)):
            parts.append((len(heading[1]), []))
        parts[-1][1].append(cell)
    kept, contents = [], []
    for place, (level, cells) in enumerate(parts):
        below = takewhile(lambda part, level=level: part[0] > level, parts[place + 1 :])
        if level > 1 and not any(map(_says_something, chain(cells, *(found for _, found in below)))):
            continue
        cells = [cell for cell in cells if cell.cell_type == "markdown" or _says_something(cell)]
        if level > 1:
            title = _HEADING.match(cells[0].source)[2]
            name = re.sub(r"\W+", "-", title.lower()).strip("-")
            cells[0] = NotebookNode({**cells[0], "metadata": {**cells[0].metadata, "part": name}})
            contents += [(name, title)] if level == len("##") else []
        kept += cells
    return NotebookNode({**notebook, "cells": kept}), contents


def _says_something(cell: NotebookNode) -> bool:
    """Whether a cell has an output that is neither empty nor only says that there is nothing."""
    return any(not _NOTHING.fullmatch(_html(output)) for output in cell.get("outputs", ()))


def _html(output: NotebookNode) -> str:
    data = output.get("data", {})
    return data.get("text/html", data.get("text/plain", output.get("text", "")))


class _PageExporter(HTMLExporter):
    """Leaves out the second reading of the finished page: all it adds is there already or nowhere used."""

    def from_notebook_node(self, nb: NotebookNode, resources: dict | None = None, **more: object) -> tuple[str, dict]:
        return TemplateExporter.from_notebook_node(self, nb, self._init_resources(resources), **more)


@cache
def _exporter() -> HTMLExporter:
    # One for the whole process: the first export costs ten times a later one.
    return _PageExporter(
        template_name="record",
        optimistic_validation=True,  # once instead of after each of ten steps
        extra_template_basedirs=[str(files.template("record").parent)],
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )


@cache
def _template(name: str) -> jinja2.Template:
    loader = jinja2.FileSystemLoader(files.template(name).parent)
    kept = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return kept.get_template(name)


@cache
def _style(*names: str) -> str:
    return "\n".join(files.template(name).read_text(encoding="utf-8").strip() for name in names)


def sheet_html(sheet: dict, say: Catalogue | None = None) -> str:
    """Return the rider's page from the content that `fitkit.report.sheet.rider_sheet` makes of the same catalogue."""
    words = say or catalogue(files.template("rider_sheet_words.toml"))
    style = _style("paper.css", "rider_sheet.css")
    return _template("rider_sheet.html.j2").render(sheet=sheet, say=words, style=style)


# --- Setting strips: joint at 0, the line to set the cleat to, the old line -------------------------------------------

_REACH_MM = (-20, 60)  # of the ruler: ahead of the joint, and behind it
_NO_MOVE_MM = 0.05
_FURTHEST_MM = 150  # possible setbacks; a strip grows to hold its lines


@dataclass(frozen=True)
class Strip:
    """One foot's strip, to be cut out and laid on the first-MTP mark along the shoe's long axis."""

    side: str  # "left" or "right"
    set_to_mm: float | None  # where to set the cleat's centreline, behind the joint [mm]
    old_mm: float | None  # where it was found [mm]
    words: str  # what is to be done
    low_mm: int  # the ends of its ruler, behind the joint positive [mm]
    high_mm: int  # the ends of its ruler, behind the joint positive [mm]


def strips(assessment: Assessment) -> tuple[Strip, Strip]:
    """Return both feet's strips."""
    return _strip(assessment, "left"), _strip(assessment, "right")


def _strip(assessment: Assessment, side: str) -> Strip:
    from fitkit.report.cleats import instruction  # the batch makes pages without any of the sums

    old, set_to = assessment[f"{side}.cleat_setback.as_found"].value, assessment.foot(side).set_to
    if None not in (set_to, old) and abs(set_to - old) < _NO_MOVE_MM:
        set_to = None  # one line is enough where nothing moves
    stopped = cautions.stops_advice(assessment.visit.session)
    words = "no line to set: see a clinician first" if stopped else instruction(assessment, side)
    known = [value for value in (old, set_to) if value is not None]
    low = int(min([_REACH_MM[0], *(value - 5 for value in known)]) // 10 * 10)
    high = int(-(-max([_REACH_MM[1], *(value + 5 for value in known)]) // 10) * 10)
    return Strip(side, set_to, old, words, low, min(high, _FURTHEST_MM))


def setting_strip_html(assessment: Assessment) -> str:
    """Return the page with both strips, printed at 100 %: its bar of 100 mm tells a page that was scaled."""
    session = assessment.visit.session
    return _template("setting_strip.html.j2").render(
        strips=strips(assessment),
        plain=plain,
        key=sessions.key(session),
        visit=day(session.visit_date),
        demonstration=bool(session.demonstration),
        style=_style("paper.css"),
    )


# --- The blank measuring sheet, for greasy hands: print it, write on it, type it in afterwards ------------------------

_UNITS = {"mm": "mm", "deg": "°", "kg": "kg", "N m": "N m"}


@dataclass(frozen=True)
class _Line:
    title: str
    unit: str
    how: str
    is_sided: bool
    boxes: int


def floor_order() -> list[tuple[str, list[str]]]:
    """Return the groups of the measuring sheet in their order: title, and paths with ``{side}`` for either side."""
    groups = tomllib.loads(files.template("blank_sheet.toml").read_text(encoding="utf-8"))["group"]
    return [(group["title"], group["fields"]) for group in groups]


def blank_sheet_html() -> str:
    """Return the blank measuring sheet as one page, printable on A4."""
    groups = [(title, [_line(path) for path in paths]) for title, paths in floor_order()]
    return _template("blank_sheet.html.j2").render(groups=groups, style=_style("paper.css"))


def _line(path: str) -> _Line:
    info = sessions.describe(path.replace("{side}", "left"))
    return _Line(info.title, _UNITS.get(info.unit or "", ""), info.how, "{side}" in path, 3 if info.many else 1)
