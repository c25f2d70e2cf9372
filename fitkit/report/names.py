"""The results in words, for people: their names, and numbers that add up; the results file keeps the short names."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fitkit.advice_words import value_words
from fitkit.assessment import Assessment
from fitkit.words import halved

__all__ = ["RESULT_WORDS", "in_words", "printed"]

RESULT_WORDS = {
    "cleat_setback.as_found": "cleat setback as found",
    "cleat_setback.as_left": "cleat setback as left",
    "cleat_setback.square_to_axle": "joint ahead of the axle, square to it",
    "cleat_setback.band_low": "starting band, low end",
    "cleat_setback.band_high": "starting band, high end",
    "cleat_setback.start": "starting point",
    "cleat_setback.move": "move of the cleat, toward the heel",
    "cleat_setback.slot_least": "least setback the shoe's own slots allow",
    "cleat_setback.slot_greatest": "greatest setback the shoe's own slots allow",
    "cleat_setback.shortfall": "target beyond the slots, toward the heel",
    "mtp1.expected": "first-MTP joint expected, from the heel",
    "float.free_heel_in": "free rotation left, heel inward",
    "float.free_heel_out": "free rotation left, heel outward",
    "half_stance": "half-stance",
    "half_stance.wish": "wished change of half-stance",
    "half_stance.remaining": "what remains of the wish",
    "frontal_lean": "frontal lean of hip to foot, foot outside",
    "thread.turns": "pedal thread engaged",
    "lean.clearance": "lean until the lowered pedal touches",
    "toe.gap": "toe to tyre",
    "toe.gap_after": "toe to tyre after the move",
    "calf_lever.ratio": "ankle-to-axle lever, after to before",
    "untouched.knee_change": "knee at its straightest, saddle untouched",
    "height_only.saddle_down": "saddle down, height only",
    "full.saddle_forward": "saddle forward, full answer",
    "full.saddle_down": "saddle down, full answer",
    "pitch_habit.saddle_down": "what a pitch habit alone does to the saddle, height only",
    "pitch_habit.knee_change": "what a pitch habit alone does to the knee, saddle untouched",
    "stack.saddle_down": "saddle down for shims and adapters alone",
    "forward_limit": "forward limit",
    "stance.width": "stance width",
    "stance.difference": "left minus right half-stance",
    "hip.spacing": "hip spacing",
    "saddle.height_only.down": "saddle down along the seat tube, for both legs",
    "bar.height_only.down": "bar down with it",
}


def in_words(names: Iterable[str]) -> str:
    """Return result names in words, those of both feet said once."""
    sides: dict[str, list[str]] = {}
    for name in names:
        side, _, rest = name.partition(".")
        if side in ("left", "right"):
            sides.setdefault(rest, []).append(side)
        else:
            sides.setdefault(name, [])
    said = []
    for name, found in sides.items():
        where = f" ({found[0]})" if len(found) == 1 else ""
        said.append(RESULT_WORDS[name] + where)
    return "; ".join(said)


def printed(assessment: Assessment, name: str) -> str:
    """Return a result in words; a sum or a difference is that of its parts as these are printed."""
    found = assessment[name]
    if not found.is_known:
        return value_words(found)
    side, value = name.split(".")[0], found.value
    if name == "stance.width":
        value = sum(halved(assessment[f"{side}.half_stance"].value) for side in ("left", "right"))
    elif name.endswith(".move"):
        value = _move(assessment, side)
    elif name.endswith(".gap_after"):
        value = halved(assessment[f"{side}.toe.gap"].value) - _move(assessment, side)
    return value_words(replace(found, value=value, low=min(found.low, value), high=max(found.high, value)))


def _move(assessment: Assessment, side: str) -> float:
    return halved(assessment.foot(side).set_to) - halved(assessment[f"{side}.cleat_setback.as_found"].value)
