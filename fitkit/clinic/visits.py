"""A folder of session files as one table of visits, and what became of their riders."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fitkit import house, session
from fitkit.assessment import assess
from fitkit.assessment.advising import worse_since
from fitkit.assessment.inputs import Visit, study_path
from fitkit.house import House
from fitkit.session import Session, SessionProblems
from fitkit.session.study import FitterStudy, load_study

if TYPE_CHECKING:
    import pandas

__all__ = [
    "NOTE",
    "OUTCOMES",
    "Clinic",
    "FollowUp",
    "Outcome",
    "clinic_of",
    "follow_ups",
    "got_worse",
    "load",
    "outcome",
    "outcomes",
]

SIDES = ("left", "right")
Outcome = Literal["kept", "changed", "unknown", "not seen again"]
OUTCOMES: dict[Outcome, str] = {
    "kept": "followed up, settings kept",
    "changed": "followed up, settings not kept",
    "unknown": "seen again, but whether kept, or the day asked, was not recorded: unknown",
    "not seen again": "no later visit: unknown",
}
SOON = timedelta(days=28)
NOTE = "overview.json"
_NAME = re.compile(r"[a-z0-9-]{1,40}_\d{4}-\d{2}-\d{2}_[a-z0-9-]{1,40}\.json", re.ASCII)


@dataclass(frozen=True)
class Clinic:
    """All visits of a clinic, in the order of client, set-up and day."""

    visits: tuple[Visit, ...]  # the visits, each with the house rules and the fitter's own study
    house: House  # the house rules and parts in force
    day: date  # the day against which follow-ups are counted
    not_counted: tuple[str, ...] = ()  # files that could not be read, each with its reason

    @property
    def sessions(self) -> tuple[Session, ...]:
        """The sessions alone."""
        return tuple(visit.session for visit in self.visits)

    @property
    def small(self) -> int:
        """Counts below this are not shown, by the house rule."""
        return self.house.rules.small_numbers_below

    @property
    def is_demonstration(self) -> bool:
        """Whether any rider is invented."""
        return any(one.demonstration for one in self.sessions)

    def frame(self) -> pandas.DataFrame:
        """Return the clinic to be analysed: one row a visit, what was said of it and every result's value as a number.

        Returns
        -------
        pandas.DataFrame
            Columns client_id, visit_date, setup, fitter_id, riding, worst_complaint (0 to 10), outcome, then a column
            a result, not a number where it was not assessed.

        Notes
        -----
        Every visit is assessed anew: about a tenth of a second each. It holds clients' health data.
        """
        import pandas  # where a frame is asked for, never on the way to a form

        return pandas.DataFrame([_row(visit, how) for visit, how in outcomes(self)])

    def courses(self) -> list[tuple[Visit, ...]]:
        """Return the visits of each client and set-up, oldest first."""
        found: dict[tuple[str, str], list[Visit]] = defaultdict(list)
        for visit in self.visits:
            found[visit.session.client_id, visit.session.setup].append(visit)
        return [tuple(course) for course in found.values()]


def _row(visit: Visit, how: Outcome) -> dict:
    opened = visit.session
    severities = [complaint.severity for complaint in opened.complaints if complaint.severity is not None]
    said = {name: getattr(opened, name) for name in ("client_id", "visit_date", "setup", "fitter_id")}
    said |= {"riding": opened.rider.riding, "worst_complaint": max(severities, default=None), "outcome": how}
    return said | {name: estimate.value for name, estimate in assess(visit).results.items()}


def clinic_of(
    sessions: Iterable[Session],
    rules: House,
    *,
    day: date,
    studies: dict[str, FitterStudy] | None = None,
    not_counted: tuple[str, ...] = (),
) -> Clinic:
    """Return the clinic of these sessions; riders who did not agree to a record are left out."""
    studies = studies or {}
    kept = [one for one in sessions if one.consent.record is not False]
    kept.sort(key=lambda one: (one.client_id, one.setup, one.visit_date))
    visits = tuple(Visit(session.key(one), one, rules, None, studies.get(session.key(one))) for one in kept)
    return Clinic(visits, rules, day, not_counted)


def load(folder: str | Path) -> Clinic:
    """Read every session file in a folder and the folders inside it."""
    folder = Path(folder)
    note = _note(folder)
    sessions, studies, wrong = [], {}, list(note.get("not_counted", []))
    for path in sorted(folder.rglob("*.json")):
        if not _NAME.fullmatch(path.name):
            continue
        try:
            opened = session.load(path)
            found = study_path(path, opened.fitter_id)
            if found is not None:
                studies[session.key(opened)] = load_study(found)
            sessions.append(opened)
        except SessionProblems as error:
            wrong.append(f"{path.name}: {error.problems[0]}")
    day = note.get("day") or date.today().isoformat()
    return clinic_of(sessions, house.load(), day=date.fromisoformat(day), studies=studies, not_counted=tuple(wrong))


def _note(folder: Path) -> dict:
    path = folder / NOTE
    return json.loads(path.read_bytes()) if path.is_file() else {}


@dataclass(frozen=True)
class FollowUp:
    """A follow-up that was promised and has not taken place."""

    client_id: str
    setup: str
    fitter_id: str | None
    due: date
    days_over: int


def outcome(visit: Visit, later: Visit | None) -> Outcome:
    """Return how a visit went on, from the next visit of the same client and set-up."""
    if later is None:
        return "not seen again"
    since = later.session.since_last
    # A day before the visit cannot tell how its settings went.
    if since.kept is None or since.date is None or since.date < visit.session.visit_date:
        return "unknown"
    return "kept" if since.kept else "changed"


def outcomes(clinic: Clinic) -> list[tuple[Visit, Outcome]]:
    """Return each visit with how it went on, course by course, oldest first."""
    found = []
    for course in clinic.courses():
        for visit, later in zip(course, (*course[1:], None), strict=True):
            found.append((visit, outcome(visit, later)))
    return found


def got_worse(clinic: Clinic) -> dict[str, tuple[str, ...]]:
    """Return, by the key of a visit, the sides whose complaints were worse at the next visit of the same course."""
    found = {}
    for course in clinic.courses():
        for visit, later in pairwise(course):
            rules = clinic.house.rules
            sides = [side for side in SIDES if worse_since(visit.session, later.session, side=side, rules=rules)]
            if sides:
                found[visit.key] = tuple(sides)
    return found


def follow_ups(clinic: Clinic) -> list[FollowUp]:
    """Return the follow-ups due within four weeks or overdue on the stated day, the longest overdue first."""
    found = []
    for course in clinic.courses():
        last = course[-1].session
        if last.follow_up_due is None:
            continue
        due = date.fromisoformat(last.follow_up_due)
        if due <= clinic.day + SOON:
            over = (clinic.day - due).days
            found.append(FollowUp(last.client_id, last.setup, last.fitter_id, due, over))
    return sorted(found, key=lambda one: (one.due, one.client_id, one.setup))
