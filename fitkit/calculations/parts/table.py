"""What the search reads and what it answers: plain frozen tables of numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields

__all__ = [
    "CHANGE_OF_FAMILY",
    "KINDS",
    "NEEDS_MAKERS_WORD",
    "Bicycle",
    "Choice",
    "Intervals",
    "Pair",
    "Part",
    "Refused",
    "Rules",
    "Side",
    "families_of",
    "maker_refuses",
    "standard_of",
]

CHANGE_OF_FAMILY = (
    "A change of family: measure stack, float, cleat setback and spindle to cleat centre again; "
    "until then the families' standard spindles are taken as alike."
)
# An extender lengthens the lever at the crank face and adds a joint, so its maker must say whom it carries.
NEEDS_MAKERS_WORD = ("extender",)
KINDS = ("spindle", "washer", "extender", "cleat", "base_adapter", "crank")
# No pedal, crank or foot measure is larger; beyond it a figure is a slip.
GREATEST_MM = 400.0

Intervals = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Part:
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
    """One side: the wish, what is fitted as found, and what was measured of its limits; None is not measured.

    Parameters
    ----------
    half_stance_change_mm : float or None
        The wish, outward positive [mm]; None leaves the side as it is.
    setback_shortfall_mm : float or None
        How far the cleat's target lies beyond the slots, toward the heel positive [mm]; None: not asked.
    spindle_id, extender_id : str or None
        Parts fitted as found; else the family's standard spindle, and no extender.
    washer_mm, extender_mm : float or None
        Lengths fitted as found [mm]; `extender_mm` counts only where the table has no `extender_id`.
    spindle_thread_mm, unthreaded_tip_mm : float or None
        Of the fitted spindle [mm].
    pedal_outer_edge_mm, pedal_below_axle_mm : float or None
        As for `clearances.lean_deg` [mm].
    heel_gap_heel_in_mm, heel_gap_heel_out_mm, ankle_gap_mm, forefoot_gap_mm : float or None
        Gaps between foot and crank as found [mm].

    Raises
    ------
    ValueError
        For a length that is no finite number or larger than any foot or pedal.
    """

    half_stance_change_mm: float | None = None
    setback_shortfall_mm: float | None = None
    spindle_id: str | None = None
    extender_id: str | None = None
    washer_mm: float | None = None
    extender_mm: float | None = None
    spindle_thread_mm: float | None = None
    unthreaded_tip_mm: float | None = None
    pedal_outer_edge_mm: float | None = None
    pedal_below_axle_mm: float | None = None
    heel_gap_heel_in_mm: float | None = None
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


@dataclass(frozen=True)
class Bicycle:
    """What both sides share [mm]; None is not measured."""

    crank_length_mm: float | None = None
    bottom_bracket_height_mm: float | None = None
    crank_thread_depth_mm: float | None = None


@dataclass(frozen=True)
class Rules:
    """What the search goes by; see `choose`."""

    bicycle: Bicycle
    rider_kg: float | None
    equal_within_mm: float
    least_turns: float
    calliper_sd_mm: float
    lean_refuses: bool
    same_both_sides: bool


@dataclass(frozen=True)
class Refused:
    """A part that may not be fitted here, and why."""

    id: str
    reason: str


@dataclass(frozen=True)
class Choice:
    """What the search found for one side.

    Parameters
    ----------
    chosen : tuple of str
        Parts to fit; none where what is fitted, or taking something off, does it.
    parts_mm, adjustment_mm, remaining_mm : float
        Change by the parts, by the play, and what then remains of the wish, signed [mm].
    setback_remaining_mm : float or None
        What remains of the setback's shortfall [mm]; None where it was not asked.
    stack_mm : float
        Height a base adapter adds, which goes to the saddle [mm].
    turns, lean_deg : float or None
        Turns engaged [turns] and lean at which the pedal touches [deg] with these parts; None is unknown.
    reachable_mm, refused_only_mm, gaps_mm : tuple of (float, float)
        Changes the family reaches here, those only refused parts reach, those nothing reaches [mm]. Together they
        fill the span from the table's least change to its greatest.
    refused : tuple of Refused
        Parts that may not be fitted.
    other_families : tuple of str
        Families that come within the tolerance; `CHANGE_OF_FAMILY` belongs beside them.
    notes : tuple of str
        What must be said beside the choice.
    """

    chosen: tuple[str, ...]
    parts_mm: float
    adjustment_mm: float
    remaining_mm: float
    setback_remaining_mm: float | None
    stack_mm: float
    turns: float | None
    lean_deg: float | None
    reachable_mm: Intervals
    refused_only_mm: Intervals
    gaps_mm: Intervals
    refused: tuple[Refused, ...]
    other_families: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Pair:
    """Left and right side; None where nothing was wished."""

    left: Choice | None
    right: Choice | None


def families_of(parts: Iterable[Part], family: str) -> dict[str, list[Part]]:
    """Return the parts of each family, after a look for slips that would spoil the search.

    Raises
    ------
    ValueError
        For an empty table, an unknown family or kind, an id given twice, an absurd length.
    """
    families: dict[str, list[Part]] = {}
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


def _check(part: Part) -> None:
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


def maker_refuses(part: Part, rider_kg: float | None) -> str:
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


def standard_of(parts: Sequence[Part]) -> Part | None:
    """Return the family's standard spindle, the row with 0, None where it has none."""
    return next((part for part in parts if part.kind == "spindle" and part.adds_mm == 0), None)
