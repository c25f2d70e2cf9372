"""Doing a thing a moment later, where a notebook's loop runs; at once elsewhere."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

__all__ = ["soon"]


def soon(action: Callable[[], None], after_s: float) -> asyncio.TimerHandle | None:
    """Call the action after a moment [s], and return what can still be cancelled; without a loop call it now."""
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        action()
        return None
    return loop.call_later(after_s, action)
