"""Sign-off: the fitter puts an id under the visit; a later change needs a reason."""

from __future__ import annotations

from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit.forms.desk import Desk, desk_of
from fitkit.forms.look import Box, button, html
from fitkit.forms.troubles import sentence

__all__ = ["sign_off"]

_SIGNINGS: dict[Path, _Signing] = {}


def sign_off(session: str | Path) -> widgets.Widget:
    """Return the control that signs a visit off under the fitter's id typed in the intake."""
    desk = desk_of(session)
    desk.reload()
    if desk.path not in _SIGNINGS:
        _SIGNINGS[desk.path] = _Signing(desk)
    _SIGNINGS[desk.path].refresh()
    return _SIGNINGS[desk.path].box


class _Signing:
    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._asked: tuple[str, ...] = ()
        self._words, self._said = html(""), html("", "fit-said")
        self._sign = button("Sign the visit off", "fit-first", "fit-sign")
        self._sign.on_click(lambda _: self._signed())
        self.box = Box([], "fit")
        desk.listen("sign off", self.refresh)

    def refresh(self) -> None:
        session = self.desk.session
        signed = session.sign_off if session else None
        if signed:
            lines = [f"Signed off by {signed.fitter_id} at {signed.at[:16].replace('T', ' ')}."]
            lines += [f"Amended by {a.fitter_id}, {a.at[:16].replace('T', ' ')}: {a.reason}" for a in signed.amendments]
            words = "".join(f"<p>{escape(line)}</p>" for line in lines)
        else:
            words = f"<p>{escape(self._not_yet())}</p>"
        self._words.value = words
        wanted = (self._words, *([] if signed else [Box([self._sign, self._said], "fit-bar")]))
        if len(wanted) != len(self.box.children):
            self.box.children = wanted

    def _not_yet(self) -> str:
        fitter = self.desk.value("fitter_id")
        return f"Not signed off. It will be signed by {fitter}." if fitter else "Not signed off: needs the fitter's id."

    def _signed(self) -> None:
        fitter, open_still = self.desk.value("fitter_id"), tuple(sentence(doubt) for doubt in self.desk.doubts)
        if fitter and open_still != self._asked:
            self._asked = open_still
            words = f"Look first: {' '.join(open_still)} If it is right all the same, press again."
            self._said.value = f'<span role="status">{escape(words)}</span>'
            return
        problem = self.desk.sign_off(fitter) if fitter else "Type the fitter's id in the intake first."
        self._said.value = escape(problem)
