"""What was found and done in the visits, as counts and spreads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit import cautions
from fitkit.assessment.inputs import Inputs, Visit
from fitkit.clinic.settled import as_left_mm
from fitkit.clinic.visits import Clinic

__all__ = ["CHANGES", "Change", "Month", "changes", "done", "months", "told"]

SIDES = ("left", "right")


@dataclass(frozen=True)
class Month:
    """One month's visits."""

    month: str
    visits: int
    riders: int
    new: int
    signed_off: int


@dataclass(frozen=True)
class Measure:
    """Something that is measured as found and as left."""

    words: str
    unit: str
    paths: tuple[str, ...]
    more: str
    less: str
    # A difference up to this is none: what two readings from one mark may differ by.
    alike: float


@dataclass(frozen=True)
class Change:
    """One measure as found against as left, over the visits that have both: 10th, 50th and 90th percentiles."""

    measure: Measure  # what was measured
    count: int  # how many have both
    found: tuple[float, ...] = ()  # percentiles as found, as left, and of the difference; empty where too few have both
    left: tuple[float, ...] = ()  # percentiles as found, as left, and of the difference; empty where too few have both
    # percentiles as found, as left, and of the difference; empty where too few have both
    difference: tuple[float, ...] = ()
    more: int = 0  # how many went one way, the other, or stayed
    less: int = 0  # how many went one way, the other, or stayed
    alike: int = 0  # how many went one way, the other, or stayed


CHANGES = (
    Measure(
        "Cleat setback (feet)",
        "mm",
        tuple(f"{side}.cleat_setback_mm" for side in SIDES),
        "toward the heel",
        "toward the toes",
        2.0,
    ),
    Measure(
        "Cleat toe-out (feet)",
        "°",
        tuple(f"{side}.cleat_toe_out_deg" for side in SIDES),
        "toes outward",
        "toes inward",
        2.0,
    ),
    Measure("Saddle height", "mm", ("saddle_height_mm",), "up", "down", 2.0),
    Measure("Saddle setback", "mm", ("saddle_setback_mm",), "back", "forward", 2.0),
)


def months(clinic: Clinic) -> list[Month]:
    """Return the visits month by month."""
    firsts = {course[0].key for course in clinic.courses()}
    grouped: dict[str, list[Visit]] = {}
    for visit in sorted(clinic.visits, key=lambda one: one.session.visit_date):
        grouped.setdefault(visit.session.visit_date[:7], []).append(visit)
    return [
        Month(
            month,
            len(visits),
            len({visit.session.client_id for visit in visits}),
            sum(visit.key in firsts for visit in visits),
            sum(visit.session.sign_off is not None for visit in visits),
        )
        for month, visits in grouped.items()
    ]


def told(clinic: Clinic) -> dict[str, Counter[str]]:
    """Return in how many visits each complaint, each thing seen riding, and each sign occurs."""
    found = {"complaints": Counter(), "seen": Counter(), "signs": Counter()}
    for one in clinic.sessions:
        found["complaints"].update({entry.region for entry in one.complaints})
        found["seen"].update({entry.what for entry in one.seen})
        found["signs"].update({entry.sign for entry in one.signs})
    return found


def done(clinic: Clinic) -> dict[str, int]:
    """Return in how many visits each kind of thing was done."""
    kinds: dict[str, Callable[[Visit], bool]] = {
        "a cleat setback measured again as left": lambda v: _any(v, "as_left", "cleat_setback_mm"),
        "at least one trial ridden": lambda v: bool(v.session.trials),
        "a shim or wedge left under a cleat": lambda v: _any(v, "as_left", "shim_mm", "wedge_deg"),
        "a washer, spindle or extender changed": lambda v: _any(
            v, "as_left", "washer_mm", "spindle_id", "extender_id", "extender_mm", "spindle_to_cleat_centre_mm"
        ),
        "a change of stance width wished for": lambda v: any(
            getattr(v.session.wish, side).half_stance_change_mm is not None for side in SIDES
        ),
        "advice stopped by a sign for a clinician": lambda v: cautions.stops_advice(v.session),
    }
    return {words: sum(map(holds, clinic.visits)) for words, holds in kinds.items()}


def _any(visit: Visit, position: str, *fields: str) -> bool:
    place = getattr(visit.session, position)
    return any(getattr(getattr(place, side), field) not in (None, ()) for side in SIDES for field in fields)


def changes(clinic: Clinic) -> list[Change]:
    """Return what was found against what was left, measure by measure."""
    inputs = [Inputs(visit) for visit in clinic.visits]
    return [_change(measure, inputs, clinic.small) for measure in CHANGES]


def _change(measure: Measure, visits: list[Inputs], small: int) -> Change:
    pairs = []
    for inputs in visits:
        for path in measure.paths:
            pair = (inputs.number(f"as_found.{path}"), _left(inputs, path))
            if None not in pair:
                pairs.append(pair)
    if not pairs or len(pairs) < small:
        return Change(measure, len(pairs))
    found, left = np.array(pairs).T
    difference = left - found
    more, less = (int(np.count_nonzero(sign * difference > measure.alike)) for sign in (1, -1))
    percentiles = (tuple(map(float, np.percentile(values, (10, 50, 90)))) for values in (found, left, difference))
    return Change(measure, len(pairs), *percentiles, more, less, len(pairs) - more - less)


def _left(inputs: Inputs, path: str) -> float | None:
    side, _, field = path.partition(".")
    return as_left_mm(inputs, side) if field == "cleat_setback_mm" else inputs.number(f"as_left.{path}")
