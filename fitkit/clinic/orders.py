"""Parts the wishes still open ask for, against what is in stock."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fitkit import cautions
from fitkit.assessment import Visit, assess
from fitkit.clinic.visits import Clinic

__all__ = ["Order", "orders"]

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
