"""Watching a file for what another window saves, and which fields that changed; calls on the loop that serves forms."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fitkit.session.paths import get, same

__all__ = ["call_later", "changed_fields", "file_state", "grown_lists", "is_within", "watch"]

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


def changed_fields(old: Any, new: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Yield dotted path and old value of every field that differs between two plain trees, entries of lists too."""
    if same(old, new, steps):
        return
    if isinstance(old, dict) or isinstance(new, dict):
        for name in {**(old or {}), **(new or {})}:
            yield from changed_fields(get(old, (name,)), get(new, (name,)), (*steps, name))
    elif _holds_groups(old) or _holds_groups(new):
        for place in range(max(len(old or ()), len(new or ()))):
            yield from changed_fields(get(old, (place,)), get(new, (place,)), (*steps, place))
    else:
        yield _dotted(steps), old


def grown_lists(old: Any, new: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[str, int, int]]:
    """Yield dotted path, old and new length of every list of entries that became longer."""
    if isinstance(new, dict):
        for name, inner in new.items():
            yield from grown_lists(get(old, (name,)), inner, (*steps, name))
    elif _holds_groups(new):
        before = len(old or ())
        if before < len(new):
            yield _dotted(steps), before, len(new)
        for place in range(min(before, len(new))):
            yield from grown_lists(get(old, (place,)), new[place], (*steps, place))


def is_within(dotted: str, roots: tuple[str, ...]) -> bool:
    """Whether a path is one of the roots or lies under one."""
    return any(dotted == root or dotted.startswith(f"{root}.") for root in roots)


def _holds_groups(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(item, dict) for item in value)


def _dotted(steps: tuple[str | int, ...]) -> str:
    return ".".join(map(str, steps))
