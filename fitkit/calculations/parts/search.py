"""The exact search: both sides together, over every allowed combination and every crank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import starmap

import numpy as np

from fitkit.calculations.parts.options import Item, Options, fitted_items, items_of
from fitkit.calculations.parts.table import Part, Rules, Side, maker_refuses

__all__ = ["Best", "Search", "search_families"]

PER_MM = 1e6  # sums are compared as whole nanometres, so that the order does not hang on the last bit
FIRST = 4  # criteria before "the same on both sides"


@dataclass(frozen=True)
class Best:
    """The best pair with one crank: its criteria in their order, the crank, each side's combination."""

    key: tuple[int, ...]
    crank: Item
    at: tuple[int, int]


class Search:
    """One family on both sides.

    Parameters
    ----------
    rows : sequence of Part
        The family's parts.
    fitted : sequence of sequence of Item
        What is fitted as found, left and right.
    sides : sequence of Side
        Left and right.
    rules : Rules
        What the search goes by.
    is_own_family : bool
        Whether it is the family in use, so that what is fitted may stay.

    Notes
    -----
    Exact. With one crank every criterion but "the same on both sides" is a sum of one term a side, and an order by
    several sums in turn stays the same when one amount is added to both things compared. So each side's best are
    found alone, and pairs that are the same on both sides are looked for among those alone.
    """

    def __init__(
        self,
        rows: Sequence[Part],
        fitted: Sequence[Sequence[Item]],
        sides: Sequence[Side],
        rules: Rules,
        *,
        is_own_family: bool,
    ) -> None:
        self.rows, self.fitted, self.rules = rows, fitted, rules
        self.cleat = max(
            (part for part in rows if part.kind == "cleat"), key=lambda part: part.play_mm or 0.0, default=None
        )
        self.cranks = [Item()] + [
            Item(change_mm=part.adds_mm, part=part)
            for part in rows
            if part.kind == "crank" and not maker_refuses(part, rules.rider_kg)
        ]
        play_mm = (self.cleat and self.cleat.play_mm) or 0.0
        self.options = [
            Options(
                items_of(rows, found, is_own_family=is_own_family, side=side, rules=rules),
                found,
                side=side,
                play_mm=play_mm,
                rules=rules,
            )
            for side, found in zip(sides, fitted, strict=True)
        ]
        self.wants_same = rules.same_both_sides and all(side.half_stance_change_mm is not None for side in sides)
        bests = [best for best in map(self._best_with, self.cranks) if best is not None]
        self.best: Best | None = min(bests, key=lambda best: best.key, default=None)

    def comes_close(self) -> tuple[bool, bool]:
        """Return for each side whether the best pair is within the tolerance, in width and setback."""
        if self.best is None:
            return False, False
        ranked = (_Ranked(options, self.best.crank) for options in self.options)
        left, right = (side.first[0][at] == 0 for side, at in zip(ranked, self.best.at, strict=True))
        return bool(left), bool(right)

    def _best_with(self, crank: Item) -> Best | None:
        left, right = (_Ranked(options, crank) for options in self.options)
        if not (left.ties.size and right.ties.size):
            return None
        at = self._same(left, right) if self.wants_same else None
        differ = int(self.wants_same and at is None)
        at = at or (left.least_of_ties(), right.least_of_ties())
        # A crank has two arms: a job and a part on each side, so that it is not lighter than two spindles.
        job = 0 if crank.part is None else 2
        of_crank = (0, job, job, job * int(job > 0 and not crank.part.in_stock))
        first = (a + b + c for a, b, c in zip(left.key(at[0]), right.key(at[1]), of_crank, strict=False))
        last = (a + b for a, b in zip(left.key(at[0])[FIRST:], right.key(at[1])[FIRST:], strict=True))
        return Best((*first, differ, *last), crank, at)

    def _same(self, left: _Ranked, right: _Ranked) -> tuple[int, int] | None:
        """Return the best pair out of those that tie so far and are the same on both sides, None without one."""
        at_left, at_right = left.ties_by_what_stands(), right.ties_by_what_stands()
        pairs = [(at, at_right[what]) for what, at in at_left.items() if what in at_right]

        def key(at: int, at_other: int) -> tuple:
            last = zip(left.key(at)[FIRST:], right.key(at_other)[FIRST:], strict=True)
            return (*(a + b for a, b in last), at, at_other)

        return min(starmap(key, pairs))[-2:] if pairs else None


class _Ranked:
    """The combinations of one side with one crank, by the criteria that are sums over the sides."""

    def __init__(self, options: Options, crank: Item) -> None:
        self.options = options
        _, remaining_mm = options.adjusted(crank.change_mm)
        setback_mm = np.abs(options.setback_mm)
        tolerance_mm = options.rules.equal_within_mm
        self.first = (
            _beyond(remaining_mm, tolerance_mm) + _beyond(setback_mm, tolerance_mm),
            options.counted(lambda part: part.fitted_by != "rider"),
            options.counted(lambda part: True),
            options.counted(lambda part: not part.in_stock),
        )
        self.last = (
            _nanometres(np.abs(remaining_mm)) + _nanometres(setback_mm),
            _nanometres(options.stack_mm),
            _nanometres(np.abs(options.pedal_mm)),
        )
        self.ties = _least(np.flatnonzero(options.allowed(crank.change_mm)), self.first)

    def key(self, at: int) -> tuple[int, ...]:
        """Return the criteria of one combination, in their order."""
        return tuple(int(values[at]) for values in (*self.first, *self.last))

    def least_of_ties(self) -> int:
        """Return the best of those that tie in the first criteria."""
        return int(_least(self.ties, self.last)[0])

    def ties_by_what_stands(self) -> dict[tuple[str, ...], int]:
        """Return the tied combinations by what then stands between crank and shoe; of several the best."""
        found: dict[tuple[str, ...], int] = {}
        # From the best to the least good; lexsort takes its last key first and keeps the table's order in ties.
        for at in self.ties[np.lexsort([key[self.ties] for key in reversed(self.last)])]:
            found.setdefault(self.options.stands(at), int(at))
        return found


def _least(at: np.ndarray, keys: Sequence[np.ndarray]) -> np.ndarray:
    for key in keys:
        if at.size:
            at = at[key[at] == key[at].min()]
    return at


def _beyond(remaining_mm: np.ndarray, tolerance_mm: float) -> np.ndarray:
    size = _nanometres(np.abs(remaining_mm))
    return np.where(size <= round(tolerance_mm * PER_MM), 0, size)


def _nanometres(length_mm: np.ndarray) -> np.ndarray:
    return np.rint(length_mm * PER_MM).astype(np.int64)


def search_families(
    families: dict[str, list[Part]], family: str, sides: Sequence[Side], rules: Rules
) -> tuple[Search, dict[str, tuple[bool, bool]]]:
    """Return the search in the family in use, and for each other family which sides it would bring close."""
    fitted = [fitted_items(families, family, side, rider_kg=rules.rider_kg) for side in sides]
    own = Search(families[family], fitted, sides, rules, is_own_family=True)
    others = {
        name: Search(rows, fitted, sides, rules, is_own_family=False).comes_close()
        for name, rows in families.items()
        if name != family
    }
    return own, others
