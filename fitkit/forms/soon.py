"""Doing a thing a moment later, or when a state changes, on the loop that serves the forms; without one, at once."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

__all__ = ["file_state", "soon", "watch"]

_EVERY_S = 1.0
_OPENED_BY_A_PERSON = "JPY_SESSION_NAME"  # Jupyter's server sets it for the kernel of a notebook; a batch has none
_NOTHING_SEEN = object()
_WATCHES: dict[str, asyncio.TimerHandle] = {}


def soon(action: Callable[[], None], after_s: float) -> asyncio.TimerHandle | None:
    """Call the action after a moment [s], and return what can still be cancelled; without a loop call it now."""
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        action()
        return None
    return loop.call_later(after_s, action)


def watch(name: str, state: Callable[[], Any], changed: Callable[[], None]) -> None:
    """Look at a state each second and call back when it is another, and once at first.

    One watch for each name; none without a loop, nor in a kernel that no person has opened. It runs on the loop that
    serves the forms, never on a thread of its own: forms are served one after the other.
    """
    if name in _WATCHES:
        _WATCHES.pop(name).cancel()
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        return
    if _OPENED_BY_A_PERSON not in os.environ:
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
