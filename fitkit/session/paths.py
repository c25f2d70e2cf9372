"""Dotted paths into a session, and the positions of a visit in their order."""

from __future__ import annotations

import re
from typing import Any

__all__ = ["counting", "get", "holds_any", "pruned", "put", "same", "steps_of", "value_at"]

_PLACE = re.compile(r"0|[1-9][0-9]{0,6}")
# Fields with a default stand in no file: absent means the default.
_DEFAULTS = {("wish", "same_both_sides"): True}


def steps_of(dotted: str) -> tuple[str | int, ...]:
    """Return the steps of a dotted path, list places as numbers; the keys under ``taken`` are paths themselves."""
    if not dotted:
        return ()
    if dotted.startswith("taken."):
        return ("taken", dotted.removeprefix("taken."))
    return tuple(int(step) if _PLACE.fullmatch(step) else step for step in dotted.split("."))


def get(tree: Any, steps: tuple[str | int, ...]) -> Any:
    """Return what stands at the steps, None where nothing does."""
    for step in steps:
        if isinstance(tree, dict) and isinstance(step, str):
            tree = tree.get(step)
        elif isinstance(tree, list) and isinstance(step, int) and step < len(tree):
            tree = tree[step]
        else:
            return None
    return tree


def put(tree: dict, steps: tuple[str | int, ...], value: Any) -> None:
    """Set a value in place, making what is missing on the way; a list's length as place appends to it."""
    *way, last = steps
    holder: Any = tree
    for step, following in zip(way, steps[1:], strict=True):
        inner = get(holder, (step,))
        if inner is None:
            inner = [] if isinstance(following, int) else {}
            _set(holder, step, inner)
        holder = inner
    _set(holder, last, value)


def _set(holder: Any, step: str | int, value: Any) -> None:
    if isinstance(holder, list) and isinstance(step, int):
        if step > len(holder):
            raise LookupError(f"place {step} in a list of {len(holder)}")
        holder[step : step + 1] = [value]  # at its length: appends
    elif isinstance(holder, dict) and isinstance(step, str):
        holder[step] = value
    else:
        raise LookupError(f"{step!r} where no such name can stand")


def pruned(tree: Any, steps: tuple[str | int, ...] = ()) -> Any:
    """Return the tree without what says nothing: null, empty lists and groups, defaults; places in lists stay."""
    if isinstance(tree, dict):
        inner = {name: pruned(value, (*steps, name)) for name, value in tree.items()}
        return {name: value for name, value in inner.items() if not _says_nothing(value)}
    if isinstance(tree, (list, tuple)):
        return [pruned(item, (*steps, place)) for place, item in enumerate(tree)]
    return None if steps in _DEFAULTS and tree is _DEFAULTS[steps] else tree


def _says_nothing(value: Any) -> bool:
    return value is None or value in ([], {})


def same(left: Any, right: Any, steps: tuple[str | int, ...] = ()) -> bool:
    """Whether two plain values at the steps say the same: null, absent and empty alike, 1 and 1.0 alike."""
    left, right = pruned(left, steps), pruned(right, steps)
    return (_says_nothing(left) and _says_nothing(right)) or left == right


def value_at(model: object, dotted: str):
    """Return what stands at a dotted path of a session; list items by their index, as in ``trials.0.note``."""
    for step in dotted.split("."):
        model = model[int(step)] if step.isdigit() else getattr(model, step)
    return model


def holds_any(model) -> bool:
    """Whether a part of a session, such as a position, holds any value at all."""
    return _is_filled(model.model_dump())


def _is_filled(value: object) -> bool:
    if isinstance(value, dict):
        return any(_is_filled(v) for v in value.values())
    return value is not None and value != () and value != []


def counting(session) -> list[str]:
    """Return the dotted paths of the positions that count, in order: as found, trials kept, decided, as left.

    A position counts when it holds any value. The last one is the current one.
    """
    trials = [f"trials.{i}.position" for i, trial in enumerate(session.trials) if trial.kept]
    paths = ["as_found", *trials, "decided", "as_left"]
    return [path for path in paths if holds_any(value_at(session, path))]
