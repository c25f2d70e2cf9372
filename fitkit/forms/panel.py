"""A list of entries in a form: complaints, signs, trials; one is shown at a time and can be corrected."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.forms.desk import Desk
from fitkit.forms.entry import shown
from fitkit.forms.look import Box, button, choose, control, html
from fitkit.forms.rows import Row, label, paths_of
from fitkit.forms.sections import ENTRIES, Entries
from fitkit.session import Session

__all__ = ["Panel"]


class Panel:
    """The entries of one list, and the fields of the one that is chosen."""

    def __init__(self, desk: Desk, pattern: str, last: Callable[[], Session | None], *, is_titled: bool = True) -> None:
        self.desk, self.told, self._is_titled = desk, ENTRIES[pattern], is_titled
        self._busy = self._is_asked = False
        self.base = pattern.replace("*", "0")
        self.index = 0
        self._said = html("", "fit-said")
        named = f"Which {self.told.one}"
        self._which = control(widgets.Dropdown, named, f"fit-which-{pattern_class(pattern)}", options=[("", 0)])
        self._which.observe(self._chosen, "value")
        self._last = last
        self.rows = {path: Row(desk, paths_of(path, self._here), last) for path in self.told.fields}
        self.inner = [Panel(desk, name, last) for name in self.told.entries]
        self._more_shown = False
        self._go = button("Count it again" if self.base == "struck" else f"Take this {self.told.one} out")
        self._go.on_click(lambda _: self._take_out())
        self.box = Box(self._children(), "fit-stack")
        desk.follow_moves(f"list {pattern}", self._moved)

    @property
    def _here(self) -> str:
        return f"{self.base}.{self.index}."

    def _children(self) -> list:
        told = self.told
        named = html(f"Which {escape(told.one)}", "fit-name")
        choose = Box([named, self._which], "fit-row", "fit-wide")
        shown_rows = [self.rows[path].box for path in (*told.fields, *(told.more if self._more_shown else ()))]
        inner = [panel.box for panel in self.inner]
        fields = Box([*shown_rows, *inner, self._bar()], "fit-stack", "fit-entry")
        return [*([html(f"<h3>{escape(told.title)}</h3>")] if self._is_titled else []), choose, fields]

    def _bar(self) -> Box:
        made = []
        if self.told.more:
            more = button("Fewer fields" if self._more_shown else "More fields")
            more.on_click(lambda _: self._toggle())
            made.append(more)
        if self.told.may_go:
            made.append(self._go)
        return Box([*made, self._said], "fit-bar")

    def _toggle(self) -> None:
        self._more_shown = not self._more_shown
        for path in self.told.more:
            if path not in self.rows:
                self.rows[path] = Row(self.desk, paths_of(path, self._here), self._last)
        self.box.children = self._children()

    def _say(self, words: str) -> None:
        self._said.value = f'<span role="status">{escape(words)}</span>'

    def _take_out(self) -> None:
        if not self._is_asked:  # an Enter too many must cost nothing
            self._is_asked = True
            self._say("Press once more if it is really to go.")
            return
        problem = self.desk.take_out(self.base, self.index)
        self.point(self.base, min(self.index, max(self.desk.count(self.base) - 1, 0)))
        self._say(problem or "Taken out.")

    def _chosen(self, change: dict) -> None:
        if not self._busy and change["new"] is not None:
            self.point(self.base, change["new"])

    def _moved(self, base: str, old: int, new: int) -> None:
        if (base, old) == (self.base, self.index):
            self.point(base, new)

    def point(self, base: str, index: int) -> None:
        """Show another entry, or the same one of another list."""
        self.base, self.index = base, index
        for pattern, row in self.rows.items():
            row.point(paths_of(pattern, self._here))
        for panel in self.inner:
            inside = panel.base.rpartition(".")[2]
            panel.point(f"{base}.{index}.{inside}", min(panel.index, self.desk.count(f"{base}.{index}.{inside}")))
        self.refresh()

    def refresh(self) -> None:
        """Show what the desk holds now."""
        self._is_asked, self._said.value = False, ""
        count = self.desk.count(self.base)
        names = [(entry_words(self.desk, self.base, place, self.told), place) for place in range(count)]
        if self.base != "struck":
            names.append((f"new {self.told.one}" if count else f"none yet: a new {self.told.one}", count))
        names = names or [("none", 0)]
        self.index = min(self.index, names[-1][1])
        self._busy = True
        try:
            choose(self._which, names, self.index)
            (self._go.remove_class if self.index < count else self._go.add_class)("fit-nothing")  # nothing to take out
        finally:
            self._busy = False
        for part in (*self.rows.values(), *self.inner):
            part.refresh()


def pattern_class(pattern: str) -> str:
    """Return a list's pattern as it stands in a class."""
    return pattern.replace(".*", "").replace(".", "--")


def entry_words(desk: Desk, base: str, place: int, told: Entries) -> str:
    """Return one entry of a list in a few words, as "1: knee front, left, 3"."""
    item = desk.value(f"{base}.{place}") or {}
    if base == "struck":
        return f"{place + 1}: {sessions.describe(item['field']).title}, reading {item['index'] + 1}"
    words = []
    for field in told.fields[:4]:
        value = item.get(field) if "." not in field else None
        if value is not None and value != []:
            info = sessions.describe(f"{base}.{place}.{field}")
            words.append(label(info, value) if isinstance(value, str) and info.choices else shown(value))
    return f"{place + 1}: {', '.join(words)}" if words else f"{place + 1}"
