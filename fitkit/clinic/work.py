"""What was found and done in the visits, as counts and spreads, and what is to be done next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import pandas

from fitkit import cautions
from fitkit.assessment import Visit, assess
from fitkit.assessment.inputs import Inputs
from fitkit.clinic.visits import SIDES, ClinicVisits

DUE_WITHIN = timedelta(days=28)
PERCENTILES = (0.1, 0.5, 0.9)
_FITTED = ("spindle_id", "extender_id", "washer_mm", "extender_mm", "spindle_to_cleat_centre_mm")


def months(clinic: ClinicVisits) -> pandas.DataFrame:
    """Return visits, riders, first visits and sign-offs, one row a month."""
    visits = clinic.visits_frame()
    return visits.groupby(visits["visit_date"].str[:7]).agg(
        visits=("client_id", "size"),
        riders=("client_id", "nunique"),
        first_visits=("is_first", "sum"),
        signed_off=("is_signed_off", "sum"),
    )


def follow_ups(clinic: ClinicVisits) -> pandas.DataFrame:
    """Return the follow-ups due within four weeks or overdue on the stated day, one row each, longest overdue first."""
    last = [course[-1].session for course in clinic.courses()]
    rows = [
        (one.client_id, one.setup, one.fitter_id, due, (clinic.day - due).days)
        for one in last
        if one.follow_up_due and (due := date.fromisoformat(one.follow_up_due)) <= clinic.day + DUE_WITHIN
    ]
    found = pandas.DataFrame(rows, columns=["client_id", "setup", "fitter_id", "due", "days_over"])
    return found.sort_values(["due", "client_id", "setup"])


def orders(clinic: ClinicVisits) -> pandas.DataFrame:
    """Return the parts the open wishes need that are not in stock in full, one row a part.

    Where the stock is not known, in_stock and to_order are not a number.
    """
    rows = [(part.id, part.family, part.kind, part.in_stock) for part in clinic.house.parts]
    table = pandas.DataFrame(rows, columns=["part", "family", "kind", "in_stock"]).set_index("part")
    chosen = [_chosen(course[-1]) for course in clinic.courses() if _has_open_wish(course[-1])]
    wanted = pandas.DataFrame([each for parts in chosen for each in parts.items()], columns=["part", "count"])
    wanted = wanted.astype({"count": int}).join(table, on="part")
    # One crank is bought as a pair; everything else is counted by sides.
    wanted["pieces"] = wanted["count"].mask(wanted["kind"] == "crank", 1)
    found = wanted.groupby("part").agg(visits=("count", "size"), pieces=("pieces", "sum")).join(table)
    found["to_order"] = (found["pieces"] - found["in_stock"].astype(float)).clip(lower=0)
    return found[found["to_order"] != 0]


def _has_open_wish(visit: Visit) -> bool:
    """Whether a change of width is wished for, nothing forbids it, and nothing is recorded as fitted for it."""
    session = visit.session
    if all(getattr(session.wish, side).half_stance_change_mm is None for side in SIDES):
        return False
    left = [getattr(getattr(session.as_left, side), field) for side in SIDES for field in _FITTED]
    return not cautions.stops_advice(session) and all(value is None for value in left)


def _chosen(visit: Visit) -> Counter[str]:
    return Counter(part for choice in assess(visit).choices.values() for part in choice.chosen)


def observed(clinic: ClinicVisits) -> dict[str, pandas.Series]:
    """Return in how many visits each complaint, each thing seen riding, and each sign occurs, most frequent first."""
    fields = {"complaints": "region", "seen": "what", "signs": "sign"}
    found = {}
    for kind, field in fields.items():
        named = [name for one in clinic.sessions for name in {getattr(entry, field) for entry in getattr(one, kind)}]
        counts = pandas.Series(named, dtype=object).value_counts().sort_index()
        found[kind] = counts.sort_values(ascending=False, kind="stable")
    return found


def done(clinic: ClinicVisits) -> dict[str, int]:
    """Return in how many visits each kind of thing was done."""
    kinds: dict[str, Callable[[Visit], bool]] = {
        "a cleat setback measured again as left": lambda v: _has_left(v, "cleat_setback_mm"),
        "at least one trial ridden": lambda v: bool(v.session.trials),
        "a shim or wedge left under a cleat": lambda v: _has_left(v, "shim_mm", "wedge_deg"),
        "a washer, spindle or extender changed": lambda v: _has_left(v, *_FITTED),
        "a change of stance width wished for": lambda v: any(
            getattr(v.session.wish, side).half_stance_change_mm is not None for side in SIDES
        ),
        "advice stopped by a sign for a clinician": lambda v: cautions.stops_advice(v.session),
    }
    return {words: sum(map(holds, clinic.visits)) for words, holds in kinds.items()}


def _has_left(visit: Visit, *fields: str) -> bool:
    places = [getattr(visit.session.as_left, side) for side in SIDES]
    return any(getattr(place, field) not in (None, ()) for place in places for field in fields)


@dataclass(frozen=True)
class Measure:
    """Something that is measured as found and as left."""

    words: str
    unit: str
    path: str  # in a position, with ``{side}`` for either side
    more: str  # where it went if the difference is positive, and if it is negative
    less: str
    alike: float = 2.0  # a difference up to this is none: what two readings from one mark may differ by


MEASURES = (
    Measure("Cleat setback (feet)", "mm", "{side}.cleat_setback_mm", "toward the heel", "toward the toes"),
    Measure("Cleat toe-out (feet)", "°", "{side}.cleat_toe_out_deg", "toes outward", "toes inward"),
    Measure("Saddle height", "mm", "saddle_height_mm", "up", "down"),
    Measure("Saddle setback", "mm", "saddle_setback_mm", "back", "forward"),
)


def changes(clinic: ClinicVisits) -> dict[Measure, pandas.DataFrame]:
    """Return each measure as found, as left and their difference, over the visits that have both, one row each."""
    inputs = [Inputs(visit) for visit in clinic.visits]
    found = {}
    for measure in MEASURES:
        paths = dict.fromkeys(measure.path.format(side=side) for side in SIDES)
        pairs = [(each.number(f"as_found.{path}"), _as_left(each, path)) for each in inputs for path in paths]
        both = pandas.DataFrame(pairs, columns=["found", "left"], dtype=float).dropna()
        found[measure] = both.assign(difference=both["left"] - both["found"])
    return found


def _as_left(inputs: Inputs, path: str) -> float | None:
    side, _, field = path.partition(".")
    return inputs.own_setback("as_left", side) if field == "cleat_setback_mm" else inputs.number(f"as_left.{path}")
