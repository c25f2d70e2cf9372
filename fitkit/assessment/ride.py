"""The rider seen riding: trials and their bracket, knees on film, sprints; what a file lacks is said in words."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.assessment.films import Filmed, read_films
from fitkit.assessment.inputs import Inputs
from fitkit.assessment.sprints import Sprints, read_power_files
from fitkit.calculations import forward_limit
from fitkit.calculations.forward_limit import Bracket, Trial
from fitkit.calculations.hinge import Hinge, hinge
from fitkit.estimate import Estimate, between, missing
from fitkit.session.paths import holds_any

__all__ = ["Ridden", "SideRidden", "assess_ride"]

SIDES = ("left", "right")


@dataclass(frozen=True)
class SideRidden:
    """One side's trials in the order ridden, their bracket and the hinge.

    `taken_over` holds the numbers of trials whose cleat setback is that of the position before.
    """

    side: str
    trials: tuple[Trial, ...]
    bracket: Bracket
    hinge: Hinge
    taken_over: tuple[int, ...]


@dataclass(frozen=True)
class Ridden:
    """What the assessment says of the rider seen riding."""

    left: SideRidden
    right: SideRidden
    filmed: Filmed
    sprints: Sprints
    results: dict[str, Estimate]

    def side(self, side: str) -> SideRidden:
        """Return the trials of `side`, "left" or "right"."""
        return {"left": self.left, "right": self.right}[side]


def assess_ride(inputs: Inputs) -> Ridden:
    """Return what the trials, films and power files of a visit show."""
    sides = {side: _side(inputs, side) for side in SIDES}
    results = {f"{side}.forward_limit": _forward_limit(inputs, ridden) for side, ridden in sides.items()}
    return Ridden(sides["left"], sides["right"], read_films(inputs), read_power_files(inputs), results)


def _side(inputs: Inputs, side: str) -> SideRidden:
    rules = inputs.visit.house.rules
    rule = {"unsteady_from": rules.unsteady_from, "same_mm": rules.same_setting_mm}
    placed = [_setback(inputs, side, i) for i in range(len(inputs.visit.session.trials))]
    trials = tuple(_trial(inputs, side, i, setback) for i, (setback, _) in enumerate(placed))
    scored = [trial for trial in trials if trial.score is not None and trial.cleat_setback_mm is not None]
    return SideRidden(
        side,
        trials,
        forward_limit.bracket(trials, **rule),
        hinge(
            cleat_setback_mm=[trial.cleat_setback_mm for trial in scored],
            unsteadiness=[trial.score for trial in scored],
        ),
        tuple(i for i, (_, is_taken_over) in enumerate(placed) if is_taken_over),
    )


def _trial(inputs: Inputs, side: str, number: int, setback_mm: float | None) -> Trial:
    trial = inputs.visit.session.trials[number]
    return Trial(
        setback_mm,
        inputs.readings(f"trials.{number}.unsteadiness.{side}"),
        trial.saddle_corrected,
        tuple(entry.what for entry in trial.seen if entry.side in (side, "both", None)),
        trial.smooth_at_bottom,
    )


def _setback(inputs: Inputs, side: str, number: int) -> tuple[float | None, bool]:
    """Return a trial's cleat setback [mm], and whether it is that of the position before.

    Its own readings; else as found plus its own distance moved; else, as everywhere in a visit, what the position
    before it held: the last trial kept, down to as found.
    """
    own = inputs.own_setback(f"trials.{number}.position", side)
    if own is not None:
        return own, False
    trials = inputs.visit.session.trials
    before = [i for i in range(number) if trials[i].kept and holds_any(trials[i].position)]
    for i in reversed(before):
        own = inputs.own_setback(f"trials.{i}.position", side)
        if own is not None:
            return own, True
    found = inputs.own_setback("as_found", side)
    return found, found is not None


def _forward_limit(inputs: Inputs, ridden: SideRidden) -> Estimate:
    found = ridden.bracket
    over = tuple(
        f"trial {number + 1}: cleat setback as in the position before"
        for number in ridden.taken_over
        if ridden.trials[number].score is not None
    )
    notes = (f"rests on {found.rests_on}", *found.notes, *over) if found.settings else found.notes
    if found.needs is not None:
        return missing(found.needs, low=found.low_mm, high=found.high_mm, notes=notes)
    rules = inputs.visit.house.rules
    source = f"trials of this visit; unsteady from a mean score of {rules.unsteady_from:g} of 10"
    held = forward_limit.hit_rate_words(
        found.settings,
        unsteady_from=rules.unsteady_from,
        score_sd=rules.score_sd,
        place_sd_mm=rules.spread.cleat_setback_mm,
    )
    notes = (held, *notes)
    return between(found.low_mm, found.high_mm, unit="mm", grade="measured here", source=source, notes=notes)
