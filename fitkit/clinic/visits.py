"""A folder of session files as one table of visits, and what became of their riders."""

from __future__ import annotations

import json
import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Literal

import pandas

from fitkit import house, session
from fitkit.assessment import RESULT_NAMES, assess
from fitkit.assessment.advising import worse_since
from fitkit.assessment.cleats import start_of
from fitkit.assessment.inputs import Inputs, Visit, study_path
from fitkit.calculations.readings import sample_variance
from fitkit.house import House
from fitkit.report.blocks import Sentences
from fitkit.session import Session, SessionProblems
from fitkit.session.reading import is_empty
from fitkit.session.study import FitterStudy, load_study
from fitkit.vocabulary import PLACES, SIDES, TAKEN_BRIEFLY

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
_OF_A_FOOT = ("size_eu", "cleat_setback.readings", "cleat_setback.spread_mm", "cleat_setback.taken")
_TOLD_TWICE = ("client_id", "setup", "fitter_id", "visit_date", "next_date", "region", "side", "then", "now")
_MOST_NAMED = 8  # groups that are not shown
_TRAINEES = "learning"  # the work folder's place for a trainee's own copies of an invented rider


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
            is_signed_off; of each foot, here the left, left.size_eu (from the label, else from the foot's length) and
            of its cleat setback as found left.cleat_setback.readings (how many count), .spread_mm (their standard
            deviation, of two or more) and .taken (how repeats were taken); then a column a result. What was not
            assessed is not a number.

        Notes
        -----
        Every visit is assessed anew: about a tenth of a second each. It holds clients' health data.
        """
        values = [
            {**_feet(visit), **{name: found.value for name, found in assess(visit).results.items()}}
            for visit, _ in outcomes(self)
        ]
        names = [f"{side}.{name}" for side in SIDES for name in _OF_A_FOOT]
        numbers = pandas.DataFrame(values, columns=[*names, *RESULT_NAMES])
        is_number = [name for name in numbers if not name.endswith(".taken")]
        return pandas.concat([self.visits_frame(), numbers.astype(dict.fromkeys(is_number, float))], axis="columns")

    def complaints_frame(self) -> pandas.DataFrame:
        """Return what hurt at a visit and at the next one of the same client and set-up, one row a place of the body.

        Returns
        -------
        pandas.DataFrame
            Columns client_id, setup, fitter_id, visit_date, next_date, region, side, then and now (the rider's worst
            score there, 0 to 10; not a number where it was not named or not scored), is_named_then, is_named_now.

        Notes
        -----
        "Now" is what the next visit says of the time since, else of its own day, as in `worse_since`. Not named is not
        gone: nobody asks about every place of the body.
        """
        rows = [row for course in self.courses() for then, now in pairwise(course) for row in _told_twice(then, now)]
        found = pandas.DataFrame(rows, columns=[*_TOLD_TWICE, "is_named_then", "is_named_now"])
        return found.astype({"then": float, "now": float, "is_named_then": bool, "is_named_now": bool})

    def few(self, number: int) -> str:
        """Return a count as it may be shown: one too small by the house rule in words."""
        return f"under {self.small}" if 0 < number < self.small else str(number)

    def enough(self, frame: pandas.DataFrame, *by: str) -> tuple[pandas.DataFrame, Sentences]:
        """Return the rows of those groups that have enough riders to be shown, and in words which have too few.

        Parameters
        ----------
        frame : pandas.DataFrame
            Rows of clients, with a column client_id.
        by : str
            Columns that make the groups; a row with nothing in one of them belongs to none.
        """
        of_a_group = frame.groupby(list(by), observed=True)["client_id"]
        riders = of_a_group.nunique().reset_index()
        small = riders[riders["client_id"] < self.small]
        names = [", ".join(f"{e:g}" if isinstance(e, float) else str(e) for e in row[:-1]) for row in small.values]
        shown = frame[of_a_group.transform("nunique") >= self.small]
        more = f"; and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
        named = "; ".join(names[:_MOST_NAMED])
        said = [f"Not shown, under {self.small} riders (house rule): {named}{more}."] if names else []
        without = frame.loc[frame[list(by)].isna().any(axis="columns"), "client_id"].nunique()
        said += [f"In no group, since something of it was not recorded: {self.few(without)} riders."] if without else []
        if shown.empty:
            said.insert(0, f"Nothing can be shown: no group has {self.small} riders or more.")
        return shown, Sentences(tuple(said))


def _feet(visit: Visit) -> dict:
    inputs, found = Inputs(visit), {}
    for side in SIDES:
        dotted = f"as_found.{side}.cleat_setback_mm"
        readings = inputs.readings(dotted)
        spread = math.sqrt(sample_variance(readings)) if len(readings) > 1 else None
        taken = TAKEN_BRIEFLY.get(visit.session.taken.get(dotted))
        values = (start_of(inputs, side).size_eu, len(readings), spread, taken)
        found |= {f"{side}.{name}": value for name, value in zip(_OF_A_FOOT, values, strict=True)}
    return found


def _told_twice(then: Visit, now: Visit) -> Iterator[tuple]:
    """Yield the rows of two visits of one course, as in `_TOLD_TWICE`, each with whether it was named then and now."""
    first, later = then.session, now.session
    told = [first.complaints, later.since_last.complaints or later.complaints]
    for region, side in dict.fromkeys((one.region, one.side) for group in told for one in group):
        named = [[one.severity for one in group if (one.region, one.side) == (region, side)] for group in told]
        worst = [max((score for score in scores if score is not None), default=None) for scores in named]
        whose = (first.client_id, first.setup, first.fitter_id, first.visit_date, later.visit_date)
        yield (*whose, PLACES[region], side, *worst, *map(bool, named))


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
    """Return the visits of these sessions, without empty ones and without riders who did not agree to a record."""
    studies = studies or {}
    kept = [one for one in sessions if one.consent.record is not False and not is_empty(one)]
    kept.sort(key=lambda one: (one.client_id, one.setup, one.visit_date))
    visits = tuple(Visit(session.key(one), one, rules, None, studies.get(session.key(one))) for one in kept)
    return ClinicVisits(visits, rules, day, not_counted)


def load(folder: str | Path) -> ClinicVisits:
    """Read every session file in a folder and the folders inside it."""
    folder = Path(folder)
    note = json.loads((folder / NOTE).read_bytes()) if (folder / NOTE).is_file() else {}
    sessions, studies, wrong = [], {}, list(note.get("not_counted", []))
    for path in sorted(folder.rglob("*.json")):
        if not _NAME.fullmatch(path.name) or path.parent.name == _TRAINEES:
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
