"""The history beside a session file: every change, by whom and when, only ever added to."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from fitkit.session.files import append_durably
from fitkit.session.paths import pruned, put, same, steps_of
from fitkit.session.problems import Problem, SessionProblems, said

__all__ = ["Change", "add", "differences", "history", "history_path", "read_history", "replay"]


@dataclass(frozen=True)
class Change:
    """One change of one field."""

    at: str  # date and time, ISO 8601
    fitter: str | None  # who made it; None where the kit cannot know
    field: str  # dotted path; empty for the whole session
    old: Any  # plain JSON values; None for not measured
    new: Any  # plain JSON values; None for not measured
    note: str | None = None  # the reason given, or "new" or "changed outside"


_KEYS = {field.name for field in fields(Change)}


def history_path(path: Path) -> Path:
    """Return the path of the history of a session file."""
    return path.with_name(f"{path.stem}.history.jsonl")


def history(path: str | Path) -> tuple[Change, ...]:
    """Return the changes of a session, the first one first; nothing where no history was kept."""
    return read_history(Path(path))[0]


def replay(changes: Iterable[Change]) -> dict:
    """Return the session's plain JSON tree as the changes leave it; equal to that of the file."""
    tree: dict = {}
    for number, change in enumerate(changes, start=1):
        value = copy.deepcopy(change.new)
        try:
            if change.field:
                put(tree, steps_of(change.field), value)
            else:
                tree = value
        except LookupError as error:
            raise SessionProblems(None, [_damaged(number, f"about {said(change.field)} ({error})")]) from None
    return pruned(tree)


def differences(old: Any, new: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[str, Any, Any]]:
    """Yield dotted path, old and new value of every field that differs; lists of readings count as one field."""
    if same(old, new, steps):
        return
    inside_group = not (steps and isinstance(steps[-1], int))  # a new place in a list is one change
    if _is_group(old, inside_group) and _is_group(new, inside_group):
        old, new = old or {}, new or {}
        for name in {**old, **new}:
            yield from differences(old.get(name), new.get(name), (*steps, name))
    elif _is_grown_list_of_groups(old, new):
        for place, item in enumerate(new):
            yield from differences(old[place] if place < len(old) else None, item, (*steps, place))
    else:
        yield ".".join(map(str, steps)), old, new


def _is_group(value: Any, none_counts: bool) -> bool:
    return isinstance(value, dict) or (value is None and none_counts)


def _is_grown_list_of_groups(old: Any, new: Any) -> bool:
    if not (isinstance(old, list) and isinstance(new, list) and len(old) <= len(new)):
        return False
    return all(isinstance(item, dict) for item in (*old, *new))


def add(path: Path, changes: Iterable[Change], *, after: int, mode: int) -> None:
    """Add changes to the history of a session file after its first `after` bytes, the whole lines there are."""
    lines = "".join(json.dumps(asdict(change), ensure_ascii=False, allow_nan=False) + "\n" for change in changes)
    append_durably(history_path(path), lines.encode("utf-8"), after=after, mode=mode)


def read_history(path: Path) -> tuple[tuple[Change, ...], int]:
    """Return the changes in the history of a session file and how many of its bytes their whole lines fill."""
    target = history_path(path)
    try:
        data = target.read_bytes()
    except FileNotFoundError:
        return (), 0
    whole = data.rfind(b"\n") + 1  # what follows the last line end was cut short
    lines = data[:whole].split(b"\n")[:-1]
    entries = _json(b"[" + b",".join(lines) + b"]")  # all at once is many times faster than one by one
    if not isinstance(entries, list) or len(entries) != len(lines):
        entries = [_json(line) for line in lines]
    for number, (entry, line) in enumerate(zip(entries, lines, strict=True), start=1):
        if not isinstance(entry, dict) or set(entry) != _KEYS or not isinstance(entry["field"], str):
            raise SessionProblems(target, [_damaged(number, said(line.decode("utf-8", "replace")))])
    return tuple(Change(**entry) for entry in entries), whole


def _json(data: bytes) -> Any:
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        return None


def _damaged(number: int, found: str) -> Problem:
    hint = "Move the history aside; the next save begins a new one."
    return Problem(f"history line {number}", found, "one change as the kit wrote it", hint)
