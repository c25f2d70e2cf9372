"""One row of a form: labels, a field or a left and a right one, the last value, what is said about them beside."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from functools import cache, partial
from html import escape

import ipywidgets as widgets

from fitkit import house
from fitkit import session as sessions
from fitkit.assessment.inputs import unknown_parts
from fitkit.forms.controls import Box, button, choose, control, html, row
from fitkit.forms.draft import Draft
from fitkit.forms.entry import disagreement, exchange, read, sentence, shown
from fitkit.forms.sections import needed_for
from fitkit.house import House
from fitkit.session import FieldInfo, Session
from fitkit.session.paths import counting, get, steps_of, value_at
from fitkit.session.reading import plain
from fitkit.vocabulary import SIGN_WORDS, SIGNS, UNSTEADINESS_WORDS, choice_words


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
    return [("—", None), *((_label(word), word) for word in info.choices)]


def _label(word: str) -> str:
    """Return one fixed word as a person reads it; signs with their urgency."""
    return f"{SIGNS[word]}: {SIGN_WORDS[word]}" if word in SIGNS else choice_words(word)


def value_words(dotted: str, value: object) -> str:
    """Return a value of the file as a person reads it."""
    return _label(value) if isinstance(value, str) and sessions.describe(dotted).choices else shown(value)


def _title(info: FieldInfo) -> str:
    """Return the title of a field as it stands alone, without its group around it."""
    if info.dotted.startswith("consent."):
        return f"Consent {info.how[:1].lower()}{info.how[1:]}"
    return "How these were taken" if info.dotted.startswith("taken.") else info.title


def titled(dotted: str) -> str:
    """Return the title of a field with side and unit, as it is read aloud."""
    info = sessions.describe(dotted)
    side, unit = side_of(dotted), _unit_words(info)
    words = [_title(info), *([side] if side and side not in info.title.lower() else [])]
    return ", ".join(words) + (f" ({unit})" if unit else "")


def _unit_words(info: FieldInfo) -> str:
    """Return the unit as it stands beside a field."""
    if info.possible == (0, 10) and info.unit == "1":
        return "0 to 10"
    return {"deg": "°", "1": "", None: ""}.get(info.unit, info.unit)


_LONG = {"note", "finding"}
_FOLLOW_UP_AFTER = timedelta(weeks=6)  # common practice, no source
_SHORT_CHOICE = 16  # letters


def _is_wide(info: FieldInfo) -> bool:
    """Whether a field needs a line of its own."""
    if info.sort in ("yes or no", "choice"):
        return max(len(words) for words, _ in choices(info)) > _SHORT_CHOICE
    return info.sort in ("text", "file")


def side_of(path: str) -> str:
    """Return the side a path belongs to."""
    return next((step for step in path.split(".") if step in ("left", "right")), "")


def at_class(dotted: str) -> str:
    """Return the class that marks the widget of a field on the screen."""
    return "fit-at-" + dotted.replace(".", "--")


@cache
def _house() -> House:
    return house.load()  # once for a notebook: forms ask for it at every key


class Row:
    """Inputs of one or two fields, and what is said about them."""

    def __init__(self, draft: Draft, paths: tuple[str, ...]) -> None:
        self.draft, self.paths, self._busy = draft, paths, False
        self.infos = tuple(sessions.describe(path) for path in paths)
        self.info = self.infos[0]
        self.inputs = [self._input(path, info) for path, info in zip(paths, self.infos, strict=True)]
        self._note = html("", "fit-note", "fit-words")
        self._offered: tuple = ()
        small = (("fit-unit", _unit_words(self.info)), ("fit-for", needed_for(self.info.dotted)))
        title = escape(_title(self.info)) + "".join(
            f'<span class="{kind}">{escape(w)}</span>' for kind, w in small if w
        )
        kind = "fit-pair" if len(paths) == 2 else "fit-wide" if _is_wide(self.info) else "fit-one"
        self.box = row(title, *self.inputs, self._note, kind=kind)
        self._base = self.box.children
        self.refresh()

    def point(self, paths: tuple[str, ...]) -> None:
        """Show other fields of the same kind, as of another entry of a list."""
        self.paths = paths
        self.refresh()

    def refresh(self) -> None:
        """Show what the draft holds now."""
        self._busy = True
        try:
            for widget, path, info in zip(self.inputs, self.paths, self.infos, strict=True):
                self._show(widget, path, info)
            self._note.value = "".join(self._words())
            self._offer()
        finally:
            self._busy = False

    def _input(self, path: str, info: FieldInfo) -> widgets.DOMWidget:
        name, where = titled(path), at_class(path)
        if info.dotted == "wish.same_both_sides":
            made = control(widgets.Checkbox, name, where, value=True, indent=False)
        elif info.sort in ("yes or no", "choice"):
            made = control(widgets.Dropdown, name, where, options=choices(info))
        elif self._known_names() is not None:
            made = control(widgets.Combobox, name, where, options=self._known_names(), ensure_option=False)
        else:
            made = control(widgets.Textarea if info.dotted.rpartition(".")[2] in _LONG else widgets.Text, name, where)
        made.observe(self._changed, "value")
        return made

    def _changed(self, change: dict) -> None:
        if self._busy:
            return
        place = self.inputs.index(change["owner"])
        take = self.draft.choose if self.infos[place].sort in ("yes or no", "choice") else self.draft.enter
        take(self.paths[place], change["new"])

    def _show(self, widget: widgets.DOMWidget, path: str, info: FieldInfo) -> None:
        if isinstance(widget, widgets.Dropdown):
            choose(widget, choices(info), self.draft.choice(path))
        elif isinstance(widget, widgets.Checkbox):
            widget.value = self.draft.choice(path) is not False  # what is not in the file is yes
        else:
            widget.value = self.draft.text(path)
        if isinstance(widget, widgets.Combobox) and widget.options != (names := self._known_names()):
            widget.options = names
        classes = ("fit-in", at_class(path), *(["fit-held-in"] if path in self.draft.unsaved else []))
        if tuple(widget._dom_classes) != classes:
            widget._dom_classes = classes

    def _side(self, path: str) -> str:
        return f"{side_of(path)}: " if len(self.paths) == 2 else ""

    def _words(self) -> Iterator[str]:
        for path, info in zip(self.paths, self.infos, strict=True):
            side = self._side(path).capitalize()
            for strong, words in self._remarks(path, info):
                start = escape(side) if strong is None else f"<b>{escape(side + strong)}</b>"
                yield f"<p>{start}{escape(words)}</p>"
            # The screen keeps what was typed until it is told here that it has arrived.
            arrived = escape(self.draft.typed.get(path, ""))
            yield f'<span class="fit-ack" data-at="{at_class(path)}" data-typed="{arrived}"></span>'
        if exchanged := self._exchanged():
            yield f"<p><b>Please look.</b> {escape(exchanged)}</p>"
        how = ". ".join(filter(None, (self.info.how, self._known_words())))
        yield f'<p class="fit-how">{escape(how)}.</p>' if how else ""
        if ".unsteadiness." in self.info.dotted:
            yield f"<p>{escape('; '.join(f'{score} {words}' for score, words in UNSTEADINESS_WORDS.items()))}</p>"

    def _remarks(self, path: str, info: FieldInfo) -> Iterator[tuple[str | None, str]]:
        """Yield what is said beside a field: the beginning in bold, None for nothing in bold, and the rest."""
        if unsaved := self.draft.unsaved.get(path):
            yield "" if unsaved.why.startswith("Not saved") else "Not saved. ", unsaved.why
        if path in self.draft.news:
            yield "Changed in another window.", ""
        for question in self._questions(path, info):
            yield "Please look.", f" {question}"
        for struck in self.draft.value("struck") or ():
            values = self.draft.value(path) or ()
            if struck["field"] == path and struck["index"] < len(values):
                value = shown(values[struck["index"]])
                yield None, f"{value} (reading {struck['index'] + 1}) is struck: {struck['reason']}"

    def _known_names(self) -> tuple[str, ...] | None:
        """Return the names the parts table has for a field that takes one of them, None where it takes none."""
        kept, leaf = _house(), self.paths[0].rpartition(".")[2]
        if leaf == "pedal_family":
            return tuple(kept.families)
        if leaf not in ("spindle_id", "extender_id", "base_adapter_id"):
            return None
        family = kept.family(self.draft.value("bike.pedal_family") or "")
        return tuple(part.id for part in family if part.kind == leaf.removesuffix("_id"))

    def _known_words(self) -> str:
        names = self._known_names()
        if names is None:
            return ""
        return f"In the {_house().parts_source}: {', '.join(names) or 'none; is the pedal family typed?'}"

    def _questions(self, path: str, info: FieldInfo) -> Iterator[str]:
        session = self.draft.session
        asked = (*self.draft.doubts, *(unknown_parts(session, _house()) if session else ()))
        yield from (sentence(problem) for problem in asked if problem.where == path)
        if info.unit is None or path in self.draft.unsaved:
            return
        if doubt := read(self.draft.text(path), info).doubt:
            yield doubt
        if info.many and session and (words := disagreement(sessions.kept(session, path), info, _house().rules)):
            yield words

    def _exchanged(self) -> str:
        last, session = self.draft.last_visit(), self.draft.session
        if last is None or len(self.paths) < 2 or not self.info.kind or session is None:
            return ""
        if not self.info.many or self.paths[0].startswith("trials"):
            return ""
        now = tuple(sessions.kept(session, path) for path in self.paths)
        before = tuple(last_value(last, path) or () for path in self.paths)
        return exchange(now, before, self.info, _house().rules)

    def _offer(self) -> None:
        """Put buttons into the row for what may have been meant, or for a choice between two values."""
        wanted = tuple(self._offers())
        if wanted == self._offered:
            return
        self._offered = wanted
        made = [button(words, partial(self._do, act, *given)) for words, act, *given in wanted]
        self.box.children = [*self._base, *([Box(made, "fit-do")] if made else [])]

    def _follow_up(self, path: str) -> str:
        """Return the day to offer for the next visit while none is typed."""
        if path != "follow_up_due" or self.draft.text(path) or self.draft.session is None:
            return ""
        return (date.fromisoformat(self.draft.session.visit_date) + _FOLLOW_UP_AFTER).isoformat()

    def _do(self, act: str, *given: object) -> None:
        if problem := getattr(self.draft, act)(*given):
            self._note.value += f"<p>{escape(problem)}</p>"

    def _offers(self) -> Iterator[tuple]:
        """Yield the words of each button, and what the draft does when it is pressed."""
        for path, info in zip(self.paths, self.infos, strict=True):
            side, unsaved = self._side(path), self.draft.unsaved.get(path)
            for place, struck in enumerate(self.draft.value("struck") or ()):
                if struck["field"] == path:
                    yield f"{side}Count reading {struck['index'] + 1} again", "take_out", "struck", place
            if unsaved and unsaved.is_conflict:
                yield f"{side}Keep theirs, {shown(unsaved.theirs) or 'blank'}", "settle", path, False
                yield f"{side}Take mine, {unsaved.entry.typed or 'blank'}", "settle", path, True
            elif info.sort not in ("yes or no", "choice"):
                offer = (unsaved.entry if unsaved else read(self.draft.text(path), info)).offer or self._follow_up(path)
                if offer:
                    yield f"{side}Take {offer}", "enter", path, offer
