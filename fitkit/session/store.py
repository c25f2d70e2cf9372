"""Making, changing and signing session files: field by field, under a lock, every change in the history."""

from __future__ import annotations

import errno
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, TypeAdapter, ValidationError

from fitkit.files import Access, locked, replace_durably
from fitkit.problems import Problem, said
from fitkit.session.checks import is_readings
from fitkit.session.fields import Identifier, Moment
from fitkit.session.history import Change, add, differences, read_history, replay
from fitkit.session.models import Session
from fitkit.session.paths import describe, get, pruned, put, same, steps_of
from fitkit.session.reading import LIMIT_BYTES, SessionProblems, checked, dump, key, load, plain, read_bytes
from fitkit.vocabulary import FORMAT, VERSION
from fitkit.words import printable

_FIXED = ("format", "version", "client_id", "visit_date", "setup")  # what the file is named after
_WRITER = {"fitter": TypeAdapter(Identifier | None), "at": TypeAdapter(Moment)}


@dataclass(frozen=True)
class Saved:
    """What became of a save."""

    session: Session  # the session as it stands in the file now
    # fields that had changed meanwhile and were not saved: dotted path to what was seen, theirs, mine
    refused: dict[str, tuple[Any, Any, Any]]


def new(
    client_id: str,
    visit_date: str | date,
    setup: str,
    folder: str | Path,
    *,
    access: Literal["owner", "group"] = "owner",
) -> Path:
    """Make a session file with nothing measured yet."""
    if access not in ("owner", "group"):
        raise ValueError(f"access is {said(access)}; expected one of owner, group")
    named = (client_id, str(visit_date), setup)
    tree = dict(zip(_FIXED, (FORMAT, VERSION, *named), strict=True))
    session = checked(tree, [])
    target = Path(folder) / f"{key(session)}.json"
    rights = Access(group=access == "group")
    rights.make_folder(target.parent)
    mode = rights.file_mode
    with locked(target, mode=mode):
        if target.exists() or target.is_symlink():
            raise FileExistsError(errno.EEXIST, "there is such a session; it was left alone", str(target))
        after = read_history(target)[1]  # a history may be left of a session that was taken away; it is never cut
        replace_durably(target, dump(session), mode=mode)
        now = datetime.now(UTC).isoformat(timespec="seconds")
        add(target, [Change(now, None, "", None, tree, "new")], after=after, mode=mode)
    return target


def update(
    path: str | Path,
    changes: Mapping[str, tuple[Any, Any]],
    *,
    fitter: str | None,
    at: str | datetime,
    reason: str | None = None,
) -> Saved:
    """Save fields, each unless that very field changed since it was seen."""
    with _opened(path, fitter=fitter, at=at) as file:
        file.refuse([problem for dotted in changes if (problem := _not_by_update(dotted))])
        wanted, refused = {}, {}
        for dotted, (seen, mine) in changes.items():
            steps, seen, mine = steps_of(dotted), _plain(seen), _plain(mine)
            theirs = get(file.tree, steps)
            if same(theirs, mine, steps):
                continue
            if same(theirs, seen, steps):
                wanted[dotted] = mine
            else:
                refused[dotted] = (seen, theirs, mine)
        file.save(wanted, reason=reason)
        return Saved(file.session, refused)


def strike(path: str | Path, field: str, index: int, reason: str, *, fitter: str | None, at: str | datetime) -> Saved:
    """Strike one reading out, with a reason; it stays in the file and no longer counts."""
    with _opened(path, fitter=fitter, at=at) as file:
        item = {"field": field, "index": index, "reason": reason}
        file.save({f"struck.{len(file.session.struck)}": item}, reason=reason)
        return Saved(file.session, {})


def sign_off(
    path: str | Path,
    *,
    fitter: str,
    at: str | datetime,
    reason: str | None = None,
    starts_mm: Mapping[str, float | None] | None = None,
) -> Saved:
    """Sign the visit off; every later change needs a reason and is listed as an amendment."""
    with _opened(path, fitter=fitter, at=at) as file:
        signed = file.session.sign_off
        if signed:
            by = f"there already, by {signed.fitter_id} at {signed.at}"
            file.refuse([Problem("sign_off", by, "one sign-off", "Change fields with a reason.")])
        signature = {"fitter_id": fitter, "at": file.at, "reason": reason, "starts_mm": dict(starts_mm or {})}
        file.save({"sign_off": pruned(signature)}, reason=None)
        return Saved(file.session, {})


def _not_by_update(dotted: str) -> Problem | None:
    root = dotted.split(".", maxsplit=1)[0]
    if root in _FIXED:
        return Problem(root, "to be changed", "as the file is named", "Begin a new session.")
    if root == "sign_off":
        return Problem(printable(dotted), "to be changed", "signing off, not saving a field", "Sign the visit off.")
    return None if root else Problem("field", said(dotted), "a dotted path like rider.left.thigh_mm")


def _plain(value: Any) -> Any:
    """Return a value as plain JSON, also when it came from a session."""
    if isinstance(value, BaseModel):
        return _plain(value.model_dump(exclude_defaults=True))
    if isinstance(value, Mapping):
        return {name: _plain(inner) for name, inner in value.items()}
    return [_plain(item) for item in value] if isinstance(value, (list, tuple)) else value


@contextmanager
def _opened(path: str | Path, *, fitter: str | None, at: str | datetime) -> Iterator[_OpenFile]:
    target = Path(path).resolve()
    if not target.is_file():
        read_bytes(target)  # says what is wrong; and no lock is left beside what is no session
    mode = stat.S_IMODE(target.stat().st_mode) & 0o660  # never for others, whatever an editor left
    with locked(target, mode=mode):
        try:
            yield _OpenFile(target, mode, fitter, at)
        except SessionProblems as found:
            raise SessionProblems(target, found.problems) from None


class _OpenFile:
    """A session file while its lock is held."""

    def __init__(self, target: Path, mode: int, fitter: str | None, at: str | datetime) -> None:
        self.target, self.mode, self.fitter = target, mode, fitter
        self.at = at.isoformat(timespec="seconds") if isinstance(at, datetime) else at
        self.session = load(target)
        self.tree = plain(self.session)
        self.changes = self._made_outside()

    def _made_outside(self) -> list[Change]:
        """Return what changed in the file since the history's last line, as changes still to be written down."""
        known, self.history_bytes = read_history(self.target)
        found = plain(self.session)
        if not known:
            return [Change(self.at, None, "", None, found, "changed outside")]
        apart = differences(replay(known), found)
        return [Change(self.at, None, dotted, old, new, "changed outside") for dotted, old, new in apart]

    def refuse(self, problems: list[Problem]) -> None:
        if problems:
            raise SessionProblems(self.target, problems)

    def save(self, wanted: dict[str, Any], *, reason: str | None) -> None:
        """Save new values and write down every change; an outside one too, even where there is nothing to save."""
        self.refuse(list(_writer_problems(self.fitter, self.at)))
        if wanted:
            wanted = self._with_amendment(wanted, reason)
            session = self._valid(wanted)
            data = dump(session)
            if len(data) > LIMIT_BYTES:
                self.refuse([Problem("file", f"{len(data)} bytes", f"at most {LIMIT_BYTES} bytes", "Shorter notes?")])
            group = self.target.stat().st_gid
            replace_durably(self.target, data, mode=self.mode, group=group)
            for dotted, value in wanted.items():
                self._note(dotted, value, reason)
            self.session = session
        if self.changes:
            add(self.target, self.changes, after=self.history_bytes, mode=self.mode)

    def _note(self, dotted: str, value: Any, reason: str | None) -> None:
        steps = steps_of(dotted)
        old = pruned(get(self.tree, steps), steps)
        self.changes.append(Change(self.at, self.fitter, dotted, old, pruned(value, steps), reason))
        put(self.tree, steps, pruned(value, steps))

    def _with_amendment(self, wanted: dict[str, Any], reason: str | None) -> dict[str, Any]:
        signed = self.session.sign_off
        if signed is None:
            return wanted
        if not reason or not reason.strip():
            hint = f"The visit was signed off by {signed.fitter_id} at {signed.at}."
            self.refuse([Problem("reason", "missing", "why a signed visit is changed", hint)])
        item = {"fitter_id": self.fitter, "at": self.at, "reason": reason, "fields": list(wanted)}
        return {**wanted, f"sign_off.amendments.{len(signed.amendments)}": item}

    def _valid(self, wanted: dict[str, Any]) -> Session:
        tree = plain(self.session)
        problems = []
        for dotted, value in wanted.items():
            try:
                put(tree, steps_of(dotted), value)
            except LookupError as error:
                problems.append(Problem(printable(dotted), f"no place to save to ({error})", "a field of the session"))
        self.refuse(problems)
        session = checked(pruned(tree), [])
        self.refuse(list(_dropped(self.tree, plain(session), ())))
        return session


def _writer_problems(fitter: str | None, at: str) -> Iterator[Problem]:
    for name, value, told in (("fitter", fitter, "sign_off.fitter_id"), ("at", at, "sign_off.at")):
        try:
            _WRITER[name].validate_python(value)
        except ValidationError:
            yield Problem(name, said(value), describe(told).expected)


def _dropped(old: Any, tree: Any, steps: tuple[str | int, ...]) -> Iterator[Problem]:
    """Yield the lists of readings that became shorter."""
    if isinstance(old, dict):
        for name, inner in old.items():
            yield from _dropped(inner, get(tree, (name,)), (*steps, name))
        return
    dotted = ".".join(map(str, steps))
    count = len(tree) if isinstance(tree, list) else 0
    if isinstance(old, list) and is_readings(dotted) and count < len(old):
        hint = "Strike a reading out with a reason; none is dropped."
        yield Problem(dotted, f"a list of {count}", f"at least the {len(old)} readings there are", hint)
    elif isinstance(old, list):
        for place, item in enumerate(old):
            yield from _dropped(item, get(tree, (place,)), (*steps, place))
