"""What is wrong with a house file, said so that it can be mended."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from pydantic import AfterValidator, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

__all__ = [
    "CLOSED",
    "Contradiction",
    "HouseProblems",
    "Problem",
    "between",
    "contrary",
    "first_of_each_place",
    "place",
    "problems_of",
    "readable_text",
    "refuse",
    "shown",
]

# One contradiction: the setting, its value, and what was expected of it.
Contradiction = tuple[str, object, str]

GREATEST_FILE_BYTES = 1_000_000
GREATEST_SHOWN = 60

# Shared by every house model: nothing converted, nothing unknown let through, nothing changed afterwards.
CLOSED = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)

_EXPECTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "finite_number": "a number",
    "string_type": "text",
    "tuple_type": "a list",
    "model_type": "a group of settings in braces",
}


@dataclass(frozen=True)
class Problem:
    """One thing wrong in one file: where, what was found, what was expected, what to do."""

    file: str
    where: str
    found: str
    expected: str
    hint: str = ""

    def __str__(self) -> str:
        said = f"{self.file}: {self.where} is {self.found}; expected {self.expected}."
        return f"{said} {self.hint}" if self.hint else said


class HouseProblems(ValueError):  # noqa: N818 - it holds many, and its name says so
    """Everything wrong with the house rules and the parts table, at once."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple:
        # Worker processes hand their errors back; the default would lose the list.
        return type(self), (self.problems,)


def shown(value: object) -> str:
    """Return a value as a message may show it: short, and with control characters spelled out."""
    if value == "":
        return "blank"
    if isinstance(value, dict | list | tuple):
        return "a group" if isinstance(value, dict) else "a list"
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, float):
        return f"{value:.10g}"
    text = repr(value[:GREATEST_SHOWN]) if isinstance(value, str) else str(value)[:GREATEST_SHOWN]
    return f"{text} …" if isinstance(value, str) and len(value) > GREATEST_SHOWN else text


def place(*steps: object) -> str:
    """Return the dotted path of a value; a name nobody would type is spelled out and cut."""
    return ".".join(shown(step)[1:-1] if isinstance(step, str) else str(step) for step in steps)


def between(low: float, high: float, *, above: bool = False) -> AfterValidator:
    """Return a check of limits that says both of them; with `above` the lower end itself is refused."""
    words = f"above {low:g}, up to {high:g}" if above else f"{low:g} to {high:g}"

    def check(value: float) -> float:
        if not low <= value <= high or (above and value == low):
            refuse(words)
        return value

    return AfterValidator(check)


def refuse(expected: str) -> NoReturn:
    """Raise the error by which a model says what it expected of one value."""
    raise PydanticCustomError("limits", "expected {words}", {"words": expected})


def contrary(found: list[Contradiction]) -> None:
    """Raise one error that holds every setting that contradicts another, if there are any."""
    if found:
        raise PydanticCustomError("contrary", "settings contradict each other", {"found": found})


def problems_of(error: ValidationError, *, file: str, known: Iterable[str] = (), before: str = "") -> list[Problem]:
    """Return a validation error as problems; `before` leads each place, `known` are the names a slip may mean."""
    told = []
    for item in error.errors(include_url=False):
        at = place(*item["loc"])
        if item["type"] == "contrary":
            for field, found, expected in item["ctx"]["found"]:
                where = f"{at}.{field}" if at else field
                told.append(Problem(file, f"{before}{where}", shown(found), expected))
        else:
            told.append(_one(item, file=file, where=f"{before}{at or 'the file'}", known=known))
    return told


def first_of_each_place(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems without the later ones of a place that has been named already."""
    first: dict[str, Problem] = {}
    for problem in problems:
        first.setdefault(problem.where, problem)
    return list(first.values())


def _one(item: dict, *, file: str, where: str, known: Iterable[str]) -> Problem:
    kind = item["type"]
    if kind == "missing":
        return Problem(file, where, "missing", "a value", "Copy the line from the shipped file.")
    if kind == "extra_forbidden":
        near = difflib.get_close_matches(str(item["loc"][-1]), list(known), 1)
        return Problem(file, where, shown(item["input"]), "no such name", f"Is {near[0]} meant?" if near else "")
    if kind == "limits":
        return Problem(file, where, shown(item["input"]), item["ctx"]["words"])
    if kind == "json_invalid":
        return Problem(file, where, item["msg"], "JSON like the shipped file")
    if kind == "literal_error":
        return Problem(file, where, shown(item["input"]), item["ctx"]["expected"])
    return Problem(file, where, shown(item["input"]), _EXPECTED.get(kind, item["msg"]))


def readable_text(path: Path) -> tuple[bytes, str, list[Problem]]:
    """Return a file's bytes, its text, and what keeps it from being read; a byte order mark is let pass."""
    name = path.name
    try:
        with path.open("rb") as stream:
            data = stream.read(GREATEST_FILE_BYTES + 1)
    except OSError as error:
        problem = Problem(
            name, "the file", f"unreadable ({error.strerror})", "a file that can be read", f"Asked for: {path}"
        )
        return b"", "", [problem]
    if len(data) > GREATEST_FILE_BYTES:
        return data, "", [Problem(name, "the file", "too large", f"at most {GREATEST_FILE_BYTES} bytes")]
    if not data.strip():
        return data, "", [Problem(name, "the file", "empty", "the content of the shipped file or one like it")]
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"byte 0x{data[error.start]:02x} at position {error.start}"
        return data, "", [Problem(name, "the file", found, "text in UTF-8", "Save it again with that encoding.")]
    if "\0" in text:
        return data, "", [Problem(name, "the file", "text with zero bytes", "text in UTF-8")]
    return data, text, []
