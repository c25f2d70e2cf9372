"""The words for what is advised and why, in one place for needs, record, sheet, drawings and forms."""

from __future__ import annotations

from functools import partial

from fitkit.calculations.advice import Advice, Worse
from fitkit.estimate import Estimate
from fitkit.vocabulary import PLACES, SIGN_WORDS
from fitkit.words import decimal, halved, halves, span

COSTS_LESS = "Too far toward the heel costs less than too far toward the toes."

KIND_WORDS = {
    "clinician": "see a clinician first",
    "decided": "decided",
    "put_back": "put it back",
    "kept": "stay with what was kept",
    "after_trials": "go by the trials",
    "other_cause": "look for another cause",
    "move": "move it",
    "leave": "leave it",
    "unknown": "no advice yet",
}
REASON_WORDS = {
    "not_measured": "the cleat was not measured",
    "decided": "it was decided",
    "worse": "a complaint got worse after the last change",
    "kept": "the trial was kept",
    "steady_in_trials": "steady there in the trials, unsteady ahead of it",
    "unsteady_in_trials": "unsteady in every trial so far",
    "unsteady_everywhere": "unsteady wherever the cleat stood, so the cleat is hardly the cause",
    "contrary_trials": "steady ahead of where it was unsteady",
    "by_score": "by the score",
    "worse_in_trial": "it hurt more there",
    "never_ahead": "steady further forward too, but nothing asks for going there",
    "no_band": "there is no starting band to go by",
    "smaller_than_measured": "the difference is smaller than can be measured",
    "inside_band": "it stands inside the starting band",
    "behind_band": "it stands behind the starting band",
    "held_back": "what was seen or hurts speaks against going toward the toes",
    "far_behind_band": "the cleat stands well toward the heel already",
    "worn_cleat": "the cleat is worn",
    "loose_shoe": "the shoe is loose",
    "ahead_of_band": "it stands ahead of the starting band",
    "slots": "the slots end before it",
    "unsteady": "the foot is unsteady",
    "heel_drops": "the heel drops",
    "long_steady": "long steady riding begins at the rearward end of the starting band",
    "time_trial": "time trials begin at the rearward end of the starting band",
    "short_maximal": "short maximal efforts begin at the forward end of the starting band",
}


def no_move_words(advice: Advice) -> str:
    """Return why no move is advised, "no move advised: it stands inside the starting band, …"."""
    if advice.needs is not None:
        wants = advice.needs if advice.needs.startswith("ride ") else f"needs {advice.needs}"
        return f"no move advised: {wants}"
    strongest = next((reason for reason in advice.why if reason in REASON_WORDS), "no_band")
    return f"no move advised: {REASON_WORDS[strongest]}"


def change_words(before_mm: float, after_mm: float) -> str:
    """Return "4.5 mm toward the heel", as the difference of both places in half millimetres, or "not moved"."""
    move = halved(after_mm) - halved(before_mm)
    if move == 0:
        return "not moved"
    return f"{halves(abs(move))} mm toward the {'heel' if move > 0 else 'toes'}"


def _place(region: str, side: str | None) -> str:
    """Return where a complaint is, as "left front of the knee"."""
    place = PLACES[region]
    return f"{place}, both sides" if side == "both" else f"{side} {place}" if side else place


def worse_words(worse: Worse) -> str:
    """Return "left front of the knee from 3 to 6 of 10", or "new: … 5 of 10"."""
    place = _place(worse.region, worse.side)
    if worse.then is None:
        return f"new: {place} {worse.now:g} of 10"
    return f"{place} from {worse.then:g} to {worse.now:g} of 10"


def slots_words(advice: Advice) -> str:
    """Return where the slots stop the move and what would help, nothing where they do not."""
    if "slots" not in advice.why:
        return ""
    if advice.short_by_mm < 0:
        return f"Slots begin {halves(-advice.short_by_mm)} mm too far toward the heel: another shoe."
    helps = f"base adapter {' or '.join(advice.closed_by)}, or another shoe" if advice.closed_by else "another shoe"
    return f"Slots end {halves(advice.short_by_mm)} mm short: {helps}."


_tenth = partial(decimal, places=1)
_UNITS = {
    "mm": (" mm", halves),
    "deg": ("°", _tenth),
    "turns": (" turns", _tenth),
    "1": ("", partial(decimal, places=3)),
}


def value_words(estimate: Estimate) -> str:
    """Return "11.5 mm (8.5 to 14.5)", "between 12 and 16 mm" for a bracket, or "not assessed: needs …"."""
    unit, form = _UNITS[estimate.unit]
    if estimate.is_bracket:
        return f"between {form(estimate.low)} and {form(estimate.high)}{unit}"
    if not estimate.is_known:
        return f"not assessed: {needs_words(estimate.needs)}"
    return span(estimate.value, estimate.low, estimate.high, unit, form)


def needs_words(needs: str) -> str:
    """Return "needs foot length"; what an open sign withholds or no measurement could mend is said as it is."""
    sign = needs.removeprefix("clinician: ")
    if sign == "growing_under_18":
        return "not before a clinician and a parent or guardian agree to it (under 18 and still growing)"
    if sign != needs:
        return f"not before a clinician has seen to {SIGN_WORDS[sign]}"
    return needs if needs.startswith(("not ", "no move ")) else f"needs {needs}"
