"""One foot's numbers for the drawing of the soles: checked, as rows with their words; and the sketched sole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.charts.canvas import Point
from fitkit.charts.figure import NOT_KNOWN, FigureRow, has_interval, row
from fitkit.estimate import Estimate
from fitkit.words import capital, halved, halves

Ends = tuple[float | None, float | None]

# A sketched sole: place from heel to toe tip, then half-breadths to the big-toe and little-toe side, all in parts
# of the foot's length. It only gives the eye something to hold on to: no measurement is read from it.
SOLE = np.array(
    [
        (-0.02, 0.030, 0.030),
        (0.02, 0.090, 0.090),
        (0.14, 0.122, 0.124),
        (0.40, 0.108, 0.142),
        (0.60, 0.140, 0.170),
        (0.76, 0.176, 0.176),
        (0.90, 0.162, 0.128),
        (0.99, 0.108, 0.048),
    ]
)
JOINT_PLACE = 0.74  # first MTP in parts of foot length; published: Gordon et al. 2014, .741 men, .739 women


@dataclass(frozen=True, kw_only=True)
class SoleFoot:
    """What the drawing of one sole shows; what is not known is said, not drawn."""

    side: str  # "left" or "right"
    now: Estimate = NOT_KNOWN  # cleat setback as it is, positive toward the heel [mm]
    target_mm: float | None = None  # cleat setback to set [mm]; None where the advice is to leave it or there is none
    band_mm: Ends = (None, None)  # starting band, cleat setback [mm]
    slots_mm: Ends = (None, None)  # cleat setbacks at the ends of the slots [mm]
    toe_out_deg: float | None = None  # toe-out the cleat gives the shoe with the float in its middle [deg]
    natural_toe_out_deg: float | None = None  # toe-out of the foot as it hangs or stands by itself [deg]
    float_deg: float | None = None  # free rotation in the pedal, both ways together [deg]
    # first-MTP mark from the shoe's long axis, positive to the big-toe side [mm]
    joint_to_big_toe_side_mm: float | None = None
    foot_length_mm: float | None = None  # heel to toe tip; the sketched outline follows it [mm]
    instruction: str | None = None  # what to do, in words
    now_word: str = "now"  # how the two cleat lines are called
    target_word: str = "try"

    def __post_init__(self) -> None:
        for name in ("band_mm", "slots_mm"):
            low, high = getattr(self, name)
            if None not in (low, high) and not low <= high:
                raise ValueError(f"{name} is {low} to {high}; expected the lower end first")
        if self.foot_length_mm is not None and not self.foot_length_mm > 0:
            raise ValueError(f"foot_length_mm is {self.foot_length_mm}; expected more than 0")

    @property
    def stays(self) -> bool:
        """Whether the target is where the cleat is, as precise as it is read."""
        return None not in (self.now.value, self.target_mm) and not halved(self.target_mm - self.now.value)

    @property
    def moves(self) -> bool:
        """Whether the target is elsewhere than the cleat."""
        return None not in (self.now.value, self.target_mm) and not self.stays

    @property
    def past_the_slots_mm(self) -> float:
        """How far the target lies beyond the nearest slot end, positive toward the heel; 0 inside [mm]."""
        least, greatest = (self.target_mm if end is None else end for end in self.slots_mm)
        return 0.0 if self.target_mm is None else self.target_mm - min(max(self.target_mm, least), greatest)

    @property
    def float_ends_deg(self) -> Ends:
        """Least and greatest toe-out the float allows [deg]."""
        if self.toe_out_deg is None or self.float_deg is None:
            return None, None
        return self.toe_out_deg - self.float_deg / 2, self.toe_out_deg + self.float_deg / 2


def sole_outline(length_mm: float) -> list[Point]:
    """Return the sketched sole as a closed line round the joint, x to the big-toe side, y to the toes [mm]."""
    y = (SOLE[:, 0] - JOINT_PLACE) * length_mm
    x = np.concatenate([SOLE[:, 1], -SOLE[::-1, 2]]) * length_mm
    return list(zip(x, np.concatenate([y, y[::-1]]), strict=True))


def sole_rows(foot: SoleFoot) -> list[FigureRow]:
    """Return what the drawing of one sole shows."""
    side, rows = foot.side, []
    if foot.instruction:
        rows.append(row(side, "instruction", words=foot.instruction, said=f"{capital(foot.instruction)}."))
    rows.append(row(side, f"cleat {foot.now_word}, behind the joint", foot.now, said=_now_words(foot)))
    if foot.target_mm is not None or not foot.instruction:
        move = None
        said = f"{capital(foot.target_word)} {halves(foot.target_mm or 0)} mm"
        if foot.now.is_known and foot.target_mm is not None:
            move = halved(foot.target_mm) - halved(foot.now.value)
            said += f", a move of {_toward(move)}"
        rows += [
            row(side, f"{foot.target_word}, behind the joint", foot.target_mm, lacking="not given", said=f"{said}."),
            row(side, "move, toward the heel", move, lacking="not given", said=""),
        ]
    past = foot.past_the_slots_mm
    if halved(past):
        said = f"That is {halves(abs(past))} mm past the slots."
        rows.append(row(side, "target past the slots, toward the heel", past, said=said))
    joint, ends = foot.joint_to_big_toe_side_mm, foot.float_ends_deg
    aside = f"Joint {halves(joint or 0)} mm to the big-toe side of the shoe's axis."
    turn = f"Float {halves(foot.float_deg or 0)} degrees{f', from {ends_words(ends)}' if None not in ends else ''}."
    band, slots = f"Starting band {ends_words(foot.band_mm)} mm.", f"Slots allow {ends_words(foot.slots_mm)} mm."
    return [
        *rows,
        row(side, "starting band", None, foot.band_mm, lacking="not given", said=band),
        row(side, "slots", None, foot.slots_mm, said=slots),
        row(side, "joint from the shoe's axis, to the big-toe side", joint, said=aside),
        row(side, "foot length", foot.foot_length_mm),
        row(side, "toe-out set by the cleat", foot.toe_out_deg, unit="deg"),
        row(side, "float", foot.float_deg, ends, unit="deg", said=turn),
        row(side, "natural toe-out", foot.natural_toe_out_deg, unit="deg"),
    ]


def _now_words(foot: SoleFoot) -> str:
    now, interval = foot.now, ""
    where = "ahead of" if (now.value or 0) < 0 else "behind"
    if has_interval(now):
        note = ", behind it positive" if now.value < 0 else ""
        interval = f" ({halves(now.low)} to {halves(now.high)}{note})"
    return f"Cleat {foot.now_word} {halves(abs(now.value or 0))} mm {where} the joint{interval}."


def ends_words(ends: Ends) -> str:
    """Return "6 to 19"; an end that is not measured is a question mark."""
    return " to ".join("?" if end is None else halves(end) for end in ends)


def _toward(move_mm: float) -> str:
    """Return a move in words: how far and toward which end of the shoe."""
    return f"{halves(abs(move_mm))} mm toward the {'heel' if move_mm > 0 else 'toes'}" if move_mm else "0 mm"
