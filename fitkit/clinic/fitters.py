"""Fitter against fitter: whose riders' cleats end further toward the heel, with interval; small numbers kept back."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fitkit import cautions
from fitkit.assessment import Visit, assess
from fitkit.calculations.learned_band import Interval, fitter_bias, learn
from fitkit.clinic.learning import prior_of
from fitkit.clinic.settled import Chosen, arrays, latest_of_each_rider
from fitkit.clinic.visits import Clinic
from fitkit.house import StartingBand

__all__ = ["Comparison", "FitterRow", "Order", "compare", "orders"]


@dataclass(frozen=True)
class FitterRow:
    """One fitter: riders compared, and the bias [mm]; None where the numbers are too small."""

    fitter_id: str
    riders: int
    bias: Interval | None


@dataclass(frozen=True)
class Comparison:
    """The fitters, or why they are not compared."""

    rows: tuple[FitterRow, ...]
    refused: str | None = None


def compare(clinic: Clinic, prior_rule: StartingBand) -> Comparison:
    """Return each fitter's bias: how far the cleats of riders of one size end from those of the other fitters."""
    agreed = [visit for visit in clinic.visits if visit.session.consent.learning is True]
    chosen = latest_of_each_rider(agreed)
    counts = {name: len(_riders(chosen, name)) for name in chosen.fitters}
    enough = [name for name, count in counts.items() if count >= max(clinic.small, 2)]
    if len(enough) < 2:
        rows = tuple(FitterRow(name, count, None) for name, count in counts.items())
        return Comparison(rows, f"not compared: needs two fitters with {max(clinic.small, 2)} riders or more each")
    learned = learn(arrays(chosen), prior_of(prior_rule))
    return Comparison(
        tuple(
            FitterRow(name, counts[name], fitter_bias(learned, number) if name in enough else None)
            for number, name in enumerate(chosen.fitters)
        )
    )


def _riders(chosen: Chosen, fitter_id: str) -> set[str]:
    return {foot.client_id for foot in chosen.feet if foot.fitter_id == fitter_id}


SIDES = ("left", "right")
_FITTED = ("spindle_id", "extender_id", "washer_mm", "extender_mm", "spindle_to_cleat_centre_mm")


@dataclass(frozen=True)
class Order:
    """One part and how many pieces of it are wanted."""

    part_id: str  # as in the parts table
    family: str  # as in the parts table
    kind: str  # as in the parts table
    visits: int  # in how many visits it was chosen, and how many pieces they need
    pieces: int  # in how many visits it was chosen, and how many pieces they need
    in_stock: int | None  # pieces in stock, None where the table does not say

    @property
    def to_order(self) -> int | None:
        """Pieces to order, None where the stock is not known."""
        return None if self.in_stock is None else max(0, self.pieces - self.in_stock)


def orders(clinic: Clinic) -> list[Order]:
    """Return every part the open wishes need that is not in stock in full, or whose stock is not known."""
    visits, pieces = Counter(), Counter()
    table = {part.id: part for part in clinic.house.parts}
    for course in clinic.courses():
        if not _is_open(course[-1]):
            continue
        wanted = _chosen(course[-1])
        for part_id, count in wanted.items():
            visits[part_id] += 1
            # One crank is bought as a pair; everything else is counted by sides.
            pieces[part_id] += 1 if table[part_id].kind == "crank" else count
    found = [
        Order(name, table[name].family, table[name].kind, visits[name], pieces[name], table[name].in_stock)
        for name in sorted(visits)
    ]
    return [order for order in found if order.to_order != 0]


def _is_open(visit: Visit) -> bool:
    session = visit.session
    if all(getattr(session.wish, side).half_stance_change_mm is None for side in SIDES):
        return False
    if cautions.stops_advice(session):
        return False
    left = [getattr(getattr(session.as_left, side), field) for side in SIDES for field in _FITTED]
    return all(value is None for value in left)


def _chosen(visit: Visit) -> Counter[str]:
    return Counter(part for choice in assess(visit).standing.choices.values() for part in choice.chosen)
