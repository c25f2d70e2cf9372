"""What a person typed, read in one place: nothing is corrected or lost; doubts are asked, a refused save explained."""

from __future__ import annotations

import errno
import math
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from pydantic import TypeAdapter, ValidationError

from fitkit.house import Rules
from fitkit.problems import slip
from fitkit.session import FieldInfo, Problem, SessionProblems, describe
from fitkit.session.fields import Day, Identifier, PartialDay, RelativeFile
from fitkit.words import printable

_MOST_READINGS = 20  # nobody takes more of one thing in a visit; more is a pasted table

# What a unit that stands beside a number is worth in the field's own unit; 1 is the field's unit itself.
_UNITS: dict[str | None, dict[str, float]] = {
    "mm": {"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "inch": 25.4, '"': 25.4},
    "deg": {"deg": 1, "°": 1, "degrees": 1},
    "kg": {"kg": 1, "g": 0.001, "lb": 0.45359237, "lbs": 0.45359237},
}
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_ITEM = re.compile(rf"({_NUMBER})(?:\s*(mm|cm|m|inch|in|\"|°|degrees|deg|kg|g|lbs|lb)(?![^\W\d_]))?", re.ASCII)
_GAP = re.compile(r"\s*;\s*|\s*,\s+|\s+|\s*,?$")
_CHUNK = re.compile(r"[^\s;]+")
_LOOK_ALIKE = str.maketrans("OoQlI|SsBZz", "00011155822")
_DASHES = str.maketrans(dict.fromkeys("−–—‒﹣", "-"))
# What the session itself takes for what is no number.
_TYPES = {
    "date": TypeAdapter(Day),
    "partial date": TypeAdapter(PartialDay),
    "identifier": TypeAdapter(Identifier),
    "file": TypeAdapter(RelativeFile),
}
_NOT_MEASURED = {"-", "?", "x", "n/a", "na", "none", "nil", "/"}


@dataclass(frozen=True)
class Entry:
    """What was typed and what it says."""

    typed: str  # as typed
    value: Any = None  # a tuple of readings, a number, a text, or None for not measured [the field's unit]
    problem: str = ""  # why it cannot be taken; empty when it is
    doubt: str = ""  # what is asked although it was taken
    offer: str = ""  # what to type instead, if the person agrees

    @property
    def is_taken(self) -> bool:
        """Whether the value can be saved."""
        return not self.problem


class _Refused(Exception):  # noqa: N818 - what was typed, not a fault
    """Why what was typed cannot be taken, and what may have been meant."""

    def __init__(self, problem: str, offer: str = "") -> None:
        self.problem, self.offer = problem, offer


def read(typed: str, info: FieldInfo) -> Entry:
    """Read what was typed into a field."""
    text = _plain(typed).strip() if info.sort != "text" else typed.strip()
    if not text:
        return Entry(typed, () if info.many else None)
    try:
        if info.sort in ("number", "whole number"):
            return _numbers(typed, text, info)
        return Entry(typed, _words(text if info.sort == "text" else " ".join(text.split()), info))
    except _Refused as refused:
        return Entry(typed, problem=refused.problem, offer=refused.offer)


def shown(value: Any) -> str:
    """Return a value of the session as it would be typed; readings with a space between them."""
    if value is None or value == ():
        return ""
    if isinstance(value, (list, tuple)):
        return " ".join(shown(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        text = format(Decimal(repr(value)), "f")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return str(value)


def _plain(typed: str) -> str:
    return unicodedata.normalize("NFKC", typed).translate(_DASHES)


@dataclass(frozen=True)
class _Item:
    """One number in what was typed, and where."""

    text: str
    unit: str
    start: int
    end: int

    @property
    def value(self) -> float:
        return float(self.text.replace(",", "."))


def _numbers(typed: str, text: str, info: FieldInfo) -> Entry:
    if re.search(r"[\n\r\t]", text):
        raise _Refused(f"This looks like a pasted table; expected only the readings of {_named(info)}.")
    if text.lower() in _NOT_MEASURED:
        raise _Refused(f"“{text}” is no number. Leave the field blank when it was not measured.")
    items = list(_items(text, info))
    for check in (_count, _ambiguous, _foreign_unit, _impossible):
        check(text, items, info)
    values = tuple(item.value for item in items)
    doubt, offer = _unusual(text, items, info)
    value = values if info.many else int(values[0]) if info.sort == "whole number" else values[0]
    return Entry(typed, value, doubt=doubt, offer=offer)


def _items(text: str, info: FieldInfo) -> Iterator[_Item]:
    place = 0
    while place < len(text):
        found = _ITEM.match(text, place)
        gap = _GAP.match(text, found.end()) if found else None
        if not found or not gap:
            chunk = _CHUNK.match(text, place) or _CHUNK.search(text)
            raise _unreadable(text, chunk[0] if chunk else text, info)
        # A comma with a space after it parts two readings; it is no decimal comma.
        number = found[1].rstrip(",") if found[1].endswith(",") else found[1]
        yield _Item(number, found[2] or "", found.start(), found.end())
        place = gap.end()


def _unreadable(text: str, chunk: str, info: FieldInfo) -> _Refused:
    likely = chunk.translate(_LOOK_ALIKE)
    words = f"“{printable(chunk)}” is no number"
    if likely != chunk and re.fullmatch(_NUMBER, likely):
        return _Refused(f"{words}: a letter for a digit? Did you mean {likely}?", text.replace(chunk, likely, 1))
    if re.fullmatch(rf"{_NUMBER}\s*[-/]\s*{_NUMBER}", chunk):
        return _Refused(f"{words}. Type each reading by itself, with a space between.")
    example = "like 14 or 14.5" if not info.many else "like 14.5, several with a space between"
    return _Refused(f"{words}; expected {info.expected}, {example}.")


def _count(text: str, items: list[_Item], info: FieldInfo) -> None:
    if len(items) > _MOST_READINGS:
        words = f"{len(items)} numbers: a pasted table? Expected at most {_MOST_READINGS} readings of {_named(info)}."
        raise _Refused(words)
    if not info.many and len(items) > 1:
        raise _Refused(f"{len(items)} numbers stand here; {_named(info)} takes one.")
    if info.sort == "whole number" and not items[0].value.is_integer():
        raise _Refused(f"{printable(text)} is no whole number; expected {info.expected}.")


def _ambiguous(text: str, items: list[_Item], info: FieldInfo) -> None:
    """Ask about 14,15 in a field of readings: a decimal comma, or two of them?"""
    for item in items:
        parts = item.text.split(",")
        if info.many and len(parts) == 2 and len(parts[1]) >= 2 and parts[0]:
            pair, single = " ".join(parts), ".".join(parts)
            words = f"“{item.text}”: two readings, {parts[0]} and {parts[1]}, or one, {single}? Type it with a space"
            raise _Refused(f"{words} or with a point.", _with(text, item, pair))


def _foreign_unit(text: str, items: list[_Item], info: FieldInfo) -> None:
    known = _UNITS.get(info.unit, {})
    for item in items:
        if not item.unit or known.get(item.unit) == 1:
            continue
        words = f"“{printable(text[item.start : item.end])}”: {_named(info)} is in {_unit_words(info)}"
        if item.unit not in known:
            raise _Refused(f"{words}.")
        meant = shown(float(f"{item.value * known[item.unit]:.6g}"))
        raise _Refused(f"{words}. Did you mean {meant}?", _with(text, item, meant))


def _impossible(text: str, items: list[_Item], info: FieldInfo) -> None:
    low, high = info.possible or (-math.inf, math.inf)
    for item in items:
        if not low <= item.value <= high:
            hint, meant = _slip(item.value, info)
            words = f"{info.title} is {printable(item.text)}; expected {low:g} to {high:g}{_after(info)}."
            raise _Refused(f"{words} {hint}".strip(), _with(text, item, meant) if meant else "")


def _unusual(text: str, items: list[_Item], info: FieldInfo) -> tuple[str, str]:
    """Return the question about the first reading outside its usual limits, and what may have been meant."""
    low, high = info.usual or (-math.inf, math.inf)
    for item in items:
        if not low <= item.value <= high:
            hint, meant = _slip(item.value, info)
            words = (
                f"{shown(item.value)} is unusual; usually {low:g} to {high:g}{_after(info)}. {hint or 'Is it right?'}"
            )
            return words, _with(text, item, meant) if meant else ""
    return "", ""


def _slip(value: float, info: FieldInfo) -> tuple[str, str]:
    """Return the likely slip of unit or decimal point in words, and the number that was likely meant."""
    hint, meant = slip(value, info.unit, info.usual or info.possible, is_typed=True)
    text = shown(float(f"{meant:.6g}"))
    return (f"{hint} Did you mean {text}?", text) if hint else ("", "")


def _with(text: str, item: _Item, meant: str) -> str:
    return f"{text[: item.start]}{meant}{text[item.end :]}"


def _named(info: FieldInfo) -> str:
    return info.title[:1].lower() + info.title[1:] if info.title[1:2].islower() else info.title


def _unit_words(info: FieldInfo) -> str:
    return {"deg": "degrees", "1": "plain numbers", None: "plain numbers"}.get(info.unit, info.unit)


def _after(info: FieldInfo) -> str:
    return f" {_unit_words(info)}" if info.unit not in (None, "1") else ""


def _words(text: str, info: FieldInfo) -> Any:
    if "\x00" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise _Refused(f"“{printable(text)}” holds letters that cannot be saved; type it again.")
    if info.sort in _TYPES and not _is_valid(text, info.sort):
        offer = _likely_day(text) if "date" in info.sort else _likely_id(text) if info.sort == "identifier" else ""
        question = f" Did you mean {offer}?" if offer else ""
        raise _Refused(f"“{printable(text)}”: expected {info.expected}.{question}", offer)
    return (text,) if info.many else text


def _is_valid(text: str, sort: str) -> bool:
    try:
        _TYPES[sort].validate_python(text)
    except ValidationError:
        return False
    return True


def _likely_day(text: str) -> str:
    found = re.fullmatch(r"(\d{1,2})\s*\.\s*(\d{1,2})\s*\.\s*(\d{4})", text, re.ASCII)
    likely = f"{found[3]}-{int(found[2]):02d}-{int(found[1]):02d}" if found else ""
    return likely if _is_valid(likely, "date") else ""


def _likely_id(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower(), flags=re.ASCII).strip("-")[:40]


# 95 % points of the range of n standard normal draws, n from 2 (studentized range, infinite degrees of freedom).
_RANGE_95 = (2.772, 3.314, 3.633, 3.858, 4.030, 4.170, 4.286, 4.387, 4.474)


def disagreement(readings: Sequence[float], info: FieldInfo, rules: Rules) -> str:
    """Ask for one more reading where two neighbours in size are further apart than chance would bring them."""
    count = len(readings)
    if count < 2 or info.kind is None:
        return ""
    house_sd = rules.reading_sd(info.dotted, info.kind, max(readings, key=abs))
    allowed = _RANGE_95[min(count, len(_RANGE_95) + 1) - 2] * house_sd
    ordered = sorted(readings)
    if ordered[-1] - ordered[0] <= allowed:
        return ""
    apart = f"{shown(ordered[0])} and {shown(ordered[-1])} differ by {ordered[-1] - ordered[0]:.3g}"
    if count >= 3 and _close_majority(ordered, _RANGE_95[0] * house_sd):
        return f"{apart}, more than {allowed:.2g}: strike the one that is wrong, with a reason."
    return f"{apart}, more than {allowed:.2g}: please take one more."


def _close_majority(ordered: Sequence[float], allowed: float) -> bool:
    longest = run = 1
    for low, high in pairwise(ordered):
        run = run + 1 if high - low <= allowed else 1
        longest = max(longest, run)
    return longest > len(ordered) / 2


def exchange(
    now: tuple[Sequence[float], Sequence[float]],
    last: tuple[Sequence[float], Sequence[float]],
    info: FieldInfo,
    rules: Rules,
) -> str:
    """Ask whether left and right were exchanged, against the last visit."""
    if not all((*now, *last)) or info.kind is None:
        return ""
    left, right, last_left, last_right = (math.fsum(side) / len(side) for side in (*now, *last))
    house_sd = rules.reading_sd(info.dotted, info.kind, max(left, right, key=abs))
    # Only where the legs really differ, both times, by more than reading error brings.
    if min(abs(last_left - last_right), abs(left - right)) <= _RANGE_95[0] * house_sd:
        return ""
    straight = abs(left - last_left) + abs(right - last_right)
    crossed = abs(left - last_right) + abs(right - last_left)
    if crossed >= straight / 2:
        return ""
    return (
        f"Left {shown(round(left, 1))}, right {shown(round(right, 1))}; last visit left {shown(round(last_left, 1))}, "
        f"right {shown(round(last_right, 1))}. Are left and right exchanged?"
    )


_FIELD_NAME = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")
_STAYS = "What you typed stays here; press Save when it is mended."
_CAUSES = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EFBIG: "the disk takes no more",
    errno.EROFS: "the folder is read-only",
    errno.EACCES: "this person may not write to the folder",
    errno.EPERM: "this person may not write to the folder",
    errno.ENOENT: "the folder is gone",
}


def not_saved_words(error: SessionProblems | OSError) -> str:
    """Return why a value was refused, with fields by their titles, or why the file could not be written."""
    if isinstance(error, TimeoutError):
        return f"Not saved: another program has held the session for half a minute. {_STAYS}"
    if isinstance(error, OSError):
        return f"Not saved: {_CAUSES.get(error.errno) or error.strerror or error}. {_STAYS}"
    if any(problem.where in ("file", "version", "format", "file name") for problem in error.problems):
        return f"Not saved. {file_words(error)}"
    return f"Not saved. {' '.join(sentence(problem) for problem in error.problems[:3])}"


def file_words(error: SessionProblems) -> str:
    """Return what is wrong with the file as a whole."""
    first = error.problems[0]
    name = error.path.name if error.path else "the session"
    if first.where == "file" and first.found == "missing":
        return f"The session file {name} is gone: it was moved or removed. {_STAYS}"
    if first.where == "version":
        return f"The session file {name} is of version {first.found}; this kit reads {first.expected}. {_STAYS}"
    more = f" And {len(error.problems) - 1} more." if len(error.problems) > 1 else ""
    return f"The session file {name} cannot be read. {sentence(first)}{more} {_STAYS}"


def sentence(problem: Problem) -> str:
    """Return what is wrong with one field, called by its title."""
    if problem.where == "reason":
        return f"{problem.hint} Give the reason for the change, then press Save."
    try:
        where = describe(problem.where).title
    except ValueError:
        where = problem.where
    expected = _FIELD_NAME.sub(lambda name: _title_beside(problem.where, name[0]), problem.expected)
    return f"{where} is {problem.found}; expected {expected}. {problem.hint}".strip()


def _title_beside(where: str, name: str) -> str:
    """Return the title of a field that stands beside another, the name itself where there is none."""
    try:
        title = describe(f"{where.rpartition('.')[0]}.{name}").title
    except ValueError:
        return name
    return title[:1].lower() + title[1:]
