"""A starting band learned from a clinic's own settled riders, or the reason why none is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from fitkit import places
from fitkit.calculations.learned_band import Interval, Learned, Prior, learn, new_rider, rule_line
from fitkit.clinic.outcomes import got_worse
from fitkit.clinic.settled import Chosen, arrays, latest_of_each_rider, settled_visits, whole_size
from fitkit.clinic.visits import Clinic
from fitkit.house import House, StartingBand
from fitkit.house.rules import parse_rules

__all__ = ["LEAST_RIDERS", "LEAST_SHARE_THAT_LEFT", "NOT_SEPARATED", "Band", "LearnedBand", "band_of"]

# House choices, no source. Fewer riders say little beyond the prior; where hardly anyone was ever set elsewhere
# than the rule says, the settings are the rule's own echo.
LEAST_RIDERS = 30
LEAST_SHARE_THAT_LEFT = 0.25
NOT_SEPARATED = "cannot be separated from the starting rule"
GRADE = "this clinic"


@dataclass(frozen=True)
class Band:
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
        riders: dict[int, set[str]] = {}
        for foot in self.chosen.feet:
            riders.setdefault(whole_size(foot.size_eu), set()).add(foot.client_id)
        enough = [size for size, clients in riders.items() if len(clients) >= max(self.small, 1)]
        return tuple(map(float, range(min(enough), max(enough) + 1))) if enough else ()

    @cached_property
    def bands(self) -> tuple[Band, ...]:
        """The band for each size shown, none where it was refused."""
        return tuple(map(self.band, self.sizes)) if self.learned else ()

    def band(self, size_eu: float) -> Band:
        """Return the band for one size [EU sizes]."""
        return Band(size_eu, new_rider(self.learned, size_eu, level=0.5), new_rider(self.learned, size_eu))


def band_of(clinic: Clinic) -> LearnedBand:
    """Return the starting band this clinic's settled riders teach."""
    visits, left_out = settled_visits(clinic)
    rule = clinic.house.rules.starting_band
    earlier = _with_shipped_band(clinic.house) if rule.grade == GRADE else None
    chosen = latest_of_each_rider(visits, left_out, worse=got_worse(clinic), earlier_rules=earlier)
    prior_rule = earlier.rules.starting_band if earlier else rule
    refused = _why_not(chosen)
    learned = None if refused else learn(arrays(chosen), prior_of(prior_rule))
    return LearnedBand(chosen, learned, refused, prior_rule, clinic.small)


def prior_of(rule: StartingBand) -> Prior:
    """Return the prior whose line is a starting rule's."""
    line = rule_line(
        low_at_eu_40_mm=rule.low_at_eu_40_mm,
        per_size_mm=rule.per_size_mm,
        point_above_low_mm=rule.point_above_low_mm,
    )
    return Prior(level_mm=line, slope_mm=rule.per_size_mm)


def _with_shipped_band(house: House) -> House:
    path = places.template("house_rules.json")
    shipped, _ = parse_rules(path.read_text(encoding="utf-8"), file=path.name)
    rules = house.rules.model_copy(update={"starting_band": shipped.starting_band})
    return replace(house, rules=rules)


def _why_not(chosen: Chosen) -> str | None:
    if chosen.riders < LEAST_RIDERS:
        riders = "1 rider" if chosen.riders == 1 else f"{chosen.riders} riders"
        return f"{riders} with settings that were kept; at least {LEAST_RIDERS} are needed"
    if chosen.share_that_left < LEAST_SHARE_THAT_LEFT:
        return (
            f"{NOT_SEPARATED}: of {chosen.riders} riders with settings that were kept, {chosen.share_that_left:.0%} "
            f"were ever set elsewhere than the start; at least {LEAST_SHARE_THAT_LEFT:.0%} are needed"
        )
    return None
