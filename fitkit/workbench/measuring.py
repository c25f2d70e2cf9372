"""What a fitter measures beside the visits: an own error of marking, from repeats; and a knee on a paused film."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from html import escape
from pathlib import Path

import ipywidgets as widgets
from pydantic import ValidationError

from fitkit import house
from fitkit import session as sessions
from fitkit.forms.controls import (
    STYLE,
    Box,
    WordedBox,
    button,
    control,
    explained_row,
    head_row,
    html,
    row,
    same_widget,
    say,
)
from fitkit.forms.entry import read
from fitkit.report.repeats import RepeatsShown, study_of
from fitkit.report.riding import ruler_table
from fitkit.session import FieldInfo, SessionProblems
from fitkit.session.study import MarkRepeats, RepeatsOfOneShoe, load_repeats, repeats_path, save_repeats, save_study
from fitkit.vocabulary import TAKEN_BRIEFLY
from fitkit.workbench.folder import is_kept, learning_folder

_HOW = (
    ("choose how it was taken", None),
    ("mark found anew: tape off, joint felt for again", "mark_found_anew"),
    ("tape left on: the same mark read again", "tape_left_on"),
)
_SETBACK = sessions.describe("as_found.left.cleat_setback_mm")
# Readings in mm with a sign, like those of the shoe, but of the knee.
_KNEE_OFFSET = replace(
    sessions.describe("as_found.left.shoe_outward_mm"),
    title="Knee outward of the pedal",
    possible=(-300, 300),
    usual=(-80, 80),
)
_ENDS = (("top", "Crank at the top"), ("bottom", "Crank at the bottom"))
_PARTS = ("words", "errors", "agreement", "against_reference", "taken")


def _readings(typed: str, info: FieldInfo) -> tuple[float, ...]:
    """Return the readings typed [the field's unit]; raises ValueError with what is wrong."""
    entry = read(typed, info)
    if entry.problem:
        raise ValueError(entry.problem)
    return entry.value


def measure(work: str | Path) -> widgets.Widget:
    """Return the form for repeats in a work folder, the same one each time."""
    return same_widget(_Repeats, learning_folder(work), is_kept(work))


class _Repeats:
    """One reading at a time; what was read before is counted, never shown, until it is asked for."""

    def __init__(self, folder: Path, is_kept: bool) -> None:
        self.folder = folder
        self._status, self._count, self._shown = html("", "fit-said"), html(""), html("")
        kept = "" if is_kept else "<p>Nothing is kept here: open this notebook from the workbench.</p>"
        rows = [
            self._row("fitter", "Your fitter's id", "as in your visits; a-z, 0-9 and -"),
            self._row("shoe", "Which shoe", "in words, like “shoe 3, left”; no names"),
            self._row("how-taken", "How it was taken", "asked for each reading, since the two are different errors"),
            self._row("reading", "Cleat setback, mm", "to the half millimetre"),
            self._row("other", "Another fitter's reading, mm", "of the same shoe, where there is one"),
        ]
        self._fitter, self._shoe, self._how, self._reading, self._other = (each.children[1] for each in rows)
        buttons = [
            self._button("Save this reading", self._save, "fit-save-reading", "fit-first"),
            self._button("Show what they say", self._show, "fit-show-reading"),
            self._button("Use it in my visits", self._use, "fit-use-reading"),
        ]
        self.box = WordedBox(
            [html(STYLE + kept), *rows, Box([*buttons, self._status], "fit-bar"), self._count, self._shown],
            *("fit", "fit-measuring"),
            words="Your readings, one at a time; earlier ones are hidden.",
        )

    @staticmethod
    def _row(name: str, title: str, how: str) -> Box:
        kind, options = (widgets.Dropdown, {"options": _HOW}) if name == "how-taken" else (widgets.Text, {})
        return explained_row(title, control(kind, title, f"fit-{name}", **options), how)

    def _button(self, words: str, act: Callable[[], str], *classes: str) -> widgets.Button:
        return button(words, partial(self._tried, act), *classes, is_delayed=True)

    def _tried(self, act: Callable[[], str]) -> None:
        try:
            say(self._status, act())
        except (ValueError, OSError) as error:
            say(self._status, str(error))

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
        reading, other = _one_setback(self._reading.value), _one_setback(self._other.value)
        if reading is None:
            raise ValueError("Cleat setback is blank; expected one reading in mm.")
        saved = _with(known, shoe, how, reading, other)
        save_repeats(saved, self.folder)
        # Gone from the screen, so that the next reading is not read off the last.
        self._reading.value, self._other.value, self._shown.value = "", "", ""
        counts = (f"{escape(one.shoe)}, {TAKEN_BRIEFLY[one.taken]}: {len(one.readings_mm)}" for one in saved.shoes)
        items = "".join(f"<li>{count}</li>" for count in counts)
        self._count.value = f"<p>Readings so far, their numbers hidden:</p><ul>{items}</ul>"
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


def _one_setback(typed: str) -> float | None:
    """Return one reading [mm], None for blank; raises ValueError with what is wrong."""
    found = _readings(typed, _SETBACK)
    if len(found) > 1:
        raise ValueError(f"{len(found)} numbers stand here; expected one reading at a time.")
    return found[0] if found else None


def _with(known: MarkRepeats, shoe: str, how: str, reading: float, other: float | None) -> MarkRepeats:
    """Return the repeats with one reading more; another fitter's number replaces none that is there."""
    shoes = {(one.shoe, one.taken): one for one in known.shoes}
    before = shoes.get((shoe, how)) or RepeatsOfOneShoe(shoe=shoe, taken=how)
    reference = before.reference_mm if before.reference_mm is not None else other
    readings = (*before.readings_mm, reading)
    shoes[shoe, how] = RepeatsOfOneShoe(shoe=shoe, taken=how, readings_mm=readings, reference_mm=reference)
    return MarkRepeats(fitter_id=known.fitter_id, date=date.today().isoformat(), shoes=tuple(shoes.values()))


def ruler(session: str | Path) -> widgets.Widget:
    """Return fields for offsets read on a paused film and what they say, the same ones each time.

    The knee is read with a ruler; no table of points is needed.
    """
    return same_widget(_Ruler, Path(session).resolve())


class _Ruler:
    def __init__(self, _: Path) -> None:
        self._fields = {
            (side, end): control(widgets.Text, f"{words}, {side}", f"fit-ruler-{side}-{end}")
            for end, words in _ENDS
            for side in ("left", "right")
        }
        for field in self._fields.values():
            field.observe(lambda _: self._work_out(), "value")
        work_out = button("Work it out", self._work_out, "fit-first", "fit-ruler", is_delayed=True)
        self._status, self._shown = html("", "fit-said"), html("")
        kept = "Worked out here and not kept in the visit: type the travel into its trial."
        bar = Box([work_out, self._status], "fit-bar")
        self.box = WordedBox(
            [head_row(), *map(self._row, _ENDS), html(f'<p class="fit-words">{kept}</p>'), bar, self._shown],
            *("fit", "fit-ruled"),
            words="Offsets read with a ruler on a paused film.",
        )

    def _row(self, named: tuple[str, str]) -> Box:
        end, words = named
        pair = [self._fields[side, end] for side in ("left", "right")]
        return row(f"{escape(words)}<span class=fit-unit>mm</span>", *pair, note="", kind="fit-pair")

    def _work_out(self) -> None:
        try:
            found = {
                side: tuple(_readings(self._fields[side, end].value, _KNEE_OFFSET) for end, _ in _ENDS)
                for side in ("left", "right")
            }
            self._shown.value = ruler_table(found, house_sd_mm=house.load().rules.spread.short_length_mm)._repr_html_()
            self._status.value = ""
        except ValueError as error:
            say(self._status, str(error))
