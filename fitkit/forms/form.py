"""A part of a notebook as a form: rows of fields, lists of entries, one shown at a time, striking readings out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.forms.controls import Box, button, choose, control, head_row, html, row, same_widget, say
from fitkit.forms.draft import Draft, opened
from fitkit.forms.entry import shown
from fitkit.forms.rows import Row, side_of, titled, value_words
from fitkit.forms.sections import Fold, Section, layout, paths_of
from fitkit.forms.watching import is_within
from fitkit.session.paths import get, steps_of


def form(session: str | Path, name: str, *, beside: widgets.Widget | None = None) -> widgets.Widget:
    """Return a section's form for a session, the same one each time."""
    made = same_widget(Form, opened(session), name)
    return Box([Box([made, beside], "fit-beside")], "fit") if beside is not None else made


class _Fields:
    """Rows of fields, lists of entries below them, further ones folded under what they give."""

    def __init__(self, draft: Draft, declared: Section, above: str = "", *, titled_lists: bool = True) -> None:
        self.draft, self.declared, self.above = draft, declared, above  # above: the path above those of the fields
        self.rows = {pattern: Row(draft, paths_of(pattern, above)) for pattern in declared.fields}
        self._heads = [head_row()] if any(len(each.paths) == 2 for each in self.rows.values()) else []
        self.panels = [Panel(draft, pattern, above, is_titled=titled_lists) for pattern in declared.entries]
        self.folds = [_Fold(draft, each, above) for each in declared.folds]

    def shown_rows(self) -> list[Row]:
        """Return the rows on the screen, folded ones where they are unfolded."""
        unfolded = [fold.inside for fold in self.folds if fold.inside]
        return [*self.rows.values(), *(row for part in (*self.panels, *unfolded) for row in part.shown_rows())]

    def boxes(self) -> list[Box]:
        """Return what is on the screen, in its order."""
        folds = [fold for fold in self.folds if fold.is_offered]
        return [*self._heads, *(part.box for part in (*self.rows.values(), *self.panels, *folds))]

    def point(self, above: str) -> None:
        """Show the same fields of another entry."""
        self.above = above
        for pattern, shown_row in self.rows.items():
            shown_row.point(paths_of(pattern, above))
        for panel in self.panels:
            base = f"{above}{panel.base.rpartition('.')[2]}"
            panel.show(base, min(panel.index, self.draft.count(base)))
        for fold in self.folds:
            fold.point(above)

    def refresh(self) -> None:
        """Show what the draft holds now."""
        for part in (*self.rows.values(), *self.panels, *self.folds):
            part.refresh()


class _Fold:
    """A button that says what further fields give, and those fields: made when they are shown first."""

    def __init__(self, draft: Draft, declared: Fold, above: str) -> None:
        self.draft, self.declared, self.above = draft, declared, above
        self.inside: _Fields | None = None
        self._is_open, self._is_folded_away = False, False
        self._button = button("", self._toggle)
        self._stack = Box([], "fit-stack")
        self.box = Box([self._button, self._stack], "fit-stack")
        self.refresh()

    def _toggle(self) -> None:
        self._is_folded_away = self._is_open
        self._is_open = not self._is_open
        self.refresh()

    def point(self, above: str) -> None:
        """Show the same fields of another entry."""
        self.above = above
        if self.inside:
            self.inside.point(above)
        self.refresh()

    def refresh(self) -> None:
        """Show what the draft holds now; what was unfolded stays so until it is folded by hand."""
        self._is_open = self._is_open or (not self._is_folded_away and self._is_wanted())
        if self._is_open and not self.inside:
            self.inside = _Fields(self.draft, self.declared, self.above)
        elif self._is_open:
            self.inside.refresh()
        held = (f"fit-holds-{path.replace('.', '--')}" for path in self._paths())
        self._button._dom_classes = ("fit-fold", *held)
        self._button.description = f"{'−' if self._is_open else '+'} {self.declared.gives}"
        self._stack.show(*(self.inside.boxes() if self._is_open else []))

    @property
    def is_offered(self) -> bool:
        """Whether there is anything to ask: of the time since the last visit only where there was one."""
        return not self.declared.after_a_visit or self._is_wanted()

    def _paths(self) -> tuple[str, ...]:
        """Return the fields and lists that are folded here."""
        fields = (path for row in self.declared.fields for path in paths_of(row, self.above))
        return *fields, *(f"{self.above}{name.rpartition('*.')[2]}" for name in self.declared.entries)

    def _is_wanted(self) -> bool:
        if self.declared.after_a_visit and self.draft.last_visit():
            return True
        paths = self._paths()
        is_typed = any(is_within(path, paths) for path in self.draft.unsaved)
        return is_typed or any(self.draft.value(path) not in (None, []) for path in paths)


class Panel(_Fields):
    """The entries of one list, and the fields of the one that is chosen."""

    def __init__(self, draft: Draft, pattern: str, above: str = "", *, is_titled: bool = True) -> None:
        self.base, self.index = f"{above}{pattern.rpartition('*.')[2]}", 0
        super().__init__(draft, layout().entries[pattern], f"{self.base}.0.")
        self._is_titled = is_titled
        self._is_busy = self._is_asked = False
        named = f"Which {self.declared.one}"
        as_class = f"fit-which-{pattern.replace('.*', '').replace('.', '--')}"
        self._which = control(widgets.Dropdown, named, as_class, options=[("", 0)])
        self._which.observe(self._chosen, "value")
        out = "Count it again" if self.base == "struck" else f"Take this {self.declared.one} out"
        self._go = button(out, self._take_out)
        self._more = button(f"Another {self.declared.one}", self._another, "fit-another")
        self._which_row = row(f"Which {escape(self.declared.one)}", self._which)
        self._status = html("", "fit-said")
        self._bar = Box([], "fit-bar")
        self.box = Box(self._children(), "fit-stack")
        draft.listen("moved", self._moved)

    def _children(self) -> list[widgets.Widget]:
        title = [html(f"<h3>{escape(self.declared.title)}</h3>")] if self._is_titled else []
        return [*title, self._which_row, Box([*self.boxes(), self._bar], "fit-stack", "fit-entry")]

    def _another(self) -> None:
        self.show(self.base, self.draft.count(self.base))

    def _take_out(self) -> None:
        if not self._is_asked:  # an Enter too many must cost nothing
            self._is_asked = True
            say(self._status, "Press once more if it is really to go.")
            return
        problem = self.draft.take_out(self.base, self.index)
        self.show(self.base, min(self.index, max(self.draft.count(self.base) - 1, 0)))
        say(self._status, problem or "Taken out.")

    def _chosen(self, change: dict) -> None:
        if not self._is_busy and change["new"] is not None:
            self.show(self.base, change["new"])

    def _moved(self, base: str, old: int, new: int) -> None:
        if (base, old) == (self.base, self.index):
            self.show(base, new)

    def show(self, base: str, index: int) -> None:
        """Show another entry, or the same one of another list."""
        self.base, self.index = base, index
        self.point(f"{base}.{index}.")
        self.refresh()

    def refresh(self) -> None:
        """Show what the draft holds now."""
        self._is_asked, self._status.value = False, ""
        count, one = self.draft.count(self.base), self.declared.one
        names = [(self._entry_words(place), place) for place in range(count)]
        if self.base != "struck":
            names.append((f"new {one}" if count else f"none yet: a new {one}", count))
        names = names or [("none", 0)]
        self.index = min(self.index, names[-1][1])
        self._is_busy = True
        try:
            choose(self._which, names, self.index)
        finally:
            self._is_busy = False
        is_there, is_list = self.index < count, self.base != "struck"
        choosing = self._which_row.remove_class if count or not is_list else self._which_row.add_class
        choosing("fit-nothing")
        go = [self._go] if is_there and self.declared.may_go else []
        self._bar.show(*([self._more] if is_there and is_list else []), *go, self._status)
        super().refresh()

    def _entry_words(self, place: int) -> str:
        """Return one entry in a few words, as "1: knee front, left, 3"."""
        item = self.draft.value(f"{self.base}.{place}") or {}
        if self.base == "struck":
            return f"{place + 1}: {sessions.describe(item['field']).title}, reading {item['index'] + 1}"
        words = []
        for field in self.declared.fields[:4]:
            found = [(path, get(item, steps_of(path))) for path in paths_of(field)]
            values = [
                f"{side_of(path)} {value_words(f'{self.base}.{place}.{path}', value)}".strip()
                for path, value in found
                if value not in (None, [])
            ]
            # What has two sides is a number, which says nothing without its name.
            name = sessions.describe(f"{self.base}.{place}.{found[0][0]}").title.lower() if len(found) == 2 else ""
            words += [f"{name} {', '.join(values)}".strip()] if values else []
        return f"{place + 1}: {', '.join(words)}" if words else f"{place + 1}"


class Strike:
    """The control that strikes readings of the fields around it."""

    def __init__(self, draft: Draft, paths: Callable[[], list[str]]) -> None:
        self.draft, self._paths = draft, paths
        self._which = control(widgets.Dropdown, "Reading to strike", "fit-strike-which", options=[("—", None)])
        self._why = control(widgets.Text, "Why it does not count", "fit-strike-why")
        self._status = html("", "fit-said")
        go = button("Strike it out", self._strike, "fit-strike-go", is_delayed=True)
        rows = [row("Reading to strike", self._which), row("Why it does not count", self._why)]
        self.box = Box([*rows, Box([go, self._status], "fit-bar")], "fit-stack", "fit-entry")

    def refresh(self) -> None:
        """Offer the readings there are now."""
        choose(self._which, [("—", None), *self._readings()], self._which.value)

    def _readings(self) -> Iterator[tuple[str, tuple[str, int]]]:
        struck = {(item["field"], item["index"]) for item in self.draft.value("struck") or ()}
        for path in self._paths():
            for index, value in enumerate(self.draft.value(path) or () if _is_readings(path) else ()):
                if (path, index) not in struck:
                    yield f"{shown(value)}, reading {index + 1} of {titled(path)}", (path, index)

    def _strike(self) -> None:
        if self._which.value is None:
            self._status.value = "Choose a reading first."
            return
        path, index = self._which.value
        problem = self.draft.strike(path, index, self._why.value)
        self._status.value = escape(problem or "Struck out; it stays in the file with its reason.")
        if not problem:
            self._why.value = ""
        self.refresh()


def _is_readings(path: str) -> bool:
    info = sessions.describe(path)
    return bool(info.many and info.unit)


class Form(_Fields):
    """One section: its rows, its lists, and a bar with Save, more fields and striking."""

    def __init__(self, draft: Draft, name: str) -> None:
        section = layout().sections[name]
        # Over a list that is the whole section, the notebook's own heading is enough.
        is_one_list = len(section.entries) == 1 and len(section.fields) < 2
        super().__init__(draft, section, titled_lists=not is_one_list)
        self._status = html("", "fit-said", "fit-saved")
        self.strike = Strike(draft, self._paths)
        self._strike_shown = False
        self._save = button("Save", draft.save_all, "fit-save")
        buttons = [self._save]
        folded = [path for part in section.parts() for row in part.fields for path in paths_of(row)]
        if any(map(_is_readings, (*self._paths(), *folded))):
            buttons.append(button("Strike a reading", self._toggle_strike, "fit-strike"))
        self._bar = Box([*buttons, self._status], "fit-bar")
        asked = "Reason for changing a signed visit"
        self._reason = control(widgets.Text, asked, "fit-reason")
        self._reason.observe(self._given, "value")
        self._asked = row(asked, self._reason, kind="fit-alone")
        self.box = Box(self._children(), "fit", f"fit-section-{name}")
        draft.listen("changed", self.refresh)

    def _paths(self) -> list[str]:
        return [path for each in self.shown_rows() for path in each.paths if not path.startswith("taken.")]

    def _children(self) -> list[widgets.Widget]:
        waiting = self.draft.is_signed and any(path in self.draft.unsaved for path in self._paths())
        asked = [self._asked] if waiting else []
        if not (shown_boxes := self.boxes()):
            return []
        return [*shown_boxes, self._bar, *asked, *([self.strike.box] if self._strike_shown else [])]

    def _given(self, change: dict) -> None:
        self.draft.reason = change["new"]

    def _toggle_strike(self) -> None:
        self._strike_shown = not self._strike_shown
        self.refresh()

    def refresh(self) -> None:
        """Show what the draft holds now."""
        super().refresh()
        self._reason.value = self.draft.reason
        self._save.tabbable = bool(self.draft.unsaved)  # every field saves itself: else it is a key for nothing
        self.box.show(*self._children())
        say(self._status, " ".join(filter(None, (self._saved_words(), self._one_foot_alone()))))
        if self._strike_shown:
            self.strike.refresh()

    def _saved_words(self) -> str:
        if count := len(self.draft.unsaved):
            return f"{count} not saved: see beside {'it' if count == 1 else 'them'}."
        return f"saved {self.draft.saved_at}" if self.draft.saved_at else ""

    def _one_foot_alone(self) -> str:
        """Return what was measured on one side only."""
        alone = []
        for each in self.rows.values():
            filled = [path for path in each.paths if self.draft.value(path) not in (None, [])]
            if len(each.paths) == 2 and len(filled) == 1 and each.info.unit:
                alone.append(f"{each.info.title} {side_of(filled[0])}")
        return f"One side alone: {', '.join(alone)}." if alone else ""
