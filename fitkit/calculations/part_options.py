"""Every combination of parts on one side with the limits it keeps, and their order by what the search goes by."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.calculations import clearances
from fitkit.calculations.parts_table import PartRow, SearchRules, Side, maker_refuses

PLACES = ("spindle", "washer", "extender", "base_adapter")
SPINDLE, WASHER, EXTENDER, ADAPTER = range(4)
NORMAL_95 = 1.96  # two-sided 95 % point of the normal distribution
PER_MM = 1e6  # sums are compared as whole nanometres, so that the order does not hang on the last bit
FIRST = 4  # criteria before "the same on both sides"
SLACK = 1e-9  # keeps a limit met exactly from failing by the last bit


@dataclass(frozen=True)
class Item:
    """One way to fill one place of a side; without a part there is nothing new to fit."""

    change_mm: float = 0.0  # change of half-stance
    stands_mm: float = 0.0  # the length that then stands in this place
    stands: str = ""  # what then stands there, to compare left with right
    thread_mm: float = math.nan  # not-a-number while unknown
    gain_mm: float = 0.0  # setback gained
    stack_mm: float = 0.0  # height added
    part: PartRow | None = None
    refusal: str = ""  # why the maker's word forbids it, or empty; what is fitted may stay, with this said


def fitted_items(
    families: dict[str, list[PartRow]], family: str, side: Side, *, rider_kg: float | None
) -> tuple[Item, ...]:
    """Return what is fitted as found in each of `PLACES`.

    Raises
    ------
    ValueError
        For a spindle that is not of the family, or an extender neither in the table nor measured.
    """
    spindles = {part.id: part for part in families[family] if part.kind == "spindle"}
    if side.spindle_id is not None and side.spindle_id not in spindles:
        known = ", ".join(spindles) or "a spindle of the table, which has none"
        raise ValueError(f"spindle_id is {side.spindle_id!r}; expected one of family {family!r}: {known}")
    standard = next((part for part in spindles.values() if part.adds_mm == 0), None)
    spindle = standard if side.spindle_id is None else spindles[side.spindle_id]
    extenders = {part.id: part for parts in families.values() for part in parts if part.kind == "extender"}
    extender = extenders.get(side.extender_id)
    if extender is None and side.extender_id is not None and side.extender_mm is None:
        known = ", ".join(extenders) or "an extender of the table, which has none"
        raise ValueError(f"extender_id is {side.extender_id!r}; expected one of {known}, or extender_mm measured")
    extender_mm = extender.adds_mm if extender else side.extender_mm or 0.0
    thread_mm = side.spindle_thread_mm if side.spindle_thread_mm is not None else spindle and spindle.thread_mm
    return (
        Item(
            stands_mm=spindle.adds_mm if spindle else 0.0,
            stands=_name(spindle),
            thread_mm=_number(thread_mm),
            refusal=maker_refuses(spindle, rider_kg) if spindle else "",
        ),
        _washer(side.washer_mm or 0.0, 0.0),
        Item(
            stands_mm=extender_mm,
            stands=_name(extender) or f"{extender_mm:g}",
            thread_mm=_number(extender and extender.thread_mm),
            refusal=maker_refuses(extender, rider_kg) if extender else "",
        ),
        Item(),
    )


def items_of(
    parts: Sequence[PartRow], fitted: Sequence[Item], *, is_own_family: bool, side: Side, rules: SearchRules
) -> list[list[Item]]:
    """Return the ways to fill each of `PLACES` from one family, with what is fitted first in its own family.

    A side without a wish keeps what is fitted. Adapters are considered only where the setback falls short.
    """
    if side.half_stance_change_mm is None:
        return [[item] for item in fitted]
    spindle, washer, extender, adapter = fitted
    by_kind = {kind: [part for part in parts if part.kind == kind] for kind in PLACES}
    # Another family's thread is not known from this one's spindle.
    thread_mm = spindle.thread_mm if is_own_family else math.nan
    spindles = [
        _item(p, p.adds_mm - spindle.stands_mm, rules, thread_mm=thread_mm)
        for p in by_kind["spindle"]
        if not (is_own_family and p.id == spindle.stands)
    ]
    washers = [_washer(0.0, -washer.stands_mm)] if washer.stands_mm else []
    washers += [_item(p, p.adds_mm - washer.stands_mm, rules, stands=f"{p.adds_mm:g}") for p in by_kind["washer"]]
    extenders = [Item(change_mm=-extender.stands_mm, stands="0")] if extender.stands_mm else []
    extenders += [
        _item(p, p.adds_mm - extender.stands_mm, rules) for p in by_kind["extender"] if p.id != extender.stands
    ]
    adapters = [_item(p, 0.0, rules) for p in by_kind["base_adapter"]] if side.setback_shortfall_mm else []
    return [
        [spindle, *spindles] if is_own_family else spindles,
        [washer, *washers],
        [extender, *extenders],
        [adapter, *adapters],
    ]


def _item(
    part: PartRow, change_mm: float, rules: SearchRules, *, stands: str = "", thread_mm: float = math.nan
) -> Item:
    return Item(
        change_mm=change_mm,
        stands_mm=part.adds_mm or 0.0,
        stands=stands or part.id,
        thread_mm=thread_mm if part.thread_mm is None else part.thread_mm,
        gain_mm=part.setback_gain_mm or 0.0,
        stack_mm=part.stack_mm or 0.0,
        part=part,
        refusal=maker_refuses(part, rules.rider_kg),
    )


def _washer(washer_mm: float, change_mm: float) -> Item:
    return Item(change_mm=change_mm, stands_mm=washer_mm, stands=f"{washer_mm:g}")


def _name(part: PartRow | None) -> str:
    return part.id if part else ""


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


class PartOptions:
    """The combinations of one side as arrays, one entry each; in its own family the first is as found.

    `items` are the ways to fill each of `PLACES`, `fitted` what is fitted as found, `play_mm` the cleat's lateral play
    in all.
    """

    def __init__(
        self, items: list[list[Item]], fitted: Sequence[Item], *, side: Side, play_mm: float, rules: SearchRules
    ) -> None:
        self.items, self.side, self.rules = items, side, rules
        self.half_play_mm = play_mm / 2
        self.index = np.indices([len(ways) for ways in items]).reshape(len(items), -1)
        self.pedal_mm = sum(self._each(at, lambda item: item.change_mm) for at in range(ADAPTER))
        self.stack_mm = self._each(ADAPTER, lambda item: item.stack_mm)
        self.setback_mm = self._setback_left()
        self.turns = self._turns(self._each)
        self.least_turns = self._turns(self._each, error_mm=NORMAL_95 * rules.calliper_sd_mm)
        self.turns_as_found = float(self._turns(lambda at, of: np.array(of(fitted[at]), dtype=float)))
        self.is_forbidden = self._counted(lambda item: item.part is not None and bool(item.refusal)) > 0
        self._kept: dict[float, dict[str, np.ndarray]] = {}

    @property
    def inward_limit_mm(self) -> float:
        """How far inward the foot may move [mm, negative or 0], not-a-number where no gap was measured."""
        gap_mm = self.side.least_gap[1]
        # A gap that is closed as found may not get worse.
        return math.nan if math.isnan(gap_mm) else min(-gap_mm, 0.0)

    @property
    def play_ends_mm(self) -> tuple[np.ndarray, float]:
        """The adjustment's least and greatest [mm]: half the play each way, inward no further than the gaps allow."""
        return np.fmax(-self.half_play_mm, self.inward_limit_mm - self.pedal_mm), self.half_play_mm

    def _each(self, at: int, of: Callable[[Item], float]) -> np.ndarray:
        return np.array([of(item) for item in self.items[at]], dtype=float)[self.index[at]]

    def ways(self, option: int) -> list[Item]:
        """Return what fills each place in one combination."""
        return [ways[way] for ways, way in zip(self.items, self.index[:, option], strict=True)]

    def stands(self, option: int) -> tuple[str, ...]:
        """Return what then stands between crank and shoe in one combination, to compare left with right."""
        return tuple(item.stands for item in self.ways(option)[:ADAPTER])

    def adjusted(self, crank_mm: float) -> tuple[np.ndarray, np.ndarray]:
        """Return for each combination the play taken up and what then remains of the wish [mm]."""
        least_mm, greatest_mm = self.play_ends_mm
        without_mm = (self.side.half_stance_change_mm or 0.0) - self.pedal_mm - crank_mm
        adjustment_mm = np.minimum(np.maximum(without_mm, least_mm), greatest_mm)
        return adjustment_mm, without_mm - adjustment_mm

    def _counted(self, of: Callable[[Item], bool]) -> np.ndarray:
        return sum(self._each(at, of) for at in range(len(self.items))).astype(int)

    def counted(self, of: Callable[[PartRow], bool]) -> np.ndarray:
        """Return how many new parts of each combination are `of`."""
        return self._counted(lambda item: item.part is not None and of(item.part))

    def _turns(self, value: Callable, *, error_mm: float = 0.0) -> np.ndarray:
        """Return the turns engaged, with the error that each measured length may have; table values have none."""
        tip_mm, depth_mm = self.side.unthreaded_tip_mm or 0.0, _number(self.rules.crank_thread_depth_mm)
        is_measured = value(SPINDLE, lambda item: item.part is None and self.side.spindle_thread_mm is not None)
        has_washer = value(WASHER, lambda item: item.stands_mm > 0)
        return clearances.turns_engaged(
            spindle_thread_mm=value(SPINDLE, lambda item: item.thread_mm)
            - error_mm * np.sqrt(is_measured + has_washer + (tip_mm > 0)),
            unthreaded_tip_mm=tip_mm,
            washer_mm=value(WASHER, lambda item: item.stands_mm),
            crank_thread_depth_mm=depth_mm - error_mm,
            extender_mm=value(EXTENDER, lambda item: item.stands_mm),
            extender_thread_mm=value(EXTENDER, lambda item: item.thread_mm) - error_mm * has_washer,
        )

    def _setback_left(self) -> np.ndarray:
        wanted_mm = self.side.setback_shortfall_mm or 0.0
        left_mm = wanted_mm - self._each(ADAPTER, lambda item: item.gain_mm)
        # The slots take up what an adapter gains beyond the shortfall.
        return np.maximum(left_mm, 0.0) if wanted_mm >= 0 else left_mm

    def lean_deg(self, crank_mm: float) -> np.ndarray:
        """Return the lean at which the pedal touches, with a crank that adds `crank_mm` [deg]; nan is unknown."""
        rules, side = self.rules, self.side
        measured = {
            "bottom_bracket_height_mm": rules.bottom_bracket_height_mm,
            "crank_length_mm": rules.crank_length_mm,
            "pedal_below_axle_mm": side.pedal_below_axle_mm,
            "pedal_outer_edge_mm": side.pedal_outer_edge_mm,
        }
        if None in measured.values():
            return np.full(self.pedal_mm.shape, math.nan)
        return clearances.lean_deg(**measured, added_mm=self.pedal_mm + crank_mm)

    def kept(self, crank_mm: float) -> dict[str, np.ndarray]:
        """Return, per limit, which combinations keep it; one broken as found refuses only what makes it worse."""
        if crank_mm not in self._kept:
            self._kept[crank_mm] = self._limits(crank_mm)
        return self._kept[crank_mm]

    def _limits(self, crank_mm: float) -> dict[str, np.ndarray]:
        lean_deg = self.lean_deg(crank_mm)
        inward_mm = self.inward_limit_mm
        return {
            "turns": np.isnan(self.turns)
            | (self.least_turns >= self.rules.least_turns - SLACK)
            | (self.turns >= self.turns_as_found - SLACK),
            "ground": np.isnan(lean_deg)
            | (not self.rules.lean_refuses)
            | (lean_deg >= clearances.LEAST_LEAN_DEG - SLACK)
            | (self.pedal_mm + crank_mm <= SLACK),
            "gap": np.isnan(inward_mm) | (self.pedal_mm >= -SLACK) | (self.pedal_mm > inward_mm + SLACK),
        }

    def allowed(self, crank_mm: float) -> np.ndarray:
        """Return which combinations no limit and no maker forbids, with a crank that adds `crank_mm` [mm]."""
        return np.logical_and.reduce([~self.is_forbidden, *self.kept(crank_mm).values()])

    def alone(self, at: int, way: int) -> int:
        """Return the combination that differs from as found in one place only."""
        shape = [len(ways) for ways in self.items]
        return int(np.ravel_multi_index([way if k == at else 0 for k in range(len(shape))], shape))

    def why_not(self, option: int, crank_mm: float) -> str:
        """Return in words which measured limits a combination breaks; empty where none."""
        broken = {name for name, kept in self.kept(crank_mm).items() if not kept[option]}
        said = []
        if "turns" in broken:
            least = self.least_turns[option]
            worst = f", {least:.1f} with the readings' error" if self.rules.calliper_sd_mm else ""
            said.append(f"turns: {self.turns[option]:.1f} left{worst}, at least {self.rules.least_turns:g} wanted")
        if "ground" in broken:
            lean_deg = self.lean_deg(crank_mm)[option]
            said.append(f"ground clearance: touches at {lean_deg:.1f} degrees, {clearances.LEAST_LEAN_DEG:g} wanted")
        if "gap" in broken:
            name, gap_mm = self.side.least_gap
            said.append(f"{name}: {gap_mm:g} mm as found, this takes {-self.pedal_mm[option]:g}")
        return "; ".join(said)


class Ranked:
    """The combinations of one side with one crank, by the criteria that are sums over the sides."""

    def __init__(self, options: PartOptions, crank: Item) -> None:
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
