"""The parts table as the search reads it, and every combination of parts on one side with the limits it keeps."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields

import numpy as np

from fitkit.calculations import clearances

# An extender lengthens the lever at the crank face and adds a joint, so its maker must say whom it carries.
NEEDS_MAKERS_WORD = ("extender",)
KINDS = ("spindle", "washer", "extender", "cleat", "base_adapter", "crank")
# No pedal, crank or foot measure is larger; beyond it a figure is a slip.
GREATEST_MM = 400.0


@dataclass(frozen=True)
class PartRow:
    """One row of the parts table, as far as the search reads it; None is not known.

    Any object with these attributes will do. `adds_mm` is outward on each side, a crank's too; `play_mm` is in all.
    """

    family: str
    id: str
    kind: str
    adds_mm: float | None = None
    play_mm: float | None = None
    setback_gain_mm: float | None = None
    stack_mm: float | None = None
    thread_mm: float | None = None
    fitted_by: str | None = None
    in_stock: int | None = None
    max_rider_kg: float | None = None


@dataclass(frozen=True)
class Side:
    """One side: the wish, what is fitted as found, and what was measured of its limits [mm]; None is not measured.

    Raises
    ------
    ValueError
        For a length that is no finite number or larger than any foot or pedal.
    """

    half_stance_change_mm: float | None = None  # the wish, outward positive; None leaves the side as it is
    setback_shortfall_mm: float | None = None  # target beyond the slots, toward the heel positive; None: not asked
    spindle_id: str | None = None  # fitted as found; None: the family's standard spindle
    extender_id: str | None = None  # fitted as found
    washer_mm: float | None = None
    extender_mm: float | None = None  # counts only where the table has no `extender_id`
    spindle_thread_mm: float | None = None  # of the fitted spindle
    unthreaded_tip_mm: float | None = None
    pedal_outer_edge_mm: float | None = None  # as for `clearances.lean_deg`
    pedal_below_axle_mm: float | None = None
    heel_gap_heel_in_mm: float | None = None  # gaps between foot and crank as found
    heel_gap_heel_out_mm: float | None = None
    ankle_gap_mm: float | None = None
    forefoot_gap_mm: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name.endswith("_mm") and value is not None and not abs(value) <= GREATEST_MM:
                raise ValueError(f"{field.name} is {value}; expected -{GREATEST_MM:g} to {GREATEST_MM:g}")
        for name in ("washer_mm", "extender_mm"):
            if (getattr(self, name) or 0) < 0:
                raise ValueError(f"{name} is {getattr(self, name)}; expected 0 or more")

    @property
    def least_gap(self) -> tuple[str, float]:
        """Name and size [mm] of the smallest measured gap between foot and crank; not-a-number without any."""
        named = (
            ("heel gap", self.heel_gap_heel_in_mm),
            ("heel gap", self.heel_gap_heel_out_mm),
            ("ankle gap", self.ankle_gap_mm),
            ("forefoot gap", self.forefoot_gap_mm),
        )
        measured = [(name, float(gap)) for name, gap in named if gap is not None]
        return min(measured, key=lambda item: item[1], default=("", math.nan))


@dataclass(frozen=True, kw_only=True)
class SearchRules:
    """What the search goes by on both sides; a length or mass that is None is not measured."""

    rider_kg: float | None
    equal_within_mm: float  # a remainder up to this counts as none, of the width and of the setback alike
    least_turns: float  # least turns engaged, with the error of their readings [turns]
    calliper_sd_mm: float  # standard deviation of one length measured with a calliper
    lean_refuses: bool  # whether a pedal below the lean of 16 CFR 1512.17(c) is refused, and not only said
    same_both_sides: bool  # whether the same parts on both sides are preferred
    crank_length_mm: float | None = None
    bottom_bracket_height_mm: float | None = None
    crank_thread_depth_mm: float | None = None


def families_of(parts: Iterable[PartRow], family: str) -> dict[str, list[PartRow]]:
    """Return the parts of each family, after a look for slips that would spoil the search.

    Raises
    ------
    ValueError
        For an empty table, an unknown family or kind, an id given twice, an absurd length.
    """
    families: dict[str, list[PartRow]] = {}
    seen: set[str] = set()
    for part in parts:
        _check(part)
        if part.id in seen:
            raise ValueError(f"id is {part.id!r} twice; expected each id once. Rename one of the rows.")
        seen.add(part.id)
        families.setdefault(part.family, []).append(part)
    if family not in families:
        names = ", ".join(sorted(families)) or "a family of the table, which is empty"
        raise ValueError(f"pedal_family is {family!r}; expected one of {names}. Add it to the parts table.")
    return families


def _check(part: PartRow) -> None:
    if part.kind not in KINDS:
        raise ValueError(f"kind of {part.id!r} is {part.kind!r}; expected one of {', '.join(KINDS)}")
    for name in ("adds_mm", "play_mm", "setback_gain_mm", "stack_mm", "thread_mm"):
        value = getattr(part, name)
        if value is not None and not abs(value) <= GREATEST_MM:
            raise ValueError(f"{name} of {part.id!r} is {value}; expected -{GREATEST_MM:g} to {GREATEST_MM:g}")
    if part.kind in ("spindle", "washer", "extender") and part.adds_mm is None:
        raise ValueError(f"adds_mm of {part.id!r} is blank; expected the width the {part.kind} adds")
    if part.kind in ("washer", "extender") and not part.adds_mm > 0:
        raise ValueError(f"adds_mm of {part.id!r} is {part.adds_mm}; expected above 0 for a {part.kind}")
    if (part.play_mm or 0) < 0:
        raise ValueError(f"play_mm of {part.id!r} is {part.play_mm}; expected 0 or more, the play in all")


def maker_refuses(part: PartRow, rider_kg: float | None) -> str:
    """Return why the maker's word, or its lack, forbids a part; empty where it does not.

    Notes
    -----
    A blank mass limit forbids an extender only. A spindle is what the maker sells for the pedal, and a washer's limit
    is the thread left, which is measured; an extender is a lever and a joint of its own.
    """
    blank = {"base_adapter": ("setback_gain_mm", "stack_mm"), "crank": ("adds_mm",)}.get(part.kind, ())
    missing = [name for name in blank if getattr(part, name) is None]
    if missing:
        return f"maker's word missing: {' and '.join(missing)} not known"
    if part.max_rider_kg is None:
        return "maker's word missing: max_rider_kg not known" if part.kind in NEEDS_MAKERS_WORD else ""
    if rider_kg is None:
        return f"rider's mass: not recorded, the maker's limit is {part.max_rider_kg:g} kg"
    # Written so that a mass that is no number is refused too.
    return "" if rider_kg <= part.max_rider_kg else f"rider's mass: {rider_kg:g} kg, the limit is {part.max_rider_kg:g}"


PLACES = ("spindle", "washer", "extender", "base_adapter")
SPINDLE, WASHER, EXTENDER, ADAPTER = range(4)
NORMAL_95 = 1.96  # two-sided 95 % point of the normal distribution
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
