"""Every field of a session as a list and as a JSON schema: forms, messages and questions take it from here."""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from fitkit.session.fields import Kind, Measured, Worded
from fitkit.session.models import Session
from fitkit.session.paths import steps_of
from fitkit.session.problems import Problem, joined, said, slip_hint

__all__ = ["FieldInfo", "describe", "fields", "find", "group_names", "json_schema", "kept", "unusual"]

# Usual sizes on a label, by system: those of feet between the usual foot lengths. Published: ISO 19407 conversion
# EU = 0.15 foot + 2 and UK = 3 foot (in) - 23; US from UK + 1 and + 2 (from memory); Mondopoint is the foot's length.
_USUAL_SIZES = {"eu": (33, 49), "uk": (1, 14), "us_men": (2, 15), "us_women": (3, 16), "mondopoint": (209, 310)}


@dataclass(frozen=True)
class FieldInfo:
    """One field of the session."""

    dotted: str  # dotted path; ``*`` stands for a place in a list, or for the key under ``taken``
    title: str  # what it is called, and how it is measured or what is meant
    how: str  # what it is called, and how it is measured or what is meant
    unit: str | None  # "mm", "deg", "kg" or "1"; None for what is no number
    possible: tuple[float, float] | None  # outside the first a value is refused, outside the second asked again [unit]
    usual: tuple[float, float] | None  # outside the first a value is refused, outside the second asked again [unit]
    kind: Kind | None  # kind of reading, for the spread the clinic's rules give it
    many: bool  # whether it is a list of raw readings (or of texts)
    choices: tuple[str, ...]  # the words allowed, where only some are
    # "number", "whole number", "yes or no", "choice", "text", "date", "partial date", "moment", "identifier" or
    # "file"
    sort: str
    expected: str  # what is expected of a single value, in words
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
    many, inside = get_origin(field.annotation) is tuple, (*field.metadata, *_flat(field.annotation))
    measured = next((told for told in inside if isinstance(told, Measured)), None)
    if measured:
        return _measured(measured, ".".join(here), many)
    choices = tuple(word for word in inside if isinstance(word, str))
    if choices:
        sort, expected = "choice", f"one of {', '.join(choices)}"
    elif bool in inside:
        sort, expected = "yes or no", "true or false"
    elif int in inside:
        told = next((told for told in inside if isinstance(told, Worded)), None)
        sort, expected = "whole number", told.expected if told else "a whole number"
    else:
        worded = next(told for told in reversed(inside) if isinstance(told, Worded))
        sort, expected = worded.sort, worded.expected
    return FieldInfo(
        ".".join(here), field.title, field.description or "", None, None, None, None, many, choices, sort, expected
    )


def _measured(told: Measured, dotted: str, many: bool) -> FieldInfo:
    expected = f"a number from {told.possible[0]:g} to {told.possible[1]:g}"
    return FieldInfo(
        dotted, told.title, told.how, told.unit, told.possible, told.usual, told.kind, many, (), "number", expected
    )


def _flat(annotation: Any) -> Iterator[Any]:
    """Yield the plain types, the markers and the allowed words inside an annotation."""
    origin = get_origin(annotation)
    if origin is Literal:
        yield from get_args(annotation)
    elif origin is Annotated:
        yield from _flat(get_args(annotation)[0])
        yield from annotation.__metadata__
    elif origin is dict:
        yield from _flat(get_args(annotation)[1])
    elif origin is not None:
        for inner in get_args(annotation):
            yield from _flat(inner)
    else:
        yield annotation


def kept(session: Session, dotted: str) -> tuple[float, ...]:
    """Return the readings of a field that are not struck out [the field's unit]; one number where it is no list."""
    if describe(dotted).sort != "number":
        raise ValueError(f"{dotted} holds no readings; expected a field of numbers")
    value: Any = session
    for step in steps_of(dotted):
        value = _inside(value, step)
        if value is None:
            return ()
    if not isinstance(value, tuple):
        return (value,)
    out = {struck.index for struck in session.struck if struck.field == dotted}
    return tuple(reading for place, reading in enumerate(value) if place not in out)


def _inside(value: Any, step: str | int) -> Any:
    if isinstance(step, int):
        return value[step] if step < len(value) else None
    return getattr(value, step)


def unusual(session: Session) -> tuple[Problem, ...]:
    """Return the values outside their usual limits, to be asked again; struck readings are left out."""
    struck = {(item.field, item.index) for item in session.struck}
    found = [
        Problem(
            joined(steps),
            said(int(value) if value.is_integer() else value),
            _usually(usual),
            slip_hint(value, unit, usual),
        )
        for steps, value, unit, usual in _numbers(session, ())
        if not usual[0] <= value <= usual[1] and (joined(steps[:-1]), steps[-1]) not in struck
    ]
    return tuple(found)


def _usually(usual: tuple[float, float]) -> str:
    return f"usually {usual[0]:g} to {usual[1]:g}"


def _numbers(part: BaseModel, above: tuple[str | int, ...]) -> Iterator[tuple[tuple, float, str, tuple[float, float]]]:
    """Yield path, value, unit and usual limits of every number that has them."""
    for name, field in type(part).__pydantic_fields__.items():
        value, here = getattr(part, name), (*above, name)
        if isinstance(value, BaseModel):
            yield from _numbers(value, here)
            continue
        told = next((told for told in field.metadata if isinstance(told, Measured)), None)
        if told is None and isinstance(value, tuple):
            for place, item in enumerate(value):
                if isinstance(item, BaseModel):
                    yield from _numbers(item, (*here, place))
        elif told and value is not None:
            usual = _USUAL_SIZES.get(part.size_system) if name == "size" else told.usual
            for place, number in enumerate(value if isinstance(value, tuple) else ()):
                if usual:
                    yield (*here, place), number, told.unit, usual
            if usual and not isinstance(value, tuple):
                yield here, value, told.unit, usual


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
