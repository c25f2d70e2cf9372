"""Groups of fields that come into being together: an entry of a list, or a part that may be absent."""

from __future__ import annotations

import types
from dataclasses import dataclass
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel

from fitkit.session import Session
from fitkit.session.paths import get, steps_of

__all__ = ["Group", "absent_group"]


@dataclass(frozen=True)
class Group:
    """A group that is not in the file yet."""

    dotted: str  # its path
    needs: tuple[str, ...]  # paths of the fields without which it cannot be saved


def absent_group(tree: dict, dotted: str) -> Group | None:
    """Return the innermost group around a field that the session does not hold yet, None where all are there."""
    found = None
    model: Any = Session
    steps = steps_of(dotted)
    for place, step in enumerate(steps[:-1], start=1):
        above = steps[:place]
        if isinstance(step, int):
            is_group = True
        else:
            model, is_group = _inside(model.__pydantic_fields__[step].annotation)
        if model is None:
            return None
        if is_group and get(tree, above) is None:
            here = ".".join(map(str, above))
            needs = tuple(f"{here}.{name}" for name, field in model.__pydantic_fields__.items() if field.is_required())
            found = Group(here, needs) if needs else found
    return found


def _inside(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the model inside an annotation, and whether it may be absent."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    if get_origin(annotation) in (tuple, types.UnionType, Union):
        found = next((model for inner in get_args(annotation) if (model := _inside(inner)[0])), None)
        return found, get_origin(annotation) is not tuple
    return None, False
