"""What the settled riders say, in words, a table and a chart; and what they cannot say."""

from __future__ import annotations

import numpy as np

from fitkit.calculations.cleats import starting_band
from fitkit.calculations.learned_band import SIMULATED_COVERAGE, pull
from fitkit.calculations.readings import Interval
from fitkit.charts import Figure
from fitkit.charts.settled import BandAtSize, LineAtSize, SpreadAtSize, settled_by_size
from fitkit.clinic.learning import LearnedBand
from fitkit.clinic.settled import whole_size
from fitkit.clinic.visits import Clinic
from fitkit.report.blocks import Sentences, Table
from fitkit.words import halves

__all__ = ["band_table", "learned_words", "limits_words", "settled_figure", "settled_rows"]

_EACH_SIDE = 1.0  # the rule is drawn one size beyond the sizes seen


def learned_words(band: LearnedBand) -> Sentences:
    """Say what was learned, from how many and how well it holds; or why nothing was."""
    if band.learned is None:
        return Sentences(
            (
                f"No starting band is learned: {band.refused}.",
                f"The starting rule stays: {band.prior_rule.grade} ({band.prior_rule.source}).",
            )
        )
    if not band.bands:
        return Sentences((f"No starting band is shown: no size has {band.small} settled riders or more.",))
    learned = band.learned
    middle = band.bands[len(band.bands) // 2]
    rider, foot, fitter = learned.fit.best_sds_mm if learned.fitters > 1 else (*learned.fit.best_sds_mm, None)
    lines = [
        f"At EU {middle.size_eu:g} the middle half of new riders settles at {_ends(middle.middle_half)} mm behind the "
        f"joint, 95 % at {_ends(middle.new_rider)}.",
        f"Learned from {learned.riders} riders ({learned.feet} feet) whose settings were kept; {learned.bounds} feet "
        "stood at a slot's end and count as bounds only: where they are many, the line lies beyond what was read.",
        f"Spread between riders of one size {rider:.1f} mm, between a rider's feet and readings {foot:.1f} mm"
        + (f", between fitters {fitter:.1f} mm." if fitter is not None else "; one fitter only."),
        f"Shrunk toward the starting rule's line ({band.prior_rule.source}); few riders would leave it as it is.",
        f"{band.chosen.share_that_left:.0%} of the riders were ever set elsewhere than the start. {_pull(band)}",
        f"In simulated clinics with slot ends and two to ten fitters, riders held out, the 95 % interval held "
        f"{SIMULATED_COVERAGE:.1%} of the riders held out.",
        "Nothing here changes the house rules: that takes a person, a day, and the option --export-band.",
    ]
    return Sentences(tuple(lines))


def _pull(band: LearnedBand) -> str:
    if not band.learned.has_pull:
        return "All started on the rule's line, so that its pull on the settings cannot be seen in these numbers."
    found = pull(band.learned)
    said = (
        f"Of a start shifted by 1 mm, {found.value:.2f} mm ({found.low:.2f} to {found.high:.2f}) is found again in the "
        "setting: the rule pulls, or the reason for the shift does."
    )
    return said.replace("(-", "(−").replace("to -", "to −")


def _ends(interval: Interval) -> str:
    return f"{halves(interval.low)} to {halves(interval.high)}"


def band_table(band: LearnedBand) -> Table:
    """Return the learned band by size beside the starting rule."""
    rows = []
    for one in band.bands:
        rule = _rule_at(band, one.size_eu)
        rows.append(
            (
                f"EU {one.size_eu:g}",
                "none" if rule is None else f"{halves(rule.low_mm)} to {halves(rule.high_mm)}",
                halves(one.middle_half.value),
                _ends(one.middle_half),
                _ends(one.new_rider),
            )
        )
    columns = ("Size", "Starting rule", "Learned point", "Middle half of new riders", "95 % of new riders")
    return Table("Cleat setback, mm behind the first-MTP mark", columns, tuple(rows), "")


def _rule_at(band: LearnedBand, size_eu: float) -> BandAtSize | None:
    found = starting_band(size_eu, **band.prior_rule.model_dump(exclude={"grade", "source"}))
    return None if found is None else BandAtSize(size_eu, found.low, found.high)


def _spreads(band: LearnedBand, clinic: Clinic) -> list[SpreadAtSize]:
    feet: dict[int, list] = {}
    for foot in band.chosen.feet:
        feet.setdefault(whole_size(foot.size_eu), []).append(foot)
    spreads = []
    for size, here in sorted(feet.items()):
        # Riders are counted, not feet: two feet of one rider are no two riders.
        if len({foot.client_id for foot in here}) >= clinic.small:
            percentiles = np.percentile([foot.setback_mm for foot in here], (10, 25, 50, 75, 90))
            spreads.append(SpreadAtSize(float(size), *map(float, percentiles), len(here)))
    return spreads


def settled_figure(band: LearnedBand, clinic: Clinic) -> Figure | Sentences:
    """Draw settled setbacks by size beside the starting rule; say so where there are too few."""
    spreads = _spreads(band, clinic)
    if not spreads:
        return Sentences((f"No chart: no size has {clinic.small} settled riders or more.",))
    first, last = spreads[0].size_eu - _EACH_SIDE, spreads[-1].size_eu + _EACH_SIDE
    sizes = np.arange(first, last + 0.25, 0.5)
    rule = [found for size in sizes if (found := _rule_at(band, float(size))) is not None]
    learned = [
        LineAtSize(one.size_eu, one.middle_half.value, one.new_rider.low, one.new_rider.high) for one in band.bands
    ]
    return settled_by_size(rule, spreads, learned)


def settled_rows(band: LearnedBand, clinic: Clinic) -> Table:
    """Return the table behind the chart, and how to read it."""
    at_end: dict[int, int] = {}
    for foot in band.chosen.feet:
        at_end[whole_size(foot.size_eu)] = at_end.get(whole_size(foot.size_eu), 0) + (foot.bound != 0)
    rows = tuple(
        (
            f"EU {one.size_eu:g}",
            str(one.count),
            f"{at_end[int(one.size_eu)] / one.count:.0%}",
            halves(one.p50_mm),
            f"{halves(one.p25_mm)} to {halves(one.p75_mm)}",
            f"{halves(one.p10_mm)} to {halves(one.p90_mm)}",
        )
        for one in _spreads(band, clinic)
    )
    caption = (
        "As read. In the chart: circle the median, thick line the middle half, thin line the middle 80 %; grey area "
        "the starting rule; blue line what was learned, dashed the ends that hold 95 % of new riders"
    )
    columns = ("Size", "Feet", "At a slot's end", "Median, mm", "Middle half", "Middle 80 %")
    return Table(caption, columns, rows)


def limits_words(clinic: Clinic) -> Sentences:
    """Say what these numbers cannot tell."""
    return Sentences(
        (
            "Kept is not proved good: riders who come again and keep a setting differ from those who do not.",
            "Starts are worked out by the house rules of today, not by those of the day of the visit.",
            "Riders choose their fitter and fitters their riders: a bias between fitters may be one between riders.",
            "A cleat within two reading errors of a slot's end counts as standing at it: where it would have gone is "
            "not known, only on which side.",
            f"Counts of health and of work under {clinic.small} are not shown (house rule).",
            "Sizes under EU 40 start from the band's rearward end, the others from the rule's point.",
        )
    )
