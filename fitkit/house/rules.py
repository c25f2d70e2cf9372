"""House rules: the clinic's own choices, which no publication settles, in one file that can be edited."""

from __future__ import annotations

import json
from collections import Counter
from itertools import pairwise
from typing import Annotated, Literal, Self, get_args

from pydantic import AfterValidator, BaseModel, ValidationError, model_validator

from fitkit import places
from fitkit.estimate import Grade
from fitkit.house.problems import (
    CLOSED,
    Contradiction,
    Problem,
    between,
    contrary,
    first_of_each_place,
    place,
    problems_of,
    refuse,
    shown,
)

__all__ = ["CAUSES", "Cause", "Clinic", "Rules", "Shift", "Spread", "StartingBand", "parse_rules"]

# What a shift may follow from: how the rider rides, and what was seen. A misspelt one would never apply.
Cause = Literal[
    "everyday",
    "long_steady",
    "time_trial",
    "mixed_racing",
    "short_maximal",
    "heel_drops",
    "toes_point",
    "ankling",
    "unsteady",
    "hip_drop",
    "pelvis_rocks",
    "heel_swing",
    "knee_inward_travel",
    "knee_outward",
    "thigh_meets_trunk",
    "weight_on_hands",
    "uneven_left_right",
]
CAUSES: tuple[str, ...] = get_args(Cause)

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


class Clinic(BaseModel):
    """What the papers print of the clinic; null leaves a blank line."""

    model_config = CLOSED

    name: Text | None
    telephone: Text | None


class StartingBand(BaseModel):
    """Where to begin before the rider has been seen riding: a line over the EU size [mm behind the joint]."""

    model_config = CLOSED

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

    @model_validator(mode="after")
    def _agree(self) -> Self:
        contrary(_band_against_itself(dict(self)))
        return self


class Shift(BaseModel):
    """Which end of the band to start from, for one kind of riding or one thing seen, and why."""

    model_config = CLOSED

    cause: Cause
    to: Literal["high", "low", "none"]
    reason: Text


class Spread(BaseModel):
    """Standard deviation of one reading, by kind of reading."""

    model_config = CLOSED

    cleat_setback_mm: Error
    calliper_mm: Error
    gap_mm: Error
    short_length_mm: Error
    long_length_mm: Error
    pelvis_mm: Error
    angle_deg: Error


class Rules(BaseModel):
    """The house rules; every one of them is a choice and none has a published source."""

    model_config = CLOSED

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

    @model_validator(mode="after")
    def _agree(self) -> Self:
        contrary(_shifts_against_themselves([shift.cause for shift in self.shifts]))
        return self

    def reading_sd(self, dotted: str, kind: str, size: float) -> float:
        """Return the spread of one reading at `dotted` in a session, of that kind and size [the reading's unit].

        A length on the body is read as well as one on the bicycle while it is short, and in proportion worse up to
        the long ones.
        """
        by_kind = {
            "cleat_setback": self.spread.cleat_setback_mm,
            "pelvis": self.spread.pelvis_mm,
            "angle": self.spread.angle_deg,
            "gap": self.spread.gap_mm,
            "calliper": self.spread.calliper_mm,
        }
        if kind in by_kind:
            return by_kind[kind]
        short_mm, long_mm = self.spread.short_length_mm, self.spread.long_length_mm
        if not dotted.startswith("rider."):
            return short_mm
        begins, ends = self.short_length_below_mm, max(self.long_length_from_mm, self.short_length_below_mm + 1e-9)
        return short_mm + min(max((abs(size) - begins) / (ends - begins), 0.0), 1.0) * (long_mm - short_mm)


def _band_against_itself(band: dict) -> list[Contradiction]:
    # Works on a half-wrong band too, so that one bad setting does not hide these: what is no number is left out.
    numbers = {name: value for name, value in band.items() if type(value) in (int, float) and abs(value) < 1e6}

    def at_most(lower: str, upper: str) -> list[Contradiction]:
        if {lower, upper} <= numbers.keys() and numbers[lower] > numbers[upper]:
            return [(lower, numbers[lower], f"at most {upper}, {numbers[upper]:g}")]
        return []

    found = at_most("point_above_low_mm", "high_above_low_mm")
    for lower, upper in pairwise(("least_size", "point_from_size", "extrapolated_above_size", "greatest_size")):
        found += at_most(lower, upper)
    names = ("low_at_eu_40_mm", "per_size_mm", "point_from_size", "below_point_high_mm")
    if numbers.keys() >= set(names):
        low_mm, per_size_mm, size, high_mm = (numbers[name] for name in names)
        low_mm += per_size_mm * (size - 40)
        if high_mm < low_mm:
            found.append((names[-1], high_mm, f"at least the line's low end at point_from_size, {low_mm:g}"))
    return found


def _shifts_against_themselves(causes: list) -> list[Contradiction]:
    return [
        (f"shifts.{at}.cause", cause, f"each cause once; it stands in shifts.{causes.index(cause)} already")
        for at, cause in enumerate(causes)
        if isinstance(cause, str) and cause in causes[:at]
    ]


class _Group(dict):
    """A JSON object that remembers the keys it was given twice."""

    twice: tuple[str, ...] = ()


def parse_rules(text: str, *, file: str) -> tuple[Rules | None, list[Problem]]:
    """Return the rules in a JSON text, or None and every problem found."""
    try:
        raw = json.loads(text, object_pairs_hook=_group)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        return None, [Problem(file, where, f"no valid JSON ({error.msg})", "JSON like the shipped file")]
    except (RecursionError, ValueError) as error:
        # Nesting or a number beyond what can be read; such a file was not written by hand.
        return None, [Problem(file, "the file", f"unreadable ({error})"[:200], "JSON like the shipped file")]
    told = _odd(raw, (), file)
    try:
        rules = Rules.model_validate_json(json.dumps(_filled(raw)))
    except ValidationError as error:
        known = {name for model in (Rules, Clinic, StartingBand, Shift, Spread) for name in model.model_fields}
        told = first_of_each_place([*told, *problems_of(error, file=file, known=known), *_hidden(raw, file)])
    return (None, told) if told else (rules, [])


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
    shipped = json.loads(places.template("house_rules.json").read_bytes())
    filled = {name: shipped[name] for name in _LATER} | raw
    if isinstance(raw.get("clinic"), dict):
        filled["clinic"] = {"telephone": shipped["clinic"]["telephone"]} | raw["clinic"]
    if isinstance(raw.get("spread"), dict):
        filled["spread"] = {name: shipped["spread"][name] for name in _LATER_SPREADS} | raw["spread"]
    return filled


def _hidden(raw: object, file: str) -> list[Problem]:
    # The model looks for contradictions only once every single setting is fine; the reader wants all at once.
    if not isinstance(raw, dict):
        return []
    band, shifts = raw.get("starting_band"), raw.get("shifts")
    found = [
        (f"starting_band.{name}", *rest) for name, *rest in _band_against_itself(band if isinstance(band, dict) else {})
    ]
    if isinstance(shifts, list):
        found += _shifts_against_themselves([s.get("cause") if isinstance(s, dict) else None for s in shifts])
    return [Problem(file, where, shown(value), expected) for where, value, expected in found]


def _group(pairs: list[tuple[str, object]]) -> _Group:
    group = _Group(pairs)
    group.twice = tuple(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
    return group


def _odd(node: object, steps: tuple, file: str) -> list[Problem]:
    # Two things the model cannot see: a key written twice, and a number that is none.
    if isinstance(node, _Group):
        told = [
            Problem(file, place(*steps, key), "written twice", "each name once", "Take one out.") for key in node.twice
        ]
        return told + [problem for key, value in node.items() for problem in _odd(value, (*steps, key), file)]
    if isinstance(node, list):
        return [problem for at, value in enumerate(node) for problem in _odd(value, (*steps, at), file)]
    if isinstance(node, float) and not abs(node) < float("inf"):
        return [Problem(file, place(*steps) or "the file", str(node), "a number")]
    return []
