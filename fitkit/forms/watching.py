"""Edits from elsewhere: watching a file, and which fields changed; calls on the event loop that serves the forms."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

_EVERY_S = 1.0
_OPENED_BY_A_PERSON = "JPY_SESSION_NAME"  # Jupyter's server sets it for the kernel of a notebook; a batch has none
_NOTHING_SEEN = object()
_WATCHES: dict[str, asyncio.TimerHandle] = {}


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def call_later(action: Callable[[], None], after_s: float) -> asyncio.TimerHandle | None:
    """Call the action after a moment [s], and return what can still be cancelled; without a loop call it now."""
    loop = _running_loop()
    return loop.call_later(after_s, action) if loop else action()


def watch(name: str, state: Callable[[], Any], changed: Callable[[], None]) -> None:
    """Look at a state each second and call back when it is another, and once at first.

    One watch for each name; none without a loop, nor in a kernel that no person has opened. It runs on the loop that
    serves the forms, never on a thread of its own: forms are served one after the other.
    """
    if name in _WATCHES:
        _WATCHES.pop(name).cancel()
    loop = _running_loop()
    if loop is None or _OPENED_BY_A_PERSON not in os.environ:
        return

    def look(seen: Any) -> None:
        now = state()
        _WATCHES[name] = loop.call_later(_EVERY_S, look, now)
        if now != seen:
            changed()

    _WATCHES[name] = loop.call_later(_EVERY_S, look, _NOTHING_SEEN)


def file_state(path: Path) -> tuple[int, int, int] | None:
    """Return when a file was changed, how large and which one it is, None where it is gone."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def changed_fields(old: dict, new: dict) -> Iterator[tuple[str, Any]]:
    """Yield dotted path and old value of every field that differs between two plain trees, entries of lists too."""
    before, after = _fields(old), _fields(new)
    for dotted in {**after, **before}:
        if before.get(dotted) != after.get(dotted):
            yield dotted, before.get(dotted)


def grown_lists(old: dict, new: dict) -> Iterator[tuple[str, int, int]]:
    """Yield dotted path, old and new length of every list of entries that became longer."""
    before = _lengths(old)
    for dotted, length in _lengths(new).items():
        if before.get(dotted, 0) < length:
            yield dotted, before.get(dotted, 0), length


def _fields(tree: dict) -> dict[str, Any]:
    return {path: value for path, value in _walk(tree) if not _holds_entries(value)}


def _lengths(tree: dict) -> dict[str, int]:
    return {path: len(value) for path, value in _walk(tree) if _holds_entries(value)}


def _walk(tree: Any, above: str = "") -> Iterator[tuple[str, Any]]:
    """Yield dotted path and value of every field and of every list of entries."""
    if not isinstance(tree, dict):
        yield above, tree
    inside = tree.items() if isinstance(tree, dict) else enumerate(tree) if _holds_entries(tree) else ()
    for step, value in inside:
        yield from _walk(value, f"{above}.{step}" if above else str(step))


def is_within(dotted: str, roots: tuple[str, ...]) -> bool:
    """Whether a path is one of the roots or lies under one."""
    return any(dotted == root or dotted.startswith(f"{root}.") for root in roots)


def _holds_entries(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(item, dict) for item in value)
