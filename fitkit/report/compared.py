"""What a trainee holds side by side: the own record and the reference, the trade's beliefs and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fitkit import constants
from fitkit.assessment import assess, load_visit
from fitkit.calculations.ride_check import PUBLISHED_FINDINGS
from fitkit.calculations.sprint_settings import trade_figure_words
from fitkit.estimate import Grade
from fitkit.report.blocks import Sentences, Table
from fitkit.report.results import by_side, in_words, printed
from fitkit.words import capital, plain

__all__ = ["BELIEFS", "Belief", "belief", "beliefs", "beside_reference", "where_it_stands"]

SIDES = ("left", "right")
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


BELIEFS: dict[str, Belief] = {
    "mark": Belief(
        "The joint can be felt, so the mark is right.",
        "common practice",
        "One rater finds a metatarsal head again well (ICC .86 to .97, J Foot Ankle Res 7:37); two raters agree poorly "
        "in the studies seen. From foot length alone the joint is placed within about 8 mm (Gordon et al. 2014).",
    ),
    "starting band": Belief(
        "EU 42 begins 13 to 18 mm behind the joint; bigger feet further back.",
        "common practice",
        "Riders as they came stood at 0 (8) mm, and body measures did not predict it (Ramos-Ortega et al. 2012). "
        "Nothing published supports an optimum in millimetres: a place to begin, not a place to end.",
    ),
    "forward limit": Belief(
        "Each rider has an own point, forward of which the foot is unstable and the body makes up for it.",
        "common practice",
        "No publication was found for or against it. So it is tried, and the bracket says no more than its ends.",
    ),
    "too far back": Belief(
        "Too far back seldom causes trouble, too far forward does.",
        "common practice",
        f"Oxygen uptake did not change over {constants.CLEAT_BACK_OXYGEN_SHIFTS_MM.value[-1]:g} mm "
        f"({constants.CLEAT_BACK_OXYGEN_ML_PER_MIN.source}); that is economy, not trouble. Foot pain went down in a "
        "case series of 21 riders without a control (2024), which proves nothing by itself.",
    ),
    "calf": Belief(
        "Further back the calf works less.",
        "published",
        f"Soleus {plain(constants.CLEAT_SHIFT_SOLEUS_PERCENT.value)} % at 5 mm, no change in performance "
        f"({constants.CLEAT_SHIFT_SOLEUS_PERCENT.source}); calf effort down, up to 20 % and more "
        f"({constants.CLEAT_BACK_CALF_PERCENT.source}). It is no gain in speed.",
    ),
    "sprint": Belief(
        "Further back costs a sprinter snap: a little peak power, and two pedal strokes more to reach it.",
        "common practice",
        f"{trade_figure_words()} At 5 mm no change in performance was seen "
        f"({constants.CLEAT_SHIFT_SOLEUS_PERCENT.source}).",
    ),
    "saddle": Belief(
        "The saddle comes down when the cleat goes back, and the bars by the same, to keep the drop.",
        "common practice",
        "Geometry agrees in the direction. How much depends on the rider's own foot pitch, which may change with the "
        "move and then matters more than the sum; and riders share a change between knee and ankle, which a stiff "
        "ankle in the sum overstates about twofold. Measure again after riding.",
    ),
    "pelvis": Belief(
        "A wide pelvis needs a wide stance.",
        "common practice",
        "22 riders grouped by pelvis width, widened by 20, 40 and 60 mm: no change in muscle activity or joint angles, "
        f"the narrowest was best whatever the pelvis ({constants.Q_FACTOR_WIDENED_BY_MM.source}).",
    ),
    "knees": Belief(
        "Knees drawn inward on each downstroke go with pain around the kneecap.",
        "common practice",
        " ".join(PUBLISHED_FINDINGS),
    ),
}


def belief(name: str) -> Sentences:
    """Return one belief with its grade and the finding against it, for a cell of its own."""
    held = BELIEFS[name]
    return Sentences((f"The trade believes: {held.claim}", f"Grade: {held.grade}.", f"Found: {held.found}"))


def beliefs() -> Table:
    """Return all beliefs in one table."""
    rows = tuple((held.claim, held.grade, held.found) for held in BELIEFS.values())
    return Table("What the trade believes, and what was found", ("Belief", "Grade", "Found"), rows)
