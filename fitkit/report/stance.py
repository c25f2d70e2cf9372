"""Where the feet stand: widths, hips, parts and clearances, in tables, sentences and drawings."""

from __future__ import annotations

from fitkit import constants
from fitkit.advice_words import needs_words, value_words
from fitkit.assessment import Assessment
from fitkit.assessment import clearances as gaps
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.calculations import anthropometry
from fitkit.calculations import stance as widening
from fitkit.calculations.clearances import LEAST_LEAN_DEG, bending_words, gap_words
from fitkit.calculations.parts import CHANGE_OF_FAMILY, Choice
from fitkit.calculations.readings import linear
from fitkit.charts.figure import Figure
from fitkit.charts.front import FrontSide
from fitkit.charts.front import front_view as drawn_from_front
from fitkit.charts.widths import WidthSide
from fitkit.charts.widths import widths as drawn_widths
from fitkit.estimate import Estimate
from fitkit.report.blocks import Number, Sentences, Table
from fitkit.report.results import by_side, grouped, printed, shown_in
from fitkit.vocabulary import WIDE_KNEES
from fitkit.words import capital, halved, halves, plain, signed


def stance(assessment: Assessment) -> Sentences:
    """Say the first numbers of the stance: left and right half-stance and their difference."""
    left, right = (assessment[f"{side}.half_stance"] for side in SIDES)
    if not (left.is_known and right.is_known):
        lacking = left if not left.is_known else right
        return Sentences((f"Stance not assessed: {needs_words(lacking.needs)}.",), kind="lead")
    difference = assessment["stance.difference"]
    line = f"Left foot {halves(left.value)} mm from the frame's middle, right {halves(right.value)}"
    lines = [
        f"{line}{_uneven_words(difference, left.value, right.value)}.",
        f"Stance width {printed(assessment, 'stance.width')}.",
    ]
    return Sentences((*lines, *(capital(note) for note in assessment.stance.notes)), kind="lead")


def _uneven_words(difference: Estimate, left: float, right: float) -> str:
    """Say which foot stands further out, whether that can be told, or that it is not known."""
    if not difference.is_known:
        return ", taking the cranks as even: which foot stands further out is not known before the crank faces are"
    if difference.low <= 0 <= difference.high:
        low, high = halves(-difference.low), halves(difference.high)
        return f": no difference that can be told (right up to {low} mm further out, left up to {high})"
    side, sign = ("left", 1) if difference.value > 0 else ("right", -1)
    nearer, farther = sorted((sign * difference.low, sign * difference.high))
    apart = halves(sign * (halved(left) - halved(right)))
    return f": {side} stands {apart} mm further out ({halves(nearer)} to {halves(farther)})"


def hips(assessment: Assessment) -> Table:
    """Return hip spacing by the CT line and the published models, side by side."""
    rows = []
    for row in assessment.hips.rows:
        words, ends = f"needs {row.needs}", ""
        if row.value_mm is not None:
            words, ends = f"{halves(row.value_mm)} mm", f"{halves(row.low_mm)} to {halves(row.high_mm)}"
        spacing = Number(words, row.value_mm, row.low_mm, row.high_mm, "mm", row.needs)
        rows.append((row.name, spacing, ends, row.source))
    return Table("Hip spacing, by each published way", ("", "Spacing", "95 %", "Source"), tuple(rows))


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


def width_candidates(assessment: Assessment) -> Table:
    """Return the widths that could be tried, in no order of merit, with what 1 mm a side changes."""
    width, wish, inputs = assessment["stance.width"], assessment.visit.session.wish, Inputs(assessment.visit)
    if not width.is_known:
        empty = f"No width to compare: {needs_words(width.needs)}."
        return Table("Widths that could be tried", (), (), empty)
    moved = {side: gaps.outward_since_found(inputs, side) for side in SIDES}
    found = widening.candidates(
        halved(width.value - sum(moved.values())),
        foot_hang_mm=inputs.number("rider.foot_hang_mm"),
        left_wish_mm=wish.left.half_stance_change_mm,
        right_wish_mm=wish.right.half_stance_change_mm,
    )
    widths = [
        (capital(each.name), plain(each.width_mm), each.width_mm, each.left_change_mm, each.right_change_mm)
        for each in found
    ]
    if any(moved.values()):
        widths.append(("As it stands now", halves(width.value), width.value, *(moved[side] for side in SIDES)))
    rows = tuple(
        (name, Number(f"{words} mm", value, unit="mm"), *(Number(_mm(by), by, unit="mm") for by in changes))
        for name, words, value, *changes in widths
    )
    head = ("", "Stance width", "Left, outward", "Right, outward")
    return Table("Widths that could be tried, in no order of merit", head, rows)


def _mm(change_mm: float) -> str:
    return f"{signed(round(change_mm, 2), plain)} mm"


def before_widening(assessment: Assessment) -> Sentences:
    """Say what else may hold the knees wide, and what is published on widening, before any part is named."""
    session = assessment.visit.session
    if not any(getattr(session.wish, side).half_stance_change_mm for side in SIDES):
        return Sentences(())
    lines = [f"Seen: {WIDE_KNEES[what]}." for what in dict.fromkeys(e.what for e in session.seen) if what in WIDE_KNEES]
    lines += _stiff_hips(assessment)
    free, pain = constants.KNEE_TRAVEL_PAIN_FREE_MM, constants.KNEE_TRAVEL_KNEECAP_PAIN_MM
    lines += [
        f"Knee travel {free.value:g} ({free.uncertainty:g}) mm without and {pain.value:g} ({pain.uncertainty:g}) with "
        f"kneecap pain: {free.source}; {free.note}.",
        f"Widening by 20, 40 and 60 mm changed neither muscle activity nor joint angles; the narrowest was best for "
        f"efficiency and comfort whatever the pelvis width ({constants.Q_FACTOR_WIDENED_BY_MM.source}).",
        f"{widening.LEAN_DESCRIBES} {anthropometry.trouser_size_words()}",
    ]
    return Sentences(tuple(lines))


def _stiff_hips(assessment: Assessment) -> list[str]:
    inputs, said = Inputs(assessment.visit), []
    low = assessment.visit.house.rules.low_rotation_deg
    for side in SIDES:
        angle = inputs.number(f"rider.{side}.hip_internal_rotation_deg")
        if angle is not None and angle < low:
            rule = f"under the {low:g}° of the house rules"
            said.append(f"Measured, {side} hip: inward rotation {angle:.0f}°, {rule}; it may hold the knee wide.")
    return said


def parts(assessment: Assessment) -> Sentences:
    """Say per side what was chosen for the wish, what remains, what nothing reaches and which family would."""
    if assessment.parts is None:
        remaining = assessment["left.half_stance.remaining"]
        return Sentences((f"No parts looked for: {needs_words(remaining.needs)}.",))
    choices = assessment.choices.items()
    said = grouped((line, side) for side, choice in choices for line in _choice_words(assessment, side, choice))
    lines = [f"{capital(' and '.join(sides))}: {line}" for line, sides in said.items()]
    lines += _reached_since(assessment)
    if any(choice.other_families for choice in assessment.choices.values()):
        lines.append(CHANGE_OF_FAMILY)
    return Sentences(tuple(lines))


def _reached_since(assessment: Assessment) -> list[str]:
    """Say what of the wish the parts fitted since have met."""
    inputs, said = Inputs(assessment.visit), []
    for side in assessment.choices:
        moved = gaps.outward_since_found(inputs, side)
        if moved:
            wish = getattr(assessment.visit.session.wish, side).half_stance_change_mm
            rest = "nothing of the wish remains" if not halved(wish - moved) else f"{_mm(wish - moved)} of it remains"
            said.append(f"{capital(side)}, as it stands now: {_mm(moved)} outward of as found; {rest}.")
    return said


def _choice_words(assessment: Assessment, side: str, choice: Choice) -> list[str]:
    wish = getattr(assessment.visit.session.wish, side).half_stance_change_mm
    chosen = ", ".join(choice.chosen) or "no part"
    play = f" and {_mm(choice.adjustment_mm)} of the lateral play" if choice.adjustment_mm else ""
    said = [f"wish {_mm(wish)} a side. {capital(chosen)}{play}; remains {_mm(choice.remaining_mm)}."]
    if choice.gaps_mm:
        spans = ", ".join(f"{plain(low)} to {plain(high)}" for low, high in choice.gaps_mm)
        said.append(f"nothing in this family reaches {spans} mm (outward of as found).")
    if choice.other_families and abs(choice.remaining_mm) > assessment.visit.house.rules.equal_widths_mm:
        said.append(f"family {' or '.join(choice.other_families)} would come within reach.")
    return [*said, *(f"{note.rstrip('.')}." for note in choice.notes if note != CHANGE_OF_FAMILY)]


def parts_refused(assessment: Assessment) -> Table:
    """Return the parts that may not be fitted here, with the reason."""
    choices = () if assessment.parts is None else assessment.choices.items()
    rows = grouped(((each.id, each.reason), side) for side, choice in choices for each in choice.refused)
    body = tuple((part, " and ".join(sides), reason) for (part, reason), sides in rows.items())
    return Table("Parts refused", ("", "Side", "Why"), body)


def widths(assessment: Assessment) -> Table:
    """Return half-stance and frontal lean with interval and grade."""
    caption = "Where each foot stands (mm from the frame's middle)"
    return by_side(assessment, caption, shown_in("widths"), with_grade=True)


def clearances(assessment: Assessment) -> Table:
    """Return threads, lean and toe to tyre of both sides."""
    return by_side(assessment, "Threads and clearances", shown_in("clearances"), remark=_toe_gap)


def _toe_gap(name: str, estimate: Estimate) -> str:
    return f": {gap_words(estimate.value)}" if name.startswith("toe") else ""


def lean_words(assessment: Assessment) -> str:
    """Return that a lowered pedal touches below the published least, in one sentence; nothing where none does."""
    leans = {side: assessment[f"{side}.lean.clearance"] for side in SIDES}
    if not any(lean.is_known and lean.value < LEAST_LEAN_DEG for lean in leans.values()):
        return ""
    told = ", ".join(f"{side} {value_words(lean)}" for side, lean in leans.items() if lean.is_known)
    least = f"{LEAST_LEAN_DEG:g}° is the least of {constants.LEAST_LEAN_DEG.source}"
    return f"Lowered pedal touches at a lean of {told}; {least}: do not pedal in bends."


def foot_gaps(assessment: Assessment) -> Table:
    """Return the gaps between foot and crank as measured, and whether they still hold."""
    inputs = Inputs(assessment.visit)
    left, right = (gaps.foot_gaps(inputs, side) for side in SIDES)
    rows = tuple(
        (capital(one.words), _gap_words(one), _gap_words(other)) for one, other in zip(left, right, strict=True)
    )
    if all(gap.measured is None for gap in (*left, *right)):
        rows = ()
    return Table("Foot to crank at the ends of the float", ("", "Left", "Right"), rows)


def _gap_words(gap: gaps.FootGap) -> str:
    if gap.measured is None:
        return "not measured"
    size = gap_words(gap.measured.value)
    return size if gap.holds else f"was {size}; moved since: measure again"


def small_parts(assessment: Assessment) -> Sentences:
    """Say what extenders do to the crank, and that shims and wedges are recorded without a dose."""
    inputs, lines = Inputs(assessment.visit), []
    for side in SIDES:
        extender = inputs.fitted(side, "extender_mm")[0]
        if extender:
            lines.append(f"{side.capitalize()}: {bending_words(extender)}")
        for name, words, unit in (("shim_mm", "shim", " mm"), ("wedge_deg", "wedge", "°")):
            size = inputs.number_now(f"{side}.{name}")
            if size:
                bolt = inputs.number_now(f"{side}.bolt_length_mm")
                bolt = inputs.number(f"shoes.{side}.bolt_length_mm") if bolt is None else bolt
                bolts = f"bolts {plain(bolt)} mm" if bolt is not None else "bolt length not recorded: check the thread"
                lines.append(
                    f"{side.capitalize()}: {words} {plain(size)}{unit}, {bolts}. Recorded as tried; no size is "
                    "suggested, none is published."
                )
    return Sentences(tuple(lines))


def front_view(assessment: Assessment) -> Figure:
    """Draw hips, feet, crank faces and parts from the front, sideways to scale."""
    apart = assessment["stance.difference"]
    is_told = apart.is_known and not apart.low <= 0 <= apart.high
    sides = [_front_side(assessment, side) for side in SIDES]
    return drawn_from_front(sides, hips=assessment["hip.spacing"], is_told=is_told)


def _front_side(assessment: Assessment, side: str) -> FrontSide:
    lengths = getattr(assessment.stance, side).lengths_mm if assessment.stance else ()
    # The knee as found, from the first film of this side that says where it goes.
    tracks = [each.track for each in assessment.ride.filmed.knees if (each.side, each.position) == (side, "as found")]
    track = next((track for track in tracks if track.needs is None), None)
    return FrontSide(
        side=side,
        half_stance=assessment[f"{side}.half_stance"],
        crank_face_mm=next((length for name, length in lengths if name.endswith("crank face")), None),
        lengths_mm=lengths,
        knee_offset_mm=track and track.offset_mm.value,
        knee_travel_mm=track and track.travel_mm.value,
    )


def widths_reached(assessment: Assessment) -> Figure | Sentences:
    """Draw the widths the family reaches, with its gaps and the wish; nothing without a wish."""
    if assessment.parts is None:
        return Sentences(())
    found = [
        WidthSide(
            side=side,
            reachable_mm=choice.reachable_mm,
            refused_only_mm=choice.refused_only_mm,
            gaps_mm=choice.gaps_mm,
            wish_mm=getattr(assessment.visit.session.wish, side).half_stance_change_mm,
            reached_mm=choice.parts_mm + choice.adjustment_mm,
            chosen=choice.chosen,
            refused=tuple((each.id, each.reason) for each in choice.refused),
        )
        for side, choice in assessment.choices.items()
    ]
    return drawn_widths(found, family=assessment.visit.session.bike.pedal_family) if found else Sentences(())
