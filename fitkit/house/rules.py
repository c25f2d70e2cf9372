"""House rules: the clinic's own choices, which no publication settles, in one file that can be edited."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Annotated, Any, Literal, NoReturn

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from fitkit import files
from fitkit.estimate import Grade
from fitkit.problems import Problem, joined, json_tree, near
from fitkit.vocabulary import Cause

GREATEST_SHOWN = 60


class Closed(BaseModel):
    """A house model: nothing converted, nothing unknown let through, nothing changed afterwards."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


_EXPECTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "finite_number": "a number",
    "string_type": "text",
    "tuple_type": "a list",
    "model_type": "a group of settings in braces",
    "json_invalid": "JSON like the shipped file",
}


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


def refuse(expected: str) -> NoReturn:
    """Raise the error by which a model says what it expected of one value."""
    raise PydanticCustomError("limits", "expected {words}", {"words": expected})


def between(low: float, high: float, *, above: bool = False) -> AfterValidator:
    """Return a check of limits that says both of them; with `above` the lower end itself is refused."""
    words = f"above {low:g}, up to {high:g}" if above else f"{low:g} to {high:g}"

    def check(value: float) -> float:
        if not low <= value <= high or (above and value == low):
            refuse(words)
        return value

    return AfterValidator(check)


def problems_of(error: ValidationError, *, known: Iterable[str] = ()) -> Iterator[Problem]:
    """Yield a validation error as problems; `known` are the names a slip may mean."""
    for item in error.errors(include_url=False):
        where, kind, found = joined(item["loc"]) or "the file", item["type"], shown(item["input"])
        if kind == "missing":
            yield Problem(where, "missing", "a value", "Copy the line from the shipped file.")
        elif kind == "extra_forbidden":
            yield Problem(where, found, "no such name", near(str(item["loc"][-1]), known, "Is {} meant?"))
        else:
            context = item.get("ctx", {})
            expected = context.get("words") or context.get("expected") or item["msg"]
            yield Problem(where, item["msg"] if kind == "json_invalid" else found, _EXPECTED.get(kind, expected))


VERSION = 1
GREATEST_TEXT = 300


def _version(number: int) -> int:
    if number != VERSION:
        refuse(f"{VERSION}, the version this kit reads")
    return number


def _said(text: str) -> str:
    # These stand on papers: blank or broken text there would be worse than a refusal here.
    if not text.strip() or len(text) > GREATEST_TEXT or not text.isprintable():
        refuse(f"one line of 1 to {GREATEST_TEXT} signs")
    return text


Text = Annotated[str, AfterValidator(_said)]
Setback = Annotated[float, between(-20, 60)]
Size = Annotated[float, between(25, 55)]
Error = Annotated[float, between(0, 20, above=True)]


class Clinic(Closed):
    """What the papers print of the clinic; null leaves a blank line."""

    name: Text | None
    telephone: Text | None


class StartingBand(Closed):
    """Where to begin before the rider has been seen riding: a line over the EU size [mm behind the joint]."""

    low_at_eu_40_mm: Setback
    per_size_mm: Annotated[float, between(0, 5)]
    high_above_low_mm: Annotated[float, between(0, 30)]
    point_above_low_mm: Annotated[float, between(0, 30)]
    least_size: Size
    point_from_size: Size
    extrapolated_above_size: Size
    greatest_size: Size
    below_point_high_mm: Setback
    grade: Grade
    source: Text


class Shift(Closed):
    """Which end of the band to start from, for one kind of riding or one thing seen, and why."""

    cause: Cause  # how the rider rides or what was seen: a misspelt one would never apply
    to: Literal["high", "low", "none"]
    reason: Text


class Spread(Closed):
    """Standard deviation of one reading, by kind of reading."""

    cleat_setback_mm: Error
    calliper_mm: Error
    gap_mm: Error
    short_length_mm: Error
    long_length_mm: Error
    pelvis_mm: Error
    angle_deg: Error


class Rules(Closed):
    """The house rules; every one of them is a choice and none has a published source."""

    format: Literal["cleat-stance-house-rules"]
    version: Annotated[int, AfterValidator(_version)]
    clinic: Clinic
    access: Literal["owner", "group"]
    starting_band: StartingBand
    shifts: tuple[Shift, ...]
    mark_place_sd_mm: Error
    spread: Spread
    short_length_below_mm: Annotated[float, between(50, 500)]
    long_length_from_mm: Annotated[float, between(50, 2000)]
    moved_sd_mm: Error
    equal_widths_mm: Annotated[float, between(0, 10)]
    step_toward_heel_mm: Annotated[float, between(0, 20, above=True)]
    step_toward_toes_mm: Annotated[float, between(0, 20, above=True)]
    worse_by: Annotated[float, between(0, 10, above=True)]
    new_from: Annotated[float, between(0, 10, above=True)]
    score_sd: Annotated[float, between(0, 5, above=True)]
    uneven_crank_sd_mm: Annotated[float, between(0, 20)]
    same_setting_mm: Annotated[float, between(0, 5)]
    greatest_setback_mm: Annotated[float, between(10, 60)]
    lean_under_least: Literal["caution", "refuse"]
    low_rotation_deg: Annotated[float, between(0, 90)]
    pitch_habit_95_deg: Annotated[float, between(0, 20)]
    hip_above_saddle_mm: Annotated[float, between(0, 200)]
    hip_above_saddle_95_mm: Annotated[float, between(0, 100)]
    unsteady_from: Annotated[float, between(0, 10, above=True)]
    least_turns: Annotated[float, between(0, 30, above=True)]
    small_numbers_below: Annotated[int, between(0, 100)]

    def reading_sd(self, dotted: str, kind: str, size: float) -> float:
        """Return the spread of one reading at `dotted` in a session, of that kind and size [the reading's unit].

        A length on the body is read as well as one on the bicycle while it is short, and in proportion worse up to
        the long ones.
        """
        if kind != "length":
            return getattr(self.spread, "angle_deg" if kind == "angle" else f"{kind}_mm")
        short_mm, long_mm = self.spread.short_length_mm, self.spread.long_length_mm
        if not dotted.startswith("rider."):
            return short_mm
        begins, ends = self.short_length_below_mm, max(self.long_length_from_mm, self.short_length_below_mm + 1e-9)
        return short_mm + min(max((abs(size) - begins) / (ends - begins), 0.0), 1.0) * (long_mm - short_mm)


def parse_rules(text: str, *, file: str) -> tuple[Rules | None, list[Problem]]:
    """Return the rules in a JSON text, or None and every problem found."""
    rules = None
    try:
        raw, twice = json_tree(text)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        problems = [Problem(where, f"no valid JSON ({error.msg})", "JSON like the shipped file")]
    except (RecursionError, ValueError) as error:
        # Nesting or a number beyond what can be read; such a file was not written by hand.
        problems = [Problem("the file", f"unreadable ({error})"[:200], "JSON like the shipped file")]
    else:
        problems = [Problem(joined(steps), "written twice", "each name once", "Take one out.") for steps in twice]
        try:
            rules = Rules.model_validate_json(json.dumps(_filled(raw)))
        except ValidationError as error:
            known = {name for model in (Rules, Clinic, StartingBand, Shift, Spread) for name in model.model_fields}
            problems += problems_of(error, known=known)
        problems += _contradictions(raw)
    # Of each place only what was found first.
    problems = list({problem.where: replace(problem, file=file) for problem in reversed(problems)}.values())[::-1]
    return (None, problems) if problems else (rules, [])


# Names that came after the first edition: a clinic's own file without them has the shipped values.
_LATER = (
    *("step_toward_heel_mm", "step_toward_toes_mm", "worse_by", "new_from", "score_sd", "uneven_crank_sd_mm"),
    *("same_setting_mm", "greatest_setback_mm", "lean_under_least", "low_rotation_deg", "long_length_from_mm"),
)
_LATER_SPREADS = ("calliper_mm", "gap_mm")


def _filled(raw: object) -> object:
    """Return the settings with the shipped values for later names that they lack."""
    if not isinstance(raw, dict):
        return raw
    shipped = json.loads(files.template("house_rules.json").read_bytes())
    filled = {name: shipped[name] for name in _LATER} | raw
    if isinstance(raw.get("clinic"), dict):
        filled["clinic"] = {"telephone": shipped["clinic"]["telephone"]} | raw["clinic"]
    if isinstance(raw.get("spread"), dict):
        filled["spread"] = {name: shipped["spread"][name] for name in _LATER_SPREADS} | raw["spread"]
    return filled


def _contradictions(raw: Any) -> Iterator[Problem]:
    """Yield each setting that contradicts another, on a half-wrong file too: one bad setting hides none of these."""
    raw = raw if isinstance(raw, dict) else {}
    band, shifts = raw.get("starting_band"), raw.get("shifts")
    if isinstance(band, dict):
        # What is no number is left out.
        yield from _in_band({name: v for name, v in band.items() if type(v) in (int, float) and abs(v) < 1e6})
    shifts = shifts if isinstance(shifts, list) else []
    causes = [shift.get("cause") if isinstance(shift, dict) else None for shift in shifts]
    for at, cause in enumerate(causes):
        if isinstance(cause, str) and cause in causes[:at]:
            expected = f"each cause once; it stands in shifts.{causes.index(cause)} already"
            yield Problem(f"shifts.{at}.cause", shown(cause), expected)


_ASCENDING = (
    ("point_above_low_mm", "high_above_low_mm"),
    *pairwise(("least_size", "point_from_size", "extrapolated_above_size", "greatest_size")),
)


def _in_band(numbers: dict[str, float]) -> Iterator[Problem]:
    for lower, upper in _ASCENDING:
        if {lower, upper} <= numbers.keys() and numbers[lower] > numbers[upper]:
            yield Problem(f"starting_band.{lower}", shown(numbers[lower]), f"at most {upper}, {numbers[upper]:g}")
    names = ("low_at_eu_40_mm", "per_size_mm", "point_from_size", "below_point_high_mm")
    if numbers.keys() >= set(names):
        low_mm, per_size_mm, size, high_mm = (numbers[name] for name in names)
        low_mm += per_size_mm * (size - 40)
        if high_mm < low_mm:
            expected = f"at least the line's low end at point_from_size, {low_mm:g}"
            yield Problem(f"starting_band.{names[-1]}", shown(high_mm), expected)
