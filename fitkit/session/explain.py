"""What pydantic found wrong, said in the words of the session format."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any

from pydantic import ValidationError

from fitkit.session.catalogue import FieldInfo, find, group_names
from fitkit.session.problems import Problem, joined, said, slip_hint
from fitkit.session.vocabulary import FORMAT, VERSION

__all__ = ["explained"]


def explained(error: ValidationError) -> Iterator[Problem]:
    """Yield one problem for each thing that pydantic found."""
    for item in error.errors(include_url=False):
        yield _problem(item)


def _problem(item: dict[str, Any]) -> Problem:
    steps, value, kind = item["loc"], item["input"], item["type"]
    where = joined(steps) or "file"
    if where in ("format", "version") and kind != "missing":
        return _of_another_kit(where, value)
    if kind == "extra_forbidden":
        return _unknown(steps, value)
    info = find(".".join(str(step) for step in steps))
    expected = info.expected if info else "a group of fields in braces"
    if kind == "missing":
        return Problem(where, "missing", expected, "Fill it in.")
    if kind == "string_unicode":
        return Problem(where, said(value), "text without lone halves of a character pair", "Type it again.")
    if kind == "tuple_type":
        hint = f"Write [{said(value)}]." if info and _is_number(value) else ""
        return Problem(where, said(value), f"a list of {'readings' if info and info.unit else 'entries'}", hint)
    if info and info.possible and _is_number(value):
        limits = f"{info.possible[0]:g} to {info.possible[1]:g}"
        return Problem(where, said(value), limits, slip_hint(value, info.unit, info.usual or info.possible))
    return Problem(where, said(value), expected, _hint(value, info) if info else "")


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _hint(value: Any, info: FieldInfo) -> str:
    if info.choices and isinstance(value, str):
        return _near(value, info.choices)
    return "Take the quotation marks off." if info.unit and isinstance(value, str) else ""


def _near(name: str, names: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(name[:60], names, n=1)
    return f"Did you mean {close[0]}?" if close else ""


def _unknown(steps: tuple[str | int, ...], value: Any) -> Problem:
    names = group_names(".".join("*" if isinstance(step, int) else step for step in steps[:-1]))
    hint = _near(str(steps[-1]), names) or "Take it out; notes belong in a note."
    return Problem(joined(steps), f"an unknown field ({said(value)})", "a field of the session format", hint)


def _of_another_kit(where: str, value: Any) -> Problem:
    if where == "format":
        return Problem(where, said(value), said(FORMAT), "Is it a session file?")
    if type(value) is not int:
        return Problem(where, said(value), f"the whole number {VERSION}")
    hint = f"The file was made by another version of the kit: version {said(value)}; this one reads {VERSION}."
    return Problem(where, said(value), said(VERSION), hint)
