"""The pages: record and rider's sheet of a visit.

One file each, no script, no network: a content security policy in the page forbids both.
"""

from __future__ import annotations

import re
from functools import cache
from itertools import chain, takewhile

from markupsafe import Markup

from fitkit import files
from fitkit.charts import import_jsonschema
from fitkit.report.blocks import page_template
from fitkit.words import Catalogue, catalogue

import_jsonschema()
from nbconvert import HTMLExporter, TemplateExporter  # noqa: E402 - after that
from nbformat import NotebookNode  # noqa: E402 - after that


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


def render(name: str, *styles: str, **content: object) -> str:
    """Return the page that a template makes of its content and of the style files named."""
    return page_template(name).render(style=Markup(_style(*styles)), **content)  # noqa: S704 - our own files


@cache
def _style(*names: str) -> str:
    return "\n".join(files.template(name).read_text(encoding="utf-8").strip() for name in names)


def sheet_html(sheet: dict, say: Catalogue | None = None) -> str:
    """Return the rider's page from the content that `fitkit.report.sheet.rider_sheet` makes of the same catalogue."""
    words = say or catalogue(files.template("rider_sheet_words.toml"))
    return render("rider_sheet.html.j2", "paper.css", "rider_sheet.css", sheet=sheet, say=words)
