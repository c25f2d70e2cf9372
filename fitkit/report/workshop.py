"""The workshop slip: what is to be done, by the advice and the changes of sheet and record, in the workshop's words."""

from __future__ import annotations

from fitkit import cautions
from fitkit.advice_words import slots_words, value_words
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.files import template
from fitkit.report.changes import ENGLISH, Change, changes, owed_names, setting_words, to_do
from fitkit.report.cleats import instruction, slip_words
from fitkit.report.sheet import PEDAL, going_back, torques
from fitkit.report.stance import foot_gaps
from fitkit.words import Catalogue, capital, catalogue, day, halved, halves, plain

_CLEAT = "cleat_setback_mm"


def _over(below: dict, above: dict) -> dict:
    """Return the words below with those above in their places."""
    return below | {
        key: _over(below[key], words) if isinstance(words, dict) and key in below else words
        for key, words in above.items()
    }


WORKSHOP = Catalogue(_over(ENGLISH.tree, catalogue(template("workshop_words.toml")).tree))


def workshop_slip(assessment: Assessment) -> dict:
    """Return the content of the workshop slip: no work on cleats, saddle or width where a sign is open."""
    session, found = assessment.visit.session, changes(assessment.visit, WORKSHOP)
    slip = {
        "client": session.client_id,
        "visit": day(session.visit_date),
        "setup": session.setup,
        "fitter": session.fitter_id,
        "demonstration": bool(session.demonstration),
        "unsafe": [capital(each.words) for each in assessment.unsafe],
        "checks": _checks(assessment),
    }
    if cautions.stops_advice(session):
        return slip | _stopped(assessment, found)
    # What is to go back, or is owed for a moved cleat, is said as such and never "leave as found" besides.
    elsewhere = {name for advice in assessment.advice.values() for name in advice.also_back} | owed_names(assessment)
    whole = [_whole(each) for each in found if each.side is None and (each.words or each.name not in elsewhere)]
    sides = [(side.capitalize(), WORKSHOP(f"slip.thread.{side}"), _side(assessment, found, side)) for side in SIDES]
    return slip | {
        "stopped": [],
        "groups": [*sides, ("Saddle and bars", "", whole)],
        "torques": _torques(assessment),
        "to_do": to_do(assessment, WORKSHOP),
    }


def _torques(assessment: Assessment) -> list[str]:
    return list(dict.fromkeys((*torques(assessment, WORKSHOP), WORKSHOP("cautions.parts"))))


def _stopped(assessment: Assessment, found: list[Change]) -> dict:
    """Return whom to see first, and where a trial had begun the places as found to put everything back to."""
    session = assessment.visit.session
    signs = "; ".join(sign.words for sign in cautions.signs_open(session))
    said = [f"{capital(signs)}.", WORKSHOP("slip.nothing", who=cautions.most_urgent(session).who)]
    back, rows = cautions.put_back(session), []
    if back:
        said.append(back)
        for each in found:
            key = "put_back_to" if each.words else "put_back"
            rows.append(_row(each.what, WORKSHOP(f"slip.{key}", before=each.before, now=each.now)))
    groups, bolts = ([("Put back", "", rows)], _torques(assessment)) if back else ([], [])
    return {"stopped": said, "groups": groups, "torques": bolts, "to_do": []}


def _row(what: str, words: str, state: str = "", more: str = "", *, is_work: bool = True) -> dict:
    """Return a row; what is decided and still to be done has a box to tick."""
    return {"what": what, "words": words, "state": state, "more": more, "open": is_work and not state}


def _state(change: Change) -> str:
    return WORKSHOP("slip.done") if change.is_sure else ""


def _from_to(words: str, before: str, now: str) -> str:
    """Return "8 mm toward the heel: from 8 to 16 mm behind the mark", the unit once where both have the same."""
    number, _, unit = before.partition(" ")
    before = number if unit and now.endswith(f" {unit}") else before
    return WORKSHOP("slip.from_to", words=words, before=before, now=now)


def _whole(change: Change) -> dict:
    """Return the row of a place that is measured; of saddle and bars too where they stay."""
    if change.by:
        words = WORKSHOP(f"do.{change.name}.{'more' if change.by > 0 else 'less'}", by=halves(abs(change.by)))
        return _row(change.what, _from_to(words, change.before, change.now), _state(change))
    key = "leave" if change.was_measured and not change.words else "now"
    return _row(change.what, WORKSHOP(f"slip.{key}", before=change.before, now=change.now), is_work=False)


def _side(assessment: Assessment, found: list[Change], side: str) -> list[dict]:
    """Return one side's rows: the cleat, how the shoe stands on it, the parts, and what the slots stop."""
    own = [change for change in found if change.side == side]
    rows = [row for change in own if change.name == _CLEAT for row in _cleat(assessment, change)]
    rows += [_whole(change) for change in own if change.name != _CLEAT and change.words and not change.is_part]
    for change in own:
        if change.is_part:
            rows.append(_row(change.what, change.words, _state(change), _part_words(assessment, change.now)))
    chosen = (assessment.parts or {}).get(side)
    if chosen and chosen["chosen"] and not any(change.name in PEDAL for change in own):
        named = [f"{each} ({_part_words(assessment, each)})" for each in chosen["chosen"]]
        rows.append(_row(WORKSHOP("slip.wished"), "; ".join(named), WORKSHOP("slip.advised")))
    if slots := slots_words(assessment.advice[side]):
        rows.append(_row(WORKSHOP("slip.slots"), slots, is_work=False))
    return rows


def _cleat(assessment: Assessment, change: Change) -> list[dict]:
    """Return the cleat's row: what was decided or kept, else what the advice is, and that nobody has decided on it."""
    side, advice = change.side, assessment.advice[change.side]
    if change.words:
        return [_whole(change) | {"more": slip_words(assessment, side)}]
    before, words = assessment[f"{side}.cleat_setback.as_found"].value, instruction(assessment, side)
    is_open = advice.next_mm is not None and advice.kind not in ("decided", "kept")
    state = ""
    if is_open and before is not None and halved(before) != halved(advice.next_mm):
        words = _from_to(words, *(setting_words(_CLEAT, place, WORKSHOP) for place in (before, advice.next_mm)))
        state = WORKSHOP("slip.advised")
    elif before is not None:
        words = WORKSHOP("slip.stays", words=words, before=change.before)
    if advice.kind != "put_back":
        return [_row(change.what, words, state, is_work=False)]
    # The first sentence of what is put back is the cleat's, where it was changed.
    is_cleat = bool(assessment.advised[side].facts.changed_then_mm)
    also = [
        _row(WORKSHOP("slip.back"), line, WORKSHOP("slip.advised"))
        for line in going_back(assessment, side, WORKSHOP)[is_cleat:]
    ]
    return [_row(change.what, words, state), *also] if is_cleat else also


def _part_words(assessment: Assessment, part_id: str | None) -> str:
    """Return what the parts table says of a part by its id, nothing where it has none."""
    part = Inputs(assessment.visit).part(part_id)
    if part is None:
        return ""
    said = [WORKSHOP("part.of", kind=part.kind.replace("_", " "), family=part.family)]
    told = {name: getattr(part, name) for name in ("adds_mm", "setback_gain_mm", "stack_mm", "max_rider_kg")}
    said += [WORKSHOP(f"part.{name}", value=plain(value)) for name, value in told.items() if value is not None]
    return ", ".join([*said, WORKSHOP("part.workshop")] if part.fitted_by == "workshop" else said)


def _checks(assessment: Assessment) -> list[tuple[str, str, str]]:
    """Return what must be checked before the bicycle leaves, left and right: thread engaged, gaps of the foot."""
    least = f"{assessment.visit.house.rules.least_turns:g}"
    turns = [assessment[f"{side}.thread.turns"] for side in SIDES]
    words = [WORKSHOP("slip.turns", turns=value_words(found), least=least) for found in turns]
    return [("Pedal thread engaged", *words), *((capital(what), *cells) for what, *cells in foot_gaps(assessment).rows)]
