"""A folder of session files as one table of visits, and what became of their riders."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Literal

import pandas

from fitkit import house, session
from fitkit.assessment import assess
from fitkit.assessment.advising import worse_since
from fitkit.assessment.inputs import Visit, study_path
from fitkit.house import House
from fitkit.session import Session, SessionProblems
from fitkit.session.study import FitterStudy, load_study

SIDES = ("left", "right")
Outcome = Literal["kept", "changed", "unknown", "not seen again"]
OUTCOMES: dict[Outcome, str] = {
    "kept": "followed up, settings kept",
    "changed": "followed up, settings not kept",
    "unknown": "seen again, but whether kept, or the day asked, was not recorded: unknown",
    "not seen again": "no later visit: unknown",
}
NOTE = "overview.json"
_NAME = re.compile(r"[a-z0-9-]{1,40}_\d{4}-\d{2}-\d{2}_[a-z0-9-]{1,40}\.json", re.ASCII)
_COLUMNS = (
    *("client_id", "visit_date", "setup", "fitter_id", "riding", "worst_complaint", "outcome"),
    *("is_first", "is_signed_off"),
)


@dataclass(frozen=True)
class ClinicVisits:
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

    def courses(self) -> list[tuple[Visit, ...]]:
        """Return the visits of each client and set-up, oldest first."""
        found: dict[tuple[str, str], list[Visit]] = defaultdict(list)
        for visit in self.visits:
            found[visit.session.client_id, visit.session.setup].append(visit)
        return [tuple(course) for course in found.values()]

    def visits_frame(self) -> pandas.DataFrame:
        """Return what was said of each visit, one row a visit: the columns of `frame` but the results."""
        first = {course[0].key for course in self.courses()}
        rows = [_row(visit, outcome, is_first=visit.key in first) for visit, outcome in outcomes(self)]
        return pandas.DataFrame(rows, columns=_COLUMNS)

    def frame(self) -> pandas.DataFrame:
        """Return the clinic to be analysed: one row a visit, what was said of it and every result's value as a number.

        Returns
        -------
        pandas.DataFrame
            Columns client_id, visit_date, setup, fitter_id, riding, worst_complaint (0 to 10), outcome, is_first,
            is_signed_off, then a column a result, not a number where it was not assessed.

        Notes
        -----
        Every visit is assessed anew: about a tenth of a second each. It holds clients' health data.
        """
        values = [{name: found.value for name, found in assess(visit).results.items()} for visit, _ in outcomes(self)]
        return pandas.concat([self.visits_frame(), pandas.DataFrame(values)], axis="columns")


def _row(visit: Visit, outcome: Outcome, *, is_first: bool) -> dict:
    opened = visit.session
    severities = [complaint.severity for complaint in opened.complaints if complaint.severity is not None]
    return {
        **{name: getattr(opened, name) for name in ("client_id", "visit_date", "setup", "fitter_id")},
        "riding": opened.rider.riding,
        "worst_complaint": max(severities, default=None),
        "outcome": outcome,
        "is_first": is_first,
        "is_signed_off": opened.sign_off is not None,
    }


def clinic_of(
    sessions: Iterable[Session],
    rules: House,
    *,
    day: date,
    studies: dict[str, FitterStudy] | None = None,
    not_counted: tuple[str, ...] = (),
) -> ClinicVisits:
    """Return the visits of these sessions; riders who did not agree to a record are left out."""
    studies = studies or {}
    kept = [one for one in sessions if one.consent.record is not False]
    kept.sort(key=lambda one: (one.client_id, one.setup, one.visit_date))
    visits = tuple(Visit(session.key(one), one, rules, None, studies.get(session.key(one))) for one in kept)
    return ClinicVisits(visits, rules, day, not_counted)


def load(folder: str | Path) -> ClinicVisits:
    """Read every session file in a folder and the folders inside it."""
    folder = Path(folder)
    note = json.loads((folder / NOTE).read_bytes()) if (folder / NOTE).is_file() else {}
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


def _outcome(visit: Visit, later: Visit | None) -> Outcome:
    """Return how a visit went on, from the next visit of the same client and set-up."""
    if later is None:
        return "not seen again"
    since = later.session.since_last
    # A day before the visit cannot tell how its settings went.
    if since.kept is None or since.date is None or since.date < visit.session.visit_date:
        return "unknown"
    return "kept" if since.kept else "changed"


def outcomes(clinic: ClinicVisits) -> list[tuple[Visit, Outcome]]:
    """Return each visit with how it went on, course by course, oldest first."""
    return [
        (visit, _outcome(visit, later))
        for course in clinic.courses()
        for visit, later in zip(course, (*course[1:], None), strict=True)
    ]


def got_worse(clinic: ClinicVisits) -> dict[str, tuple[str, ...]]:
    """Return, by the key of a visit, the sides whose complaints were worse at the next visit of the same course."""
    rules, found = clinic.house.rules, {}
    for course in clinic.courses():
        for visit, later in pairwise(course):
            sides = [side for side in SIDES if worse_since(visit.session, later.session, side=side, rules=rules)]
            if sides:
                found[visit.key] = tuple(sides)
    return found
