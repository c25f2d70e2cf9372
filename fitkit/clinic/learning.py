"""The settings a clinic may learn from, and the band they teach, as house rules and by fitter; or why there is none.

Settings are as left, kept, dated, agreed to, with slot ends as bounds.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Literal

import pandas

from fitkit import cautions, files
from fitkit.assessment.cleats import Start, start_of
from fitkit.assessment.inputs import Inputs, Visit
from fitkit.calculations.learned_band import MIDDLE_SIZE_EU, Learned, Prior, Settled, fitter_bias, learn, new_rider
from fitkit.calculations.readings import Interval
from fitkit.clinic.visits import SIDES, ClinicVisits, got_worse, outcomes
from fitkit.files import write_new
from fitkit.house import House, HouseProblems, Rules, StartingBand
from fitkit.house.rules import parse_rules
from fitkit.words import count

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
    setback = inputs.own_setback("as_left", side)
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


# House choices, no source. Fewer riders say little beyond the prior; where hardly anyone was ever set elsewhere
# than the rule says, the settings are the rule's own echo.
LEAST_RIDERS = 30
LEAST_SHARE_THAT_LEFT = 0.25
NOT_SEPARATED = "cannot be separated from the starting rule"
GRADE = "this clinic"


@dataclass(frozen=True)
class BandOfSize:
    """The learned band for one size [EU sizes, mm]."""

    size_eu: float  # shoe size
    # middle of new riders, and the ends between which the middle half of them settles: the band to start from
    middle_half: Interval
    new_rider: Interval  # the same with the interval that holds 95 % of new riders


@dataclass(frozen=True)
class LearnedBand:
    """What was learned, or why nothing was.

    The band is the middle half of new riders rather than the 95 % interval: it is a place to begin, its ends are
    where a shift begins, and one rider in forty is no place to begin. Both are always shown side by side.
    """

    chosen: Chosen  # the feet it was learned from, and what was left out
    learned: Learned | None  # the fit, None where it was refused
    refused: str | None  # why it was refused
    prior_rule: StartingBand  # the starting rule it is shrunk toward
    small: int  # sizes with fewer riders are not shown

    @cached_property
    def sizes(self) -> tuple[float, ...]:
        """Whole sizes from the smallest to the greatest that have riders enough to be shown."""
        riders = self.chosen.frame.groupby("whole_size")["client_id"].nunique()
        enough = riders.index[riders >= max(self.small, 1)]
        return tuple(map(float, range(enough.min(), enough.max() + 1))) if len(enough) else ()

    @cached_property
    def bands(self) -> tuple[BandOfSize, ...]:
        """The band for each size shown, none where it was refused."""
        return tuple(map(self.band, self.sizes)) if self.learned else ()

    def band(self, size_eu: float) -> BandOfSize:
        """Return the band for one size [EU sizes]."""
        return BandOfSize(size_eu, new_rider(self.learned, size_eu, level=0.5), new_rider(self.learned, size_eu))


def band_of(clinic: ClinicVisits) -> LearnedBand:
    """Return the starting band this clinic's settled riders teach."""
    visits, left_out = settled_visits(clinic)
    rule = clinic.house.rules.starting_band
    earlier = _with_shipped_band(clinic.house) if rule.grade == GRADE else None
    chosen = latest_of_each_rider(visits, left_out, worse=got_worse(clinic), earlier_rules=earlier)
    prior_rule = earlier.rules.starting_band if earlier else rule
    refused = _why_not(chosen)
    learned = None if refused else learn(chosen.arrays(), prior_of(prior_rule))
    return LearnedBand(chosen, learned, refused, prior_rule, clinic.small)


def prior_of(rule: StartingBand) -> Prior:
    """Return the prior whose line is a starting rule's."""
    return Prior(level_mm=line_of(rule), slope_mm=rule.per_size_mm)


def _with_shipped_band(house: House) -> House:
    path = files.template("house_rules.json")
    shipped, _ = parse_rules(path.read_text(encoding="utf-8"), file=path.name)
    rules = house.rules.model_copy(update={"starting_band": shipped.starting_band})
    return replace(house, rules=rules)


def _why_not(chosen: Chosen) -> str | None:
    if chosen.riders < LEAST_RIDERS:
        riders = count(chosen.riders, "rider")
        return f"{riders} with settings that were kept; at least {LEAST_RIDERS} are needed"
    if chosen.share_that_left < LEAST_SHARE_THAT_LEFT:
        return (
            f"{NOT_SEPARATED}: of {chosen.riders} riders with settings that were kept, {chosen.share_that_left:.0%} "
            f"were ever set elsewhere than the start; at least {LEAST_SHARE_THAT_LEFT:.0%} are needed"
        )
    return None


FORMAT = "cleat-stance-learned-band"


class NotLearnedError(Exception):
    """There is no learned band to make a rule of; the text says why."""


def rule_from(band: LearnedBand, rule: StartingBand, *, by: str, day: date) -> StartingBand:
    """Return the starting band as a house rule learned in this clinic."""
    if band.learned is None or not band.sizes:
        raise NotLearnedError(f"no band was learned: {band.refused or 'no size has riders enough to be shown'}")
    middle = band.band(band.sizes[len(band.sizes) // 2])
    first, last = band.band(40.0).middle_half, band.band(47.0).middle_half
    slope = max(0.0, round((last.value - first.value) / 7, 3))
    below = middle.middle_half.value - middle.middle_half.low
    width = middle.middle_half.high - middle.middle_half.low
    low = round(middle.middle_half.low - slope * (middle.size_eu - 40), 1)
    least_high = low + slope * (rule.point_from_size - 40) + width
    return StartingBand(
        low_at_eu_40_mm=low,
        per_size_mm=slope,
        high_above_low_mm=round(width, 1),
        point_above_low_mm=round(below, 1),
        least_size=rule.least_size,
        point_from_size=rule.point_from_size,
        extrapolated_above_size=min(max(band.sizes[-1], rule.point_from_size), rule.greatest_size),
        greatest_size=rule.greatest_size,
        below_point_high_mm=round(least_high, 1),
        grade=GRADE,
        source=_source(band, by=by, day=day),
    )


def _source(band: LearnedBand, *, by: str, day: date) -> str:
    learned, chosen = band.learned, band.chosen
    at = band.band(band.sizes[len(band.sizes) // 2])
    return (
        f"learned from {learned.riders} riders whose settings were kept ({learned.feet} feet, {learned.bounds} at a "
        f"slot end, {learned.fitters} fitters, {chosen.share_that_left:.0%} set elsewhere than the start); the band is "
        f"the middle half of new riders; 95 % of them at EU {at.size_eu:g}: {at.new_rider.low:.1f} to "
        f"{at.new_rider.high:.1f} mm; "
        f"decided by {by} on {day.isoformat()}"
    )


def band_document(band: LearnedBand) -> dict:
    """Return what was learned as plain data, for other programs."""
    return {
        "format": FORMAT,
        "version": 1,
        "refused": band.refused,
        "riders": band.chosen.riders,
        "feet": len(band.chosen.feet),
        "share_that_left_the_start": band.chosen.share_that_left,
        "bands": [
            {
                "size_eu": one.size_eu,
                "point_mm": one.middle_half.value,
                "middle_half_mm": [one.middle_half.low, one.middle_half.high],
                "new_rider_95_mm": [one.new_rider.low, one.new_rider.high],
            }
            for one in band.bands
        ],
    }


def write_rules(rules: Rules, learned_rule: StartingBand, path: Path, *, mode: int = 0o600) -> None:
    """Write a new house-rules file with the learned band in place of the starting band."""
    tree = rules.model_dump(mode="json")
    tree["starting_band"] = learned_rule.model_dump(mode="json")
    text = json.dumps(tree, indent=2, ensure_ascii=False) + "\n"
    _, problems = parse_rules(text, file=path.name)
    if problems:
        raise HouseProblems(path, problems)
    write_new(path, text.encode(), mode=mode)


def compare(clinic: ClinicVisits, prior_rule: StartingBand) -> pandas.DataFrame:
    """Return each fitter's bias: how far the cleats of riders of one size end from those of the other fitters [mm].

    One row a fitter: riders, value, low and high; not a number where a fitter has too few riders, or fewer than two
    fitters have enough.
    """
    agreed = [visit for visit in clinic.visits if visit.session.consent.learning is True]
    chosen = latest_of_each_rider(agreed)
    found = chosen.frame.groupby("fitter_id").agg(riders=("client_id", "nunique"))
    enough = found["riders"] >= max(clinic.small, 2)
    if enough.sum() < 2:
        return found.assign(value=math.nan, low=math.nan, high=math.nan)
    learned = learn(chosen.arrays(), prior_of(prior_rule))
    biases = [asdict(fitter_bias(learned, number)) for number in range(len(found))]
    return found.join(pandas.DataFrame(biases, index=found.index)[enough])
