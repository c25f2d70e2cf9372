"""The rider's sheet: what was changed, where things stood and stand, first rides, when to stop, what remains.

Plain words for reading at home: no grades, no percentages, no sprint figures, and a blank line for the name.
"""

from __future__ import annotations

import math

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.assessment.clearances import added_since_found
from fitkit.assessment.inputs import Inputs
from fitkit.report.soles import soles_figure, stood_and_stands
from fitkit.report.words import capital, day, move_words, whole

__all__ = ["rider_sheet"]

SIDES = ("left", "right")
_SETTINGS = (
    ("saddle_height_mm", "Saddle height, crank centre to saddle top", "down", "up"),
    ("saddle_setback_mm", "Saddle behind the crank centre", "forward", "back"),
    ("bar_height_mm", "Bar height", "down", "up"),
    ("bar_reach_mm", "Reach to the bar", "closer", "further away"),
)
_PER_FOOT = (
    ("cleat_toe_out_deg", "{Side} shoe, toes outward", "°"),
    ("washer_mm", "{Side} pedal washer", " mm"),
    ("extender_mm", "{Side} pedal extender", " mm"),
    ("shim_mm", "Shim under the {side} cleat", " mm"),
    ("wedge_deg", "Wedge under the {side} foot", "°"),
    ("adapter_stack_mm", "Adapter under the {side} cleat", " mm"),
)


def rider_sheet(assessment: Assessment) -> dict:
    """Return the content of the rider's sheet as plain JSON: words, a table and one picture."""
    session = assessment.visit.session
    rows = _rows(assessment)
    sheet = {
        "demonstration": bool(session.demonstration),
        "visit": day(session.visit_date),
        "setup": session.setup,
        "rows": rows,
        "stop": list(cautions.STOP_AND_CALL_US),
        "stop_at_once": cautions.STOP_AT_ONCE,
        "clinic": assessment.visit.house.rules.clinic.name,
        "telephone": assessment.visit.house.rules.clinic.telephone,
        "next": day(session.follow_up_due) if session.follow_up_due else None,
        "footer": cautions.NOT_A_DIAGNOSIS,
    }
    if cautions.stops_advice(session):
        return sheet | _stopped(assessment)
    figure = soles_figure(assessment, for_rider=True)
    return sheet | {
        "title": "What we changed" if any(row["changed"] for row in rows) else "How your bicycle and shoes stand",
        "stopped": [],
        "changes": _changes(assessment),
        "figure": figure.html,
        "odd": _odd(assessment),
        "rides": [*cautions.FIRST_RIDE[:2], f"{cautions.FIRST_RIDE[2]} {cautions.TORQUE}", *_parts(rows)],
        "remains": _remains(assessment),
    }


def _stopped(assessment: Assessment) -> dict:
    """Return what the sheet says when a sign stops the advice: see whom, how soon, and put back."""
    session = assessment.visit.session
    signs = [f"{sign.words}: see {sign.who}." for sign in cautions.signs_open(session)]
    put_back = cautions.put_back(session)
    changes = ["We give no advice on cleats today; first somebody should look at what you told us or we saw."]
    return {
        "title": "Please see somebody first",
        "stopped": [capital(sign) for sign in signs],
        "changes": [*changes, *([put_back] if put_back else [])],
        "figure": None,
        "odd": [],
        "rides": [f"{cautions.FIRST_RIDE[2]} {cautions.TORQUE}"] if put_back else [],
        "remains": ["Bring what the clinician says to your next visit; nothing is changed before that."],
    }


def _mean(inputs: Inputs, dotted: str) -> float | None:
    readings = inputs.readings(dotted)
    return math.fsum(readings) / len(readings) if readings else None


def _rows(assessment: Assessment) -> list[dict]:
    """Return before and now of all that is recorded, so that each change can be undone."""
    inputs = Inputs(assessment.visit)
    rows = []
    for side in SIDES:
        before, now, _ = stood_and_stands(assessment, side)
        rows.append(_row(f"{side.capitalize()} cleat behind the joint", before, now, " mm"))
    for name, words, _, _ in _SETTINGS:
        rows.append(_settled(inputs, name, words, " mm"))
    for side in SIDES:
        now = assessment[f"{side}.half_stance"].value
        before = None if now is None else now - added_since_found(inputs, side)
        rows.append(_row(f"{side.capitalize()} foot from the frame's middle", before, now, " mm"))
    for name, words, unit in _PER_FOOT:
        for side in SIDES:
            title = words.format(side=side, Side=side.capitalize())
            row = _settled(inputs, f"{side}.{name}", title, unit)
            if row["changed"] or name == "cleat_toe_out_deg":
                rows.append(row)
    return [row for row in rows if row["before"] != "not measured" or row["now"] != "not measured"]


def _settled(inputs: Inputs, field: str, words: str, unit: str) -> dict:
    before, where = _mean(inputs, f"as_found.{field}"), inputs.current(field)
    return _row(words, before, _mean(inputs, where) if where else None, unit)


def _row(words: str, before: float | None, now: float | None, unit: str) -> dict:
    said = ["not measured" if value is None else f"{whole(value)}{unit}" for value in (before, now)]
    return {
        "what": words,
        "before": said[0],
        "now": said[1],
        "changed": None not in (before, now) and said[0] != said[1],
    }


def _changes(assessment: Assessment) -> list[str]:
    said = []
    places = {side: stood_and_stands(assessment, side) for side in SIDES}
    for side, (_, _, move) in places.items():
        if move is None:
            said.append(f"Your {side} cleat was not measured, so this sheet cannot say where it stood.")
        elif whole(move) == "0":
            said.append(f"Your {side} cleat stays where it was.")
        else:
            said.append(f"Your {side} cleat went {move_words(move)}.")
    said += _settings_changed(assessment)
    stands = [now for _, now, _ in places.values()]
    if None not in stands and abs(stands[0] - stands[1]) >= 1:
        said.append("Left and right differ because your feet do: each cleat is set from its own joint.")
    unmeasured = [side for side in SIDES if _is_decided_only(assessment, side)]
    if unmeasured:
        which = "cleats" if len(unmeasured) == 2 else f"{unmeasured[0]} cleat"
        said.append(f"For your {which} “now” is what was decided; it was not measured again after tightening.")
    return said


def _is_decided_only(assessment: Assessment, side: str) -> bool:
    is_decided = assessment.foot(side).target_from in ("moved", "decided")
    return is_decided and not assessment[f"{side}.cleat_setback.as_left"].is_known


def _settings_changed(assessment: Assessment) -> list[str]:
    inputs, said = Inputs(assessment.visit), []
    for name, words, less, more in _SETTINGS:
        where = inputs.current(name)
        before, now = _mean(inputs, f"as_found.{name}"), _mean(inputs, where) if where else None
        if before is None or now is None or whole(now - before) == "0":
            continue
        thing = words.split(",")[0]
        said.append(f"{thing}: {whole(abs(now - before))} mm {more if now > before else less}.")
    return said


def _odd(assessment: Assessment) -> list[str]:
    """Return what will feel odd at first; common practice, no source, and no promise."""
    found = [stood_and_stands(assessment, side)[2] for side in SIDES]
    moves = [move for move in found if move is not None and whole(move) != "0"]
    if not moves:
        return ["Nothing on your cleats should feel new."]
    said = []
    if max(moves) >= 1:
        said.append(
            "With a cleat further back the foot sits further forward over the pedal; at first it may feel flat."
        )
    if min(moves) <= -1:
        said.append("With a cleat further forward the calf has more to hold; stop if it tires or hurts.")
    return [*said, "Most riders notice it for a few rides. Clicking in may need a new aim."]


def _parts(rows: list[dict]) -> list[str]:
    touched = any(word in row["what"] for row in rows if row["changed"] for word in ("washer", "extender", "pedal"))
    return [cautions.PART_CAUTIONS] if touched else []


def _saddle_waits(assessment: Assessment) -> list[str]:
    """Say what the saddle still owes the moved cleat, where its height was not measured again."""
    saddle = assessment["saddle.height_only.down"]
    is_done = Inputs(assessment.visit).readings("as_left.saddle_height_mm")
    is_moved = any(assessment.foot(side).target_from in ("moved", "decided") for side in SIDES)
    if is_done or not is_moved or not saddle.is_known or whole(saddle.value) == "0":
        return []
    way = "down" if saddle.value > 0 else "up"
    return [f"Saddle {whole(abs(saddle.value))} mm {way} goes with the moved cleats; it was not noted as done."]


def _width_waits(assessment: Assessment) -> list[str]:
    """Say what was wished of the width and what the parts leave of it."""
    said = []
    for side, choice in assessment.standing.choices.items():
        wish = assessment[f"{side}.half_stance.wish"].value
        way = "further out" if wish > 0 else "further in"
        left = (
            ""
            if whole(choice.remaining_mm) == "0"
            else f"; the parts we know leave {whole(abs(choice.remaining_mm))} mm of it"
        )
        said.append(f"Your {side} foot {whole(abs(wish))} mm {way} is for another day{left}.")
    return said


def _remains(assessment: Assessment) -> list[str]:
    said = [*_saddle_waits(assessment), *_width_waits(assessment)]
    if _settings_changed(assessment):
        said.append("We will measure saddle and bars again after you have ridden.")
    for side in SIDES:
        short = assessment[f"{side}.cleat_setback.shortfall"]
        if short.is_known and whole(short.value) != "0":
            end = "heel" if short.value > 0 else "toes"
            said.append(
                f"The slots of your {side} shoe end {whole(abs(short.value))} mm before the place we would try, "
                f"toward the {end}; another shoe or an adapter would be needed."
            )
    said.append("Bring these shoes and tell us what you noticed, good or bad.")
    return said
