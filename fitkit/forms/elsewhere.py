"""What another window changed in a session: which fields, and which lists grew."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fitkit.session.paths import get, same

__all__ = ["changed_fields", "grown_lists", "is_within"]


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
