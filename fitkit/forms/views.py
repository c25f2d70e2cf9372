"""What stands around the forms: whose visit it is, what the last visit left, views that follow each save, sign-off."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.assessment import Assessment, assess, load_visit
from fitkit.assessment.clearances import foot_gaps
from fitkit.assessment.inputs import Inputs
from fitkit.cautions import signs_open
from fitkit.forms.controls import STYLE, Box, WordedBox, button, control, html, paragraph, row, same_widget
from fitkit.forms.draft import Draft, draft_of, opened
from fitkit.forms.entry import file_words, sentence
from fitkit.forms.rows import last_value, titled, value_words
from fitkit.forms.sections import layout
from fitkit.session import SessionProblems


def head(session: str | Path) -> widgets.Widget:
    """Return what stands at the top of a notebook: whose visit it is, when it was saved, what is not saved yet."""
    return same_widget(_Head, opened(session))


class _Head:
    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self._words = html("")
        self.box = Box([html(STYLE), self._words], "fit", "fit-top")
        draft.listen("changed", self.refresh)

    def refresh(self) -> None:
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
        signs = signs_open(self.draft.session)
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
            words = ""
        elif not found:
            words = f"Nothing more to confirm from the visit of {last.visit_date}."
        else:
            words = f"As left on {last.visit_date}. Check each on the bicycle or the rider; tick only what still holds."
        bar = [Box([self._take, self._status], "fit-bar")] if found else [self._status]
        self.box.children = [html(paragraph(words)), *self._ticks.values(), *bar]

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
            words = f"Not drawn: {_why_words(error)}"
            return f"<p>{escape(words)}</p>", words
        return "".join(one if isinstance(one, str) else one._repr_html_() for one in shown), _plain_words(shown)


def _why_words(error: Exception) -> str:
    if not isinstance(error, SessionProblems):
        return str(error) or type(error).__name__
    more = f" And {len(error.problems) - 1} more." if len(error.problems) > 1 else ""
    return f"{sentence(error.problems[0])}{more}"


def still(*blocks: Any) -> widgets.Widget:
    """Return blocks that show themselves as HTML, one below the other."""
    shown = html(STYLE + "".join(block._repr_html_() for block in blocks))
    return WordedBox([shown], "fit", "fit-live", words=_plain_words(blocks))


def _plain_words(blocks: Any) -> str:
    return "\n\n".join(getattr(block, "alt", None) or repr(block) for block in blocks)


def sign_off(session: str | Path) -> widgets.Widget:
    """Return the control that signs a visit off under the fitter's id typed in the intake.

    What was not measured again, what is unusual and what is not safe is listed first; a second press signs, and what is
    not safe as fitted asks why. A later change needs a reason.
    """
    return same_widget(_Signing, opened(session))


class _Signing:
    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self._asked: tuple[str, ...] | None = None
        self._is_unsafe = False
        self._words, self._status = html(""), html("", "fit-said")
        self._sign = button("Sign the visit off", self._signed, "fit-first", "fit-sign", is_delayed=True)
        why = "Signed off although not safe, because"
        self._reason = control(widgets.Text, why, "fit-sign-reason")
        self._asks_why = row(why, self._reason)
        self._bar = Box([self._sign, self._status], "fit-bar")
        self.box = Box([], "fit")
        draft.listen("changed", self.refresh)

    def refresh(self) -> None:
        session = self.draft.session
        signed = session.sign_off if session else None
        if signed:
            lines = [f"Signed off by {signed.fitter_id} at {signed.at[:16].replace('T', ' ')}."]
            for each in signed.amendments:
                fields, at = "; ".join(map(_title_of, each.fields)), each.at[:16].replace("T", " ")
                lines.append(f"Amended by {each.fitter_id}, {at}: {fields}. {each.reason}")
            words = "".join(f"<p>{escape(line)}</p>" for line in lines)
        else:
            words = f"<p>{escape(self._not_yet())}</p>"
        self._words.value = words
        # The button stays the first of its bar: drawn anew it would lose the keyboard.
        self._bar.show(self._sign, self._status, *([self._asks_why] if self._is_unsafe else []))
        self.box.show(self._words, *([] if signed else [self._bar]))

    def _not_yet(self) -> str:
        fitter = self.draft.value("fitter_id")
        return f"Not signed off. It will be signed by {fitter}." if fitter else "Not signed off: needs the fitter's id."

    def _signed(self) -> None:
        fitter = self.draft.value("fitter_id")
        if not fitter:
            self._say("Type the fitter's id in the intake first.")
            return
        if self.draft.unsaved:
            self._say(self.draft.sign_off(fitter, reason=None, starts_mm={}))
            return
        try:
            self.draft.look_again()
            assessment = assess(load_visit(self.draft.path))
        except (ValueError, OSError) as error:  # what is not safe cannot be said: not signed
            self._say(f"Not signed. {file_words(error) if isinstance(error, SessionProblems) else error}")
            return
        signs = [f"Open sign: {sign.words}. See {sign.who}." for sign in signs_open(assessment.visit.session)]
        unsafe = [f"Not safe as fitted: {each.words}." for each in assessment.unsafe]
        asked_again = map(sentence, (*self.draft.doubts, *sessions.unusual(self.draft.session)))
        look_first = (*signs, *unsafe, *not_measured_again(assessment), *asked_again)
        self._is_unsafe = bool(unsafe)
        if look_first and look_first != self._asked:
            self._asked = look_first
            why = " and type why below" if unsafe else ""
            self._say("Look first:", look_first, f"If it is right all the same, press again{why}.")
            self.refresh()
            return
        reason = self._reason.value.strip()
        if unsafe and not reason:
            self._say("Something is not safe as fitted: type why it is signed all the same. It will be printed.")
            return
        starts = {side: assessment[f"{side}.cleat_setback.start"].value for side in ("left", "right")}
        self._say(self.draft.sign_off(fitter, reason=reason if unsafe else None, starts_mm=starts))

    def _say(self, words: str, listed: tuple[str, ...] = (), after: str = "") -> None:
        items = "".join(f"<li>{escape(line)}</li>" for line in listed)
        said = f"{escape(words)}{f'<ul>{items}</ul>' if items else ''}{escape(after)}"
        self._status.value = f'<div role="status">{said}</div>'


def _title_of(dotted: str) -> str:
    """Return the title of a field, or of the list that an entry was added to."""
    try:
        return titled(dotted)
    except ValueError:
        lists = {re.sub(r"\*", "0", name): lst.title for name, lst in layout().entries.items()}
        above = re.sub(r"\d+", "0", dotted).removesuffix(".0")
        return lists.get(above, "several fields")


def not_measured_again(assessment: Assessment) -> list[str]:
    """Return what stood there as found, or was changed since, and was not measured again as left."""
    inputs, lacking = Inputs(assessment.visit), []

    def is_known(name: str) -> bool:
        return any(inputs.readings(f"{position}.{name}") for position in inputs.positions)

    for side in ("left", "right"):
        moved = inputs.setback_now(side) is not None
        if moved and not inputs.readings(f"as_left.{side}.cleat_setback_mm"):
            lacking.append(f"{side} cleat setback")
        toe_out = f"{side}.cleat_toe_out_deg"
        if is_known(toe_out) and not inputs.readings(f"as_left.{toe_out}"):
            lacking.append(f"{side} cleat toe-out")
        lacking += [f"{side}: {gap.words}" for gap in foot_gaps(inputs, side) if gap.measured and not gap.holds]
    for name in ("saddle_height_mm", "saddle_setback_mm", "bar_height_mm", "bar_reach_mm"):
        if is_known(name) and not inputs.readings(f"as_left.{name}"):
            lacking.append(sessions.describe(f"as_left.{name}").title.lower())
    return [f"Not measured again as left: {', '.join(lacking)}."] if lacking else []
