"""Which parts reach a wished change of half-stance: an exact search over one pedal family, both sides together.

Changes are of half-stance against as found, outward positive [mm]. A side has one spindle, at most one washer and
one extender, and, where the slots fall short, at most one base adapter; a crank is a workshop's job and moves both
sides. Play is an adjustment, half each way, always used, and no part.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, starmap

import numpy as np

from fitkit.calculations import clearances
from fitkit.calculations.part_options import (
    EXTENDER,
    FIRST,
    SPINDLE,
    WASHER,
    Item,
    PartOptions,
    Ranked,
    fitted_items,
    items_of,
)
from fitkit.calculations.parts_table import PartRow, SearchRules, Side, families_of, maker_refuses

CHANGE_OF_FAMILY = (
    "A change of family: measure stack, float, cleat setback and spindle to cleat centre again; "
    "until then the families' standard spindles are taken as alike."
)
DECIMALS = 9  # takes the dust of binary sums off; far below what anybody can fit

Intervals = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class RefusedPart:
    """A part that may not be fitted here, and why."""

    id: str
    reason: str


@dataclass(frozen=True)
class Choice:
    """What the search found for one side: changes of half-stance against as found, outward positive [mm].

    What the family reaches here, what only refused parts reach and what nothing reaches fill together the span from
    the table's least change to its greatest.
    """

    chosen: tuple[str, ...]  # parts to fit; none where what is fitted, or taking something off, does it
    parts_mm: float  # by the parts
    adjustment_mm: float  # by the play
    remaining_mm: float  # what then remains of the wish, signed
    setback_remaining_mm: float | None  # what remains of the setback's shortfall; None where it was not asked
    stack_mm: float  # height a base adapter adds, which goes to the saddle
    turns: float | None  # turns engaged with these parts [turns]; None is unknown
    lean_deg: float | None  # lean at which the pedal then touches [deg]; None is unknown
    reachable_mm: Intervals
    refused_only_mm: Intervals
    gaps_mm: Intervals
    refused: tuple[RefusedPart, ...]
    other_families: tuple[str, ...]  # that come within the tolerance; `CHANGE_OF_FAMILY` belongs beside them
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Pair:
    """Left and right side; None where nothing was wished."""

    left: Choice | None
    right: Choice | None


@dataclass(frozen=True)
class Best:
    """The best pair with one crank: its criteria in their order, the crank, each side's combination."""

    key: tuple[int, ...]
    crank: Item
    at: tuple[int, int]


class Search:
    """One family on both sides: its `rows`, and what is `fitted` as found on each.

    Notes
    -----
    Exact. With one crank every criterion but "the same on both sides" is a sum of one term a side, and an order by
    several sums in turn stays the same when one amount is added to both things compared. So each side's best are
    found alone, and pairs that are the same on both sides are looked for among those alone.
    """

    def __init__(
        self,
        rows: Sequence[PartRow],
        fitted: Sequence[Sequence[Item]],
        sides: Sequence[Side],
        rules: SearchRules,
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
            PartOptions(
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
        ranked = (Ranked(options, self.best.crank) for options in self.options)
        left, right = (side.first[0][at] == 0 for side, at in zip(ranked, self.best.at, strict=True))
        return bool(left), bool(right)

    def _best_with(self, crank: Item) -> Best | None:
        left, right = (Ranked(options, crank) for options in self.options)
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

    def _same(self, left: Ranked, right: Ranked) -> tuple[int, int] | None:
        """Return the best pair out of those that tie so far and are the same on both sides, None without one."""
        at_left, at_right = left.ties_by_what_stands(), right.ties_by_what_stands()
        pairs = [(at, at_right[what]) for what, at in at_left.items() if what in at_right]

        def key(at: int, at_other: int) -> tuple:
            last = zip(left.key(at)[FIRST:], right.key(at_other)[FIRST:], strict=True)
            return (*(a + b for a, b in last), at, at_other)

        return min(starmap(key, pairs))[-2:] if pairs else None


def union(low_mm: np.ndarray, high_mm: np.ndarray) -> Intervals:
    """Return the union of the intervals from `low_mm` to `high_mm` [mm]; those that touch become one."""
    if not low_mm.size:
        return ()
    low_mm, high_mm = np.round(low_mm, DECIMALS) + 0.0, np.round(high_mm, DECIMALS) + 0.0
    order = np.argsort(low_mm, kind="stable")
    low_mm, reach_mm = low_mm[order], np.maximum.accumulate(high_mm[order])
    breaks = np.flatnonzero(low_mm[1:] > reach_mm[:-1])
    first, last = [0, *(breaks + 1)], [*breaks, low_mm.size - 1]
    return tuple((float(low_mm[i]), float(reach_mm[j])) for i, j in zip(first, last, strict=True))


def between(intervals: Intervals) -> Intervals:
    """Return the gaps between the intervals [mm]."""
    return tuple((high, low) for (_, high), (low, _) in pairwise(intervals))


def minus(intervals: Intervals, taken: Intervals) -> Intervals:
    """Return what is left of the intervals without those taken [mm]; a single width stays unless taken."""
    left = []
    for low, high in intervals:
        start, is_open = low, False
        for taken_low, taken_high in taken:
            if taken_high < start or taken_low > high:
                continue
            if taken_low > start:
                left.append((start, taken_low))
            start, is_open = taken_high, True
        if start < high or (start == high and not is_open):
            left.append((start, high))
    return tuple(left)


def choose(parts: Sequence[PartRow], *, family: str, left: Side, right: Side, rules: SearchRules) -> Pair:
    """Return the parts that come closest to the wish on both sides, what they reach, and what was refused.

    Parameters
    ----------
    parts : sequence of PartRow
        The whole parts table.
    family : str
        The pedal family in use.
    left, right : Side
        Wish, fitted parts and limits of each side.
    rules : SearchRules
        What the search goes by on both sides.

    Returns
    -------
    Pair
        A `Choice` per side with a wish.

    Raises
    ------
    ValueError
        For an unknown family, a fitted id that is not in it, an id given twice, an absurd length.

    Notes
    -----
    Derived; the order is a house rule, no source. Of all allowed combinations the one with, in this order: the
    smallest sum over both sides of remainders beyond `equal_within_mm`; fewest workshop jobs; fewest parts; fewest
    parts not known to be in stock; the same on both sides; smallest sum of remainders; least stack; least change. A
    crank counts once on each side; an adapter does not count for sameness.

    Refused is what a maker's or a measured limit forbids: turns that may be below `least_turns`; where the house
    refuses it, the pedal touching below the lean of 16 CFR 1512.17(c); a foot that would touch the crank; a rider
    above the maker's mass, or a mass limit and no mass ("rider's mass"); an extender without a mass limit ("maker's
    word missing"). A limit already broken as found refuses only what makes it worse. What was not measured refuses
    nothing and is said in the notes.
    """
    families, sides = families_of(parts, family), (left, right)
    if all(side.half_stance_change_mm is None for side in sides):
        return Pair(None, None)
    fitted = [fitted_items(families, family, side, rider_kg=rules.rider_kg) for side in sides]
    own = Search(families[family], fitted, sides, rules, is_own_family=True)
    close = {
        name: Search(rows, fitted, sides, rules, is_own_family=False).comes_close()
        for name, rows in families.items()
        if name != family
    }
    return Pair(*(_choice(own, at, tuple(name for name in close if close[name][at])) for at in (0, 1)))


def _choice(search: Search, side: int, other_families: tuple[str, ...]) -> Choice | None:
    options, option, crank = search.options[side], search.best.at[side], search.best.crank
    if options.side.half_stance_change_mm is None:
        return None
    new = options.ways(option)
    chosen = tuple(item.part.id for item in (*new, crank) if item.part is not None)
    adjustment_mm, remaining_mm = options.adjusted(crank.change_mm)
    reachable, refused_only, gaps = _reach(search, options)
    return Choice(
        chosen=chosen,
        parts_mm=_clean(options.pedal_mm[option] + crank.change_mm),
        adjustment_mm=_clean(adjustment_mm[option]),
        remaining_mm=_clean(remaining_mm[option]),
        setback_remaining_mm=_clean(options.setback_mm[option])
        if options.side.setback_shortfall_mm is not None
        else None,
        stack_mm=_clean(options.stack_mm[option]),
        turns=_or_none(options.turns[option]),
        lean_deg=_or_none(options.lean_deg(crank.change_mm)[option]),
        reachable_mm=reachable,
        refused_only_mm=refused_only,
        gaps_mm=gaps,
        refused=tuple(_refused(search, options, chosen)),
        other_families=other_families,
        notes=(*_notes(search, side, new, other_families), *_stock(search)),
    )


def _reach(search: Search, options: PartOptions) -> tuple[Intervals, Intervals, Intervals]:
    """Return the changes the family reaches, those only refused parts reach, and those nothing reaches [mm]."""
    least_mm, greatest_mm = options.play_ends_mm
    lows, highs, centres = [], [], []
    for crank in search.cranks:
        allowed = options.allowed(crank.change_mm)
        centre_mm = options.pedal_mm + crank.change_mm
        lows.append((centre_mm + least_mm)[allowed])
        highs.append((centre_mm + greatest_mm)[allowed])
        centres.append(centre_mm)
    reachable = union(np.concatenate(lows), np.concatenate(highs))
    centre_mm = np.concatenate(centres)
    widest = union(centre_mm - options.half_play_mm, centre_mm + options.half_play_mm)
    return reachable, minus(widest, reachable), between(widest)


def _refused(search: Search, options: PartOptions, chosen: Sequence[str]) -> Iterator[RefusedPart]:
    usable = np.logical_or.reduce([options.allowed(crank.change_mm) for crank in search.cranks])
    for place, ways in enumerate(options.items):
        for way, item in enumerate(ways):
            if item.part is None or item.part.id in chosen:
                continue
            reason = item.refusal or options.why_not(options.alone(place, way), 0.0)
            if reason and not item.refusal and usable[options.index[place] == way].any():
                reason += " (alone; with other parts it may do)"
            if reason:
                yield RefusedPart(item.part.id, reason)
    for part in search.rows:
        if part.kind == "crank" and part.id not in chosen:
            reason = maker_refuses(part, search.rules.rider_kg) or options.why_not(0, part.adds_mm)
            if reason:
                yield RefusedPart(part.id, reason)


def _notes(search: Search, side: int, new: Sequence[Item], other_families: tuple[str, ...]) -> Iterator[str]:
    options, option, crank = search.options[side], search.best.at[side], search.best.crank
    yield from _notes_on_parts(search, new, search.fitted[side])
    if crank.part is not None:
        yield (
            f"{crank.part.id} moves both sides by {crank.change_mm:+g} mm: a workshop's job; measure crank faces, "
            "thread, lean and gaps again"
        )
    if math.isnan(options.turns[option]) and any(item.part is not None for item in new):
        yield "turns engaged not known: measure spindle thread, crank thread and any extender's thread before fitting"
    if math.isnan(options.lean_deg(0.0)[option]) and options.pedal_mm[option] + crank.change_mm > 0:
        yield "lean not known: measure bottom bracket, crank, pedal below axle and its outer edge before going wider"
    lean_deg = options.lean_deg(crank.change_mm)[option]
    if lean_deg < clearances.LEAST_LEAN_DEG:
        yield f"the lowered pedal {clearances.lean_words(lean_deg)}: a caution"
    foot_mm = options.pedal_mm[option] + options.adjusted(crank.change_mm)[0][option]
    gap, gap_mm = options.side.least_gap
    if foot_mm < 0:
        yield (
            f"{gap} after it: {clearances.gap_words(_clean(gap_mm + foot_mm))}"
            if gap
            else "no gap between foot and crank measured: look at heel, anklebone and forefoot before going narrower"
        )
    if other_families:
        yield CHANGE_OF_FAMILY


def _stock(search: Search) -> Iterator[str]:
    """Yield which parts the choice for both sides needs more of than the table counts."""
    new = [item.part for at, options in enumerate(search.options) for item in options.ways(search.best.at[at])]
    needed = Counter(part.id for part in (*new, search.best.crank.part) if part is not None)
    for part in search.rows:
        if part.id in needed and part.in_stock is not None and part.in_stock < needed[part.id]:
            yield f"{part.id}: {needed[part.id]} needed, {part.in_stock} in stock"


def _notes_on_parts(search: Search, new: Sequence[Item], fitted: Sequence[Item]) -> Iterator[str]:
    cleat = search.cleat
    if cleat is None or cleat.play_mm is None:
        yield "the family's table gives no lateral play: counted as 0"
    elif cleat.play_mm:
        yield (
            f"play of {cleat.id}: {cleat.play_mm:g} mm in all, {cleat.play_mm / 2:g} each way; "
            "if the table's figure is for one way, double it there"
        )
    if not fitted[SPINDLE].stands:
        yield "the family has no standard spindle in the table: what is fitted counts as the standard"
    for place, name in ((WASHER, "washer"), (EXTENDER, "extender")):
        if fitted[place].stands_mm and new[place].stands != fitted[place].stands:
            yield f"take off the {name} of {fitted[place].stands_mm:g} mm"
    spindle = new[SPINDLE].part
    if spindle is not None and spindle.thread_mm is None:
        yield f"thread of {spindle.id} not in the table: taken as that of the fitted spindle; measure it"
    if new[-1].stack_mm:
        yield (
            f"base adapter: stack of {new[-1].stack_mm:g} mm goes to the saddle; it moves the whole slot range, so "
            "look at the other end too"
        )
    for item, kept in zip(fitted, new, strict=True):
        if item.refusal and kept is item:
            yield f"{item.stands}, fitted as found: {item.refusal}"


def _clean(value: float) -> float:
    # Takes the dust of binary sums off, and the sign off a zero.
    return round(float(value), DECIMALS) + 0.0


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
