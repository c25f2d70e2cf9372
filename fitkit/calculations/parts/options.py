"""Every combination of parts on one side, with what it changes and which measured limits it keeps."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.calculations import clearances
from fitkit.calculations.parts.table import Part, Rules, Side, maker_refuses, standard_of

__all__ = ["PLACES", "Item", "Options", "fitted_items", "items_of"]

PLACES = ("spindle", "washer", "extender", "base_adapter")
SPINDLE, WASHER, EXTENDER, ADAPTER = range(4)
NORMAL_95 = 1.96  # two-sided 95 % point of the normal distribution
SLACK = 1e-9  # keeps a limit met exactly from failing by the last bit


@dataclass(frozen=True)
class Item:
    """One way to fill one place of a side; without a part there is nothing new to fit.

    Parameters
    ----------
    change_mm, stands_mm : float
        Change of half-stance, and the length that then stands in this place [mm].
    stands : str
        What then stands there, to compare left with right.
    thread_mm : float
        Thread length [mm], not-a-number while unknown.
    gain_mm, stack_mm : float
        Setback gained and height added [mm].
    part : Part or None
        The part to fit.
    refusal : str
        Why the maker's word forbids it; empty where it does not. What is fitted may stay, with this said.
    """

    change_mm: float = 0.0
    stands_mm: float = 0.0
    stands: str = ""
    thread_mm: float = math.nan
    gain_mm: float = 0.0
    stack_mm: float = 0.0
    part: Part | None = None
    refusal: str = ""


def fitted_items(
    families: dict[str, list[Part]], family: str, side: Side, *, rider_kg: float | None
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
    spindle = spindles[side.spindle_id] if side.spindle_id is not None else standard_of(families[family])
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
    parts: Sequence[Part], fitted: Sequence[Item], *, is_own_family: bool, side: Side, rules: Rules
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


def _item(part: Part, change_mm: float, rules: Rules, *, stands: str = "", thread_mm: float = math.nan) -> Item:
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


def _name(part: Part | None) -> str:
    return part.id if part else ""


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


class Options:
    """The combinations of one side as arrays, one entry each; in its own family the first is as found.

    Parameters
    ----------
    items : list of list of Item
        The ways to fill each of `PLACES`.
    fitted : sequence of Item
        What is fitted as found.
    side : Side
        The side's wish and limits.
    play_mm : float
        The cleat's lateral play in all [mm].
    rules : Rules
        What the search goes by.
    """

    def __init__(
        self, items: list[list[Item]], fitted: Sequence[Item], *, side: Side, play_mm: float, rules: Rules
    ) -> None:
        self.items, self.side, self.rules = items, side, rules
        self.half_play_mm = play_mm / 2
        self.index = np.indices([len(ways) for ways in items]).reshape(len(items), -1)
        self.pedal_mm = sum(self._each(at, lambda item: item.change_mm) for at in range(ADAPTER))
        self.stack_mm = self._each(ADAPTER, lambda item: item.stack_mm)
        self.setback_mm = self._setback_left()
        self.turns = self._turns(lambda at, of: self._each(at, of))
        self.least_turns = self._least_turns()
        self.turns_as_found = float(self._turns(lambda at, of: np.array(of(fitted[at]))))
        self.is_forbidden = (
            sum(self._each(at, lambda item: item.part is not None and bool(item.refusal)) for at in range(len(items)))
            > 0
        )
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

    def counted(self, of: Callable[[Part], bool]) -> np.ndarray:
        """Return how many new parts of each combination are `of`."""
        return sum(
            self._each(at, lambda item: item.part is not None and of(item.part)) for at in range(len(self.items))
        ).astype(int)

    def _turns(self, value: Callable) -> np.ndarray:
        return clearances.turns_engaged(
            spindle_thread_mm=value(SPINDLE, lambda item: item.thread_mm),
            unthreaded_tip_mm=self.side.unthreaded_tip_mm or 0.0,
            washer_mm=value(WASHER, lambda item: item.stands_mm),
            crank_thread_depth_mm=_number(self.rules.bicycle.crank_thread_depth_mm),
            extender_mm=value(EXTENDER, lambda item: item.stands_mm),
            extender_thread_mm=value(EXTENDER, lambda item: item.thread_mm),
        )

    def _least_turns(self) -> np.ndarray:
        """Return the turns at the low end of what the readings' error leaves [turns]; table values have none."""
        error_mm = NORMAL_95 * self.rules.calliper_sd_mm
        is_measured = self._each(SPINDLE, lambda item: item.part is None and self.side.spindle_thread_mm is not None)
        has_washer = self._each(WASHER, lambda item: item.stands_mm > 0)
        tip_mm, depth_mm = self.side.unthreaded_tip_mm or 0.0, _number(self.rules.bicycle.crank_thread_depth_mm)
        return clearances.turns_engaged(
            spindle_thread_mm=self._each(SPINDLE, lambda item: item.thread_mm)
            - error_mm * np.sqrt(is_measured + has_washer + (tip_mm > 0)),
            unthreaded_tip_mm=tip_mm,
            washer_mm=self._each(WASHER, lambda item: item.stands_mm),
            crank_thread_depth_mm=depth_mm - error_mm,
            extender_mm=self._each(EXTENDER, lambda item: item.stands_mm),
            extender_thread_mm=self._each(EXTENDER, lambda item: item.thread_mm) - error_mm * has_washer,
        )

    def _setback_left(self) -> np.ndarray:
        wanted_mm = self.side.setback_shortfall_mm or 0.0
        left_mm = wanted_mm - self._each(ADAPTER, lambda item: item.gain_mm)
        # The slots take up what an adapter gains beyond the shortfall.
        return np.maximum(left_mm, 0.0) if wanted_mm >= 0 else left_mm

    def lean_deg(self, crank_mm: float) -> np.ndarray:
        """Return the lean at which the pedal touches, with a crank that adds `crank_mm` [deg]; nan is unknown."""
        bicycle, side = self.rules.bicycle, self.side
        measured = {
            "bottom_bracket_height_mm": bicycle.bottom_bracket_height_mm,
            "crank_length_mm": bicycle.crank_length_mm,
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
        return int(np.ravel_multi_index([way if k == at else 0 for k in range(len(self.items))], self._shape))

    @property
    def _shape(self) -> list[int]:
        return [len(ways) for ways in self.items]

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
