"""One rider's numbers for the front view: checked, as a table, and in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.charts.rows import check_interval, check_numbers, lacking_words, row, with_interval
from fitkit.words import halved, halves, rounded, tenths

__all__ = [
    "FrontSide",
    "HipSpan",
    "difference_words",
    "front_table",
    "front_words",
    "knee_words",
    "stance_width_mm",
]


@dataclass(frozen=True, kw_only=True)
class HipSpan:
    """Distance between the hip joint centres and its 95 % interval [mm]; None is not measured."""

    spacing_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None

    def __post_init__(self) -> None:
        check_numbers(self)
        check_interval(self, "low_mm", "spacing_mm", "high_mm")


@dataclass(frozen=True, kw_only=True)
class FrontSide:
    """What the front view shows of one side; None is "not measured" and is said, not drawn."""

    side: str  # the rider's "left" or "right"
    half_stance_mm: float | None = None  # frame centreline to the shoe's long axis at the cleat [mm]
    half_stance_low_mm: float | None = None  # ends of its 95 % interval [mm]
    half_stance_high_mm: float | None = None  # ends of its 95 % interval [mm]
    crank_face_mm: float | None = None  # frame centreline to the crank's outer face [mm]
    # each part from the centreline outward, by name, adding up to the half-stance [mm]
    lengths_mm: tuple[tuple[str, float], ...] = ()
    # knee from the shoe's long axis, outward positive, in the middle of its travel [mm]
    knee_offset_mm: float | None = None
    knee_travel_mm: float | None = None  # how far the knee travels sideways over a turn, both ways together [mm]

    def __post_init__(self) -> None:
        check_numbers(self)
        check_interval(self, "half_stance_low_mm", "half_stance_mm", "half_stance_high_mm")
        total = sum(length for _, length in self.lengths_mm)
        if self.lengths_mm and self.half_stance_mm is not None and not abs(total - self.half_stance_mm) <= 0.5:
            raise ValueError(f"lengths_mm add up to {total:g}; expected the half-stance, {self.half_stance_mm:g}")

    @property
    def knee_mm(self) -> float | None:
        """Knee from the centreline, outward positive [mm]."""
        if self.half_stance_mm is None or self.knee_offset_mm is None:
            return None
        return self.half_stance_mm + self.knee_offset_mm

    @property
    def parts_mm(self) -> tuple[tuple[str, float], ...]:
        """The named lengths; without them the crank face alone [mm]."""
        if self.lengths_mm or self.crank_face_mm is None:
            return self.lengths_mm
        return (("crank face", self.crank_face_mm),)


def stance_width_mm(sides: Sequence[FrontSide]) -> float | None:
    """Return left and right half-stance together [mm]; None while one is not known."""
    known = [side.half_stance_mm for side in sides]
    return None if len(known) < 2 or None in known else sum(map(halved, known))


def difference_mm(sides: Sequence[FrontSide]) -> float | None:
    """Return left minus right half-stance [mm]; None while one, or every crank face, is not known."""
    known = {side.side: side.half_stance_mm for side in sides}
    left, right = known.get("left"), known.get("right")
    names = [name for side in sides for name, _ in side.lengths_mm]
    is_by_q = "Q factor" in names and not any(name.endswith("crank face") for name in names)
    return None if left is None or right is None or is_by_q else halved(left) - halved(right)


def difference_words(sides: Sequence[FrontSide], *, is_told: bool = True) -> str:
    """Return which foot stands further out and by how much, where the errors let that be told."""
    difference = difference_mm(sides)
    if difference is None:
        return "Left against right: not assessed"
    if not rounded(difference):
        return "Both feet stand equally far out"
    if not is_told:
        return "No difference left to right that can be told"
    return f"{'Left' if difference > 0 else 'Right'} foot stands {halves(abs(difference))} mm further out"


def knee_words(side: FrontSide, *, unit: str = "") -> str:
    """Return where the knee is against its foot; with a unit, as in a sentence."""
    if side.knee_offset_mm is None:
        return "knee: not measured"
    if not halved(side.knee_offset_mm):
        return "knee over the foot"
    where = "outside" if side.knee_offset_mm > 0 else "inside"
    return f"knee {halves(abs(side.knee_offset_mm))}{unit} {where}{' the foot' if unit else ''}"


def front_table(sides: Sequence[FrontSide], *, hips: HipSpan) -> list[dict]:
    """Return the table behind the front view: what is drawn, as precise as it is written there, and nothing else."""
    rows = [
        row("", "hip spacing", "mm", hips.spacing_mm, hips.low_mm, hips.high_mm),
        row("", "stance width", "mm", stance_width_mm(sides), lacking="not assessed"),
        row("", "left minus right half-stance", "mm", difference_mm(sides), lacking="not assessed"),
    ]
    for side in sides:
        ends = side.half_stance_low_mm, side.half_stance_high_mm
        rows.append(row(side.side, "half-stance", "mm", side.half_stance_mm, *ends))
        rows += [row(side.side, f"length: {name}", "mm", length, typed=True) for name, length in side.lengths_mm]
        rows += [
            row(side.side, "crank face from the centreline", "mm", side.crank_face_mm, typed=True),
            row(side.side, "knee from the foot, outward", "mm", side.knee_offset_mm),
            row(side.side, "knee travel", "mm", side.knee_travel_mm),
        ]
    return rows


def front_words(sides: Sequence[FrontSide], hips: HipSpan, *, is_told: bool = True) -> str:
    """Return everything the front view shows, in plain sentences."""
    words = ["Stance seen from the front, sideways to scale; the rider's left is on the right of the picture."]
    words.append(f"{difference_words(sides, is_told=is_told)}.")
    width = stance_width_mm(sides)
    if width is not None:
        words.append(f"Stance width {halves(width)} mm.")
    if hips.spacing_mm is not None:
        words.append(f"Hip spacing {with_interval(hips.spacing_mm, hips.low_mm, hips.high_mm)} mm.")
    for side in sides:
        words += _side_words(side)
    table = front_table(sides, hips=hips)
    named = [{**each, "what": f"{each['side']} {each['what']}".strip()} for each in table]
    return " ".join(words + lacking_words(named, "not measured", "not assessed"))


def _side_words(side: FrontSide) -> list[str]:
    name, words = side.side.capitalize(), []
    if side.half_stance_mm is not None:
        interval = with_interval(side.half_stance_mm, side.half_stance_low_mm, side.half_stance_high_mm)
        words.append(f"{name} half-stance {interval} mm.")
    if side.lengths_mm:
        lengths = ", ".join(f"{part} {tenths(length)}" for part, length in side.lengths_mm)
        words.append(f"{name}, from the centreline outward: {lengths} mm.")
    if side.crank_face_mm is not None:
        words.append(f"{name} crank face {tenths(side.crank_face_mm)} mm from the centreline.")
    if side.knee_offset_mm is not None:
        words.append(f"{name} {knee_words(side, unit=' mm')}.")
    if side.knee_travel_mm is not None:
        words.append(f"{name} knee travels {halves(side.knee_travel_mm)} mm sideways.")
    return words
