"""The two pages of a visit: the record from its executed notebook, the rider's sheet from its content.

One file each, no script, no network: a content security policy in the page forbids both.
"""

from __future__ import annotations

from functools import cache

import jinja2
from nbconvert import HTMLExporter, TemplateExporter
from nbformat import NotebookNode

from fitkit import places

__all__ = ["record_html", "sheet_html"]


def record_html(notebook: NotebookNode, *, title: str) -> str:
    """Return the record's page: prose, tables and pictures of an executed notebook, without its code."""
    resources = {"title": title, "style": _style("paper.css", "record.css")}
    body, _ = _exporter().from_notebook_node(notebook, resources)
    return body


def sheet_html(sheet: dict) -> str:
    """Return the rider's page from the content that `fitkit.report.sheet.rider_sheet` makes."""
    page = _environment().get_template("rider_sheet.html.j2")
    return page.render(sheet=sheet, style=_style("paper.css", "rider_sheet.css"))


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
        extra_template_basedirs=[str(places.template("record").parent)],
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )


@cache
def _environment() -> jinja2.Environment:
    loader = jinja2.FileSystemLoader(places.template("rider_sheet.html.j2").parent)
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)


@cache
def _style(*names: str) -> str:
    return "\n".join(places.template(name).read_text(encoding="utf-8").strip() for name in names)
