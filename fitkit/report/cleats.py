"""Both cleats: the first numbers, the results and the starting band."""

from __future__ import annotations

from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment
from fitkit.report.blocks import Sentences, Table
from fitkit.report.changes import also_changed
from fitkit.report.cleat_advice import first_words, toe_words, worse_beside
from fitkit.report.results import by_side, shown_in
from fitkit.report.stance import lean_words
from fitkit.words import capital, halves

__all__ = ["cleats", "first_numbers", "rotation", "starting_band"]

SIDES = ("left", "right")


def first_numbers(assessment: Assessment) -> Sentences:
    """Say the first numbers of either foot: where the cleat is, what the slots allow, what to try."""
    lines = [first_words(assessment, side) for side in SIDES]
    lines += [words for side in SIDES if (words := worse_beside(assessment, side))]
    if toes := [words for side in SIDES if (words := toe_words(assessment, side))]:
        lines.append(f"{capital('; '.join(toes))}. Turn the bar and look.")
    lines += [words for words in (also_changed(assessment), lean_words(assessment)) if words]
    return Sentences(tuple(lines), kind="lead")


def cleats(assessment: Assessment) -> Table:
    """Return the cleat's results of both feet with interval and grade."""
    caption = "The cleat's place (mm behind the first-MTP mark)"
    return by_side(assessment, caption, shown_in("cleats"), with_grade=True)


def rotation(assessment: Assessment) -> Table:
    """Return rotation and float of both feet."""
    return by_side(assessment, "Rotation and float", shown_in("rotation"), with_grade=True)


def starting_band(assessment: Assessment) -> Sentences:
    """Say where the starting band comes from, how the house shifts it, and what to keep in mind."""
    lines = []
    for side in SIDES:
        low, high = (assessment[f"{side}.cleat_setback.band_{end}"] for end in ("low", "high"))
        start = assessment[f"{side}.cleat_setback.start"]
        if not low.is_known:
            lines.append(f"{side.capitalize()}: not assessed: {needs_words(low.needs)}.")
            continue
        # Where the rule names no point, it is the size that is too small for one.
        point = f"start {halves(start.value)}" if start.is_known else "no starting point at this size: trials tell"
        notes = capital("; ".join(start.notes))
        lines.append(f"{side.capitalize()}: {halves(low.value)} to {halves(high.value)} mm, {point}. {notes}.")
    lines.append("A starting band is where to begin, not where to end; riders differ widely (common practice).")
    if assessment.visit.session.rider.riding == "short_maximal":
        lines.append(
            "Short maximal efforts: the trial goes forward in 2 mm steps to the first unsteady setting, then "
            "back one (common practice, no source)."
        )
    return Sentences(tuple(lines))
