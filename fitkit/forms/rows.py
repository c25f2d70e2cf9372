"""One row of a form: labels, a field or a left and a right one, the last value, what is said about them beside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from html import escape

import ipywidgets as widgets

from fitkit import house
from fitkit import session as sessions
from fitkit.assessment.inputs import unknown_parts
from fitkit.cautions import SIGN_WORDS
from fitkit.forms import entry
from fitkit.forms.desk import Desk
from fitkit.forms.entry import read, shown
from fitkit.forms.look import Box, button, choose, control, html
from fitkit.forms.troubles import sentence
from fitkit.house import House
from fitkit.session import SIGNS, FieldInfo, Session
from fitkit.session.paths import counting, get, steps_of, value_at
from fitkit.session.reading import plain

__all__ = [
    "Row",
    "at_class",
    "choices",
    "label",
    "last_value",
    "path_side",
    "paths_of",
    "title",
    "titled",
    "unit_words",
]


def last_value(last: Session, dotted: str):
    """Return what the visit before says of a field, as plain JSON: as found is what was last left; None for nothing."""
    if dotted.startswith("as_found."):
        field = dotted.removeprefix("as_found.")
        for path in reversed(counting(last)):
            if value_at(last, f"{path}.{field}") not in (None, ()):
                return _kept(last, f"{path}.{field}")
        return None
    return _kept(last, dotted)


def _kept(last: Session, dotted: str):
    info = sessions.describe(dotted)
    if info.unit is not None:
        values = list(sessions.kept(last, dotted))
        return (values or None) if info.many else (values[0] if values else None)
    return get(plain(last), steps_of(dotted))


_WORDS = {
    "eu": "EU",
    "uk": "UK",
    "us_men": "US men",
    "us_women": "US women",
    "mondopoint": "Mondopoint",
    "mark_found_anew": "mark found anew each time",
    "tape_left_on": "tape left on",
    "uneven_left_right": "uneven left to right",
}
_UNITS = {"mm": "mm", "deg": "°", "kg": "kg", "N m": "N m"}
_ASKED = {
    "signs_asked": (("not asked yet", None), ("asked: none, or only those below", True)),
    "seen_asked": (("not noted", None), ("watched: nothing unusual, or only what stands below", True)),
}


def choices(info: FieldInfo) -> list[tuple[str, object]]:
    """Return what a list of choices offers: words and value, first nothing."""
    if info.dotted in _ASKED:
        return list(_ASKED[info.dotted])
    if info.sort == "yes or no":
        return [("—", None), ("yes", True), ("no", False)]
    return [("—", None), *((label(info, word), word) for word in info.choices)]


def label(info: FieldInfo, word: str) -> str:
    """Return one fixed word as a person reads it; signs with their urgency."""
    if word in SIGN_WORDS and info.dotted.startswith("signs"):
        return f"{SIGNS[word]}: {SIGN_WORDS[word]}"
    return _WORDS.get(word, word.replace("_", " "))


def title(info: FieldInfo) -> str:
    """Return the title of a field as it stands alone, without its group around it."""
    if info.dotted.startswith("consent."):
        return f"Consent {info.how[:1].lower()}{info.how[1:]}"
    return "How these were taken" if info.dotted.startswith("taken.") else info.title


def titled(info: FieldInfo, dotted: str) -> str:
    """Return the title of a field with side and unit, as it is read aloud."""
    steps = dotted.removeprefix("taken.").split(".")
    side = next((step for step in steps if step in ("left", "right")), "")
    words = [title(info), *([side] if side and side not in info.title.lower() else [])]
    unit = unit_words(info)
    return ", ".join(words) + (f" ({unit})" if unit else "")


def unit_words(info: FieldInfo) -> str:
    """Return the unit as it stands beside a field."""
    if info.possible == (0, 10) and info.unit == "1":
        return "0 to 10"
    return _UNITS.get(info.unit or "", "")


_LONG = {"note", "finding"}
_WIDE = {"text", "choice", "file", "identifier"}


def paths_of(pattern: str, base: str = "") -> tuple[str, ...]:
    """Return the one or two paths of a row: ``{side}`` becomes left and right, ``taken:`` how repeats were taken."""
    above = "taken." if pattern.startswith("taken:") else ""
    path = f"{above}{base}{pattern.removeprefix('taken:')}"
    return tuple(path.replace("{side}", side) for side in ("left", "right")) if "{side}" in path else (path,)


def at_class(dotted: str) -> str:
    """Return the class that marks the widget of a field on the screen."""
    return "fit-at-" + dotted.replace(".", "--")


class Row:
    """Inputs of one or two fields, and what is said about them."""

    def __init__(self, desk: Desk, paths: tuple[str, ...], last: Callable[[], Session | None]) -> None:
        self.desk, self.paths, self._last, self._busy = desk, paths, last, False
        self.infos = tuple(sessions.describe(path) for path in paths)
        self._title = html(self._title_words(), "fit-name")
        self._note = html("", "fit-note", "fit-words")
        self.inputs = [self._input(path, info) for path, info in zip(paths, self.infos, strict=True)]
        kind = "fit-pair" if len(paths) == 2 else "fit-wide" if self.infos[0].sort in _WIDE else "fit-one"
        self._base = [self._title, *self.inputs, self._note]
        self.box = Box(self._base, "fit-row", kind)
        self._offered: tuple = ()
        self.refresh()

    def point(self, paths: tuple[str, ...]) -> None:
        """Show other fields of the same kind, as of another entry of a list."""
        self.paths = paths
        self.refresh()

    def refresh(self) -> None:
        """Show what the desk holds now."""
        self._busy = True
        try:
            for widget, path, info in zip(self.inputs, self.paths, self.infos, strict=True):
                self._show(widget, path, info)
            self._note.value = "".join(self._words())
            self._offer()
        finally:
            self._busy = False

    def _title_words(self) -> str:
        unit = unit_words(self.infos[0])
        return f"{escape(title(self.infos[0]))}{f'<span class=fit-unit>{escape(unit)}</span>' if unit else ''}"

    def _input(self, path: str, info: sessions.FieldInfo) -> widgets.DOMWidget:
        said, where = titled(info, path), at_class(path)
        if info.dotted == "wish.same_both_sides":
            made = control(widgets.Checkbox, said, where, value=True, indent=False)
        elif info.sort in ("yes or no", "choice"):
            made = control(widgets.Dropdown, said, where, options=choices(info))
        else:
            kind = widgets.Textarea if info.dotted.rpartition(".")[2] in _LONG else widgets.Text
            made = control(kind, said, where, continuous_update=False)
        made.observe(self._changed, "value")
        return made

    def _changed(self, change: dict) -> None:
        if self._busy:
            return
        place = self.inputs.index(change["owner"])
        path, info = self.paths[place], self.infos[place]
        if info.sort in ("yes or no", "choice"):
            self.desk.choose(path, change["new"])
        else:
            self.desk.enter(path, change["new"])

    def _show(self, widget: widgets.DOMWidget, path: str, info: sessions.FieldInfo) -> None:
        if isinstance(widget, widgets.Dropdown):
            choose(widget, choices(info), self.desk.choice(path))
        elif isinstance(widget, widgets.Checkbox):
            widget.value = self.desk.choice(path) is not False  # what is not in the file is yes
        else:
            widget.value = self.desk.text(path)
        classes = ("fit-in", at_class(path), *(["fit-held-in"] if path in self.desk.held else []))
        if tuple(widget._dom_classes) != classes:
            widget._dom_classes = classes

    def _words(self) -> Iterator[str]:
        for path, info in zip(self.paths, self.infos, strict=True):
            side = f"{path_side(path)}: " if len(self.paths) == 2 else ""
            held = self.desk.held.get(path)
            if held:
                start = "" if held.why.startswith("Not saved") else "Not saved. "
                yield f"<p><b>{escape(side.capitalize() + start)}</b>{escape(held.why)}</p>"
            if path in self.desk.elsewhere:
                yield f"<p><b>{escape(side.capitalize())}Changed in another window.</b></p>"
            for question in self._questions(path, info):
                yield f"<p><b>{escape(side.capitalize())}Please look.</b> {escape(question)}</p>"
            for struck in self._struck(path):
                yield f"<p>{escape(side.capitalize())}{escape(struck)}</p>"
            # The screen keeps what was typed until it is told here that it has arrived.
            yield f'<span class="fit-ack" data-at="{at_class(path)}" data-typed="{escape(self._arrived(path))}"></span>'
        if exchanged := self._exchanged():
            yield f"<p><b>Please look.</b> {escape(exchanged)}</p>"
        how = ". ".join(filter(None, (self.infos[0].how, self._known_names())))
        yield f'<p class="fit-how">{escape(how)}.</p>' if how else ""

    def _known_names(self) -> str:
        """Return the names the parts table has for a field that takes one of them."""
        kept, leaf = _house(), self.paths[0].rpartition(".")[2]
        if leaf == "pedal_family":
            names = kept.families
        elif leaf in ("spindle_id", "extender_id", "base_adapter_id"):
            family = kept.family(self.desk.value("bike.pedal_family") or "")
            names = tuple(part.id for part in family if part.kind == leaf.removesuffix("_id"))
        else:
            return ""
        return f"In the {kept.parts_source}: {', '.join(names) or 'none; is the pedal family typed?'}"

    def _unknown_parts(self, path: str) -> Iterator[str]:
        session = self.desk.session
        if session is not None:
            yield from (sentence(problem) for problem in unknown_parts(session, _house()) if problem.where == path)

    def _arrived(self, path: str) -> str:
        return self.desk.typed.get(path, "")

    def _questions(self, path: str, info: sessions.FieldInfo) -> Iterator[str]:
        yield from (sentence(doubt) for doubt in self.desk.doubts if doubt.where == path)
        yield from self._unknown_parts(path)
        if info.unit is None or path in self.desk.held:
            return
        if doubt := read(self.desk.text(path), info).doubt:
            yield doubt
        if info.many and self.desk.session and (words := self._disagreement(path, info)):
            yield words

    def _disagreement(self, path: str, info: sessions.FieldInfo) -> str:
        readings = sessions.kept(self.desk.session, path)
        return entry.disagreement(readings, info, _house().rules) if len(readings) > 1 else ""

    def _struck(self, path: str) -> Iterator[str]:
        for item in self.desk.value("struck") or ():
            values = self.desk.value(path) or ()
            if item["field"] == path and item["index"] < len(values):
                yield f"{shown(values[item['index']])} (reading {item['index'] + 1}) is struck: {item['reason']}"

    def _exchanged(self) -> str:
        last = self._last()
        if last is None or len(self.paths) < 2 or not self.infos[0].kind or self.desk.session is None:
            return ""
        if not self.infos[0].many or self.paths[0].startswith("trials"):
            return ""
        now = tuple(sessions.kept(self.desk.session, path) for path in self.paths)
        before = tuple(last_value(last, path) or () for path in self.paths)
        return entry.exchange(now, before, self.infos[0], _house().rules) if all((*now, *before)) else ""

    def _offer(self) -> None:
        """Put buttons into the row for what may have been meant, or for a choice between two values."""
        wanted = tuple(self._offers())
        if wanted == self._offered:
            return
        self._offered = wanted
        made = []
        for words, action in wanted:
            one = button(words)
            one.on_click(lambda _, action=action: self._act(action))
            made.append(one)
        self.box.children = [*self._base, *([Box(made, "fit-do")] if made else [])]

    def _offers(self) -> Iterator[tuple[str, tuple]]:
        for path, info in zip(self.paths, self.infos, strict=True):
            side = f"{path_side(path)}: " if len(self.paths) == 2 else ""
            held = self.desk.held.get(path)
            if held and held.is_contested:
                yield f"{side}Keep theirs, {shown(held.theirs) or 'blank'}", ("settle", path, False)
                yield f"{side}Take mine, {held.entry.typed or 'blank'}", ("settle", path, True)
            elif info.sort not in ("yes or no", "choice"):
                offer = (held.entry if held else read(self.desk.text(path), info)).offer
                if offer:
                    yield f"{side}Take {offer}", ("enter", path, offer)

    def _act(self, action: tuple) -> None:
        what, path, value = action
        if what == "settle":
            self.desk.settle(path, mine=value)
        else:
            self.desk.enter(path, value)


@cache
def _house() -> House:
    return house.load()  # once for a notebook: forms ask for it at every key


def path_side(path: str) -> str:
    """Return the side a path belongs to."""
    return next((step for step in path.split(".") if step in ("left", "right")), "")
