"""The rider's sheet: what was changed, where things stood and stand, first rides, when to stop, what remains.

Plain words for reading at home: no grades, no percentages, no sprint figures, and a blank line for the name.
"""

from __future__ import annotations

from dataclasses import replace

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import Inputs
from fitkit.charts import Figure
from fitkit.charts.rider_soles import RiderSole, rider_soles
from fitkit.report.changes import NOT_AGAIN, NOT_MEASURED, Change, changes, owed, owed_from_last_time
from fitkit.report.cleat_advice import put_back_words
from fitkit.report.saddle import assumes_dropping, is_anything_moved
from fitkit.words import capital, day, plain

__all__ = ["rider_sheet", "torques"]

SIDES = ("left", "right")
_PEDAL = ("washer_mm", "extender_mm", "spindle_to_cleat_centre_mm", "spindle_id", "extender_id")
_BACK = (
    "Something was tried before this was acted on: shoes and bicycle must be put back as found, to the numbers under "
    "“before”. Ask us to show you that this was done."
)


def rider_sheet(assessment: Assessment) -> dict:
    """Return the content of the rider's sheet as plain JSON: words, a table and one picture."""
    session = assessment.visit.session
    found = changes(assessment.visit)
    sheet = {
        "demonstration": bool(session.demonstration),
        "visit": day(session.visit_date),
        "setup": session.setup,
        "rows": [_row(*alike) for alike in _alike(found)],
        "stop": list(cautions.STOP_AND_CALL_US),
        "stop_at_once": cautions.STOP_AT_ONCE,
        "clinic": assessment.visit.house.rules.clinic.name,
        "telephone": assessment.visit.house.rules.clinic.telephone,
        "next": day(session.follow_up_due) if session.follow_up_due else None,
        "footer": cautions.NOT_A_DIAGNOSIS,
        "unsafe": list(dict.fromkeys(each.rider_words for each in assessment.unsafe)),
    }
    if cautions.stops_advice(session):
        return sheet | _stopped(assessment, found)
    is_changed = any(change.is_changed for change in found)
    return sheet | {
        "title": "What we changed" if is_changed else "How your bicycle and shoes stand",
        "stopped": [],
        "back": [words for side in SIDES if (words := put_back_words(assessment, side))],
        "changes": _changes(found),
        "parts": [change.words.replace(change.what, what, 1) for change, what in _alike(found) if change.is_part],
        "figure": _drawing(assessment, found).html,
        "toes": _toe_words(assessment, found),
        "odd": _odd(found),
        "rides": list(cautions.FIRST_RIDE),
        "bolts": torques(assessment),
        "remains": _remains(assessment, found),
    }


def _alike(found: list[Change]) -> list[tuple[Change, str]]:
    """Return the changes with what they are called; left and right in one where they are alike."""
    listed: list[tuple[Change, str]] = []
    for change in found:
        last = listed[-1][0] if listed else None
        if last and last.side == "left" and replace(last, side="right", what=change.what, words=change.words) == change:
            listed[-1] = (last, f"Left and {_named(change)}")
        else:
            listed.append((change, change.what))
    return listed


def _named(change: Change) -> str:
    return f"{change.what[:1].lower()}{change.what[1:]}"


def _row(change: Change, what: str) -> dict:
    return {"what": what, "before": change.before, "now": change.now, "changed": change.is_changed}


def _drawing(assessment: Assessment, found: list[Change]) -> Figure:
    """Draw both soles with the cleats before and now; their words are those of the changes."""
    inputs = Inputs(assessment.visit)
    return rider_soles([_sole(inputs, change) for change in found if change.name == "cleat_setback_mm"])


def _sole(inputs: Inputs, change: Change) -> RiderSole:
    side = change.side
    before, now = inputs.own_setback("as_found", side), inputs.setback_now(side)
    words = "as it was found" if change.now == NOT_AGAIN else "not moved"
    if change.by:
        words = f"{plain(abs(change.by))} mm toward the {'heel' if change.by > 0 else 'toes'}"
    return RiderSole(
        side=side,
        words="not measured before" if change.before == NOT_MEASURED else words,
        before_mm=before,
        now_mm=now if change.by or before is None else before,
        joint_to_big_toe_side_mm=inputs.number(f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=inputs.number(f"rider.{side}.foot_length_mm"),
    )


def _stopped(assessment: Assessment, found: list[Change]) -> dict:
    """Return what the sheet says when a sign stops the advice: see whom, how soon, and put back."""
    session = assessment.visit.session
    signs = cautions.signs_open(session)
    is_young = all(sign.sign == "growing_under_18" for sign in signs)
    ask = "You may ride as you came." if is_young else "Ask there whether you may ride; until then do not."
    first = "first somebody should look at what you told us or we saw."
    if is_young:
        first = "first a clinician and a parent or guardian should agree to it."
    said = [f"We give no advice on cleats today; {first} {ask}"]
    return {
        "title": "Please see somebody first",
        "stopped": [f"{capital(sign.words)}: see {sign.who}." for sign in signs],
        "back": [],
        "changes": [*said, *([_BACK] if cautions.put_back(session) else []), *_not_again(found)],
        "parts": [],
        "figure": None,
        "toes": [],
        "odd": [],
        "rides": [],
        "bolts": [],
        "remains": ["Bring what the clinician says to your next visit; nothing is changed before that."],
    }


def _changes(found: list[Change]) -> list[str]:
    """Return what was changed, in a paragraph for either foot and one for the bicycle, and what is not sure of it."""
    said = []
    for side in (*SIDES, None):
        words = [change.words for change in found if change.side == side and change.words and not change.is_part]
        said += [" ".join(words)] if words else []
    said += [
        f"Your {change.side} cleat was not measured, so this sheet cannot say where it stood."
        for change in found
        if change.name == "cleat_setback_mm" and change.before == NOT_MEASURED
    ]
    if not any(change.words for change in found):
        said.append("Nothing was changed." if _is_all_known(found) else "Nothing was noted as changed.")
    said += _not_again(found)
    said += _unsure(found)
    stands = [change.now for change in found if change.name == "cleat_setback_mm" and change.words]
    if len(stands) == 2 and stands[0] != stands[1]:
        said.append("Left and right may differ: each cleat is set from its own joint.")
    return said


def _not_again(found: list[Change]) -> list[str]:
    is_any = any(change.now == NOT_AGAIN for change in found)
    return ["Where “now” shows —, it was not measured again."] if is_any else []


def _is_all_known(found: list[Change]) -> bool:
    """Whether cleats and saddle were measured before, and all that was measured then was measured again."""
    return any(change.name == "saddle_height_mm" for change in found) and all(
        change.before != NOT_MEASURED and change.now != NOT_AGAIN for change in found
    )


def _unsure(found: list[Change]) -> list[str]:
    """Say what was decided or tried and not measured, or not noted, again as the rider leaves on it."""
    unsure = [change for change in found if change.words and not change.is_sure]
    read = [_short(change) for change in unsure if not change.is_part]
    fitted = [_short(change) for change in unsure if change.is_part]
    said = [f"Decided, and not measured again after tightening: {', '.join(read)}."] if read else []
    return said + ([f"Decided, and not noted again as fitted: {', '.join(fitted)}."] if fitted else [])


def _short(change: Change) -> str:
    return f"{change.side} cleat" if change.name == "cleat_setback_mm" else _named(change).split(",")[0]


def _toe_words(assessment: Assessment, found: list[Change]) -> list[str]:
    """Warn of a toe that may touch the front wheel, by the gap with the cleat as it leaves."""
    by = {change.side: change.by for change in found if change.name == "cleat_setback_mm"}
    near = [side for side in SIDES if _is_toe_near(assessment, side, by[side])]
    if not near:
        return []
    foot = "either foot" if len(near) == 2 else f"your {near[0]} foot"
    return [
        f"When you turn slowly with {foot} forward, your toe can touch the front wheel. Do not pedal in tight turns."
    ]


def _is_toe_near(assessment: Assessment, side: str, by_mm: float) -> bool:
    gap, inputs = assessment[f"{side}.toe.gap"], Inputs(assessment.visit)
    before, now = inputs.own_setback("as_found", side), inputs.setback_now(side)
    moved = by_mm if None in (before, now) else now - before
    return gap.is_known and gap.low - moved <= 0


def _odd(found: list[Change]) -> list[str]:
    """Return what will feel odd at first; common practice, no source, and no promise."""
    moves, said = [change.by for change in found if change.name == "cleat_setback_mm"], []
    if any(by >= 1 for by in moves):
        said.append(
            "With a cleat further back the foot sits further forward over the pedal; at first it may feel flat."
        )
    if any(by <= -1 for by in moves):
        said.append("With a cleat further forward the calf has more to hold; stop if it tires or hurts.")
    if any(change.is_changed for change in found if change.side):
        said.append("Most riders notice a change for a few rides. Clicking in may need a new aim.")
    return said


def torques(assessment: Assessment) -> list[str]:
    """Return bolt torques as typed, else that the maker's figure counts; pedals too where one was changed."""
    found = changes(assessment.visit)
    said = [_torque(assessment, "cleat_bolt_torque_nm", "Cleat bolts")]
    if any(change.name in _PEDAL and change.words for change in found):
        said += [_torque(assessment, "pedal_torque_nm", "Pedals"), cautions.PART_CAUTIONS]
    return said


def _torque(assessment: Assessment, name: str, what: str) -> str:
    # a torque noted as found was that of other bolts, or of the same before they were opened
    inputs = Inputs(assessment.visit)
    inputs = Inputs(assessment.visit, tuple(at for at in inputs.positions() if at != "as_found"))
    typed = {side: inputs.number_now(f"{side}.{name}") for side in SIDES}
    if all(value is None for value in typed.values()):
        return f"{what}: torque not recorded, see the maker's figure."
    each = (f"{side} {'not recorded' if value is None else f'{plain(value)} N m'}" for side, value in typed.items())
    return f"{what} were tightened to: {', '.join(each)}."


def _remains(assessment: Assessment, found: list[Change]) -> list[str]:
    said = [f"Still to do from last time: {each.words}." for each in owed_from_last_time(assessment)]
    said += [f"Still to do: {each.words}." for each in owed(assessment)]
    said += [
        f"Your {side} cleat is still to be measured."
        for side in SIDES
        if not assessment[f"{side}.cleat_setback.as_found"].is_known
    ]
    heights = any(change.words for change in found if change.side is None)
    if heights or (is_anything_moved(assessment) and assumes_dropping(assessment)):
        said.append("We will measure saddle and bars again after you have ridden.")
    said.append("Bring these shoes and tell us what you noticed, good or bad.")
    return said
