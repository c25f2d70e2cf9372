"""Taking one visit away that was entered wrongly: named by the person, said back in words, asked twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from fitkit.forms.controls import Box, button, control, explained_row, html, say
from fitkit.session import history
from fitkit.words import count, day
from fitkit.workbench.folder import WorkFolder

_MOST_NAMED = 5


class TakingAway:
    """A field for the visit and a button that asks twice before it takes the visit away."""

    def __init__(self, folder: WorkFolder, then: Callable[[], None]) -> None:
        self.folder, self._then = folder, then
        self._asked: tuple[Path | None, int] = (None, 0)  # which visit, and how often it was asked about
        self._which = control(widgets.Text, "Visit to take away", "fit-away-which")
        self._status = html("", "fit-said")
        press = button("Take the visit away", self._pressed, "fit-away", is_delayed=True)
        how = "the client's id and the day, like rider-042 2026-03-04; the set-up too where that day had two"
        named = explained_row("Visit", self._which, how)
        self.box = Box([html("<h3>A visit entered wrongly</h3>"), named, Box([press, self._status], "fit-bar")], "fit")

    def _pressed(self) -> None:
        words = set(self._which.value.split())
        fitting = [path for path in self.folder.sessions() if words and words <= set(path.stem.split("_"))]
        if len(fitting) != 1:
            self._asked = None, 0
            say(self._status, _none_or_many(fitting, bool(words)))
            return
        path = fitting[0]
        times = self._asked[1] + 1 if self._asked[0] == path else 1  # an answer is to what stands there now
        self._asked = path, times
        if times == 1:
            say(self._status, self._first_question(path))
        elif times == 2:
            say(self._status, f"Nothing brings it back. Press once more to take away: {_named(path)}.")
        else:
            self._asked = None, 0
            self._take(path)

    def _first_question(self, path: Path) -> str:
        changes = len(history(path)) - 1 if path.exists() else 0
        left = sum(each.stem.split("_")[0] == path.stem.split("_")[0] for each in self.folder.sessions()) - 1
        stay = f"The client's {count(left, 'other visit')} would stay." if left else "The client has no other visit."
        saved = f"{count(changes, 'change')} saved in it" if changes > 0 else "nothing saved in it since it was begun"
        return (
            f"{_named(path)}; {saved}. Its file, its history, its notebooks and papers would go; close them "
            f"first. {stay} If that is the visit, press again."
        )

    def _take(self, path: Path) -> None:
        try:
            self.folder.take_away(path.stem)
        except OSError as error:
            say(self._status, f"Not all of it could be removed: {error.strerror or error}.")
            return
        self._which.value = ""
        say(self._status, f"Taken away: {_named(path)}.")
        self._then()


def _none_or_many(fitting: list[Path], was_typed: bool) -> str:
    if not was_typed:
        return "Type which visit first."
    if not fitting:
        return "There is no such visit here. Nothing was taken away."
    more = f"; and {len(fitting) - _MOST_NAMED} more" if len(fitting) > _MOST_NAMED else ""
    return f"{len(fitting)} visits fit: {'; '.join(map(_named, fitting[:_MOST_NAMED]))}{more}. Say which one."


def _named(path: Path) -> str:
    client, when, setup = path.stem.split("_", 2)
    return f"{client}, visit of {day(when)}, {setup} set-up"
