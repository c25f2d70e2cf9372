"""Striking a reading out, with a reason; it stays in the file and no longer counts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.forms.desk import Desk
from fitkit.forms.entry import shown
from fitkit.forms.labels import titled
from fitkit.forms.look import Box, button, choose, control, html
from fitkit.forms.soon import soon

__all__ = ["Strike"]

_AFTER_S = 0.3


class Strike:
    """The control that strikes readings of the fields around it."""

    def __init__(self, desk: Desk, paths: Callable[[], list[str]]) -> None:
        self.desk, self._paths = desk, paths
        self._which = control(widgets.Dropdown, "Reading to strike", "fit-strike-which", options=[("—", None)])
        self._why = control(widgets.Text, "Why it does not count", "fit-strike-why", continuous_update=False)
        self._said = html("", "fit-said")
        go = button("Strike it out", "fit-strike-go")
        # A press may overtake what was chosen just before it: the screen holds that back until it has an answer.
        go.on_click(lambda _: soon(self._strike, _AFTER_S))
        rows = [
            Box([html("Reading to strike", "fit-name"), self._which], "fit-row", "fit-wide"),
            Box([html("Why it does not count", "fit-name"), self._why], "fit-row", "fit-wide"),
        ]
        self.box = Box([*rows, Box([go, self._said], "fit-bar")], "fit-stack", "fit-entry")

    def refresh(self) -> None:
        """Offer the readings there are now."""
        choose(self._which, [("—", None), *self._readings()], self._which.value)

    def _readings(self) -> Iterator[tuple[str, tuple[str, int]]]:
        struck = {(item["field"], item["index"]) for item in self.desk.value("struck") or ()}
        for path in self._paths():
            info = sessions.describe(path)
            values = self.desk.value(path) if info.many and info.unit else None
            for index, value in enumerate(values or ()):
                if (path, index) not in struck:
                    yield f"{shown(value)}, reading {index + 1} of {titled(info, path)}", (path, index)

    def _strike(self) -> None:
        if self._which.value is None:
            self._said.value = "Choose a reading first."
            return
        path, index = self._which.value
        problem = self.desk.strike(path, index, self._why.value)
        self._said.value = escape(problem or "Struck out; it stays in the file with its reason.")
        if not problem:
            self._why.value = ""
        self.refresh()
