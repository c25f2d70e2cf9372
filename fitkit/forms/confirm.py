"""What the last visit left, offered for confirmation line by line; nothing is taken over in silence."""

from __future__ import annotations

from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.forms.desk import Desk, desk_of
from fitkit.forms.entry import shown
from fitkit.forms.form import last_of
from fitkit.forms.look import Box, button, control, html
from fitkit.forms.rows import label, last_value, titled

__all__ = ["last_time"]

_OFFERED: dict[tuple, _Offer] = {}


def last_time(session: str | Path, *roots: str) -> widgets.Widget:
    """Return what the last visit says of fields that are still blank, to be ticked where it still holds."""
    desk = desk_of(session)
    desk.reload()
    if (desk.path, roots) not in _OFFERED:
        _OFFERED[desk.path, roots] = _Offer(desk, roots)
    _OFFERED[desk.path, roots].refresh()
    return _OFFERED[desk.path, roots].box


class _Offer:
    def __init__(self, desk: Desk, roots: tuple[str, ...]) -> None:
        self.desk, self.roots = desk, roots
        self._ticks: dict[str, widgets.Checkbox] = {}
        self._said = html("", "fit-said")
        self._take = button("Take the ticked ones", "fit-take")
        self._take.on_click(lambda _: self._taken())
        self.box = Box([], "fit", "fit-last")

    def refresh(self) -> None:
        """Offer what is still blank."""
        last = last_of(self.desk)
        found = self._found() if last else {}
        self._ticks = {path: self._ticks.get(path) or self._tick(path, value) for path, value in found.items()}
        if not last:
            words = "No earlier visit of this client and set-up is here."
        elif not found:
            words = f"Nothing more to confirm from the visit of {last.visit_date}."
        else:
            words = f"As left on {last.visit_date}. Check each on the bicycle or the rider; tick only what still holds."
        bar = [Box([self._take, self._said], "fit-bar")] if found else [self._said]
        self.box.children = [html(f"<p>{escape(words)}</p>"), *self._ticks.values(), *bar]

    def _found(self) -> dict:
        last = last_of(self.desk)
        found = {}
        for info in sessions.fields():
            path = info.dotted
            if path.split(".")[0] not in self.roots or "*" in path or ".moved_mm" in path:
                continue
            value = last_value(last, path)
            if value not in (None, []) and self.desk.value(path) in (None, []) and path not in self.desk.held:
                found[path] = value
        return found

    def _tick(self, path: str, value: object) -> widgets.Checkbox:
        info = sessions.describe(path)
        words = label(info, value) if isinstance(value, str) and info.choices else shown(value)
        said = f"{titled(info, path)}: {words}"
        tick = control(widgets.Checkbox, said, value=False, indent=False)
        tick._dom_classes = ("fit-tick",)
        return tick

    def _taken(self) -> None:
        last, found = last_of(self.desk), self._found()
        chosen = {path: found[path] for path, tick in self._ticks.items() if tick.value and path in found}
        if not chosen:
            self._said.value = "Nothing is ticked."
            return
        problem = self.desk.put(chosen, reason=f"confirmed, as on {last.visit_date}")
        self._said.value = escape(problem or f"{len(chosen)} taken over, saved {self.desk.saved_at}.")
        self.refresh()
