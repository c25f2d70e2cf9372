"""The parts table as the search reads it: its rows, what one side has and wishes, and what the makers refuse."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields

from fitkit.vocabulary import KINDS_BY_WIDTH, PART_KINDS, WIDENING_KINDS

# An extender lengthens the lever at the crank face and adds a joint, so its maker must say whom it carries.
NEEDS_MAKERS_WORD = ("extender",)
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
    if part.kind not in PART_KINDS:
        raise ValueError(f"kind of {part.id!r} is {part.kind!r}; expected one of {', '.join(PART_KINDS)}")
    for name in ("adds_mm", "play_mm", "setback_gain_mm", "stack_mm", "thread_mm"):
        value = getattr(part, name)
        if value is not None and not abs(value) <= GREATEST_MM:
            raise ValueError(f"{name} of {part.id!r} is {value}; expected -{GREATEST_MM:g} to {GREATEST_MM:g}")
    if part.kind in KINDS_BY_WIDTH and part.adds_mm is None:
        raise ValueError(f"adds_mm of {part.id!r} is blank; expected the width the {part.kind} adds")
    if part.kind in WIDENING_KINDS and not part.adds_mm > 0:
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
