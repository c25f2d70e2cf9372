"""Papers of the room and the workshop: setting strips at true size, the sheet for the room, the workshop slip.

The slip says what is to be done by the advice and the changes of sheet and record, in the workshop's own words.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache, partial

from fitkit import cautions, house
from fitkit import session as sessions
from fitkit.advice_words import slots_words, value_words
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.files import template
from fitkit.report.changes import ENGLISH, Change, changes, owed_names, setting_words, to_do
from fitkit.report.cleats import instruction, slip_words
from fitkit.report.pages import render
from fitkit.report.sheet import PEDAL, going_back, torques
from fitkit.report.stance import foot_gaps
from fitkit.report.visit import complaint_words, yes_or_no
from fitkit.session import Session
from fitkit.session.paths import value_at
from fitkit.vocabulary import PLACES, SEEN_WORDS, SIGN_WORDS, SIGNS, UNSTEADINESS_WORDS, URGENCIES, choice_words
from fitkit.words import Catalogue, capital, catalogue, day, halved, halves, plain

# --- Setting strips: joint at 0, the line to set the cleat to, the old line -------------------------------------------

_REACH_MM = (-20, 60)  # of the ruler: ahead of the joint, and behind it
_FURTHEST_MM = 150  # possible setbacks; a strip grows to hold its lines


@dataclass(frozen=True)
class Strip:
    """One foot's strip, to be laid on the first-MTP mark; its lines stand where the other papers print them."""

    side: str  # "left" or "right"
    set_to_mm: float | None  # where to set the cleat's centreline, behind the joint [mm]
    old_mm: float | None  # where it was found [mm]
    words: str  # what is to be done
    low_mm: int  # the ends of its ruler, behind the joint positive [mm]
    high_mm: int  # the ends of its ruler, behind the joint positive [mm]


def strips(assessment: Assessment) -> tuple[Strip, Strip]:
    """Return both feet's strips."""
    return _strip(assessment, "left"), _strip(assessment, "right")


def _strip(assessment: Assessment, side: str) -> Strip:
    places = assessment[f"{side}.cleat_setback.as_found"].value, assessment.feet[side].set_to
    old, set_to = (None if place is None else halved(place) for place in places)
    if set_to == old:
        set_to = None  # one line is enough where nothing moves
    stopped = cautions.stops_advice(assessment.visit.session)
    words = "no line to set: see a clinician first" if stopped else instruction(assessment, side)
    known = [value for value in (old, set_to) if value is not None]
    low = int(min([_REACH_MM[0], *(value - 15 for value in known)]) // 10 * 10)
    high = int(-(-max([_REACH_MM[1], *(value + 15 for value in known)]) // 10) * 10)
    return Strip(side, set_to, old, words, low, min(high, _FURTHEST_MM))


def setting_strip_html(assessment: Assessment) -> str:
    """Return the page with both strips, printed at 100 %: its bar of 100 mm tells a page that was scaled."""
    session = assessment.visit.session
    return render(
        "setting_strip.html.j2",
        "paper.css",
        strips=strips(assessment),
        plain=plain,
        key=sessions.key(session),
        visit=day(session.visit_date),
        demonstration=bool(session.demonstration),
    )


# --- The sheet for the room, for greasy hands: print it, write on it, type it in afterwards ---------------------------

_COMPLAINT_ROWS, _TRIAL_ROWS = 3, 6
_LETTERS = {"left": "L", "right": "R", "both": "L R"}
# What stands in one box: its texts, and of each whether it is struck.
Box = list[tuple[str, bool]]


@cache
def _words() -> dict:
    return tomllib.loads(template("room_sheet.toml").read_text(encoding="utf-8"))


def floor_order() -> list[str]:
    """Return the paths of all that is measured, in the order of the sheet, with ``{side}`` for either side."""
    words = _words()
    return [path for part in ("marks", "group") for line in words[part] for path in line["fields"]] + words["bicycle"]


def room_sheet_html(session: Session | None = None) -> str:
    """Return the sheet for the room, two A4 sides, with what a session holds in its boxes; blank without one."""
    # No file may hold a session without its names; a blank sheet has room for them.
    session = session or Session.model_construct(client_id="", setup="", visit_date="")
    return render(
        "room_sheet.html.j2",
        "paper.css",
        session=session,
        words=_words(),
        day=day,
        scale=UNSTEADINESS_WORDS,
        unsteady_from=plain(house.load().rules.unsteady_from),
        riding={value: choice_words(value) for value in sessions.describe("rider.riding").choices},
        stop=cautions.most_urgent(session),
        signs=_signs(session),
        complaints=_complaints(session),
        seen=_seen(session),
        trials=[_trial(session, n) for n in range(_TRIAL_ROWS)],
        more={"complaints": len(session.complaints) - _COMPLAINT_ROWS, "trials": len(session.trials) - _TRIAL_ROWS},
        read=partial(_read, session),
        boxes=partial(_boxes, session),
        setback=partial(_setback, session),
        describe=lambda path: sessions.describe(path.replace("{side}", "left")),
    )


def _read(session: Session, path: str) -> Box:
    """Return what stands at a path as it was typed, each reading with whether it is struck."""
    value = value_at(session, path)
    if value is None:
        return []
    struck = {entry.index for entry in session.struck if entry.field == path}
    listed = value if isinstance(value, tuple) else (value,)
    return [(choice_words(one) if isinstance(one, str) else plain(one), n in struck) for n, one in enumerate(listed)]


def _boxes(session: Session, path: str, count: int) -> list[Box]:
    """Return the boxes of a field, a reading in each; the last holds all the rest."""
    box = _read(session, path)
    return [*(box[n : n + 1] for n in range(count - 1)), box[count - 1 :]]


def _signs(session: Session) -> list[tuple[str, list[tuple[str, bool, str]]]]:
    """Return all signs by urgency: words, whether it was found, and its side or that it was cleared."""
    found: dict[str, list[str]] = {}
    for each in (*cautions.signs_open(session), *cautions.signs_cleared(session)):
        note = " ".join(word for word in (_LETTERS.get(each.side), "cleared" if each.clearance else "") if word)
        found.setdefault(each.sign, []).append(note)
    return [
        (urgency, [(SIGN_WORDS[sign], sign in found, ", ".join(filter(None, found.get(sign, [])))) for sign in listed])
        for urgency in URGENCIES
        if (listed := [sign for sign in SIGNS if SIGNS[sign] == urgency])
    ]


def _complaints(session: Session) -> list[tuple[str, ...]]:
    listed = [
        (PLACES[each.region], each.side or "", "" if each.severity is None else plain(each.severity), each.since or "")
        for each in session.complaints
    ]
    return [*listed, *[("",) * 4] * _COMPLAINT_ROWS][:_COMPLAINT_ROWS]


def _seen(session: Session) -> list[tuple[str, bool, bool, str]]:
    """Return all that may be seen riding: words, whether on the left, on the right, and from where or that no side."""
    rows = []
    for what, words in SEEN_WORDS.items():
        found = [entry for entry in session.seen if entry.what == what]
        sides = {entry.side for entry in found}
        notes = [f"from {entry.seen_from}" for entry in found if entry.seen_from]
        notes += ["side not noted"] if None in sides else []
        left, right = (bool(sides & {side, "both"}) for side in SIDES)
        rows.append((words, left, right, ", ".join(dict.fromkeys(notes))))
    return rows


def _setback(session: Session, at: str, side: str) -> Box:
    """Return where a position puts one cleat as typed: its readings, and how far it was moved in words."""
    moved = value_at(session, f"{at}.moved_mm.{side}")
    box = _read(session, f"{at}.{side}.cleat_setback_mm")
    if moved is None:
        return box
    return [*box, (f"{plain(abs(moved))} to the {'heel' if moved > 0 else 'toes'}" if moved else "0 moved", False)]


def _trial(session: Session, n: int) -> list[Box]:
    """Return the boxes of one row of the trial log."""
    if n >= len(session.trials):
        return [[]] * 8
    trial, at = session.trials[n], f"trials.{n}"
    said = [note for note in (trial.note, trial.position.note) if note]
    said += [SEEN_WORDS[each.what] + (f", {each.side}" if each.side else "") for each in trial.seen]
    corrected, kept = ([] if told is None else [yes_or_no(told)] for told in (trial.saddle_corrected, trial.kept))
    return [
        *(_setback(session, f"{at}.position", side) for side in SIDES),
        *(_read(session, f"{at}.unsteadiness.{side}") for side in SIDES),
        _read(session, f"{at}.smooth_at_bottom"),
        [*_plain_box(corrected), *_read(session, f"{at}.position.saddle_height_mm")],
        _plain_box([*said, *map(complaint_words, trial.complaints)]),
        _plain_box(kept),
    ]


def _plain_box(words: list[str]) -> Box:
    return [(word, False) for word in words]


# --- The workshop slip: what is to be done on either side and on saddle and bars --------------------------------------

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


def workshop_slip_html(assessment: Assessment) -> str:
    """Return the workshop's page, one A4 side: what is to be done on either side and on saddle and bars."""
    return render("workshop_slip.html.j2", "paper.css", slip=workshop_slip(assessment))


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
