"""What stands around the forms: whose visit it is, what the last visit left, and views that follow each save."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit import cautions
from fitkit import session as sessions
from fitkit.forms.controls import STYLE, Box, WordedBox, button, control, html, paragraph, row, same_widget
from fitkit.forms.draft import Draft, draft_of, opened
from fitkit.forms.rows import last_value, titled, value_words

__all__ = ["head", "last_time", "live", "still"]


def head(session: str | Path) -> widgets.Widget:
    """Return what stands at the top of a notebook: whose visit it is, when it was saved, what is not saved yet."""
    return same_widget(_Head, opened(session))


class _Head:
    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self._words = html("")
        asked = "Reason for changing a signed visit"
        self._reason = control(widgets.Text, asked, "fit-reason")
        self._reason.observe(self._given, "value")
        self._asked = row(asked, self._reason)
        self.box = Box([html(STYLE), self._words], "fit", "fit-top")
        draft.listen("changed", self.refresh)

    def _given(self, change: dict) -> None:
        self.draft.reason = change["new"]
        self.draft.save_all()

    def refresh(self) -> None:
        self.box.show(*self.box.children[:2], *([self._asked] if self.draft.is_signed else []))
        self._words.value = "".join(self._sentences())

    def _sentences(self) -> list[str]:
        draft, session = self.draft, self.draft.session
        found = [paragraph(draft.trouble, "fit-stop"), *self._new_signs()]
        if session:
            whose = f"Client {session.client_id}, visit of {session.visit_date}, set-up {session.setup}."
            found.append(paragraph(whose))
            if session.demonstration:
                found.append(paragraph("Demonstration: invented rider, invented clinic.", "demo"))
            if session.sign_off:
                words = f"Signed off by {session.sign_off.fitter_id} on {session.sign_off.at[:10]}."
                found.append(paragraph(f"{words} A change needs a reason and is listed as an amendment."))
        if draft.news:
            found.append(paragraph(f"Changed in another window: {'; '.join(dict.fromkeys(map(titled, draft.news)))}."))
        if draft.unsaved:
            found.append(f"<p><b>Not saved yet:</b> {escape('; '.join(map(titled, draft.unsaved)))}.</p>")
        elif draft.saved_at:
            found.append(paragraph(f"saved {draft.saved_at}"))
        return found

    def _new_signs(self) -> list[str]:
        """Say which signs stop the advice, where another window has changed that."""
        if not any(path.startswith("signs.") or path == "rider.age_years" for path in self.draft.news):
            return []
        signs = cautions.signs_open(self.draft.session)
        return [paragraph(f"Changed in another window: {sign.words}. See {sign.who}.", "fit-stop") for sign in signs]


def last_time(session: str | Path, *roots: str) -> widgets.Widget:
    """Return what the last visit says of fields that are still blank, to be ticked where it still holds.

    It is offered for confirmation line by line; nothing is taken over in silence.
    """
    return same_widget(_LastTime, opened(session), *roots)


class _LastTime:
    def __init__(self, draft: Draft, *roots: str) -> None:
        self.draft, self.roots = draft, roots
        self._ticks: dict[str, widgets.Checkbox] = {}
        self._status = html("", "fit-said")
        self._take = button("Take the ticked ones", self._taken, "fit-take")
        self.box = Box([], "fit", "fit-last")

    def refresh(self) -> None:
        """Offer what is still blank."""
        last, found = self.draft.last_visit(), self._found()
        self._ticks = {path: self._ticks.get(path) or self._tick(path, value) for path, value in found.items()}
        if not last:
            words = "No earlier visit of this client and set-up is here."
        elif not found:
            words = f"Nothing more to confirm from the visit of {last.visit_date}."
        else:
            words = f"As left on {last.visit_date}. Check each on the bicycle or the rider; tick only what still holds."
        bar = [Box([self._take, self._status], "fit-bar")] if found else [self._status]
        self.box.children = [html(f"<p>{escape(words)}</p>"), *self._ticks.values(), *bar]

    def _found(self) -> dict[str, Any]:
        last, found = self.draft.last_visit(), {}
        for info in sessions.fields() if last else ():
            path = info.dotted
            if path.split(".")[0] not in self.roots or "*" in path or ".moved_mm" in path:
                continue
            value = last_value(last, path)
            if value not in (None, []) and self.draft.value(path) in (None, []) and path not in self.draft.unsaved:
                found[path] = value
        return found

    @staticmethod
    def _tick(path: str, value: Any) -> widgets.Checkbox:
        words = f"{titled(path)}: {value_words(path, value)}"
        return control(widgets.Checkbox, words, value=False, indent=False, _dom_classes=("fit-tick",))

    def _taken(self) -> None:
        last, found = self.draft.last_visit(), self._found()
        chosen = {path: found[path] for path, tick in self._ticks.items() if tick.value and path in found}
        if not chosen:
            self._status.value = "Nothing is ticked."
            return
        problem = self.draft.put(chosen, reason=f"confirmed, as on {last.visit_date}")
        self._status.value = escape(problem or f"{len(chosen)} taken over, saved {self.draft.saved_at}.")
        self.refresh()


def live(session: str | Path, draw: Callable[[Path], Any], *parts: str) -> widgets.Widget:
    """Return a view of a session that follows each save in this notebook."""
    return same_widget(_View, draft_of(session), draw, *parts)


class _View:
    def __init__(self, draft: Draft, draw: Callable[[Path], Any], *parts: str) -> None:
        self.draft, self.draw, self.parts = draft, draw, parts
        self._shown = html("")
        self.box = WordedBox([self._shown], "fit", "fit-live")
        self._of: tuple[dict, str] | None = None
        self._last = ("", "")
        draft.listen("draw", self.refresh, is_first="signs" in parts)  # a new sign comes first

    def refresh(self) -> None:
        """Show what the file holds now; while it cannot be read, what was read last, marked as old."""
        if self._of and self._of[0] is self.draft.tree and self._of[1] == self.draft.trouble:
            return
        self._of = self.draft.tree, self.draft.trouble
        if not self.draft.trouble:
            self._last = self._drawn()
            self._shown.value, self.box.words = self._last
            return
        old = f" What follows is as read at {self.draft.read_at} and may be wrong by now." if self._last[0] else ""
        words = f"{self.draft.trouble}{old}"
        self._shown.value = f'<p class="fit-stop">{escape(words)}</p>{self._last[0]}'
        self.box.words = f"{words}\n\n{self._last[1]}".strip()

    def _drawn(self) -> tuple[str, str]:
        """Return what is shown, and the same in plain words."""
        try:
            found = self.draft.worked_out(self.draw)
            shown = [getattr(found, part)() for part in self.parts] or [found]
        except Exception as error:  # the form beside it must live on, whatever cannot be drawn
            self._of = None  # the next news may bring what was lacking
            words = f"Not drawn: {str(error) or type(error).__name__}"
            return f"<p>{escape(words)}</p>", words
        return "".join(one if isinstance(one, str) else one._repr_html_() for one in shown), _plain_words(shown)


def still(*blocks: Any) -> widgets.Widget:
    """Return blocks that show themselves as HTML, one below the other."""
    shown = html(STYLE + "".join(block._repr_html_() for block in blocks))
    return WordedBox([shown], "fit", "fit-live", words=_plain_words(blocks))


def _plain_words(blocks: Any) -> str:
    return "\n\n".join(getattr(block, "alt", None) or repr(block) for block in blocks)
