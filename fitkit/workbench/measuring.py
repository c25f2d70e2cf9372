"""Repeats with the earlier numbers hidden: a fitter's own error of marking, then used in that fitter's visits."""

from __future__ import annotations

from datetime import date
from functools import partial
from html import escape
from pathlib import Path

import ipywidgets as widgets
from pydantic import ValidationError

from fitkit import session as sessions
from fitkit.assessment.repeats import study_of
from fitkit.forms.entry import read
from fitkit.forms.look import STYLE, Box, WordedBox, button, control, html
from fitkit.forms.soon import soon
from fitkit.report.repeats import RepeatsShown
from fitkit.session import SessionProblems
from fitkit.session.study import MarkRepeats, RepeatsOfOneShoe, load_repeats, repeats_path, save_repeats, save_study
from fitkit.workbench.folder import AFTER_S, is_kept, learning_folder

__all__ = ["measure"]

_HOW = (
    ("choose how it was taken", None),
    ("mark found anew: tape off, joint felt for again", "mark_found_anew"),
    ("tape left on: the same mark read again", "tape_left_on"),
)
_HOW_WORDS = {"mark_found_anew": "marked anew", "tape_left_on": "tape left on"}
_READING = "as_found.left.cleat_setback_mm"
_PARTS = ("words", "errors", "agreement", "against_reference", "taken")


def measure(work: str | Path) -> widgets.Widget:
    """Return the form for repeats in a work folder, the same one each time."""
    folder = learning_folder(work)
    if folder not in _FORMS:
        _FORMS[folder] = _Measuring(folder, kept=is_kept(work))
    return _FORMS[folder].box


class _Measuring:
    """One reading at a time; what was read before is counted, never shown, until it is asked for."""

    def __init__(self, folder: Path, *, kept: bool) -> None:
        self.folder = folder
        self._fitter = control(widgets.Text, "Your fitter's id", "fit-fitter", continuous_update=False)
        self._shoe = control(widgets.Text, "Which shoe", "fit-shoe", continuous_update=False)
        self._how = control(widgets.Dropdown, "How it was taken", "fit-how-taken", options=_HOW)
        self._reading = control(widgets.Text, "Cleat setback, mm", "fit-reading", continuous_update=False)
        self._other = control(widgets.Text, "Another fitter's reading, mm", "fit-other", continuous_update=False)
        self._said, self._count, self._shown = html("", "fit-said"), html(""), html("")
        rows = [
            _row("Your fitter's id", self._fitter, "as in your visits; a-z, 0-9 and -"),
            _row("Which shoe", self._shoe, "in words, like “shoe 3, left”; no names"),
            _row("How it was taken", self._how, "asked for each reading, since the two are different errors"),
            _row("Cleat setback, mm", self._reading, "to the half millimetre"),
            _row("Another fitter's reading, mm", self._other, "of the same shoe, where there is one"),
        ]
        bar = Box([*self._buttons(), self._said], "fit-bar")
        passing = "" if kept else "<p>Nothing is kept here: open this notebook from the workbench.</p>"
        self.box = WordedBox([html(STYLE + passing), *rows, bar, self._count, self._shown], "fit", "fit-measuring")
        self.box.words = "Your readings, one at a time; earlier ones are hidden."

    def _buttons(self) -> list[widgets.Button]:
        made = []
        for words, name, act in (
            ("Save this reading", "save", self._save),
            ("Show what they say", "show", self._show),
            ("Use it in my visits", "use", self._use),
        ):
            one = button(words, f"fit-{name}-reading", *(["fit-first"] if name == "save" else []))
            one.on_click(lambda _, act=act: soon(partial(self._tried, act), AFTER_S))
            made.append(one)
        return made

    def _tried(self, act) -> None:
        try:
            self._say(act())
        except (ValueError, OSError) as error:
            self._say(str(error))

    def _say(self, words: str) -> None:
        self._said.value = f'<span role="status">{escape(words)}</span>'

    def _known(self) -> MarkRepeats:
        """Return the fitter's repeats so far; raises ValueError for an id that is none."""
        fitter = self._fitter.value.strip()
        try:
            empty = MarkRepeats(fitter_id=fitter, date=date.today().isoformat())
        except ValidationError:
            raise ValueError(f"Your fitter's id is “{fitter}”; expected 1 to 40 of a-z, 0-9 and -.") from None
        path = repeats_path(fitter, self.folder)
        try:
            return load_repeats(path) if path.is_file() else empty
        except SessionProblems as error:
            raise ValueError(f"{path.name} cannot be read: {error.problems[0]}") from None

    def _save(self) -> str:
        known, shoe, how = self._known(), self._shoe.value.strip(), self._how.value
        if not shoe:
            raise ValueError("Which shoe is blank; expected a few words, like “shoe 3, left”.")
        if how is None:
            raise ValueError("How it was taken is not said; expected marked anew, or tape left on.")
        reading, other = _number(self._reading.value), _number(self._other.value)
        if reading is None:
            raise ValueError("Cleat setback is blank; expected one reading in mm.")
        saved = _with(known, shoe, how, reading, other)
        save_repeats(saved, self.folder)
        # Gone from the screen, so that the next reading is not read off the last.
        self._reading.value, self._other.value, self._shown.value = "", "", ""
        self._count.value = _counted(saved)
        return "Saved. Look away, take the next."

    def _show(self) -> str:
        shown = RepeatsShown(self._known())
        self._shown.value = "".join(getattr(shown, part)()._repr_html_() for part in _PARTS)
        return "Readings are on the screen now: go on another day, or with other shoes."

    def _use(self) -> str:
        study = study_of(self._known())
        save_study(study, self.folder)
        return (
            f"From now on the visits of {study.fitter_id} use your own mark's error, {study.place_sd_mm:.1f} mm, and "
            f"your own reading's, {study.spread_sd_mm:.1f} mm."
        )


_FORMS: dict[Path, _Measuring] = {}


def _row(title: str, field: widgets.Widget, how: str) -> Box:
    said = html(f'<span class="fit-words">{escape(how)}</span>', "fit-note")
    return Box([html(escape(title), "fit-name"), field, said], "fit-row", "fit-wide")


def _number(typed: str) -> float | None:
    """Return one reading, None for blank; raises ValueError with what is wrong."""
    entry = read(typed, sessions.describe(_READING))
    if entry.problem:
        raise ValueError(entry.problem)
    if len(entry.value) > 1:
        raise ValueError(f"{len(entry.value)} numbers stand here; expected one reading at a time.")
    return entry.value[0] if entry.value else None


def _with(known: MarkRepeats, shoe: str, how: str, reading: float, other: float | None) -> MarkRepeats:
    """Return the repeats with one reading more; another fitter's number replaces none that is there."""
    shoes = list(known.shoes)
    place = next((i for i, one in enumerate(shoes) if (one.shoe, one.taken) == (shoe, how)), None)
    before = RepeatsOfOneShoe(shoe=shoe, taken=how) if place is None else shoes[place]
    reference = before.reference_mm if before.reference_mm is not None else other
    after = RepeatsOfOneShoe(shoe=shoe, taken=how, readings_mm=(*before.readings_mm, reading), reference_mm=reference)
    if place is None:
        shoes.append(after)
    else:
        shoes[place] = after
    return MarkRepeats(fitter_id=known.fitter_id, date=date.today().isoformat(), shoes=tuple(shoes))


def _counted(repeats: MarkRepeats) -> str:
    """Return how many readings there are of each shoe, without one of the numbers."""
    items = "".join(
        f"<li>{escape(shoe.shoe)}, {_HOW_WORDS[shoe.taken]}: {len(shoe.readings_mm)}</li>" for shoe in repeats.shoes
    )
    return f"<p>Readings so far, their numbers hidden:</p><ul>{items}</ul>"
