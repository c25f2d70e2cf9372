"""A learned band as a house rule: only when a person asks for it, with the day and the numbers behind it."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path

from fitkit.clinic.learning import GRADE, LearnedBand
from fitkit.house import HouseProblems, Rules, StartingBand
from fitkit.house.rules import parse_rules

__all__ = ["NotLearnedError", "band_document", "rule_from", "write_rules"]

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
        raise HouseProblems(problems)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
