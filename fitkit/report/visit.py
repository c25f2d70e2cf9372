"""The visit itself: whose it is, signs, what was measured, tried, decided and told, what changed since the last one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import chain

from fitkit import session as sessions
from fitkit.assessment import Assessment, Visit
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.calculations.sprint_settings import A_YES
from fitkit.cautions import put_back, signs_cleared, signs_open, stops_advice
from fitkit.report.blocks import Sentences, Table, number_words
from fitkit.report.changes import ENGLISH, to_do
from fitkit.report.cleats import slip_words
from fitkit.report.sheet import torques
from fitkit.session.paths import counting, value_at
from fitkit.session.rider import Complaint
from fitkit.vocabulary import PLACES, SEEN_WORDS, choice_words
from fitkit.words import capital, day, halved, halves, plain

_UNIT_WORDS = {"mm": " mm", "deg": "°", "kg": " kg", "N m": " N m", "1": ""}
_WHOLE = "both or no side"
_KEPT_SINCE = {
    True: "The rider says the settings were kept.",
    False: "The rider says the settings were not kept: what follows cannot be put down to them.",
    None: "Whether the settings were kept is unknown.",
}


def about(assessment: Assessment) -> Sentences:
    """Say whose visit this is, and that a demonstration is one."""
    visit, session = assessment.visit, assessment.visit.session
    lines = [
        f"Client {session.client_id} · visit of {day(session.visit_date)} · {session.setup} set-up",
        f"Fitter {session.fitter_id or 'not said'} · {_sign_off_words(session.sign_off)}",
        f"By {visit.house.rules_source} and {visit.house.parts_source}.",
    ]
    if session.sign_off and session.sign_off.reason:
        lines.append(f"Signed off although not safe as fitted; the reason given: {session.sign_off.reason}")
    if session.note:
        lines.append(f"Remark: {session.note}")
    if visit.previous_problem:
        lines.append(_not_compared(visit))
    if session.consent.record is None:
        lines.append("Consent to keep this record: not recorded.")
    if session.demonstration:
        lines.append("Demonstration: invented rider, invented clinic.")
    return Sentences(tuple(lines), kind="about")


def _sign_off_words(signed) -> str:
    if signed is None:
        return "not signed off"
    amended = len(signed.amendments)
    words = f"signed off by {signed.fitter_id} on {day(str(signed.at)[:10])}"
    return f"{words}, amended {amended} times" if amended > 1 else f"{words}, amended once" if amended else words


def _not_compared(visit: Visit) -> str:
    return f"Nothing is compared with the last visit: {visit.previous_problem}"


def signs(assessment: Assessment) -> Sentences:
    """Say first what is not safe as fitted, or a sign that stops the advice, and which were cleared.

    That there is no sign is said only where all were asked about.
    """
    session = assessment.visit.session
    fitted = [f"Not safe as fitted: {each.words}" for each in assessment.unsafe]
    cleared = [f"{sign.words}: {sign.clearance}" for sign in signs_cleared(session)]
    if open_signs := signs_open(session):
        lines = [f"{capital(sign.words)}: see {sign.who}." for sign in open_signs]
        lines.append("No advice on cleats, saddle or width is given here; the measurements below may be shown.")
        lines += [words for words in [put_back(session)] if words]
        # Somebody who needs a clinician is sent there first; what is fitted waits with the bicycle.
        return Sentences((*lines, *cleared, *fitted), kind="stop")
    if session.signs_asked:
        lines = cleared or ["Asked: no sign that needs a clinician."]
    else:
        lines = [*cleared, "Signs that need a clinician: not asked yet."]
    return Sentences((*fitted, *_sprinted_unasked(assessment), *lines), kind="stop" if fitted else "list")


def _sprinted_unasked(assessment: Assessment) -> list[str]:
    """Say that sprints were ridden although the questions before hard effort were not all answered with no."""
    sprints = assessment.ride.sprints
    if not (sprints.ridden and sprints.screen_needs):
        return []
    answers = "something spoke against them" if sprints.screen_needs == A_YES else "no answers recorded"
    return [f"{len(sprints.ridden)} sprints were ridden; questions before hard effort: {answers}."]


def cautions(assessment: Assessment) -> Sentences:
    """Return the cautions that stand on every paper."""
    lines = (
        *ENGLISH["cautions.first_ride"],
        *dict.fromkeys((*torques(assessment), ENGLISH("cautions.parts"))),
        f"Stop and call the clinic: {'; '.join(ENGLISH['cautions.stop'])}.",
        f"Emergency care at once: {ENGLISH('cautions.emergency')}.",
        ENGLISH("cautions.not_a_diagnosis"),
    )
    return Sentences(lines)


def remaining(assessment: Assessment) -> Sentences:
    """Say what is decided for today and what remains."""
    session = assessment.visit.session
    due = f"Follow-up due: {day(session.follow_up_due)}."
    if stops_advice(session):
        return Sentences(("Nothing is changed before the signs above have been looked at.", due))
    lines = [due]
    for side in SIDES:
        left = assessment[f"{side}.cleat_setback.as_left"]
        if assessment.advice[side].kind in ("decided", "kept") and not left.is_known:
            lines.append(f"{side.capitalize()} cleat: measure again after tightening.")
        elif slip := slip_words(assessment, side):
            lines.append(f"{side.capitalize()} cleat: {slip}; it may have slipped on tightening, measure again.")
    lines += to_do(assessment)
    lines.append("One change at a time: what is not done today waits until the rider has ridden.")
    return Sentences(tuple(lines))


# --- What was measured, as taken -------------------------------------------------------------------------------------


def intake(assessment: Assessment) -> Table:
    """Return all that was recorded of rider, shoes, bicycle and ride, as taken, left beside right."""
    rows = []
    for info in sessions.fields():
        if info.sort == "file" or info.dotted.split(".")[0] not in ("rider", "shoes", "bike", "ride"):
            continue
        if "*" in info.dotted or ".right." in info.dotted:
            continue
        cells = [_recorded_words(assessment.visit, info.dotted), ""]
        if ".left." in info.dotted:
            cells[1] = _recorded_words(assessment.visit, info.dotted.replace(".left.", ".right."))
        if set(cells) - {"—", ""}:
            rows.append((info.title, *cells))
    return Table("As taken (where there is no side, one value)", ("", "Left or whole", "Right"), tuple(rows), "—")


def _recorded_words(visit: Visit, dotted: str) -> str:
    """Return what was recorded at a path: readings as taken, a fixed word as it is read, yes or no, a text as typed."""
    value, info = value_at(visit.session, dotted), sessions.describe(dotted)
    if info.unit is not None or value is None:
        return _readings_words(visit, dotted)
    if isinstance(value, bool):
        return yes_or_no(value)
    return choice_words(value) if info.choices else str(value)


def _readings_words(visit: Visit, dotted: str) -> str:
    """Return the readings at a path as taken, struck ones in brackets with their reason."""
    value = value_at(visit.session, dotted)
    if value is None or value == ():
        return "—"
    unit = _UNIT_WORDS[sessions.describe(dotted).unit]
    if not isinstance(value, tuple):
        return f"{plain(value)}{unit}"
    struck = {entry.index: entry.reason for entry in visit.session.struck if entry.field == dotted}
    words = [
        f"[{plain(reading)} struck: {struck[i]}]" if i in struck else plain(reading) for i, reading in enumerate(value)
    ]
    how = visit.session.taken.get(dotted)
    return f"{', '.join(words)}{unit}{f' ({choice_words(how)})' if how else ''}"


def _position_fields(position: object) -> list[tuple[str, ...]]:
    """Return the fields of a position in their order, left and right of one together."""
    sided = [tuple(f"{side}.{name}" for side in SIDES) for name in type(position.left).model_fields]
    moved = tuple(f"moved_mm.{side}" for side in SIDES)
    whole = [(name,) for name in type(position).model_fields if name.endswith("_mm") and name != "moved_mm"]
    return [*sided, moved, *whole, ("note",)]


def _pair(cells: list[str]) -> str:
    return " / ".join(cell or "—" for cell in cells) if any(cells) else ""


def positions(assessment: Assessment) -> Table:
    """Return what was found, tried, decided and left, in order; a blank means as in the one before."""
    visit, rows = assessment.visit, []
    paths = counting(visit.session)
    for fields in _position_fields(visit.session.as_found) if paths else []:
        cells = [_pair([_cell(visit, f"{path}.{field}") for field in fields]) for path in paths]
        if any(cells):
            title = sessions.describe(f"{paths[0]}.{fields[0]}").title
            rows.append((f"{title}, left / right" if len(fields) > 1 else title, *cells))
    names = (f"trial {int(p.split('.')[1]) + 1}" if p.startswith("trials.") else p.replace("_", " ") for p in paths)
    empty = "No position was recorded."
    return Table("Positions in their order (blank: as before)", ("", *names), tuple(rows), empty)


def _title(field: str, dotted: str) -> str:
    side = next((side for side in SIDES if side in field.split(".")), None)
    title = sessions.describe(dotted).title
    return f"{title}, {side}" if side and side not in title.lower() else title


def _cell(visit: Visit, dotted: str) -> str:
    value = value_at(visit.session, dotted)
    if isinstance(value, str):
        return value
    return "" if value in (None, ()) else _readings_words(visit, dotted)


def yes_or_no(value: bool | None, yes: str = "yes", no: str = "no") -> str:
    """Return what was answered, "not said" where it was not."""
    return {True: yes, False: no, None: "not said"}[value]


def trials(assessment: Assessment) -> Table:
    """Return the trials as they were ridden."""
    visit, rows = assessment.visit, []

    def both(pattern: str) -> str:
        return _pair([_cell(visit, pattern.format(side=side)) for side in SIDES]) or "— / —"

    for i, trial in enumerate(visit.session.trials):
        setback = both(f"trials.{i}.position.{{side}}.cleat_setback_mm")
        unsteady = both(f"trials.{i}.unsteadiness.{{side}}")
        kept = yes_or_no(trial.kept, "kept", "not kept")
        rows.append((f"trial {i + 1}", setback, unsteady, yes_or_no(trial.saddle_corrected), kept, trial.note or ""))
    head = ("", "Setback, left / right", "Unsteadiness 0 to 10, left / right", "Saddle corrected", "Kept", "Note")
    return Table("Trials", head, tuple(rows), "No trial was recorded.")


def told(assessment: Assessment) -> Sentences:
    """Say what was struck out, how it went since the last visit, and where nothing was told or seen that it was not."""
    session, lines = assessment.visit.session, []
    for entry in session.struck:
        sides = [step for step in entry.field.split(".") if step in SIDES]
        named = " ".join([sessions.describe(entry.field).title, *sides])
        lines.append(f"Struck out: {named}, reading {entry.index + 1}: {entry.reason}")
    since = session.since_last
    if since.kept is not None or since.complaints or since.date:
        kept = {True: "the settings were kept", False: "the settings were not kept", None: "unknown"}[since.kept]
        lines.append(f"Since the last visit: {kept}")
        lines += [f"Complaint since: {complaint_words(complaint)}" for complaint in since.complaints]
    if not (session.complaints or session.seen):
        lines.append("No complaint was recorded.")
        lines.append("Watched riding: nothing unusual." if session.seen_asked else "Watched riding: not noted.")
    return Sentences(tuple(lines))


def complaint_words(complaint: Complaint) -> str:
    """Return where it hurts, how much and since when, as it was said."""
    return f"{place_words(complaint.region, complaint.side)}{severity_words(complaint)}"


def severity_words(complaint: Complaint) -> str:
    """Return how much it hurts and since when, to stand behind where."""
    severity = "" if complaint.severity is None else f", {plain(complaint.severity)} of 10"
    since = f", since {complaint.since}" if complaint.since else ""
    return f"{severity}{since}"


def place_words(region: str, side: str | None) -> str:
    return choice_words(region) + (f", {side}" if side else "")


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


# --- Against the last visit ------------------------------------------------------------------------------------------


def last_time(assessment: Assessment) -> Table:
    """Return the last visit's as left beside this visit's as found."""
    visit, caption = assessment.visit, "Against the last visit"
    if visit.previous is None:
        return Table(caption, (), (), "No earlier visit of this client and set-up is among the files given.")
    before, now = Inputs(replace(visit, session=visit.previous, previous=None)), Inputs(visit)
    rows = []
    for field in chain.from_iterable(_position_fields(visit.session.as_found)):
        found = f"as_found.{field}"
        if field.startswith("moved_mm") or sessions.describe(found).unit is None:
            continue
        left = before.current(field)
        pair = [_mean(before, left) if left else None, _mean(now, found)]
        if pair != [None, None]:
            unit = sessions.describe(found).unit
            rows.append((_title(field, found), *(number_words(value, halves, unit) for value in pair)))
    head = ("", f"As left on {day(visit.previous.visit_date)}", "As found now")
    return Table(caption, head, tuple(rows), "Neither visit holds a position.")


def _mean(inputs: Inputs, dotted: str) -> float | None:
    readings = inputs.readings(dotted)
    return math.fsum(readings) / len(readings) if readings else None


def since_last(assessment: Assessment) -> Sentences:
    """Say what was kept since the last visit and when the rider was asked; unknown stays unknown."""
    visit, since = assessment.visit, assessment.visit.session.since_last
    if visit.previous_problem:
        return Sentences((_not_compared(visit),))
    if visit.previous is not None:
        first = f"Last visit: {day(visit.previous.visit_date)}."
    elif since.kept is None and not since.complaints and since.date is None:
        return Sentences(())
    else:
        first = "The last visit is not among the files given; what was said of it stands here."
    asked = f"Asked on {day(since.date)}." if since.date else "When the rider was asked is unknown."
    no_cause = "A complaint that went may have gone by itself; one visit against another proves no cause."
    return Sentences((first, _KEPT_SINCE[since.kept], asked, no_cause))


def complaints_then_and_now(assessment: Assessment) -> Table:
    """Return each complaint of the last visit, since then, and of this visit, side by side."""
    visit, caption = assessment.visit, "Complaints then and now"
    if visit.previous is None:
        return Table(caption, (), ())
    groups = (visit.previous.complaints, visit.session.since_last.complaints, visit.session.complaints)
    places = dict.fromkeys((c.region, c.side) for group in groups for c in group)
    rows = tuple((capital(place_words(*place)), *(severity(group, place) for group in groups)) for place in places)
    head = ("", f"On {day(visit.previous.visit_date)}", "Since then", f"On {day(visit.session.visit_date)}")
    return Table(f"{caption}, 0 to 10", head, rows, "No complaint was recorded in either visit.")


def severity(complaints: Sequence[Complaint], place: tuple[str, str | None]) -> str:
    found = [complaint for complaint in complaints if (complaint.region, complaint.side) == place]
    if not found:
        # Nobody wrote that it was gone, only that it was not named.
        return "not named"
    severities = [complaint.severity for complaint in found if complaint.severity is not None]
    return ", ".join(f"{plain(severity)} of 10" for severity in severities) or "named, how bad is unknown"
