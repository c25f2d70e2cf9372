"""The one place where a session meets the calculations; it decides nothing a fitter should."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from fitkit import cautions
from fitkit.assessment.advising import Advised, advise_foot
from fitkit.assessment.clearances import Unsafe, added_since_found, find_unsafe, thread_turns
from fitkit.assessment.cleats import Foot, assess_cleat, foot_of, start_of
from fitkit.assessment.inputs import SIDES, Draws, Inputs, Visit, load_visit
from fitkit.assessment.legs import LegFound, assess_leg, assess_saddle
from fitkit.assessment.results import RESULT_NAMES, RESULTS, evaluate, row_of
from fitkit.assessment.ride import Ridden, assess_ride
from fitkit.assessment.stance import assess_stance, choices_of, hips_of, stance_of, worked_out_of
from fitkit.calculations.advice import Advice, Worse
from fitkit.calculations.anthropometry import HipSpacing
from fitkit.calculations.parts import Choice
from fitkit.calculations.readings import exact
from fitkit.calculations.stance import Stance
from fitkit.estimate import Estimate

__all__ = ["RESULTS", "RESULT_NAMES", "Assessment", "Foot", "Visit", "assess", "load_visit", "row_of"]


@dataclass(frozen=True)
class Assessment:
    """All results of one visit by name, in the order of the results file; and what they were worked out of."""

    visit: Visit
    feet: dict[str, Foot]  # by side, as all that follows with a side
    legs: dict[str, LegFound]
    stance: Stance | None
    hips: HipSpacing
    choices: dict[str, Choice]  # what the parts search found for a wish
    ride: Ridden
    results: dict[str, Estimate]
    advised: dict[str, Advised]
    parts: dict | None  # the choices as they stand in the results file; None without a wish, or under a sign
    unsafe: tuple[Unsafe, ...]

    @property
    def advice(self) -> dict[str, Advice]:
        """The advice for either foot, by side."""
        return {side: advised.advice for side, advised in self.advised.items()}

    @property
    def worse(self) -> dict[str, tuple[Worse, ...]]:
        """The complaints of either side, or of the middle, that got worse since the last visit."""
        return {side: advised.worse for side, advised in self.advised.items()}

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
    stance, problem = stance_of(inputs)
    hips = hips_of(inputs)
    feet, legs, advised, found = {}, {}, {}, dict(ride.results)
    for side in SIDES:
        start = start_of(inputs, side)
        advised[side] = advise_foot(inputs, side, start, ride.sides[side])
        foot = feet[side] = foot_of(inputs, draws, side, start, advised[side].advice)
        leg = legs[side] = assess_leg(inputs, draws, foot)
        special = assess_cleat(inputs, foot, advised[side].facts) | leg.results
        special["thread.turns"] = thread_turns(inputs, draws, side)
        found |= {f"{side}.{name}": estimate for name, estimate in special.items()}
        worked_out = {
            "move": foot.target if foot.move is None else foot.move,
            "target": foot.target,
            "added": exact(added_since_found(inputs, side)),
            "hip_height": leg.hip_height,
            **worked_out_of(draws, side, stance, hips),
        }
        plain = (f"{side}.{name}" for name, row in RESULTS.items() if row.inputs)
        found |= {name: evaluate(name, inputs, draws, worked_out) for name in plain}
    choices, why_not = choices_of(inputs, {side: found[f"{side}.cleat_setback.shortfall"] for side in SIDES})
    found |= assess_stance(inputs, stance, problem, hips, choices, why_not) | assess_saddle(inputs, draws, legs)
    results = _withhold(visit, {name: found[name] for name in RESULT_NAMES})
    parts = None if cautions.stops_advice(visit.session) or not choices else _parts(choices)
    unsafe = find_unsafe(inputs, draws)
    return Assessment(visit, feet, legs, stance, hips, choices, ride, results, advised, parts, unsafe)


def _parts(choices: dict[str, Choice]) -> dict:
    """Return what the parts search found, as it stands in the results file."""
    return {side: _part_choice(choices[side]) if side in choices else None for side in SIDES}


def _part_choice(choice: Choice) -> dict:
    names = ("chosen", "remaining_mm", "reachable_mm", "gaps_mm", "refused", "other_families")
    return {name: value for name, value in asdict(choice).items() if name in names}


def _withhold(visit: Visit, results: dict[str, Estimate]) -> dict[str, Estimate]:
    """Return the results without the advice, where an open sign stops it."""
    sign = cautions.most_urgent(visit.session)
    if sign is None:
        return results
    withheld = {name: row_of(name).lacking(f"clinician: {sign.sign}") for name in results if row_of(name).is_advice}
    return {**results, **withheld}
