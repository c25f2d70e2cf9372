"""The rider's sheet: what was changed, where things stood and stand, first rides, when to stop, what remains.

Plain words for reading at home: no grades, no percentages, no sprint figures, and a blank line for the name.
"""

from __future__ import annotations

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.assessment.clearances import outward_since_found
from fitkit.assessment.inputs import Inputs
from fitkit.report.soles import soles_figure, stood_and_stands, toe_words
from fitkit.report.words import capital, day, move_words, whole

__all__ = ["rider_sheet"]

SIDES = ("left", "right")
_SETTINGS = (
    ("saddle_height_mm", "Saddle height, crank centre to saddle top", "down", "up"),
    ("saddle_setback_mm", "Saddle behind the crank centre", "forward", "back"),
    ("bar_height_mm", "Bar height", "down", "up"),
    ("bar_reach_mm", "Reach to the bar", "closer", "further away"),
)
# What is recorded nowhere is not fitted, so it counts as 0; a toe-out not measured is not known.
_PARTS = (
    ("washer_mm", "Pedal washers", " mm"),
    ("extender_mm", "Pedal extenders", " mm"),
    ("shim_mm", "Shims under the cleats", " mm"),
    ("wedge_deg", "Wedges under the feet", "°"),
    ("adapter_stack_mm", "Adapters under the cleats", " mm"),
)


_BACK = (
    "Something was tried before this was acted on: shoes and bicycle must be put back as found, to the numbers under "
    "“before”. Ask us to show you that this was done."
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
        "toes": [words for side in SIDES if (words := toe_words(assessment, side))],
        "odd": _odd(assessment),
        "rides": [*cautions.FIRST_RIDE[:2], f"{cautions.FIRST_RIDE[2]} {cautions.TORQUE}", *_parts(rows)],
        "remains": _remains(assessment),
    }


def _stopped(assessment: Assessment) -> dict:
    """Return what the sheet says when a sign stops the advice: see whom, how soon, and put back."""
    session = assessment.visit.session
    signs = [f"{sign.words}: see {sign.who}." for sign in cautions.signs_open(session)]
    put_back = cautions.put_back(session)
    changes = [
        "We give no advice on cleats today; first somebody should look at what you told us or we saw. "
        "Ask there whether you may ride; until then do not."
    ]
    return {
        "title": "Please see somebody first",
        "stopped": [capital(sign) for sign in signs],
        "changes": [*changes, *([_BACK] if put_back else [])],
        "figure": None,
        "toes": [],
        "odd": [],
        "rides": [],
        "remains": ["Bring what the clinician says to your next visit; nothing is changed before that."],
    }


def _rows(assessment: Assessment) -> list[dict]:
    """Return before and now of all that is recorded, so that each change can be undone."""
    inputs = Inputs(assessment.visit)
    rows = []
    for side in SIDES:
        before, now, _ = stood_and_stands(assessment, side)
        rows.append(_row(f"{side.capitalize()} cleat behind the joint", [before], [now], " mm"))
    for name, words, _, _ in _SETTINGS:
        rows.append(_row(words, [inputs.number(f"as_found.{name}")], [inputs.number_now(name)], " mm"))
    rows.append(_widths(assessment, inputs))
    rows.append(_pair(inputs, "cleat_toe_out_deg", "Shoes, toes outward", "°"))
    parts = [_pair(inputs, name, words, unit, nowhere=0.0) for name, words, unit in _PARTS]
    rows += [row for row in parts if row["changed"]]
    return [row for row in rows if row["before"] != "not measured" or row["changed"]]


def _pair(inputs: Inputs, name: str, words: str, unit: str, *, nowhere: float | None = None) -> dict:
    """Return one row for both sides of a position's field."""
    before = [inputs.number(f"as_found.{side}.{name}") for side in SIDES]
    now = [inputs.number_now(f"{side}.{name}") for side in SIDES]
    both = [[nowhere if value is None else value for value in values] for values in (before, now)]
    return _row(f"{words}, left / right", *both, unit)


def _widths(assessment: Assessment, inputs: Inputs) -> dict:
    """Return how far each foot stood and stands from the frame's middle."""
    now = [assessment[f"{side}.half_stance"].value for side in SIDES]
    before = [
        None if value is None else value - outward_since_found(inputs, side)
        for side, value in zip(SIDES, now, strict=True)
    ]
    return _row("Feet from the frame's middle, left / right", before, now, " mm")


def _row(words: str, before: list[float | None], now: list[float | None], unit: str) -> dict:
    """Return one row of before and now, of one value or of both sides."""
    said = [_values(values, unit) for values in (before, now)]
    is_changed = "not measured" not in said and said[0] != said[1]
    shown = said[1] if is_changed or said[0] != said[1] else "as before"
    return {"what": words, "before": said[0], "now": shown, "changed": is_changed}


def _values(values: list[float | None], unit: str) -> str:
    if all(value is None for value in values):
        return "not measured"
    return " / ".join("?" if value is None else whole(value) for value in values) + unit


def _changes(assessment: Assessment) -> list[str]:
    """Return what was changed, in a paragraph each for cleats, saddle and bars, and what must be said beside it."""
    places = {side: stood_and_stands(assessment, side) for side in SIDES}
    cleats = " ".join(_cleat_words(side, move) for side, (_, _, move) in places.items())
    stands = [now for _, now, _ in places.values()]
    if None not in stands and abs(stands[0] - stands[1]) >= 1:
        cleats += " Left and right may differ: each cleat is set from its own joint."
    said = [cleats, " ".join(_settings_changed(assessment))]
    unmeasured = [side for side in SIDES if _is_decided_only(assessment, side)]
    if unmeasured:
        which = "cleats" if len(unmeasured) == 2 else f"{unmeasured[0]} cleat"
        said.append(f"For your {which} “now” is what was decided; it was not measured again after tightening.")
    return [line for line in said if line]


def _cleat_words(side: str, move: float | None) -> str:
    if move is None:
        return f"Your {side} cleat was not measured, so this sheet cannot say where it stood."
    if whole(move) == "0":
        return f"Your {side} cleat stays where it was."
    return f"Your {side} cleat went {move_words(move)}."


def _is_decided_only(assessment: Assessment, side: str) -> bool:
    is_decided = assessment.foot(side).target_from in ("moved", "decided")
    return is_decided and not assessment[f"{side}.cleat_setback.as_left"].is_known


def _settings_changed(assessment: Assessment) -> list[str]:
    inputs, said = Inputs(assessment.visit), []
    for name, words, less, more in _SETTINGS:
        before, now = inputs.number(f"as_found.{name}"), inputs.number_now(name)
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
    touched = any(word in row["what"].lower() for row in rows if row["changed"] for word in ("washer", "extender"))
    return [cautions.PART_CAUTIONS] if touched else []


def _saddle_waits(assessment: Assessment) -> list[str]:
    """Say what the saddle still owes the moved cleat, where its height was not measured again."""
    saddle = assessment["saddle.height_only.down"]
    inputs = Inputs(assessment.visit)
    before, now = inputs.number("as_found.saddle_height_mm"), inputs.number_now("saddle_height_mm")
    is_done = before != now or inputs.readings("as_left.saddle_height_mm")
    is_moved = any(assessment.foot(side).target_from in ("moved", "decided") for side in SIDES)
    if is_done or not is_moved or not saddle.is_known or whole(saddle.value) == "0":
        return []
    way = "down" if saddle.value > 0 else "up"
    return [f"Saddle {whole(abs(saddle.value))} mm {way} goes with the moved cleats; it was not noted as done."]


def _width_waits(assessment: Assessment) -> list[str]:
    """Say what was wished of the width and what the parts leave of it."""
    said, inputs = [], Inputs(assessment.visit)
    for side, choice in assessment.standing.choices.items():
        wish = assessment[f"{side}.half_stance.wish"].value
        done = outward_since_found(inputs, side)
        if whole(wish - done) == "0":
            continue
        way = "further out" if wish > 0 else "further in"
        lack = whole(choice.remaining_mm)
        can = whole(abs(wish - choice.remaining_mm))
        left = "" if lack == "0" else f", of which our parts allow {can}"
        part = "" if whole(done) == "0" else f", {whole(abs(done))} {'out' if done > 0 else 'in'} so far"
        said.append(f"{side} foot {whole(abs(wish))} mm {way}{left}{part}")
    return [f"Wished and not reached today: {'; '.join(said)}."] if said else []


def _remains(assessment: Assessment) -> list[str]:
    said = [*_saddle_waits(assessment), *_width_waits(assessment), *_slots_end(assessment)]
    said += [
        f"Your {side} cleat is still to be measured."
        for side in SIDES
        if not assessment[f"{side}.cleat_setback.as_found"].is_known
    ]
    if _settings_changed(assessment):
        said.append("We will measure saddle and bars again after you have ridden.")
    said.append("Bring these shoes and tell us what you noticed, good or bad.")
    return said


def _slots_end(assessment: Assessment) -> list[str]:
    """Say whose shoe's slots end before the place that would be tried."""
    said = []
    for side in SIDES:
        short = assessment[f"{side}.cleat_setback.shortfall"]
        if short.is_known and whole(short.value) != "0":
            end = "heel" if short.value > 0 else "toes"
            said.append(f"{side} {whole(abs(short.value))} mm toward the {end}")
    if not said:
        return []
    return [
        f"Your shoes' slots end before the place we would try ({', '.join(said)}); it needs another shoe or an adapter."
    ]
