"""The band learned from a clinic's own settled riders, as house rules and by fitter; or why there is none."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path

import pandas

from fitkit import files
from fitkit.calculations.learned_band import Learned, Prior, fitter_bias, learn, new_rider
from fitkit.calculations.readings import Interval
from fitkit.clinic.settled import Chosen, latest_of_each_rider, line_of, settled_visits
from fitkit.clinic.visits import ClinicVisits, got_worse
from fitkit.files import write_new
from fitkit.house import House, HouseProblems, Rules, StartingBand
from fitkit.house.rules import parse_rules
from fitkit.words import count

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
