"""What a trainee holds side by side: the own record and the reference, the trade's beliefs and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fitkit import constants, files
from fitkit.assessment import assess, load_visit
from fitkit.assessment.inputs import SIDES
from fitkit.calculations.ride_check import PUBLISHED_FINDINGS
from fitkit.calculations.sprint_settings import trade_figure_words
from fitkit.estimate import Grade
from fitkit.report.blocks import Sentences, Table
from fitkit.report.results import by_side, in_words, printed
from fitkit.words import capital, catalogue, plain

_COMPARED = (
    "cleat_setback.as_found",
    "cleat_setback.start",
    "cleat_setback.slot_greatest",
    "cleat_setback.move",
    "cleat_setback.as_left",
    "forward_limit",
    "half_stance",
)


def beside_reference(own: str | Path, reference: str | Path) -> Table:
    """Return the main results of two session files side by side."""
    mine, theirs = assess(load_visit(own)), assess(load_visit(reference))
    names = [f"{side}.{name}" for side in SIDES for name in _COMPARED]
    rows = tuple((capital(in_words([name])), printed(mine, name), printed(theirs, name)) for name in names)
    return Table("Your record beside the reference", ("", "Yours", "Reference"), rows)


def where_it_stands(own: str | Path) -> Table:
    """Return only where each cleat stands as found, with its interval: nothing of where it should go."""
    names = ("cleat_setback.as_found", "mtp1.expected")
    return by_side(assess(load_visit(own)), "Where the cleat stands, with 95 % intervals", names)


@dataclass(frozen=True)
class Belief:
    """One belief, the grade of its evidence, and what has been found."""

    claim: str
    grade: Grade
    found: str


_PLACES = {
    "constants": constants,
    "soleus": plain(constants.CLEAT_SHIFT_SOLEUS_PERCENT.value),
    "furthest_mm": constants.CLEAT_BACK_OXYGEN_SHIFTS_MM.value[-1],
    "trade_figure": trade_figure_words(),
    "knee_findings": " ".join(PUBLISHED_FINDINGS),
}
_SAY = catalogue(files.template("beliefs.toml"))
BELIEFS: dict[str, Belief] = {
    name: Belief(**{what: _SAY(f"{name}.{what}", **_PLACES) for what in held}) for name, held in _SAY.tree.items()
}


def belief(name: str) -> Sentences:
    """Return one belief with its grade and the finding against it, for a cell of its own."""
    held = BELIEFS[name]
    return Sentences((f"The trade believes: {held.claim}", f"Grade: {held.grade}.", f"Found: {held.found}"))


def beliefs() -> Table:
    """Return all beliefs in one table."""
    rows = tuple((held.claim, held.grade, held.found) for held in BELIEFS.values())
    return Table("What the trade believes, and what was found", ("Belief", "Grade", "Found"), rows)
