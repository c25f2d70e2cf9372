"""The knee read with a ruler on a paused film: no table of points is needed."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import house
from fitkit import session as sessions
from fitkit.forms.entry import read
from fitkit.forms.look import Box, WordedBox, button, control, html
from fitkit.forms.soon import soon
from fitkit.report.riding import ruler_table
from fitkit.workbench.folder import AFTER_S

__all__ = ["ruler"]

# Readings in mm with a sign, like those of the shoe, but of the knee.
_READING = replace(
    sessions.describe("as_found.left.shoe_outward_mm"),
    title="Knee outward of the pedal",
    possible=(-300, 300),
    usual=(-80, 80),
)
_ENDS = (("top", "Crank at the top"), ("bottom", "Crank at the bottom"))


def ruler(session: str | Path) -> widgets.Widget:
    """Return fields for offsets read on a paused film and what they say, the same ones each time."""
    path = Path(session).resolve()
    if path not in _RULERS:
        _RULERS[path] = _Ruler()
    return _RULERS[path].box


class _Ruler:
    def __init__(self) -> None:
        self._fields = {
            (side, end): control(widgets.Text, f"{words}, {side}", f"fit-ruler-{side}-{end}", continuous_update=False)
            for end, words in _ENDS
            for side in ("left", "right")
        }
        for field in self._fields.values():
            field.observe(lambda _: self._work_out(), "value")
        work_out = button("Work it out", "fit-first", "fit-ruler")
        work_out.on_click(lambda _: soon(self._work_out, AFTER_S))
        self._said, self._shown = html("", "fit-said"), html("")
        kept = html(
            '<p class="fit-words">Worked out here and not kept in the visit: type the travel into its trial.</p>'
        )
        bar = Box([work_out, self._said], "fit-bar")
        self.box = WordedBox([*self._rows(), kept, bar, self._shown], "fit", "fit-ruled")
        self.box.words = "Offsets read with a ruler on a paused film."

    def _rows(self) -> list[Box]:
        head = [html("", "fit-name"), html("left", "fit-head"), html("right", "fit-head"), html("", "fit-note")]
        rows = [Box(head, "fit-row", "fit-headrow")]
        for end, words in _ENDS:
            pair = [self._fields[side, end] for side in ("left", "right")]
            name = html(f"{escape(words)}<span class=fit-unit>mm</span>", "fit-name")
            rows.append(Box([name, *pair, html("", "fit-note")], "fit-row", "fit-pair"))
        return rows

    def _work_out(self) -> None:
        try:
            found = {
                side: tuple(_readings(self._fields[side, end].value) for end, _ in _ENDS) for side in ("left", "right")
            }
            self._shown.value = ruler_table(found, house_sd_mm=house.load().rules.spread.short_length_mm)._repr_html_()
            self._said.value = ""
        except ValueError as error:
            self._said.value = f'<span role="status">{escape(str(error))}</span>'


_RULERS: dict[Path, _Ruler] = {}


def _readings(typed: str) -> tuple[float, ...]:
    entry = read(typed, _READING)
    if entry.problem:
        raise ValueError(entry.problem)
    return entry.value
