"""Both cleats: the advice in sentences (what stands, what to do, why), results, starting band, the soles drawn."""

from __future__ import annotations

from dataclasses import replace

from fitkit import session
from fitkit.advice_words import (
    COSTS_LESS,
    KIND_WORDS,
    REASON_WORDS,
    change_words,
    needs_words,
    slots_words,
    worse_words,
)
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.calculations.advice import Advice, Worse
from fitkit.charts.figure import Figure
from fitkit.charts.soles import SoleFoot, soles
from fitkit.report.blocks import Sentences, Table
from fitkit.report.changes import also_changed
from fitkit.report.results import by_side, shown_in
from fitkit.report.stance import lean_words
from fitkit.words import capital, halved, halves

_TARGETS = {"decided": "decided", "kept": "kept", "put_back": "back to"}
_APART_MM = 2.0  # from this on decided and as left are said to differ (house choice)
_NOTHING_SEEN = ", and nothing seen speaks for moving it"
_NOBODY_LOOKED = "; whether the foot is steady was not noted, so watch the rider first"
_SEEN_BY = ("by_score", "heel_drops", "unsteady", "worse_in_trial")


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


def first_words(assessment: Assessment, side: str) -> str:
    """Return the first sentence of one foot: what stands, what to do today, where it is going, and why.

    Where the slots stop it, or a complaint got worse, that is said in front.
    """
    advice = assessment.advice[side]
    advised = f"{_stands(assessment, side)}: {_SENTENCES[advice.kind](assessment, side)}"
    said = [slots_words(advice), advised, _outside(assessment, side), _slots(assessment, side)]
    if advice.kind == "decided" and assessment.advised[side].facts.worse:
        said.insert(0, _worse_in_front(assessment, side))
    return " ".join(part for part in said if part)


def _stands(assessment: Assessment, side: str) -> str:
    """Return "Left cleat 11.5 mm behind the joint (8 to 14)", or that it was not measured."""
    found = assessment[f"{side}.cleat_setback.as_found"]
    if not found.is_known:
        return f"{side.capitalize()} cleat not measured"
    where, low, value, high = "behind", found.low, found.value, found.high
    if halved(value) < 0:
        where, low, value, high = "ahead of", -found.high, -found.value, -found.low
    word = "cleat found" if assessment.advice[side].kind in ("decided", "kept") else "cleat"
    return f"{side.capitalize()} {word} {halves(value)} mm {where} the joint ({halves(low)} to {halves(high)})"


def _change(assessment: Assessment, side: str) -> str:
    """Return "4 mm toward the heel, to 15.5", or "not moved"."""
    found, to = assessment[f"{side}.cleat_setback.as_found"].value, assessment.advice[side].next_mm
    if found is None:
        return f"to {halves(to)}"
    words = change_words(found, to)
    return words if words == "not moved" else f"{words}, to {halves(to)}"


def _clinician(assessment: Assessment, side: str) -> str:
    return f"no advice {needs_words(assessment.advice[side].needs).removeprefix('not ')}."


def _decided(assessment: Assessment, side: str) -> str:
    words, left = _change(assessment, side), assessment[f"{side}.cleat_setback.as_left"]
    stands = f"{halves(left.value)} ({halves(left.low)} to {halves(left.high)})" if left.is_known else ""
    if _is_only_left(assessment, side):
        return f"left at {stands}."
    said = f"decided {'to stay' if words == 'not moved' else words}."
    slip = slip_words(assessment, side)
    return f"{said} As left {stands}{f', {slip}' if slip else ''}." if stands else said


def _is_only_left(assessment: Assessment, side: str) -> bool:
    """Whether nothing was decided for a cleat, and what counts as decided is where it was left."""
    return Inputs(assessment.visit).own_setback("decided", side) is None


def slip_words(assessment: Assessment, side: str) -> str:
    """Return how far a cleat was left from what was decided, nothing where that is no more than 2 mm."""
    left, advice = assessment[f"{side}.cleat_setback.as_left"], assessment.advice[side]
    if advice.kind not in ("decided", "kept") or not left.is_known:
        return ""
    apart = abs(left.value - advice.next_mm)
    return f"{halves(apart)} mm from what was decided" if apart > _APART_MM else ""


def _worse_in_front(assessment: Assessment, side: str) -> str:
    facts, visit = assessment.advised[side].facts, assessment.visit.session
    back = (facts.found_mm or 0.0) - (facts.changed_then_mm or 0.0)
    said = f"Worse since the last visit: {_complaints(facts.worse)}"
    if facts.changed_then_mm and abs(assessment.advice[side].next_mm - back) <= _APART_MM:
        return f"{said}; the last change is taken back."
    place = f"; put back it would stand at {halves(back)}" if facts.changed_then_mm and facts.found_mm else ""
    return f"{said}{place}.{'' if visit.decided.note else ' Say why it was decided otherwise.'}"


def worse_beside(assessment: Assessment, side: str) -> str | None:
    """Say what got worse since the last visit though nothing of this leg was changed then; None where nothing."""
    advised = assessment.advised[side]
    if not advised.worse or advised.facts.worse or advised.facts.sign:
        return None
    return (
        f"{side.capitalize()}: {_complaints(advised.worse)} since the last visit, which changed nothing of this leg: "
        "look for another cause, and send on if it does not settle."
    )


def _complaints(worse: tuple[Worse, ...]) -> str:
    return "; ".join(worse_words(each) for each in worse)


def _put_back(assessment: Assessment, side: str) -> str:
    advice, facts = assessment.advice[side], assessment.advised[side].facts
    also = ", ".join(_also_words(name) for name in advice.also_back)
    also = f"put {also} back as before" if also else ""
    if facts.changed_then_mm is None:
        said = f"leave the cleat, {also}"
    else:
        then = Inputs(replace(assessment.visit, session=assessment.visit.previous))
        old = halves(then.number(f"as_found.{side}.cleat_setback_mm"))
        said = f"put it back: {_change(assessment, side)} (it stood at {old} by the last visit's mark)"
        said += f"; {also}" if also else ""
    return f"{_complaints(facts.worse)} since the last change: {said}. Send on if it does not settle."


def _also_words(name: str) -> str:
    title = session.describe(f"as_left.{'' if name.startswith('saddle') else 'left.'}{name}").title
    return f"the {title[:1].lower()}{title[1:]}"


def _kept(assessment: Assessment, side: str) -> str:
    words = _change(assessment, side)
    return "kept where it was." if words == "not moved" else f"kept in a trial {words}."


def _after_trials(assessment: Assessment, side: str) -> str:
    advice = assessment.advice[side]
    if advice.next_mm is None:
        return f"{advice.needs}; {_reasons(advice)}."
    words = _change(assessment, side)
    return f"{'leave it' if words == 'not moved' else f'today {words}'}; {_reasons(advice)}."


def _reason(advice: Advice) -> str:
    return next((REASON_WORDS[reason] for reason in advice.why if reason != "slots"), "")


def _reasons(advice: Advice) -> str:
    """Return all reasons, and in brackets after the first by what it was seen."""
    first, *rest = (reason for reason in advice.why if reason != "slots")
    how = ", ".join(REASON_WORDS[reason] for reason in rest if reason in _SEEN_BY)
    others = [REASON_WORDS[reason] for reason in rest if reason not in _SEEN_BY]
    return "; ".join([f"{REASON_WORDS[first]} ({how})" if how else REASON_WORDS[first], *others])


def _other_cause(assessment: Assessment, side: str) -> str:
    causes = "saddle height, a worn cleat, a loose shoe, the float"
    return f"look for another cause before moving it ({causes}); {_reasons(assessment.advice[side])}."


def _move(assessment: Assessment, side: str) -> str:
    advice, words = assessment.advice[side], _change(assessment, side)
    if words == "not moved":
        return f"these slots let it go no further; {_reason(advice)}."
    is_going_on = advice.to_mm is not None and halves(advice.to_mm) != halves(advice.next_mm)
    later = f", after riding on to {halves(advice.to_mm)}" if is_going_on else ""
    return f"today {words}{later}; {_reason(advice)}. {COSTS_LESS}"


def _leave(assessment: Assessment, side: str) -> str:
    advice, is_seen = assessment.advice[side], assessment.advised[side].facts.seen is not None
    seen = _NOTHING_SEEN if is_seen else _NOBODY_LOOKED
    return f"leave it; {_reason(advice)}{'' if advice.why[0] in ('smaller_than_measured', 'held_back') else seen}."


def _unknown(assessment: Assessment, side: str) -> str:
    return f"no advice yet, needs {assessment.advice[side].needs}."


_SENTENCES = {
    "clinician": _clinician,
    "decided": _decided,
    "put_back": _put_back,
    "kept": _kept,
    "after_trials": _after_trials,
    "other_cause": _other_cause,
    "move": _move,
    "leave": _leave,
    "unknown": _unknown,
}


def toe_words(assessment: Assessment, side: str) -> str | None:
    """Say that a toe may touch the tyre as found, or would after the move; None where it clears it."""
    after, found = assessment[f"{side}.toe.gap_after"], assessment[f"{side}.toe.gap"]
    gap, when = (after, "after the move") if after.is_known and after.value != found.value else (found, "as found")
    if not gap.is_known or gap.low > 0:
        return None
    if halves(gap.value) == "0":
        size = "touches"
    elif gap.value < 0:
        size = f"overlap {halves(abs(gap.value))} mm"
    else:
        size = f"gap only {halves(gap.value)} mm, within the error"
    return f"{side} toe to tyre {when}: {size}"


def _outside(assessment: Assessment, side: str) -> str:
    """Say that a place decided, kept or gone back to lies outside the slots, nothing where it does not."""
    short = assessment[f"{side}.cleat_setback.shortfall"].value
    is_settled = assessment.advice[side].kind in ("decided", "kept", "put_back")
    if not is_settled or not short or halves(abs(short)) == "0":
        return ""
    return f"That is {halves(abs(short))} mm outside the slots, past their {'rear' if short > 0 else 'front'} end."


def _slots(assessment: Assessment, side: str) -> str:
    least, greatest = (assessment[f"{side}.cleat_setback.slot_{end}"] for end in ("least", "greatest"))
    if least.is_known and greatest.is_known:
        reach = assessment.advised[side].facts.slot_greatest_mm
        adapter = " with the adapter" if reach != greatest.value else ""
        return f"Slots allow {halves(least.value)} to {halves(reach)}{adapter}."
    if least.is_known or greatest.is_known:
        known, words = (least, "from") if least.is_known else (greatest, "up to")
        return f"Slots allow {words} {halves(known.value)}; the other end is not measured."
    return "Slots not measured."


def instruction(assessment: Assessment, side: str) -> str:
    """Return what is to be done, or was done, with one cleat, in a few words."""
    advice, found = assessment.advice[side], assessment[f"{side}.cleat_setback.as_found"].value
    is_left = advice.kind == "decided" and _is_only_left(assessment, side)
    words = "as left" if is_left else KIND_WORDS[advice.kind]
    if advice.kind == "after_trials" and advice.next_mm is None:
        return advice.needs
    if None in (advice.next_mm, found):
        return words
    moved = change_words(found, advice.next_mm)
    if advice.kind == "move":
        return "the slots let it go no further" if moved == "not moved" else moved
    return f"{words}: {moved}"


def soles_from_below(assessment: Assessment, *, with_rotation: bool = True) -> Figure:
    """Draw both soles from below."""
    return soles([_sole(assessment, side) for side in SIDES], with_rotation=with_rotation)


def _sole(assessment: Assessment, side: str) -> SoleFoot:
    inputs, kind = Inputs(assessment.visit), assessment.advice[side].kind

    def ends(*names: str) -> tuple[float | None, ...]:
        return tuple(assessment[f"{side}.cleat_setback.{name}"].value for name in names)

    return SoleFoot(
        side=side,
        now=assessment[f"{side}.cleat_setback.as_found"],
        target_mm=assessment.feet[side].set_to,
        band_mm=ends("band_low", "band_high"),
        slots_mm=ends("slot_least", "slot_greatest"),
        toe_out_deg=inputs.number_now(f"{side}.cleat_toe_out_deg"),
        natural_toe_out_deg=inputs.number(f"rider.{side}.natural_toe_out_deg"),
        float_deg=assessment.visit.session.bike.float_deg,
        joint_to_big_toe_side_mm=inputs.number(f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=inputs.number(f"rider.{side}.foot_length_mm"),
        instruction=instruction(assessment, side),
        now_word="found" if kind in ("decided", "kept") else "now",
        target_word=_TARGETS.get(kind, "today"),
    )
