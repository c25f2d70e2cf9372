"""Left beside right: what was told and seen on either side, and leg lengths that differ; no cause is named."""

from __future__ import annotations

from collections.abc import Iterable

from fitkit import constants
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.calculations.readings import linear
from fitkit.report.blocks import Sentences, Table
from fitkit.report.visit import severity_words
from fitkit.vocabulary import PLACES, SEEN_WORDS
from fitkit.words import capital, halved, halves

_WHOLE = "both or no side"


def both_sides(assessment: Assessment) -> Table:
    """Return complaints, what was seen riding and the cleats as found, the left side beside the right one."""
    session = assessment.visit.session
    told = [(one.side, PLACES[one.region] + severity_words(one)) for one in session.complaints]
    seen = [(one.side, SEEN_WORDS[one.what] + _seen_from(one.seen_from)) for one in session.seen]
    if not (told or seen):
        return Table("", (), ())
    none_seen = "nothing" if session.seen_asked else "not noted"
    cleats = [_cleat_words(assessment, side) for side in SIDES]
    rows = [
        ("Complaint", *_cells(told, "none named")),
        ("Seen riding", *_cells(seen, none_seen)),
        ("Cleat as found", *cleats, ""),
    ]
    has_whole = any(side not in SIDES for side, _ in (*told, *seen))
    head = ("", "Left", "Right", capital(_WHOLE))
    shown = tuple(row if has_whole else row[:3] for row in rows)
    caption = "Told and seen, side by side; this names no cause"
    return Table(caption, head if has_whole else head[:3], shown)


def _cells(said: Iterable[tuple[str | None, str]], none: str) -> list[str]:
    by_side: dict[str, list[str]] = {side: [] for side in (*SIDES, _WHOLE)}
    for side, words in said:
        by_side[side if side in SIDES else _WHOLE].append(words)
    left, right, whole = ("; ".join(words) for words in by_side.values())
    return [left or none, right or none, whole]


def _seen_from(where: str | None) -> str:
    return f", seen from {'the ' if where in SIDES else ''}{where}" if where else ""


def _cleat_words(assessment: Assessment, side: str) -> str:
    found = assessment[f"{side}.cleat_setback.as_found"]
    if not found.is_known:
        return "not measured"
    return f"{halves(abs(found.value))} mm {'ahead of' if halved(found.value) < 0 else 'behind'} the joint"


def leg_lengths(assessment: Assessment) -> Sentences:
    """Say that the leg lengths differ as measured, by how much, and how far a tape can be trusted."""
    inputs = Inputs(assessment.visit)
    left, right = (inputs.quantity(f"rider.{side}.leg_length_mm") for side in SIDES)
    if left is None or right is None or halves(left.value) == halves(right.value):
        return Sentences(())
    longer, shorter = sorted((("left", left), ("right", right)), key=lambda leg: leg[1].value, reverse=True)
    apart = linear([(1, longer[1]), (-1, shorter[1])])
    low, high = apart.value - apart.half_width(), apart.value + apart.half_width()
    unknown = "" if low > 0 else "; which leg is longer cannot be told from these readings"
    differ = " mm, ".join(f"{side} {halves(length.value)}" for side, length in (longer, shorter))
    by = halves(halved(longer[1].value) - halved(shorter[1].value))
    tape, blocks = constants.LEG_LENGTH_ICC_TAPE, constants.LEG_LENGTH_ICC_BLOCKS
    wrong = [one.value for one in (constants.LEG_LENGTH_WRONG_SIDE_TAPE, constants.LEG_LENGTH_WRONG_SIDE_BLOCKS)]
    by_tape, by_blocks = (f"{people:g} of {of_all:g}" for people, of_all in wrong)
    return Sentences(
        (
            f"Leg lengths differ as measured: {differ} mm, apart by {by} mm ({halves(low)} to "
            f"{halves(high)}){unknown}.",
            f"A tape named the wrong leg in {by_tape} people, blocks under the foot in {by_blocks}; intraclass "
            f"correlation {tape.value:g} and {blocks.value:g} ({tape.source}). Measure with blocks before anything "
            "rests on it; no size of a shim follows from it.",
        )
    )
