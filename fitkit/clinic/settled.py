"""The settings from which a clinic may learn: as left, kept, dated, agreed to, with slot ends as bounds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Literal

import pandas

from fitkit import cautions
from fitkit.assessment.cleats import Start, start_of
from fitkit.assessment.inputs import Inputs, Visit
from fitkit.calculations.learned_band import MIDDLE_SIZE_EU, Settled
from fitkit.clinic.visits import SIDES, ClinicVisits, outcomes
from fitkit.house import House, StartingBand

NO_FITTER = "not said"
# A cleat within so many reading errors of a slot's end, or of its start, is taken to stand there.
READING_ERRORS = 2.0


@dataclass(frozen=True)
class SettledFoot:
    """One foot's setting as left."""

    client_id: str  # whose foot and whose work
    fitter_id: str  # whose foot and whose work
    size_eu: float  # shoe size [EU sizes]
    setback_mm: float  # cleat setback as left, as read [mm]
    bound: Literal[-1, 0, 1]  # 0 a setting; 1 at the slot's rear end; -1 at its front end
    bound_mm: float  # the setting, or the bound it lies beyond: the slot's end less what a reading may be wrong [mm]
    start_shift_mm: float  # how far the start stood from the starting rule's line [mm]
    left_the_start: bool  # whether another setting than the start was tried or left


@dataclass(frozen=True)
class Chosen:
    """Feet chosen to learn from, and how many visits or feet fell out for which reason."""

    feet: tuple[SettledFoot, ...]
    left_out: dict[str, int]

    @cached_property
    def frame(self) -> pandas.DataFrame:
        """The feet, one row each, with the whole size under which a foot is shown: a half size goes with the next."""
        found = pandas.DataFrame(list(self.feet), columns=[field.name for field in fields(SettledFoot)])
        return found.assign(whole_size=[math.floor(foot.size_eu + 0.5) for foot in self.feet])

    @property
    def riders(self) -> int:
        """How many riders they belong to."""
        return self.frame["client_id"].nunique()

    @property
    def share_that_left(self) -> float:
        """Share of riders who tried or were left another setting than the start, on one foot at least [1]."""
        return float(self.frame.groupby("client_id")["left_the_start"].any().mean()) if self.feet else 0.0

    def arrays(self) -> Settled:
        """Return the feet as plain arrays, fitters in the order of their ids."""
        frame = self.frame
        return Settled(
            setback_mm=frame["bound_mm"].to_numpy(float),
            bound=frame["bound"].to_numpy(int),
            size_eu=frame["size_eu"].to_numpy(float),
            start_shift_mm=frame["start_shift_mm"].to_numpy(float),
            rider=pandas.factorize(frame["client_id"], sort=True)[0],
            fitter=pandas.factorize(frame["fitter_id"], sort=True)[0],
        )


def settled_visits(clinic: ClinicVisits) -> tuple[list[Visit], dict[str, int]]:
    """Return the visits whose settings were kept and may be learned from, and why the others were left out.

    A foot whose leg got worse afterwards is not settled, kept or not: see `latest_of_each_rider`.
    """
    chosen, left_out = [], Counter()
    for visit, went in outcomes(clinic):
        if went != "kept":
            continue
        if visit.session.consent.learning is not True:
            left_out["no consent to learning recorded (visits)"] += 1
        else:
            chosen.append(visit)
    return chosen, dict(left_out)


def latest_of_each_rider(
    visits: Iterable[Visit],
    left_out: dict[str, int] | None = None,
    *,
    worse: Mapping[str, tuple[str, ...]] | None = None,
    earlier_rules: House | None = None,
) -> Chosen:
    """Return the usable feet of each rider's latest visit, so that a rider counts once."""
    feet: dict[str, tuple[SettledFoot, ...]] = {}
    counted = Counter(left_out or {})
    for visit in sorted(visits, key=lambda one: (one.session.visit_date, one.key)):
        found, why_not = feet_of(visit, earlier_rules, worse=(worse or {}).get(visit.key, ()))
        counted.update(why_not)
        if found:
            if visit.session.client_id in feet:
                counted["an earlier setting of a rider who counts once (visits)"] += 1
            feet[visit.session.client_id] = found
    return Chosen(tuple(foot for client in sorted(feet) for foot in feet[client]), dict(counted))


def feet_of(
    visit: Visit, earlier_rules: House | None = None, *, worse: tuple[str, ...] = ()
) -> tuple[tuple[SettledFoot, ...], list[str]]:
    """Return a visit's feet that can be learned from, and for each other the reason why not."""
    if cautions.stops_advice(visit.session):
        return (), ["an open sign that needs a clinician (visits)"]
    inputs = Inputs(visit)
    earlier = Inputs(replace(visit, house=earlier_rules)) if earlier_rules else None
    feet, why_not = [], []
    for side in SIDES:
        found = "a complaint of that leg got worse (feet)" if side in worse else _foot(inputs, side, earlier)
        if isinstance(found, str):
            why_not.append(found)
        else:
            feet.append(found)
    return tuple(feet), why_not


def _foot(inputs: Inputs, side: str, earlier: Inputs | None) -> SettledFoot | str:
    setback = as_left_mm(inputs, side)
    if setback is None:
        return "cleat not measured as left (feet)"
    start = start_of(inputs, side)
    if start.band is None:
        return "no shoe size within the starting rule (feet)"
    slots = [inputs.number(f"shoes.{side}.{end}_cleat_setback_mm") for end in ("least", "greatest")]
    if None in slots:
        return "slot ends not measured (feet)"
    reach = READING_ERRORS * inputs.visit.house.rules.spread.cleat_setback_mm
    bound, bound_mm = _bound(inputs, side, setback, slots, reach)
    signed = inputs.visit.session.sign_off
    recorded = getattr(signed.starts_mm, side) if signed else None
    # The start in force then, where it was recorded; else by today's rules.
    by_rules = [_point(start), *([_point(start_of(earlier, side))] if earlier else [])]
    starts = by_rules if recorded is None else [recorded]
    held = [min(max(point, slots[0]), slots[1]) for point in starts if point is not None]
    tried = [setback, *_tried(inputs, side)]
    return SettledFoot(
        client_id=inputs.visit.session.client_id,
        fitter_id=inputs.visit.session.fitter_id or NO_FITTER,
        size_eu=start.size_eu,
        setback_mm=setback,
        bound=bound,
        bound_mm=bound_mm,
        start_shift_mm=starts[0] - line_of(inputs.visit.house.rules.starting_band, start.size_eu),
        left_the_start=any(all(abs(place - point) > reach for point in held) for place in tried),
    )


def _point(start: Start) -> float | None:
    """Return where the first trial starts: below the sizes with a point, from the band's rearward end [mm]."""
    if start.point is None and start.band is not None:
        return start.band.high
    return start.point


def line_of(rule: StartingBand, size_eu: float = MIDDLE_SIZE_EU) -> float:
    """Return the starting rule's point at a size [mm], for every size the rule draws its line through."""
    return rule.low_at_eu_40_mm + rule.point_above_low_mm + rule.per_size_mm * (size_eu - 40)


def as_left_mm(inputs: Inputs, side: str) -> float | None:
    """Return the cleat setback as left, by readings or by the distance moved from as found [mm]."""
    read = inputs.number(f"as_left.{side}.cleat_setback_mm")
    if read is not None:
        return read
    moved = getattr(inputs.visit.session.as_left.moved_mm, side)
    found = inputs.number(f"as_found.{side}.cleat_setback_mm")
    return None if moved is None or found is None else found + moved


def _tried(inputs: Inputs, side: str) -> list[float]:
    paths = [f"trials.{n}.position.{side}.cleat_setback_mm" for n in range(len(inputs.visit.session.trials))]
    return [place for place in map(inputs.number, paths) if place is not None]


def _bound(
    inputs: Inputs, side: str, setback: float, slots: list[float], reach: float
) -> tuple[Literal[-1, 0, 1], float]:
    """Return whether a cleat stands at a slot's end, and the setting or the bound [mm].

    The bound is the end less what a reading may be wrong. Every setting read beyond it counts as a bound, so that the
    bound is a fixed place and the likelihood of lying beyond it is exact.
    """
    least, greatest = slots
    # An adapter moves the slots, and where to was not measured.
    if inputs.number_now(f"{side}.adapter_stack_mm"):
        return 0, setback
    if abs(setback - greatest) <= reach:
        return 1, greatest - reach
    if abs(setback - least) <= reach:
        return -1, least + reach
    return 0, setback
