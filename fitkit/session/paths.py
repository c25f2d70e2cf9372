"""Dotted paths into a session: the field a path leads to, what stands there, and the positions of a visit in order.

The fields come from one walk of the models; forms, messages and questions take them from here.
"""

from __future__ import annotations

import re
import types
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from fitkit.problems import said
from fitkit.session.fields import Kind, Measured, Worded
from fitkit.session.models import Session

_PLACE = re.compile(r"0|[1-9][0-9]{0,6}")
# Fields with a default stand in no file: absent means the default.
_DEFAULTS = {("wish", "same_both_sides"): True}


@dataclass(frozen=True)
class FieldInfo:
    """One field of the session."""

    dotted: str  # dotted path; ``*`` stands for a place in a list, or for the key under ``taken``
    title: str  # what it is called
    how: str  # how it is measured or what is meant
    many: bool  # whether it is a list of raw readings (or of texts)
    # "number", "whole number", "yes or no", "choice", "text", "date", "partial date", "moment", "identifier" or
    # "file"
    sort: str
    expected: str  # what is expected of a single value, in words
    choices: tuple[str, ...] = ()  # the words allowed, where only some are
    unit: str | None = None  # "mm", "deg", "kg" or "1"; None for what is no number
    possible: tuple[float, float] | None = None  # outside these a value is refused [unit]
    usual: tuple[float, float] | None = None  # outside these a value is asked again [unit]
    kind: Kind | None = None  # kind of reading, for the spread the clinic's rules give it
    is_required: bool = False  # whether the group around it cannot be saved without it


def fields() -> tuple[FieldInfo, ...]:
    """Return every single field of a session, in the order of its file."""
    return tuple(_catalogue().values())


def describe(dotted: str) -> FieldInfo:
    """Return the field at a dotted path, with places in lists as numbers or ``*``."""
    found = find(dotted)
    if found is None:
        raise ValueError(f"{said(dotted)} is no field of a session; expected a path like rider.left.thigh_mm")
    return found


def find(dotted: str) -> FieldInfo | None:
    """Return the field at a dotted path, None where there is none; one reading of a list is described by its list."""
    steps = ["*" if isinstance(step, int) else step for step in steps_of(dotted)]
    if steps[:1] == ["taken"] and len(steps) > 1:
        steps = ["taken", "*"]
    found = _catalogue().get(".".join(steps))
    if found is None and steps[-1:] == ["*"]:
        listed = _catalogue().get(".".join(steps[:-1]))
        return listed if listed and listed.many else None
    return found


@cache
def group_names(dotted: str) -> tuple[str, ...]:
    """Return the names allowed in the group at a dotted path; nothing where there is no such group."""
    model: Any = Session
    for step in steps_of(dotted):
        if isinstance(step, str) and step != "*":
            field = model.__pydantic_fields__.get(step) if model else None
            model = _group_in(field.annotation) if field else None
    return tuple(model.__pydantic_fields__) if model else ()


@cache
def _catalogue() -> dict[str, FieldInfo]:
    return {info.dotted: info for info in _leaves(Session, ())}


def _leaves(model: type[BaseModel], above: tuple[str, ...]) -> Iterator[FieldInfo]:
    for name, field in model.__pydantic_fields__.items():
        inner = _group_in(field.annotation)
        here = (*above, name)
        if inner:
            yield from _leaves(inner, (*here, "*") if get_origin(field.annotation) is tuple else here)
        else:
            found = _info(field, (*here, "*") if get_origin(field.annotation) is dict else here)
            yield replace(found, is_required=field.is_required())


def _group_in(annotation: Any) -> type[BaseModel] | None:
    """Return the model inside an annotation: itself, one that may be absent, or the items of a list."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (tuple, types.UnionType, Union):
        return next((found for inner in get_args(annotation) if (found := _group_in(inner))), None)
    return None


def _info(field: Any, here: tuple[str, ...]) -> FieldInfo:
    dotted, many = ".".join(here), get_origin(field.annotation) is tuple
    inside = (*field.metadata, *_inside(field.annotation))
    words = tuple(each for each in inside if isinstance(each, str))
    worded = next((each for each in reversed(inside) if isinstance(each, Worded)), None)
    for each in inside:
        if isinstance(each, Measured):
            low, high = each.possible
            info = FieldInfo(dotted, each.title, each.how, many, "number", f"a number from {low:g} to {high:g}")
            return replace(info, unit=each.unit, possible=each.possible, usual=each.usual, kind=each.kind)
    if words:
        sort, expected = "choice", f"one of {', '.join(words)}"
    elif bool in inside:
        sort, expected = "yes or no", "true or false"
    elif worded:
        sort, expected = worded.sort, worded.expected
    else:
        sort = "whole number"
        expected = f"a {sort}"
    return FieldInfo(dotted, field.title, field.description or "", many, sort, expected, words)


def _inside(annotation: Any) -> Iterator[Any]:
    """Yield the plain types, markers and allowed words inside an annotation."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is None:
        yield annotation
    elif origin is Literal:
        yield from inner
    elif origin is Annotated:
        yield from _inside(inner[0])
        yield from annotation.__metadata__
    else:
        for each in inner[1:] if origin is dict else inner:
            yield from _inside(each)


_UNMEASURED = [{"type": "null"}, {"type": "array", "maxItems": 0}]


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a session file, with units, how to measure and usual limits."""
    schema = Session.model_json_schema()
    for group in (schema, *schema["$defs"].values()):
        required = group.get("required", ())
        group["properties"] = {
            name: field if name in required else _may_be_unmeasured(field)
            for name, field in group["properties"].items()
        }
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _may_be_unmeasured(field: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a field that may also be null or empty: both say that it was not measured."""
    told = {name: field[name] for name in ("title", "description", "unit", "usual") if name in field}
    rest = {name: value for name, value in field.items() if name not in (*told, "default")}
    choices = [choice for choice in rest.pop("anyOf", [rest]) if choice not in _UNMEASURED]
    holds_lists = any(choice.get("type") == "array" for choice in choices)
    return {**told, "anyOf": [*choices, *(_UNMEASURED[:1] if holds_lists else _UNMEASURED)]}


def steps_of(dotted: str) -> tuple[str | int, ...]:
    """Return the steps of a dotted path, list places as numbers; the keys under ``taken`` are paths themselves."""
    if not dotted:
        return ()
    if dotted.startswith("taken."):
        return ("taken", dotted.removeprefix("taken."))
    return tuple(int(step) if _PLACE.fullmatch(step) else step for step in dotted.split("."))


def get(tree: Any, steps: tuple[str | int, ...]) -> Any:
    """Return what stands at the steps of a plain JSON tree, None where nothing does."""
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


def value_at(model: BaseModel, dotted: str) -> Any:
    """Return what stands at a dotted path of a session, as in ``trials.0.note``; None where a list ends before it."""
    found: Any = model
    for step in steps_of(dotted):
        if found is None or (isinstance(step, int) and step >= len(found)):
            return None
        found = found[step] if isinstance(step, int) else getattr(found, step)
    return found


def kept(session: Session, dotted: str) -> tuple[float, ...]:
    """Return the readings of a field that are not struck out [the field's unit]; one number where it is no list."""
    if describe(dotted).sort != "number":
        raise ValueError(f"{dotted} holds no readings; expected a field of numbers")
    value = value_at(session, dotted)
    if not isinstance(value, tuple):
        return () if value is None else (value,)
    out = {struck.index for struck in session.struck if struck.field == dotted}
    return tuple(reading for place, reading in enumerate(value) if place not in out)


def holds_any(model: BaseModel) -> bool:
    """Whether a part of a session, such as a position, holds any value at all."""
    return model != type(model)()


def counting(session) -> list[str]:
    """Return the dotted paths of the positions that count, in order: as found, trials kept, decided, as left.

    A position counts when it holds any value. The last one is the current one.
    """
    trials = [f"trials.{i}.position" for i, trial in enumerate(session.trials) if trial.kept]
    paths = ["as_found", *trials, "decided", "as_left"]
    return [path for path in paths if holds_any(value_at(session, path))]
