"""From the search to what a fitter reads: parts, remainder, reach and gaps, refusals, notes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from fitkit.calculations import clearances
from fitkit.calculations.parts.options import EXTENDER, SPINDLE, WASHER, Item, Options
from fitkit.calculations.parts.search import Search, search_families
from fitkit.calculations.parts.table import (
    CHANGE_OF_FAMILY,
    Bicycle,
    Choice,
    Intervals,
    Pair,
    Part,
    Refused,
    Rules,
    Side,
    families_of,
    maker_refuses,
)

__all__ = ["between", "choose", "minus", "union"]

DECIMALS = 9  # takes the dust of binary sums off; far below what anybody can fit


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


def choose(
    parts: Sequence[Part],
    *,
    family: str,
    left: Side,
    right: Side,
    bicycle: Bicycle,
    rider_kg: float | None,
    equal_within_mm: float,
    least_turns: float,
    calliper_sd_mm: float,
    lean_refuses: bool,
    same_both_sides: bool,
) -> Pair:
    """Return the parts that come closest to the wish on both sides, what they reach, and what was refused.

    Parameters
    ----------
    parts : sequence of Part
        The whole parts table.
    family : str
        The pedal family in use.
    left, right : Side
        Wish, fitted parts and limits of each side.
    bicycle : Bicycle
        What both sides share.
    rider_kg : float or None
        The rider's mass [kg].
    equal_within_mm : float
        A remainder up to this counts as none [mm], of the width and of the setback's shortfall alike.
    least_turns : float
        Least turns engaged, with the error of their readings [turns].
    calliper_sd_mm : float
        Standard deviation of one length measured with a calliper [mm].
    lean_refuses : bool
        Whether a pedal that touches below the lean of 16 CFR 1512.17(c) is refused, and not only said.
    same_both_sides : bool
        Whether the same parts on both sides are preferred.

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
    families = families_of(parts, family)
    if left.half_stance_change_mm is None and right.half_stance_change_mm is None:
        return Pair(None, None)
    rules = Rules(bicycle, rider_kg, equal_within_mm, least_turns, calliper_sd_mm, lean_refuses, same_both_sides)
    own, others = search_families(families, family, (left, right), rules)
    choices = [
        None
        if side.half_stance_change_mm is None
        else _choice(own, at, tuple(name for name, close in others.items() if close[at]))
        for at, side in enumerate((left, right))
    ]
    return Pair(*choices)


def _choice(search: Search, side: int, other_families: tuple[str, ...]) -> Choice:
    options, option, crank = search.options[side], search.best.at[side], search.best.crank
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


def _reach(search: Search, options: Options) -> tuple[Intervals, Intervals, Intervals]:
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


def _refused(search: Search, options: Options, chosen: Sequence[str]) -> Iterator[Refused]:
    usable = np.logical_or.reduce([options.allowed(crank.change_mm) for crank in search.cranks])
    for place, ways in enumerate(options.items):
        for way, item in enumerate(ways):
            if item.part is None or item.part.id in chosen:
                continue
            reason = item.refusal or options.why_not(options.alone(place, way), 0.0)
            if reason and not item.refusal and usable[options.index[place] == way].any():
                reason += " (alone; with other parts it may do)"
            if reason:
                yield Refused(item.part.id, reason)
    for part in search.rows:
        if part.kind == "crank" and part.id not in chosen:
            reason = maker_refuses(part, search.rules.rider_kg) or options.why_not(0, part.adds_mm)
            if reason:
                yield Refused(part.id, reason)


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
