"""The one place where a session meets the calculations; it decides nothing a fitter should."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit import cautions
from fitkit.assessment.advising import Advised, advise_foot
from fitkit.assessment.clearances import assess_clearances
from fitkit.assessment.cleats import Foot, assess_foot, start_of
from fitkit.assessment.inputs import Draws, Inputs, Visit, load_visit
from fitkit.assessment.legs import LegFound, assess_leg, assess_saddle
from fitkit.assessment.ride import Ridden, assess_ride
from fitkit.assessment.stance import Standing, assess_standing
from fitkit.assessment.unsafe import Unsafe, find_unsafe
from fitkit.calculations.advice import Advice, Worse
from fitkit.calculations.parts import Choice
from fitkit.estimate import Estimate, Unit, missing

__all__ = ["RESULT_NAMES", "RESULT_UNITS", "Assessment", "Foot", "Visit", "assess", "load_visit"]

SIDES = ("left", "right")

_SIDED: dict[str, Unit] = {
    "cleat_setback.as_found": "mm",
    "cleat_setback.as_left": "mm",
    "cleat_setback.square_to_axle": "mm",
    "cleat_setback.band_low": "mm",
    "cleat_setback.band_high": "mm",
    "cleat_setback.start": "mm",
    "cleat_setback.move": "mm",
    "cleat_setback.slot_least": "mm",
    "cleat_setback.slot_greatest": "mm",
    "cleat_setback.shortfall": "mm",
    "mtp1.expected": "mm",
    "float.free_heel_in": "deg",
    "float.free_heel_out": "deg",
    "half_stance": "mm",
    "half_stance.wish": "mm",
    "half_stance.remaining": "mm",
    "frontal_lean": "deg",
    "thread.turns": "turns",
    "lean.clearance": "deg",
    "toe.gap": "mm",
    "toe.gap_after": "mm",
    "calf_lever.ratio": "1",
    "untouched.knee_change": "deg",
    "height_only.saddle_down": "mm",
    "full.saddle_forward": "mm",
    "full.saddle_down": "mm",
    "pitch_habit.saddle_down": "mm",
    "pitch_habit.knee_change": "deg",
    "stack.saddle_down": "mm",
    "forward_limit": "mm",
}
_WHOLE: dict[str, Unit] = {
    "stance.width": "mm",
    "stance.difference": "mm",
    "hip.spacing": "mm",
    "saddle.height_only.down": "mm",
    "bar.height_only.down": "mm",
}
RESULT_UNITS: dict[str, Unit] = {
    **{f"{side}.{name}": unit for side in SIDES for name, unit in _SIDED.items()},
    **_WHOLE,
}
RESULT_NAMES: tuple[str, ...] = tuple(RESULT_UNITS)

# What comes from band, target or move is withheld while a sign is open; measurements stay.
_WITHHELD_ENDINGS = (
    ".band_low",
    ".band_high",
    ".start",
    ".move",
    ".shortfall",
    ".gap_after",
    ".remaining",
    ".calf_lever.ratio",
)
_WITHHELD_PARTS = (".untouched.", ".height_only.", ".full.", ".pitch_habit.", ".stack.")


@dataclass(frozen=True)
class Assessment:
    """All results of one visit by name, in the order of the results file."""

    visit: Visit
    left: Foot
    right: Foot
    standing: Standing
    legs: dict[str, LegFound]
    ride: Ridden
    results: dict[str, Estimate]
    advised: dict[str, Advised]
    parts: dict | None = None
    unsafe: tuple[Unsafe, ...] = ()

    @property
    def advice(self) -> dict[str, Advice]:
        """The advice for either foot, by side."""
        return {side: advised.advice for side, advised in self.advised.items()}

    @property
    def worse(self) -> dict[str, tuple[Worse, ...]]:
        """The complaints of either side, or of the middle, that got worse since the last visit."""
        return {side: advised.worse for side, advised in self.advised.items()}

    def foot(self, side: str) -> Foot:
        """Return the foot of `side`, "left" or "right"."""
        return {"left": self.left, "right": self.right}[side]

    def __getitem__(self, name: str) -> Estimate:
        return self.results[name]

    def as_document(self) -> dict:
        """Return the results file's content."""
        return {
            "format": "cleat-stance-results",
            "version": 1,
            "session": self.visit.key,
            "results": [self.results[name].as_result(name) for name in RESULT_NAMES],
            "advice": {side: advice.as_document() for side, advice in self.advice.items()},
            "unsafe": [each.as_document() for each in self.unsafe],
            "parts": self.parts,
        }


def assess(visit: Visit) -> Assessment:
    """Return every result of a visit; what cannot be computed says what it needs."""
    inputs, draws = Inputs(visit), Draws()
    ride = assess_ride(inputs)
    feet, advised = {}, {}
    for side in SIDES:
        start = start_of(inputs, side)
        advised[side] = advise_foot(inputs, side, start, ride.side(side))
        feet[side] = assess_foot(inputs, draws, side, start, advised[side].advice, advised[side].facts)
    legs = {side: assess_leg(inputs, draws, side, feet[side]) for side in SIDES}
    standing = assess_standing(inputs, draws, feet, {side: legs[side].hip_height for side in SIDES})
    found = {**standing.results, **assess_saddle(inputs, draws, legs), **ride.results}
    for side in SIDES:
        found |= feet[side].results | legs[side].results | assess_clearances(inputs, draws, side, feet[side])
    unsafe = find_unsafe(inputs, draws)
    results = {name: found[name] for name in RESULT_NAMES}
    parts = None if cautions.stops_advice(visit.session) else _parts(standing)
    return Assessment(
        visit, feet["left"], feet["right"], standing, legs, ride, _withhold(visit, results), advised, parts, unsafe
    )


def _parts(standing: Standing) -> dict | None:
    """Return what the parts search found, as it stands in the results file; None without a wish."""
    if not standing.choices:
        return None
    return {side: _part_choice(standing.choices.get(side)) for side in SIDES}


def _part_choice(choice: Choice | None) -> dict | None:
    if choice is None:
        return None
    return {
        "chosen": list(choice.chosen),
        "remaining_mm": choice.remaining_mm,
        "reachable_mm": [list(span) for span in choice.reachable_mm],
        "gaps_mm": [list(span) for span in choice.gaps_mm],
        "refused": [{"id": refused.id, "reason": refused.reason} for refused in choice.refused],
        "other_families": list(choice.other_families),
    }


def _withhold(visit: Visit, results: dict[str, Estimate]) -> dict[str, Estimate]:
    """Return the results without the advice, where an open sign stops it."""
    sign = cautions.most_urgent(visit.session)
    if sign is None:
        return results
    needs = f"clinician: {sign.sign}"
    return {
        name: missing(needs, unit=estimate.unit) if is_advice(name) else estimate for name, estimate in results.items()
    }


def is_advice(name: str) -> bool:
    """Whether a result comes from band, target or move, so that an open sign withholds it."""
    dotted = f".{name}"
    return name.endswith(_WITHHELD_ENDINGS) or any(part in dotted for part in _WITHHELD_PARTS)
