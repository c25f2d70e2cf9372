"""The worked example: the trainee's own copy of an invented rider, own answers first, then the kit's."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit import files, forms
from fitkit.files import append_durably, locked, make_folder, write_new
from fitkit.forms.controls import Box, WordedBox, button, control, html, row, same_widget, say
from fitkit.report.blocks import Table
from fitkit.report.compared import belief, beside_reference
from fitkit.report.compared import beliefs as every_belief
from fitkit.workbench.folder import learning_folder

REFERENCE = "worked_example/worked-example_2026-03-02_road.json"
# What the trainee finds out; the rest is on the measuring sheet.
_OWN = ("trials", "decided", "as_left", "taken", "fitter_id")
_FIRST = "Write your own answer first."


def lesson(work: str | Path) -> str:
    """Return the path of the trainee's own copy of the invented rider, begun where there is none."""
    reference = files.template(REFERENCE)
    own = learning_folder(work) / "learning" / reference.name
    make_folder(own.parent)
    if not own.exists():
        write_new(own, _begun(reference).encode())
    return str(own)


def _begun(reference: Path) -> str:
    tree = json.loads(reference.read_text(encoding="utf-8"))
    for name in _OWN:
        tree.pop(name, None)
    for side in ("left", "right"):
        del tree["as_found"][side]["cleat_setback_mm"]
        for end in ("least", "greatest"):
            del tree["shoes"][side][f"{end}_cleat_setback_mm"]
    return json.dumps(tree, indent=1) + "\n"


def beside(session: str | Path) -> Table:
    """Return the trainee's record beside the reference."""
    return beside_reference(session, files.template(REFERENCE))


def beliefs(_: Path) -> Table:
    """Return all beliefs of the trade, whichever the session."""
    return every_belief()


def ask(
    session: str | Path, name: str, question: str, draw: Callable[[Path], Any], *parts: str, after: tuple[str, ...] = ()
) -> widgets.Widget:
    """Return a question whose answer by the kit shows only when the trainee has written an own one."""
    return same_widget(_Question, Path(session).resolve(), name, question, (draw, *parts), after)


class _Question:
    def __init__(self, path: Path, name: str, question: str, answer: tuple, after: tuple[str, ...]) -> None:
        self.path, self.name, self._answer, self._after = path, name, answer, after
        own = answers_of(path).get(name, "")
        self._field = control(widgets.Text, question, f"fit-answer-{name}", value=own)
        self._field.observe(lambda _: self._written(), "value")
        show = button("Show the kit's answer", self._written, "fit-first", f"fit-show-{name}", is_delayed=True)
        self._status = html("", "fit-said")
        asked = row(f"<b>{escape(question)}</b>", self._field, note="")
        self._base = [asked, Box([show, self._status], "fit-bar")]
        self.box = WordedBox(self._base, "fit", f"fit-asked-{name}", words=f"{question} {_FIRST}")
        if own:
            self._reveal(own)

    def _written(self) -> None:
        answer = self._field.value.strip()
        if not answer:
            say(self._status, _FIRST)
            return
        if answer != answers_of(self.path).get(self.name):
            try:
                _keep(self.path, self.name, answer)
            except OSError as error:
                say(self._status, f"Your answer is not saved: {error.strerror or error}")
                return
        self._reveal(answer)

    def _reveal(self, answer: str) -> None:
        say(self._status, f"You wrote: {answer}. The kit says:")
        if len(self.box.children) == len(self._base):
            beliefs = [forms.still(belief(name)) for name in self._after]
            self.box.children = [*self._base, forms.live(self.path, *self._answer), *beliefs]


def _answers_path(session: Path) -> Path:
    return session.with_name(f"{session.stem}.answers.jsonl")


def answers_of(session: Path) -> dict[str, str]:
    """Return the trainee's last answer to each question; a line cut off by a killed process is left out."""
    path = _answers_path(session)
    found: dict[str, str] = {}
    for line in path.read_text(encoding="utf-8").splitlines() if path.is_file() else ():
        try:
            entry = json.loads(line)
        except ValueError:
            continue
        found[entry["name"]] = entry["answer"]
    return found


def _keep(session: Path, name: str, answer: str) -> None:
    path = _answers_path(session)
    entry = {"at": datetime.now().astimezone().isoformat(timespec="seconds"), "name": name, "answer": answer}
    with locked(path):
        after = path.stat().st_size if path.exists() else 0
        line = f"{json.dumps(entry, ensure_ascii=False)}\n"
        append_durably(path, line.encode(), after=after)
