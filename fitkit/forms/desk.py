"""One session file as the forms of a notebook see it: what was typed is saved at once, or kept with the reason why not.

No widgets here; they show what a desk says. All forms of a notebook on one session share one desk.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from fitkit import session as sessions
from fitkit.forms.elsewhere import changed_fields, grown_lists, is_within
from fitkit.forms.entry import Entry, read, shown
from fitkit.forms.sections import absent_group
from fitkit.forms.soon import file_state, soon, watch
from fitkit.forms.troubles import file_words, problem_words, trouble_words
from fitkit.session import Problem, Session, SessionProblems
from fitkit.session.doubts import doubts
from fitkit.session.paths import get, same, steps_of
from fitkit.session.reading import plain

__all__ = ["Desk", "Held", "desk_of"]

_DRAW_AFTER_S = 0.08
_DESKS: dict[Path, Desk] = {}


def desk_of(path: str | Path) -> Desk:
    """Return the desk of a session file, the same one each time."""
    resolved = Path(path).resolve()
    if resolved not in _DESKS:
        _DESKS[resolved] = Desk(resolved)
    desk = _DESKS[resolved]
    watch(str(resolved), lambda: file_state(resolved), desk.look_again)
    return desk


@dataclass(frozen=True)
class Held:
    """What was typed into a field and is not in the file."""

    entry: Entry  # what was typed and what it says
    seen: Any  # what stood in the field when it was typed
    why: str = ""  # why it is not saved
    theirs: Any = None  # what another notebook saved meanwhile
    is_contested: bool = False  # whether another notebook saved something else meanwhile


class Desk:
    """One session file, and what was typed that is not in it."""

    def __init__(self, path: Path, clock: Callable[[], datetime] | None = None) -> None:
        self.path = path
        self.session: Session | None = None
        self.tree: dict = {}
        self.doubts: tuple[Problem, ...] = ()
        self.trouble = ""
        self.saved_at = ""
        self.reason = ""
        self.held: dict[str, Held] = {}
        self.typed: dict[str, str] = {}
        self.read_at = ""
        self.elsewhere: dict[str, Any] = {}  # what stood here before another window changed it, by path
        self._clock = clock or (lambda: datetime.now().astimezone())
        self._listeners: dict[str, Callable[[], None]] = {}
        self._soon: asyncio.TimerHandle | None = None
        self._told: tuple[dict, str] = ({}, "")
        self._drawers: dict[str, Callable[[], None]] = {}
        self._movers: dict[str, Callable[[str, int, int], None]] = {}
        self.reload()

    # What the forms ask

    def value(self, dotted: str) -> Any:
        """Return what the file holds at a path, as plain JSON; None where nothing."""
        return get(self.tree, steps_of(dotted))

    def text(self, dotted: str) -> str:
        """Return what the field shows: what was typed and is not saved, else what the file holds."""
        held = self.held.get(dotted)
        return held.entry.typed if held else shown(self.value(dotted))

    def choice(self, dotted: str) -> Any:
        """Return what a list of choices shows: what was chosen and is not saved, else what the file holds."""
        held = self.held.get(dotted)
        return held.entry.value if held else self.value(dotted)

    def count(self, dotted: str) -> int:
        """Return how many entries a list holds."""
        return len(self.value(dotted) or ())

    @property
    def is_signed(self) -> bool:
        """Whether the visit is signed off, so that a change needs a reason."""
        return self.session is not None and self.session.sign_off is not None

    # Who wants to know

    def listen(self, name: str, changed: Callable[[], None]) -> None:
        """Call back after every change; one callback for each name, however often a cell is run."""
        self._listeners[name] = changed

    def follow_moves(self, name: str, moved: Callable[[str, int, int], None]) -> None:
        """Call back with list, old and new place when an entry had to be given another place."""
        self._movers[name] = moved

    def draw_after(self, name: str, draw: Callable[[], None]) -> None:
        """Call back after every change, when the forms have said what became of it."""
        self._drawers[name] = draw

    def tell(self) -> None:
        """Call everybody who listens; drawings a moment later, so that fast typing does not wait for each of them."""
        self._told = (self.tree, self.trouble)
        for changed in list(self._listeners.values()):
            changed()
        if self._soon:
            self._soon.cancel()
        self._soon = soon(self._draw, _DRAW_AFTER_S)

    def _draw(self) -> None:
        for _, draw in sorted(self._drawers.items(), key=lambda one: "signs" not in one[0]):  # a new sign comes first
            draw()

    def look_again(self) -> None:
        """Read a file that was changed: what another window saved is shown, and said beside it."""
        self._read()
        if self._told[0] is not self.tree or self._told[1] != self.trouble:
            self.tell()

    def reload(self) -> None:
        """Read the file for a page that is shown anew; what was typed and is not saved stays."""
        self._read()
        self.elsewhere.clear()

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
        if tree == before:  # the same object for the same content: views look at nothing else
            return
        self.tree = tree
        self.doubts = doubts(session)
        if is_first:
            return
        mine = (*mine, "sign_off")
        for dotted, old in changed_fields(before, tree):
            if not is_within(dotted, mine):
                self.elsewhere.setdefault(dotted, old)
        for base, old, new in grown_lists(before, tree):
            place = f"{base}.{old}"
            if not (is_within(place, mine) or any(is_within(path, (place,)) for path in mine)):
                self._shift(base, old, new)

    def _shift(self, base: str, old: int, new: int) -> None:
        """Give an entry that is being typed the next free place: another window has added one meanwhile."""
        for dotted in [path for path in self.held if path.startswith(f"{base}.{old}.")]:
            moved_to = f"{base}.{new}.{dotted.removeprefix(f'{base}.{old}.')}"
            self.held[moved_to] = replace(self.held.pop(dotted), seen=None)
        for moved in list(self._movers.values()):
            moved(base, old, new)

    # What the forms do

    def enter(self, dotted: str, typed: str) -> None:
        """Take what was typed into a field, and save it if it can be read."""
        self.typed[dotted] = typed
        self._take(dotted, read(typed, sessions.describe(dotted)))

    def choose(self, dotted: str, value: Any) -> None:
        """Take what was chosen from a list; None for nothing."""
        self._take(dotted, Entry(shown(value), value))

    def _take(self, dotted: str, entry: Entry) -> None:
        before, now = self.held.pop(dotted, None), self.value(dotted)
        # The screen may not have shown yet what another window saved: then the person is asked which one counts.
        theirs = self.elsewhere.pop(dotted, now)
        seen = before.seen if before else theirs
        if not (entry.is_taken and same(_json(entry.value), now, steps_of(dotted))):
            self.held[dotted] = Held(entry, seen, entry.problem)
            self._save(dotted)
        self.tell()

    def save_all(self) -> None:
        """Try again to save all that was typed and is not saved."""
        self._read()
        for dotted in list(self.held):
            if dotted in self.held and not self.held[dotted].is_contested:
                self._save(dotted, again=False)
        if not self.held and not self.trouble:
            self.saved_at = f"{self._clock():%H:%M}"
        self.tell()

    def settle(self, dotted: str, *, mine: bool) -> None:
        """Choose between what was typed here and what another notebook saved."""
        held = self.held.pop(dotted)
        if mine:
            self.held[dotted] = replace(held, seen=held.theirs, is_contested=False, why="")
            self._save(dotted)
        self.tell()

    def strike(self, dotted: str, index: int, reason: str) -> str:
        """Strike a reading out; return why that could not be done, or nothing."""
        if not reason.strip():
            return "Say why the reading does not count; it stays in the file with the reason."
        return self._do(lambda writer: sessions.strike(self.path, dotted, index, reason.strip(), **writer), ("struck",))

    def take_out(self, dotted: str, index: int) -> str:
        """Take an entry out of a list; return why that could not be done, or nothing."""
        before = self.value(dotted) or []
        after = [item for place, item in enumerate(before) if place != index]
        problem = self.put({dotted: after})
        if not problem:
            self.held = {path: held for path, held in self.held.items() if not path.startswith(f"{dotted}.{index}.")}
            self.tell()
        return problem

    def put(self, values: dict[str, Any], reason: str | None = None) -> str:
        """Save values as they are, by dotted path; return why that could not be done, or nothing."""
        changes = {dotted: (self.value(dotted), value) for dotted, value in values.items()}
        reason = reason or self.reason.strip() or None
        return self._do(lambda writer: sessions.update(self.path, changes, reason=reason, **writer), tuple(changes))

    def sign_off(self, fitter: str, *, reason: str | None, starts_mm: dict[str, float | None]) -> str:
        """Sign the visit off with the starts in force [mm]; return why that could not be done, or nothing."""
        if self.held:
            return f"{len(self.held)} of the things typed are not saved yet; settle them first."
        said = {"reason": reason, "starts_mm": starts_mm}
        return self._do(lambda writer: sessions.sign_off(self.path, fitter=fitter, at=writer["at"], **said))

    def _do(self, action: Callable[[dict], sessions.Saved], mine: tuple[str, ...] = ()) -> str:
        try:
            saved = action(self._writer())
        except SessionProblems as error:
            return problem_words(error)
        except (OSError, TimeoutError) as error:
            return trouble_words(error)
        self._saved(saved, mine)
        contested = ", ".join(saved.refused)
        self.tell()
        return f"Changed meanwhile in another notebook: {contested}. Look again." if contested else ""

    # How it is saved

    def _writer(self) -> dict:
        # Who fills in the fitter's id writes under it already: a signed visit takes no change without one.
        held = self.held.get("fitter_id")
        return {"fitter": self.value("fitter_id") or (held.entry.value if held else None), "at": self._clock()}

    def _save(self, dotted: str, *, again: bool = True) -> None:
        """Save one field, or the group it brings into being; else say why not beside it."""
        held = self.held[dotted]
        if not held.entry.is_taken:
            return
        group = absent_group(self.tree, dotted)
        if group is None:
            leaves, changes = (dotted,), {dotted: (held.seen, _json(held.entry.value))}
        else:
            open_fields = [path for path in group.needs if not self._is_ready(path)]
            if open_fields:
                titles = " and ".join(sessions.describe(path).title.lower() for path in open_fields)
                self.held[dotted] = replace(held, why=f"Not saved yet: needs {titles} too.")
                return
            leaves = tuple(p for p in self.held if p.startswith(f"{group.dotted}.") and self._is_ready(p))
            changes = {group.dotted: (None, self._grown(group.dotted, leaves))}
        self._write(changes, leaves, is_new=group is not None, again=again)

    def _is_ready(self, dotted: str) -> bool:
        held = self.held.get(dotted)
        return held is not None and held.entry.is_taken and held.entry.value not in (None, ())

    def _grown(self, group: str, leaves: tuple[str, ...]) -> dict:
        tree: dict = {}
        for dotted in leaves:
            *way, last = dotted.removeprefix(f"{group}.").split(".")
            place = tree
            for step in way:
                place = place.setdefault(step, {})
            place[last] = _json(self.held[dotted].entry.value)
        return tree

    def _write(self, changes: dict, leaves: tuple[str, ...], *, is_new: bool, again: bool) -> None:
        reason = self.reason.strip() or None
        try:
            saved = sessions.update(self.path, changes, reason=reason, **self._writer())
        except SessionProblems as error:
            self._keep(leaves, problem_words(error))
        except (OSError, TimeoutError) as error:
            self._keep(leaves, trouble_words(error))
        else:
            self._saved(saved, tuple(changes))
            if is_new and saved.refused:
                self._save_moved(next(iter(changes)), again=again)
            else:
                self._accept(leaves, saved.refused)
            if again:
                self._save_waiting()

    def _keep(self, leaves: tuple[str, ...], words: str) -> None:
        for dotted in leaves:
            self.held[dotted] = replace(self.held[dotted], why=words)
        with suppress(SessionProblems):
            self._hold(sessions.load(self.path))

    def _saved(self, saved: sessions.Saved, mine: tuple[str, ...]) -> None:
        self._hold(saved.session, tuple(path for path in mine if path not in saved.refused))
        self.trouble = ""
        self.saved_at = f"{self._clock():%H:%M}"

    def _accept(self, leaves: tuple[str, ...], refused: dict) -> None:
        for dotted in leaves:
            held = self.held[dotted]
            if dotted in refused:
                words = f"Changed meanwhile in another notebook: there {shown(refused[dotted][1]) or 'blank'}, "
                words += f"here {held.entry.typed or 'blank'}. Which one counts?"
                self.held[dotted] = replace(held, theirs=refused[dotted][1], is_contested=True, why=words)
                continue
            del self.held[dotted]

    def _save_moved(self, group: str, *, again: bool) -> None:
        """Save an entry at the place it was given instead of the one that another window took."""
        base = group.rpartition(".")[0]
        first = next((path for path in self.held if path.startswith(f"{base}.{self.count(base)}.")), None)
        if first and group.rpartition(".")[2].isdigit():
            self._save(first, again=again)

    def _save_waiting(self) -> None:
        """After a save that went well, try what waited for it or for the disk."""
        for dotted in list(self.held):
            if dotted in self.held and not self.held[dotted].is_contested:
                self._save(dotted, again=False)


def _json(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value
