"""Sign-off: the fitter puts an id under the visit; a later change needs a reason.

What was not measured again, what is unusual and what is not safe is listed first; a second press signs, and what is
not safe as fitted asks why.
"""

from __future__ import annotations

from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit.assessment import Assessment, assess, load_visit
from fitkit.assessment.clearances import foot_gaps
from fitkit.assessment.inputs import Inputs
from fitkit.cautions import signs_open
from fitkit.forms.controls import Box, button, control, html, row, same_widget
from fitkit.forms.draft import Draft, opened
from fitkit.forms.refusals import file_words, sentence
from fitkit.session import Problem, SessionProblems, describe, unusual

__all__ = ["sign_off"]


def sign_off(session: str | Path) -> widgets.Widget:
    """Return the control that signs a visit off under the fitter's id typed in the intake."""
    return same_widget(_Signing, opened(session))


class _Signing:
    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self._asked: tuple[str, ...] | None = None
        self._is_unsafe = False
        self._words, self._status = html(""), html("", "fit-said")
        self._sign = button("Sign the visit off", self._signed, "fit-first", "fit-sign")
        why = "Signed off although not safe, because"
        self._reason = control(widgets.Text, why, "fit-sign-reason", continuous_update=True)
        self._asks_why = row(why, self._reason)
        self._bar = Box([self._sign, self._status], "fit-bar")
        self.box = Box([], "fit")
        draft.listen("changed", self.refresh)

    def refresh(self) -> None:
        session = self.draft.session
        signed = session.sign_off if session else None
        if signed:
            lines = [f"Signed off by {signed.fitter_id} at {signed.at[:16].replace('T', ' ')}."]
            lines += [f"Amended by {a.fitter_id}, {a.at[:16].replace('T', ' ')}: {a.reason}" for a in signed.amendments]
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
        look_first = (*signs, *unsafe, *not_measured_again(assessment), *map(sentence, self._unusual()))
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

    def _unusual(self) -> tuple[Problem, ...]:
        return (*self.draft.doubts, *unusual(self.draft.session))

    def _say(self, words: str, listed: tuple[str, ...] = (), after: str = "") -> None:
        items = "".join(f"<li>{escape(line)}</li>" for line in listed)
        said = f"{escape(words)}{f'<ul>{items}</ul>' if items else ''}{escape(after)}"
        self._status.value = f'<div role="status">{said}</div>'


def not_measured_again(assessment: Assessment) -> list[str]:
    """Return what stood there as found, or was changed since, and was not measured again as left."""
    inputs, lacking = Inputs(assessment.visit), []

    def is_known(name: str) -> bool:
        return any(inputs.readings(f"{position}.{name}") for position in inputs.positions())

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
            lacking.append(describe(f"as_left.{name}").title.lower())
    return [f"Not measured again as left: {', '.join(lacking)}."] if lacking else []
