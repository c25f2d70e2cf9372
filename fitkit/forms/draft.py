"""The draft of one session: what was typed into its forms is saved at once, or kept with the reason why not.

No widgets here; they show what the draft holds. All forms of a notebook on one session share one draft.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

from fitkit import session as sessions
from fitkit.forms.entry import Entry, file_words, not_saved_words, read, shown
from fitkit.forms.sections import absent_group
from fitkit.forms.watching import call_later, changed_fields, file_state, grown_lists, is_within, watch
from fitkit.session import Problem, Session, SessionProblems
from fitkit.session.checks import doubts
from fitkit.session.paths import get, put, same, steps_of
from fitkit.session.reading import earlier_visit, plain

_DRAW_AFTER_S = 0.08
_AMENDING = "Not saved yet: the visit is signed off. Give the reason for the change below, then press Save."


def draft_of(path: str | Path) -> Draft:
    """Return the draft of a session file, the same one each time; the file is watched."""
    draft = _draft(Path(path).resolve())
    watch(str(draft.path), lambda: file_state(draft.path), draft.look_again)
    return draft


def opened(path: str | Path) -> Draft:
    """Return the draft of a session file for a form that is shown anew, with what the file holds now."""
    draft = draft_of(path)
    draft.reload()
    return draft


@cache
def _draft(path: Path) -> Draft:
    return Draft(path)


@cache
def _last_visit(path: Path, client: str, setup: str) -> Session | None:
    return earlier_visit(path, sessions.load(path))


@dataclass(frozen=True)
class Unsaved:
    """What was typed into a field and is not in the file."""

    entry: Entry  # what was typed and what it says
    seen: Any  # what stood in the field when it was typed
    why: str = ""  # why it is not saved
    theirs: Any = None  # what another notebook saved meanwhile
    is_conflict: bool = False  # an edit conflict: another notebook saved something else meanwhile


class Draft:
    """One session file, and what was typed that is not in it."""

    def __init__(self, path: Path, clock: Callable[[], datetime] | None = None) -> None:
        self.path = path
        self.session: Session | None = None
        self.tree: dict = {}  # what the file holds, as plain JSON; the same object as long as it holds the same
        self.doubts: tuple[Problem, ...] = ()
        self.trouble = ""  # why the file cannot be read
        self.saved_at = ""
        self.read_at = ""
        self.reason = ""  # for changing a signed visit
        self.unsaved: dict[str, Unsaved] = {}
        self.typed: dict[str, str] = {}  # what has arrived last from each field
        self.news: dict[str, Any] = {}  # what stood here before another window changed it, by path
        self._clock = clock or (lambda: datetime.now().astimezone())
        self._listeners: dict[str, list[Callable[..., None]]] = {"changed": [], "moved": [], "draw": []}
        self._worked_out: dict[Callable, tuple[dict, Any]] = {}
        self._drawing: asyncio.TimerHandle | None = None
        self._notified: tuple[dict, str] = ({}, "")
        self.reload()

    # What the forms ask

    def value(self, dotted: str) -> Any:
        """Return what the file holds at a path, as plain JSON; None where nothing."""
        return get(self.tree, steps_of(dotted))

    def text(self, dotted: str) -> str:
        """Return what the field shows: what was typed and is not saved, else what the file holds."""
        unsaved = self.unsaved.get(dotted)
        return unsaved.entry.typed if unsaved else shown(self.value(dotted))

    def choice(self, dotted: str) -> Any:
        """Return what a list of choices shows: what was chosen and is not saved, else what the file holds."""
        unsaved = self.unsaved.get(dotted)
        return unsaved.entry.value if unsaved else self.value(dotted)

    def count(self, dotted: str) -> int:
        """Return how many entries a list holds."""
        return len(self.value(dotted) or ())

    def last_visit(self) -> Session | None:
        """Return the visit before, looked for once."""
        session = self.session
        return None if session is None else _last_visit(self.path, session.client_id, session.setup)

    @property
    def is_signed(self) -> bool:
        """Whether the visit is signed off, so that a change needs a reason."""
        return self.session is not None and self.session.sign_off is not None

    def worked_out(self, draw: Callable[[Path], Any]) -> Any:
        """Return what `draw` makes of the file; once for each state of it, however many views show it."""
        tree, found = self._worked_out.get(draw, (None, None))
        if tree is not self.tree:
            found = draw(self.path)
            self._worked_out[draw] = (self.tree, found)
        return found

    # Who wants to know

    def listen(self, event: str, callback: Callable[..., None], *, is_first: bool = False) -> None:
        """Call back after every change: at once ("changed") or a moment later ("draw").

        After "moved" with list, old and new place of an entry that had to be given another place.
        """
        listeners = self._listeners[event]
        listeners.insert(0 if is_first else len(listeners), callback)

    def notify(self) -> None:
        """Call everybody who listens; drawings are debounced, so that fast typing does not wait for each of them."""
        self._notified = (self.tree, self.trouble)
        self._call("changed")
        if self._drawing:
            self._drawing.cancel()
        self._drawing = call_later(partial(self._call, "draw"), _DRAW_AFTER_S)

    def _call(self, event: str, *given: Any) -> None:
        for callback in list(self._listeners[event]):
            callback(*given)

    def look_again(self) -> None:
        """Read a file that was changed: what another window saved is shown, and said beside it."""
        self._read()
        if self._notified[0] is not self.tree or self._notified[1] != self.trouble:
            self.notify()

    def reload(self) -> None:
        """Read the file for a page that is shown anew; what was typed and is not saved stays."""
        self._read()
        self.news.clear()

    def _read(self) -> None:
        try:
            self._hold(sessions.load(self.path))
            self.trouble = ""
        except SessionProblems as error:
            self.trouble = file_words(error)

    def _hold(self, session: Session, mine: tuple[str, ...] = ()) -> None:
        """Take over what the file holds now; `mine` is what was saved from here."""
        tree, before, is_first = plain(session), self.tree, self.session is None
        self.session, self.read_at = session, f"{self._clock():%H:%M}"
        if tree == before:
            return
        self.tree = tree
        self.doubts = doubts(session)
        if is_first:
            return
        mine = (*mine, "sign_off")
        for dotted, old in changed_fields(before, tree):
            if not is_within(dotted, mine):
                self.news.setdefault(dotted, old)
        for base, old, new in grown_lists(before, tree):
            place = f"{base}.{old}"
            if not (is_within(place, mine) or any(is_within(path, (place,)) for path in mine)):
                self._shift(base, old, new)

    def _shift(self, base: str, old: int, new: int) -> None:
        """Give an entry that is being typed the next free place: another window has added one meanwhile."""
        for dotted in [path for path in self.unsaved if path.startswith(f"{base}.{old}.")]:
            new_path = f"{base}.{new}.{dotted.removeprefix(f'{base}.{old}.')}"
            self.unsaved[new_path] = replace(self.unsaved.pop(dotted), seen=None)
        self._call("moved", base, old, new)

    # What the forms do

    def enter(self, dotted: str, typed: str) -> None:
        """Take what was typed into a field, and save it if it can be read."""
        self.typed[dotted] = typed
        self._take(dotted, read(typed, sessions.describe(dotted)))

    def choose(self, dotted: str, value: Any) -> None:
        """Take what was chosen from a list; None for nothing."""
        self._take(dotted, Entry(shown(value), value))

    def _take(self, dotted: str, entry: Entry) -> None:
        before, now = self.unsaved.pop(dotted, None), self.value(dotted)
        # The screen may not have shown yet what another window saved: then the person is asked which one counts.
        theirs = self.news.pop(dotted, now)
        seen = before.seen if before else theirs
        if not (entry.is_taken and same(entry.value, now, steps_of(dotted))):
            self._save_first(dotted, Unsaved(entry, seen, entry.problem))
        self.notify()

    def save_all(self) -> None:
        """Try again to save all that was typed and is not saved."""
        self._read()
        if self.is_signed:
            self._amend()
        else:
            self._save_waiting()
        if not self.unsaved and not self.trouble:
            self.saved_at = f"{self._clock():%H:%M}"
        self.notify()

    def settle(self, dotted: str, mine: bool) -> None:
        """Choose between what was typed here and what another notebook saved."""
        unsaved = self.unsaved.pop(dotted)
        if mine:
            self._save_first(dotted, replace(unsaved, seen=unsaved.theirs, is_conflict=False, why=""))
        self.notify()

    def strike(self, dotted: str, index: int, reason: str) -> str:
        """Strike a reading out; return why that could not be done, or nothing."""
        if not reason.strip():
            return "Say why the reading does not count; it stays in the file with the reason."
        return self._do(partial(sessions.strike, self.path, dotted, index, reason.strip()), "struck")

    def take_out(self, dotted: str, index: int) -> str:
        """Take an entry out of a list; return why that could not be done, or nothing."""
        before = self.value(dotted) or []
        problem = self.put({dotted: [item for place, item in enumerate(before) if place != index]})
        if not problem:
            gone = f"{dotted}.{index}."
            self.unsaved = {path: unsaved for path, unsaved in self.unsaved.items() if not path.startswith(gone)}
            self.notify()
        return problem

    def put(self, values: dict[str, Any], reason: str | None = None) -> str:
        """Save values as they are, by dotted path; return why that could not be done, or nothing."""
        changes = {dotted: (self.value(dotted), value) for dotted, value in values.items()}
        reason = reason or self.reason.strip() or None
        return self._do(partial(sessions.update, self.path, changes, reason=reason), *changes)

    def sign_off(self, fitter: str, *, reason: str | None, starts_mm: dict[str, float | None]) -> str:
        """Sign the visit off with the starts in force [mm]; return why that could not be done, or nothing."""
        if self.unsaved:
            return f"{len(self.unsaved)} of the things typed are not saved yet; settle them first."
        signed = partial(sessions.sign_off, self.path, reason=reason, starts_mm=starts_mm)
        return self._do(lambda **writer: signed(**{**writer, "fitter": fitter}))

    def _do(self, action: Callable[..., sessions.Saved], *mine: str) -> str:
        saved, problem = self._write(action, mine)
        if saved is None:
            return problem
        self.reason = ""
        conflicts = ", ".join(saved.refused)
        self.notify()
        return f"Changed meanwhile in another notebook: {conflicts}. Look again." if conflicts else ""

    # How it is saved

    def _write(self, action: Callable[..., sessions.Saved], mine: tuple) -> tuple[sessions.Saved | None, str]:
        """Change the file; return what became of it, or why that could not be done."""
        # Who fills in the fitter's id writes under it already: a signed visit takes no change without one.
        unsaved = self.unsaved.get("fitter_id")
        fitter = self.value("fitter_id") or (unsaved.entry.value if unsaved else None)
        try:
            saved = action(fitter=fitter, at=self._clock())
        except (SessionProblems, OSError) as error:
            return None, not_saved_words(error)
        self._hold(saved.session, tuple(path for path in mine if path not in saved.refused))
        self.trouble = ""
        self.saved_at = f"{self._clock():%H:%M}"
        return saved, ""

    def _save_first(self, dotted: str, unsaved: Unsaved) -> None:
        """Save one field; where that went well, try what waited for it or for the disk."""
        self.unsaved[dotted] = unsaved
        if self.is_signed and unsaved.entry.is_taken:
            self._keep([dotted], _AMENDING)  # all that is changed waits for one reason and one Save
        elif self._save(dotted):
            self._save_waiting()

    def _save_waiting(self) -> None:
        for dotted in list(self.unsaved):
            if dotted in self.unsaved and not self.unsaved[dotted].is_conflict:
                self._save(dotted)

    def _amend(self) -> None:
        """Save all that waits in a signed visit as one amendment, under the reason given; it serves once."""
        leaves: list[str] = []
        changes: dict[str, tuple] = {}
        for dotted in [path for path, unsaved in self.unsaved.items() if not unsaved.is_conflict]:
            if dotted not in leaves and dotted in self.unsaved:
                found, made, _ = self._changes(dotted)
                leaves, changes = [*leaves, *found], {**changes, **made}
        if not leaves or not self.reason.strip():
            self._keep(leaves, _AMENDING)
            return
        saved, problem = self._write(
            partial(sessions.update, self.path, changes, reason=self.reason.strip()), tuple(changes)
        )
        if saved is None:
            self._keep(leaves, problem)
            return
        self.reason = ""
        taken = [path for path in saved.refused if path not in leaves]  # groups whose place another window took
        again = [path for path in leaves if is_within(path, tuple(taken))]
        self._accept([path for path in leaves if path not in again], saved.refused)
        self._keep(again, _AMENDING)

    def _changes(self, dotted: str) -> tuple[list[str], dict[str, tuple], str]:
        """Return the fields that are saved with one, what is to be changed, and the group it brings into being.

        No fields where it cannot be saved yet; why not is said beside it.
        """
        unsaved = self.unsaved[dotted]
        if not unsaved.entry.is_taken:
            return [], {}, ""
        group = absent_group(self.tree, dotted)
        if group is None:
            return [dotted], {dotted: (unsaved.seen, unsaved.entry.value)}, ""
        above, needs = group
        open_fields = [path for path in needs if not self._is_ready(path)]
        if open_fields:
            titles = " and ".join(sessions.describe(path).title.lower() for path in open_fields)
            self.unsaved[dotted] = replace(unsaved, why=f"Not saved yet: needs {titles} too.")
            return [], {}, ""
        leaves = [path for path in self.unsaved if path.startswith(f"{above}.") and self._is_ready(path)]
        made: dict = {}
        for path in leaves:
            put(made, steps_of(path.removeprefix(f"{above}.")), self.unsaved[path].entry.value)
        return leaves, {above: (None, made)}, above

    def _save(self, dotted: str) -> bool:
        """Save one field, or the group it brings into being, else say why not beside it; whether that went well."""
        leaves, changes, above = self._changes(dotted)
        if not leaves:
            return False
        action = partial(sessions.update, self.path, changes, reason=self.reason.strip() or None)
        saved, problem = self._write(action, tuple(changes))
        if saved is None:
            self._keep(leaves, problem)
        elif above and saved.refused:
            self._save_moved(above)
        else:
            self._accept(leaves, saved.refused)
        return saved is not None

    def _is_ready(self, dotted: str) -> bool:
        unsaved = self.unsaved.get(dotted)
        return unsaved is not None and unsaved.entry.is_taken and unsaved.entry.value not in (None, ())

    def _keep(self, leaves: list[str], words: str) -> None:
        for dotted in leaves:
            self.unsaved[dotted] = replace(self.unsaved[dotted], why=words)
        with suppress(SessionProblems):
            self._hold(sessions.load(self.path))

    def _accept(self, leaves: list[str], refused: dict) -> None:
        for dotted in leaves:
            if dotted not in refused:
                del self.unsaved[dotted]
                continue
            unsaved, theirs = self.unsaved[dotted], refused[dotted][1]
            words = f"Changed meanwhile in another notebook: there {shown(theirs) or 'blank'}, "
            words += f"here {unsaved.entry.typed or 'blank'}. Which one counts?"
            self.unsaved[dotted] = replace(unsaved, theirs=theirs, is_conflict=True, why=words)

    def _save_moved(self, group: str) -> None:
        """Save an entry at the place it was given instead of the one that another window took."""
        base, _, place = group.rpartition(".")
        first = next((path for path in self.unsaved if path.startswith(f"{base}.{self.count(base)}.")), None)
        if first and place.isdigit():
            self._save(first)
