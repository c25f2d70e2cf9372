"""A part of a notebook as a form, made once for each session, with the striking of its readings."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import cautions
from fitkit import session as sessions
from fitkit.forms.desk import Desk, desk_of
from fitkit.forms.entry import shown
from fitkit.forms.look import STYLE, Box, button, choose, control, html, paragraph
from fitkit.forms.panel import Panel
from fitkit.forms.rows import Row, path_side, paths_of, titled
from fitkit.forms.sections import SECTIONS
from fitkit.forms.soon import soon
from fitkit.session import Session
from fitkit.session.earlier import earlier_visit

__all__ = ["Form", "Strike", "form", "head"]

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


class Form:
    """One section: its rows, its lists, and a bar with Save, more fields and striking."""

    def __init__(self, desk: Desk, name: str) -> None:
        self.desk, self.section = desk, SECTIONS[name]
        self.rows = {path: Row(desk, paths_of(path), self._last) for path in self.section.fields}
        self._more: dict[str, Row] = {}
        is_all = len(self.section.entries) == 1 and len(self.section.fields) < 2
        self.panels = [Panel(desk, pattern, self._last, is_titled=not is_all) for pattern in self.section.entries]
        self.strike = Strike(desk, self._paths)
        self._said = html("", "fit-said", "fit-saved")
        self._strike_shown = False
        self._bar = Box(self._buttons(), "fit-bar")
        self.box = Box(self._children(), "fit", f"fit-section-{name}")
        desk.listen(f"section {name}", self.refresh)
        self.refresh()

    def _last(self) -> Session | None:
        return last_of(self.desk)

    def _paths(self) -> list[str]:
        rows = [*self.rows.values(), *self._more.values()]
        rows += [row for panel in self.panels for row in panel.rows.values()]
        return [path for row in rows for path in row.paths if not path.startswith("taken.")]

    def _buttons(self) -> list[widgets.Widget]:
        save = button("Save", "fit-first", "fit-save")
        save.on_click(lambda _: self.desk.save_all())
        made = [save]
        if self.section.more:
            self._more_button = button("More fields", "fit-more")
            self._more_button.on_click(lambda _: self._toggle_more())
            made.append(self._more_button)
        if any(sessions.describe(path).many and sessions.describe(path).unit for path in self._paths()):
            strike = button("Strike a reading", "fit-strike")
            strike.on_click(lambda _: self._toggle_strike())
            made.append(strike)
        return [*made, self._said]

    def _children(self) -> list[widgets.Widget]:
        rows = [*self.rows.values(), *self._more.values()]
        found: list[widgets.Widget] = [_headline()] if any(len(row.paths) == 2 for row in rows) else []
        found += [row.box for row in rows]
        found += [panel.box for panel in self.panels]
        return [*found, self._bar, *([self.strike.box] if self._strike_shown else [])]

    def _toggle_more(self) -> None:
        if self._more:
            self._more = {}
        else:
            self._more = {path: Row(self.desk, paths_of(path), self._last) for path in self.section.more}
        self._more_button.description = "Fewer fields" if self._more else "More fields"
        self.box.children = self._children()

    def _toggle_strike(self) -> None:
        self._strike_shown = not self._strike_shown
        self.box.children = self._children()
        self.refresh()

    def refresh(self) -> None:
        """Show what the desk holds now."""
        for part in (*self.rows.values(), *self._more.values(), *self.panels):
            part.refresh()
        words = " ".join(filter(None, (saved_words(self.desk), self._one_foot_alone())))
        self._said.value = f'<span role="status">{escape(words)}</span>'
        if self._strike_shown:
            self.strike.refresh()

    def _one_foot_alone(self) -> str:
        """Return what was measured on one side only."""
        alone = []
        for row in self.rows.values():
            filled = [path for path in row.paths if self.desk.value(path) not in (None, [])]
            if len(row.paths) == 2 and len(filled) == 1 and row.infos[0].unit:
                alone.append(f"{row.infos[0].title} {path_side(filled[0])}")
        return f"One side alone: {', '.join(alone)}." if alone else ""


def _headline() -> Box:
    cells = [html("", "fit-name"), html("left", "fit-head"), html("right", "fit-head"), html("", "fit-note")]
    return Box(cells, "fit-row", "fit-headrow")


def saved_words(desk: Desk) -> str:
    """Return when it was saved, and what is not."""
    if desk.held:
        count = len(desk.held)
        return f"{count} not saved: see beside {'it' if count == 1 else 'them'}."
    return f"saved {desk.saved_at}" if desk.saved_at else ""


@cache
def _last_known(path: Path, client: str, setup: str) -> Session | None:
    return earlier_visit(path, sessions.load(path))


def last_of(desk: Desk) -> Session | None:
    """Return the visit before, looked for once."""
    session = desk.session
    return None if session is None else _last_known(desk.path, session.client_id, session.setup)


_FORMS: dict[tuple[Path, str], Form] = {}
_HEADS: dict[Path, _Head] = {}


def form(session: str | Path, name: str, *, beside: widgets.Widget | None = None) -> widgets.Widget:
    """Return a section's form for a session, the same one each time."""
    desk = desk_of(session)
    desk.reload()
    if (desk.path, name) not in _FORMS:
        _FORMS[desk.path, name] = Form(desk, name)
    _FORMS[desk.path, name].refresh()
    made = _FORMS[desk.path, name].box
    return Box([Box([made, beside], "fit-beside")], "fit") if beside is not None else made


def head(session: str | Path) -> widgets.Widget:
    """Return what stands at the top of a notebook: whose visit it is, when it was saved, what is not saved yet."""
    desk = desk_of(session)
    desk.reload()
    if desk.path not in _HEADS:
        _HEADS[desk.path] = _Head(desk)
    _HEADS[desk.path].refresh()
    return _HEADS[desk.path].box


class _Head:
    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._words = html("")
        self._reason = control(
            widgets.Text, "Reason for changing a signed visit", "fit-reason", continuous_update=False
        )
        self._reason.observe(self._given, "value")
        self._asked = Box([html("Reason for changing a signed visit", "fit-name"), self._reason], "fit-row", "fit-wide")
        self.box = Box([html(STYLE), self._words], "fit", "fit-top")
        desk.listen("head", self.refresh)
        self.refresh()

    def _given(self, change: dict) -> None:
        self.desk.reason = change["new"]
        self.desk.save_all()

    def refresh(self) -> None:
        wanted = (*self.box.children[:2], *([self._asked] if self.desk.is_signed else []))
        if tuple(self.box.children) != wanted:
            self.box.children = wanted
        self._words.value = "".join(self._sentences())

    def _sentences(self) -> list[str]:
        session = self.desk.session
        found = [paragraph(self.desk.trouble, "fit-stop"), *self._signs_elsewhere()]
        if session:
            whose = f"Client {session.client_id}, visit of {session.visit_date}, set-up {session.setup}."
            found.append(paragraph(whose))
            if session.demonstration:
                found.append(paragraph("Demonstration: invented rider, invented clinic.", "demo"))
            if session.sign_off:
                words = f"Signed off by {session.sign_off.fitter_id} on {session.sign_off.at[:10]}."
                found.append(paragraph(f"{words} A change needs a reason and is listed as an amendment."))
        if self.desk.elsewhere:
            titles = dict.fromkeys(titled(sessions.describe(path), path) for path in self.desk.elsewhere)
            found.append(paragraph(f"Changed in another window: {'; '.join(titles)}."))
        if self.desk.held:
            titles = [titled(sessions.describe(path), path) for path in self.desk.held]
            found.append(f"<p><b>Not saved yet:</b> {escape('; '.join(titles))}.</p>")
        elif self.desk.saved_at:
            found.append(paragraph(f"saved {self.desk.saved_at}"))
        return found

    def _signs_elsewhere(self) -> list[str]:
        """Say which signs stop the advice, where another window has changed that."""
        if not any(path.startswith("signs.") or path == "rider.age_years" for path in self.desk.elsewhere):
            return []
        signs = cautions.signs_open(self.desk.session)
        return [paragraph(f"Changed in another window: {sign.words}. See {sign.who}.", "fit-stop") for sign in signs]
