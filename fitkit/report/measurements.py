"""Tables of what was measured, tried, decided and said, straight from the session."""

from __future__ import annotations

import math

from fitkit import session as sessions
from fitkit.assessment import Visit
from fitkit.assessment.inputs import Inputs
from fitkit.report.blocks import Sentences, Table
from fitkit.session.paths import counting, value_at
from fitkit.words import day, halves, plain

__all__ = ["complaint_words", "last_time", "positions", "taken", "told", "trials"]

SIDES = ("left", "right")
_UNIT_WORDS = {"mm": " mm", "deg": "°", "kg": " kg", "N m": " N m", "1": ""}
_TAKEN_WORDS = {"mark_found_anew": "mark found anew each time", "tape_left_on": "tape left on"}


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
    said = f" ({_TAKEN_WORDS[how]})" if how else ""
    return f"{', '.join(words)}{unit}{said}"


def taken(visit: Visit) -> Table:
    """Return every measurement of rider, shoes, bicycle and ride that was taken, left beside right."""
    rows = []
    for info in sessions.fields():
        if info.unit is None or info.dotted.split(".")[0] not in ("rider", "shoes", "bike", "ride"):
            continue
        if "*" in info.dotted or ".right." in info.dotted:
            continue
        if ".left." in info.dotted:
            cells = tuple(_readings_words(visit, path) for path in _both(info.dotted))
        else:
            cells = (_readings_words(visit, info.dotted), "")
        if cells[0] != "—" or cells[1] not in ("—", ""):
            rows.append((info.title, *cells))
    return Table("As taken (where there is no side, one value)", ("", "Left or whole", "Right"), tuple(rows), "—")


def _both(pattern: str) -> tuple[str, str]:
    return pattern, pattern.replace(".left.", ".right.")


def _position_fields(position: object) -> list[str]:
    sided = [f"{side}.{name}" for name in type(position.left).model_fields for side in SIDES]
    moved = [f"moved_mm.{side}" for side in SIDES]
    whole = [name for name in type(position).model_fields if name.endswith("_mm") and name != "moved_mm"]
    return [*sided, *moved, *whole, "note"]


def _name(path: str) -> str:
    if path.startswith("trials."):
        return f"trial {int(path.split('.')[1]) + 1}"
    return path.replace("_", " ")


def positions(visit: Visit) -> Table:
    """Return the positions that count, one column each; a blank means as in the one before."""
    paths = counting(visit.session)
    rows = []
    for field in _position_fields(visit.session.as_found) if paths else []:
        cells = [_cell(visit, f"{path}.{field}") for path in paths]
        if any(cells):
            rows.append((_title(field, f"{paths[0]}.{field}"), *cells))
    empty = "No position was recorded."
    return Table("Positions in their order (blank: as before)", ("", *map(_name, paths)), tuple(rows), empty)


def _title(field: str, dotted: str) -> str:
    side = next((side for side in SIDES if side in field.split(".")), None)
    title = sessions.describe(dotted).title
    return f"{title}, {side}" if side and side not in title.lower() else title


def _cell(visit: Visit, dotted: str) -> str:
    value = value_at(visit.session, dotted)
    if isinstance(value, str):
        return value
    return "" if value in (None, ()) else _readings_words(visit, dotted)


def trials(visit: Visit) -> Table:
    """Return the trials as they were ridden."""
    rows = []
    for i, trial in enumerate(visit.session.trials):
        base = f"trials.{i}"
        setback = " / ".join(_cell(visit, f"{base}.position.{side}.cleat_setback_mm") or "—" for side in SIDES)
        unsteady = " / ".join(_cell(visit, f"{base}.unsteadiness.{side}") or "—" for side in SIDES)
        saddle = {True: "yes", False: "no", None: "not said"}[trial.saddle_corrected]
        kept = {True: "kept", False: "not kept", None: "not said"}[trial.kept]
        rows.append((f"trial {i + 1}", setback, unsteady, saddle, kept, trial.note or ""))
    head = ("", "Setback, left / right", "Unsteadiness 0 to 10, left / right", "Saddle corrected", "Kept", "Note")
    return Table("Trials", head, tuple(rows), "No trial was recorded.")


def last_time(visit: Visit) -> Table:
    """Return the last visit's as left beside this visit's as found."""
    empty = "No earlier visit of this client and set-up is among the files given."
    if visit.previous is None:
        return Table("Against the last visit", (), (), empty)
    before = Inputs(Visit(sessions.key(visit.previous), visit.previous, visit.house))
    now = Inputs(visit)
    rows = []
    for field in _position_fields(visit.session.as_found):
        if field.startswith("moved_mm") or sessions.describe(f"as_found.{field}").unit is None:
            continue
        left, found = before.current(field), f"as_found.{field}"
        pair = [_mean(before, left) if left else None, _mean(now, found)]
        if pair != [None, None]:
            cells = ("—" if value is None else halves(value) for value in pair)
            rows.append((_title(field, found), *cells))
    head = ("", f"As left on {day(visit.previous.visit_date)}", "As found now")
    return Table("Against the last visit", head, tuple(rows), "Neither visit holds a position.")


def _mean(inputs: Inputs, dotted: str) -> float | None:
    readings = inputs.readings(dotted)
    return math.fsum(readings) / len(readings) if readings else None


def told(visit: Visit) -> Sentences:
    """Return complaints, what was seen, what was struck and how it went since the last visit, in words."""
    session, lines = visit.session, []
    for complaint in session.complaints:
        lines.append(f"Complaint: {complaint_words(complaint)}")
    for entry in session.seen:
        seen_from = (
            f", seen from {'the ' if entry.seen_from in SIDES else ''}{entry.seen_from}" if entry.seen_from else ""
        )
        lines.append(f"Seen riding: {entry.what.replace('_', ' ')}, {entry.side}{seen_from}")
    for entry in session.struck:
        sides = [step for step in entry.field.split(".") if step in ("left", "right")]
        named = " ".join([sessions.describe(entry.field).title, *sides])
        lines.append(f"Struck out: {named}, reading {entry.index + 1}: {entry.reason}")
    since = session.since_last
    if since.kept is not None or since.complaints or since.date:
        kept = {True: "the settings were kept", False: "the settings were not kept", None: "unknown"}[since.kept]
        lines.append(f"Since the last visit: {kept}")
        lines += [f"Complaint since: {complaint_words(complaint)}" for complaint in since.complaints]
    if not session.complaints:
        lines.append("No complaint was recorded.")
    if not session.seen:
        lines.append("Watched riding: nothing unusual." if session.seen_asked else "Watched riding: not noted.")
    return Sentences(tuple(lines))


def complaint_words(complaint) -> str:
    """Return where it hurts, how much and since when, as it was said."""
    side = f", {complaint.side}" if complaint.side else ""
    severity = "" if complaint.severity is None else f", {plain(complaint.severity)} of 10"
    since = f", since {complaint.since}" if complaint.since else ""
    return f"{complaint.region.replace('_', ' ')}{side}{severity}{since}"
