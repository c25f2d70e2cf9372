"""How each visit went on: kept, changed, unknown, or not seen again; and whom to call.

Unknown is never a success. A setting counts as kept only where the next visit of the same client and set-up says so
and names the day on which the rider was asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Literal

from fitkit.assessment.advising import worse_since
from fitkit.assessment.inputs import Visit
from fitkit.clinic.visits import Clinic

__all__ = ["OUTCOMES", "FollowUp", "Outcome", "follow_ups", "got_worse", "outcome", "outcomes"]

SIDES = ("left", "right")
Outcome = Literal["kept", "changed", "unknown", "not seen again"]
OUTCOMES: dict[Outcome, str] = {
    "kept": "followed up, settings kept",
    "changed": "followed up, settings not kept",
    "unknown": "seen again, but whether kept, or the day asked, was not recorded: unknown",
    "not seen again": "no later visit: unknown",
}
SOON = timedelta(days=28)


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
