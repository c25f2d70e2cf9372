"""The rider's sheet: what was changed, where things stood and stand, first rides, when to stop, what remains.

Plain words for reading at home: no grades, no percentages, no sprint figures, and a blank line for the name. All of
them stand in ``templates/rider_sheet_words.toml``; here it is chosen which are said.
"""

from __future__ import annotations

from dataclasses import replace

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.charts import Figure
from fitkit.charts.rider_soles import RiderSole, rider_soles
from fitkit.report.changes import ENGLISH, Change, alike, changes, part_words, setting_words, to_do
from fitkit.report.saddle import assumes_dropping, is_anything_moved
from fitkit.words import Catalogue, halved, halves, plain

_CLEAT = "cleat_setback_mm"
_LISTS = ("stopped", "back", "parts", "toes", "odd", "rides", "bolts")  # what the sheet lists, often nothing
PEDAL = ("washer_mm", "extender_mm", "spindle_to_cleat_centre_mm", "spindle_id", "extender_id")


def rider_sheet(assessment: Assessment, say: Catalogue = ENGLISH) -> dict:
    """Return the content of the rider's sheet as plain JSON: words of a catalogue, a table and one picture."""
    session = assessment.visit.session
    found = changes(assessment.visit, say)
    sheet: dict = {name: [] for name in _LISTS} | {
        "demonstration": bool(session.demonstration),
        "visit": say.day(session.visit_date),
        "setup": session.setup,
        "rows": [
            {"what": what, "before": change.before, "now": change.now, "changed": change.is_changed}
            for change, what in alike(found, say)
        ],
        "stop": say["cautions.stop"],
        "stop_at_once": say("cautions.emergency"),
        "clinic": assessment.visit.house.rules.clinic.name,
        "telephone": assessment.visit.house.rules.clinic.telephone,
        "next": say.day(session.follow_up_due) if session.follow_up_due else None,
        "footer": say("cautions.not_a_diagnosis"),
        "unsafe": list(dict.fromkeys(say(f"unsafe.{each.what}.{each.side}") for each in assessment.unsafe)),
    }
    if cautions.stops_advice(session):
        return sheet | _stopped(assessment, found, say)
    is_changed = any(change.is_changed for change in found)
    return sheet | {
        "title": say("page.changed" if is_changed else "page.unchanged"),
        "back": [line for side in SIDES for line in going_back(assessment, side, say)],
        "changes": _changes(found, say),
        "parts": [part_words(change, what, say) for change, what in alike(found, say) if change.is_part],
        "figure": _drawing(assessment, found, say).html,
        "toes": _toes(assessment, found, say),
        "odd": _odd(found, say),
        "rides": say["cautions.first_ride"],
        "bolts": torques(assessment, say),
        "remains": _remains(assessment, found, say),
    }


def _stopped(assessment: Assessment, found: list[Change], say: Catalogue) -> dict:
    """Return what the sheet says when a sign stops the advice: see whom, how soon, and put back."""
    session = assessment.visit.session
    signs = cautions.signs_open(session)
    is_growing = all(sign.sign == "growing_under_18" for sign in signs)
    said = [say("stopped.no_advice_growing" if is_growing else "stopped.no_advice")]
    said += [say("stopped.put_back")] if cautions.put_back(session) else []
    return {
        "title": say("page.stopped"),
        "stopped": [_see(sign, say) for sign in signs],
        "changes": said + _not_again(found, say),
        "figure": None,
        "remains": [say("remains.bring_words")],
    }


def _see(sign: cautions.SignFound, say: Catalogue) -> str:
    """Return whom to see for a sign, and how soon."""
    who = sign.sign if sign.sign == "growing_under_18" else sign.urgency.replace(" ", "_")
    return say(f"stopped.see.{sign.side or 'whole'}", sign=say(f"sign.{sign.sign}"), who=say(f"who.{who}"))


def going_back(assessment: Assessment, side: str, say: Catalogue) -> list[str]:
    """Return the old settings of one foot to go back to, one sentence each; none where nothing is put back."""
    advice, previous = assessment.advice[side], assessment.visit.previous
    if advice.kind != "put_back":
        return []
    then, said = Inputs(replace(assessment.visit, session=previous, previous=None), ("as_found",)), []
    if assessment.advised[side].facts.changed_then_mm:
        before, after = assessment[f"{side}.cleat_setback.as_found"].value, advice.next_mm
        by = halved(after) - halved(before)
        said.append(say(f"back.{'heel' if by > 0 else 'toes'}.{side}", by=halves(abs(by)), to=halves(after)))
    for name in advice.also_back:
        is_whole = name.startswith("saddle")
        field, what = (name, f"{name}.row.both") if is_whole else (f"{side}.{name}", f"{name}.row.{side}")
        old = then.word_now(field) if name.endswith("_id") else then.number_now(field)
        if old is None:
            said.append(say("back.as_it_was", what=say(what)))
        else:
            said.append(say("back.other", what=say(what), value=setting_words(name, old, say)))
    return said


def _changes(found: list[Change], say: Catalogue) -> list[str]:
    """Return what was changed, in a paragraph for either foot and one for the bicycle, and what is not sure of it."""
    cleats = [change for change in found if change.name == _CLEAT]
    said = []
    for side in (*SIDES, None):
        words = [change.words for change in found if change.side == side and change.words and not change.is_part]
        said += [" ".join(words)] if words else []
    said += [say(f"changes.not_measured.{change.side}") for change in cleats if not change.was_measured]
    if not any(change.words for change in found):
        said.append(say("changes.nothing_changed" if _is_all_known(found) else "changes.nothing_noted"))
    said += _not_again(found, say)
    unsure = [change for change in found if change.words and not change.is_sure]
    for key, is_part in (("unsure_measured", False), ("unsure_fitted", True)):
        listed = [say(f"{each.name}.listed.{each.side or 'both'}") for each in unsure if each.is_part is is_part]
        said += [say(f"changes.{key}", listed=", ".join(listed))] if listed else []
    stands = [change.now for change in cleats if change.words]
    if len(stands) == 2 and stands[0] != stands[1]:
        said.append(say("changes.may_differ"))
    return said


def _not_again(found: list[Change], say: Catalogue) -> list[str]:
    return [] if all(change.is_again for change in found) else [say("changes.not_again")]


def _is_all_known(found: list[Change]) -> bool:
    """Whether cleats and saddle were measured before, and all that was measured then was measured again."""
    return any(change.name == "saddle_height_mm" for change in found) and all(
        change.was_measured and change.is_again for change in found
    )


def _drawing(assessment: Assessment, found: list[Change], say: Catalogue) -> Figure:
    """Draw both soles with the cleats before and now; their words are those of the changes."""
    inputs = Inputs(assessment.visit)
    return rider_soles([_sole(inputs, change, say) for change in found if change.name == _CLEAT], say)


def _sole(inputs: Inputs, change: Change, say: Catalogue) -> RiderSole:
    side = change.side
    before, now = inputs.own_setback("as_found", side), inputs.setback_now(side)
    if not change.was_measured:
        words = say("figure.not_measured")
    elif change.by:
        words = say(f"figure.toward_{'heel' if change.by > 0 else 'toes'}", by=plain(abs(change.by)))
    else:
        words = say("figure.not_moved" if change.is_again else "figure.as_found")
    return RiderSole(
        side=side,
        words=words,
        before_mm=before,
        now_mm=now if change.by or before is None else before,
        joint_to_big_toe_side_mm=inputs.number(f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=inputs.number(f"rider.{side}.foot_length_mm"),
    )


def _toes(assessment: Assessment, found: list[Change], say: Catalogue) -> list[str]:
    """Warn of a toe that may touch the front wheel, by the gap with the cleat as it leaves."""
    by = {change.side: change.by for change in found if change.name == _CLEAT}
    near = [side for side in SIDES if _is_toe_near(assessment, side, by[side])]
    return [say(f"toe.{'both' if len(near) == 2 else near[0]}")] if near else []


def _is_toe_near(assessment: Assessment, side: str, by_mm: float) -> bool:
    gap, inputs = assessment[f"{side}.toe.gap"], Inputs(assessment.visit)
    before, now = inputs.own_setback("as_found", side), inputs.setback_now(side)
    moved = by_mm if None in (before, now) else now - before
    return gap.is_known and gap.low - moved <= 0


def _odd(found: list[Change], say: Catalogue) -> list[str]:
    """Return what will feel odd at first; common practice, no source, and no promise."""
    moves, said = [change.by for change in found if change.name == _CLEAT], []
    if any(by >= 1 for by in moves):
        said.append(say("odd.further_back"))
    if any(by <= -1 for by in moves):
        said.append(say("odd.further_forward"))
    if any(change.is_changed for change in found if change.side):
        said.append(say("odd.any"))
    return said


def torques(assessment: Assessment, say: Catalogue = ENGLISH) -> list[str]:
    """Return bolt torques as typed, else that the maker's figure counts; pedals too where one was changed."""
    said = [_torque(assessment, "cleat_bolt_torque_nm", say)]
    if any(change.name in PEDAL and change.words for change in changes(assessment.visit)):
        said += [_torque(assessment, "pedal_torque_nm", say), say("cautions.parts")]
    return said


def _torque(assessment: Assessment, name: str, say: Catalogue) -> str:
    # a torque noted as found was that of other bolts, or of the same before they were opened
    inputs = Inputs(assessment.visit)
    inputs = Inputs(assessment.visit, tuple(at for at in inputs.positions if at != "as_found"))
    typed = {side: inputs.number_now(f"{side}.{name}") for side in SIDES}
    known = {side: plain(value) for side, value in typed.items() if value is not None}
    return say(f"torque.{name}.{'both' if len(known) == 2 else next(iter(known), 'none')}", **known)


def _remains(assessment: Assessment, found: list[Change], say: Catalogue) -> list[str]:
    said = to_do(assessment, say)
    unmeasured = [side for side in SIDES if not assessment[f"{side}.cleat_setback.as_found"].is_known]
    said += [say(f"remains.measure_cleat.{side}") for side in unmeasured]
    heights = any(change.words for change in found if change.side is None)
    if heights or (is_anything_moved(assessment) and assumes_dropping(assessment)):
        said.append(say("remains.measure_again"))
    return [*said, say("remains.bring_shoes")]
