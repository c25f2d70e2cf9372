"""One foot's numbers for the drawing of the soles: checked, as a table, and in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

from fitkit.words import halved, halves

__all__ = ["SoleFoot", "sole_table", "sole_words", "span", "toward"]


@dataclass(frozen=True, kw_only=True)
class SoleFoot:
    """What the drawing of one sole shows; None is "not measured" and is said, not drawn."""

    side: str  # "left" or "right"
    now_mm: float | None = None  # cleat setback as it is, positive toward the heel [mm]
    now_low_mm: float | None = None  # ends of its 95 % interval [mm]
    now_high_mm: float | None = None  # ends of its 95 % interval [mm]
    band_low_mm: float | None = None  # starting band [mm]
    band_high_mm: float | None = None  # starting band [mm]
    target_mm: float | None = None  # cleat setback to set [mm]; None where the advice is to leave it or there is none
    move_mm: float | None = None  # distance to move, positive toward the heel [mm]
    slot_least_mm: float | None = None  # cleat setbacks at the ends of the slots [mm]
    slot_greatest_mm: float | None = None  # cleat setbacks at the ends of the slots [mm]
    toe_out_deg: float | None = None  # toe-out the cleat gives the shoe with the float in its middle [deg]
    natural_toe_out_deg: float | None = None  # toe-out of the foot as it hangs or stands by itself [deg]
    float_deg: float | None = None  # free rotation in the pedal, both ways together [deg]
    # first-MTP mark from the shoe's long axis, positive to the big-toe side [mm]
    joint_to_big_toe_side_mm: float | None = None
    foot_length_mm: float | None = None  # heel to toe tip; the sketched outline follows it [mm]
    instruction: str | None = None  # what to do, in words
    now_word: str = "now"  # how the two cleat lines are called
    target_word: str = "try"  # how the two cleat lines are called

    def __post_init__(self) -> None:
        if self.side not in ("left", "right"):
            raise ValueError(f"side is {self.side!r}; expected 'left' or 'right'")
        for each in fields(self):
            value = getattr(self, each.name)
            if each.name.endswith(("_mm", "_deg")) and value is not None and not math.isfinite(value):
                raise ValueError(f"{each.name} is {value}; expected a finite number or None")
        for low, high in (
            ("now_low_mm", "now_high_mm"),
            ("band_low_mm", "band_high_mm"),
            ("slot_least_mm", "slot_greatest_mm"),
        ):
            ends = (getattr(self, low), getattr(self, high))
            if None not in ends and not ends[0] <= ends[1]:
                raise ValueError(f"{low} is {ends[0]}, above {high} {ends[1]}; expected the lower end first")
        if self.foot_length_mm is not None and not self.foot_length_mm > 0:
            raise ValueError(f"foot_length_mm is {self.foot_length_mm}; expected more than 0")

    @property
    def has_interval(self) -> bool:
        """Whether there is a present place with both ends of its interval."""
        return None not in (self.now_mm, self.now_low_mm, self.now_high_mm)

    @property
    def stays(self) -> bool:
        """Whether the target is where the cleat is, as precise as it is read."""
        return None not in (self.now_mm, self.target_mm) and not halved(self.target_mm - self.now_mm)

    @property
    def moves(self) -> bool:
        """Whether the target is elsewhere than the cleat."""
        return None not in (self.now_mm, self.target_mm) and not self.stays

    @property
    def past_the_slots_mm(self) -> float:
        """How far the target lies beyond the nearest slot end, positive toward the heel; 0 inside [mm]."""
        if self.target_mm is None:
            return 0.0
        if self.slot_greatest_mm is not None and self.target_mm > self.slot_greatest_mm:
            return self.target_mm - self.slot_greatest_mm
        if self.slot_least_mm is not None and self.target_mm < self.slot_least_mm:
            return self.target_mm - self.slot_least_mm
        return 0.0

    @property
    def float_ends_deg(self) -> tuple[float, float] | None:
        """Least and greatest toe-out the float allows [deg]."""
        if self.toe_out_deg is None or self.float_deg is None:
            return None
        return self.toe_out_deg - self.float_deg / 2, self.toe_out_deg + self.float_deg / 2


def sole_table(feet: Sequence[SoleFoot]) -> list[dict]:
    """Return the table behind the drawing: what is drawn, as precise as it is written there, and nothing else."""
    return [row for foot in feet for row in _rows(foot)]


def _rows(foot: SoleFoot) -> list[dict]:
    ends = foot.float_ends_deg or (None, None)
    interval = (foot.now_low_mm, foot.now_high_mm) if foot.has_interval else (None, None)
    rows = [
        _row(foot, f"cleat {foot.now_word}, behind the joint", "mm", foot.now_mm, *interval),
        _row(foot, "starting band", "mm", None, foot.band_low_mm, foot.band_high_mm, lacking="not given"),
        _row(foot, "slots", "mm", None, foot.slot_least_mm, foot.slot_greatest_mm),
        _row(foot, "joint from the shoe's axis, to the big-toe side", "mm", foot.joint_to_big_toe_side_mm),
        _row(foot, "foot length", "mm", foot.foot_length_mm),
        _row(foot, "toe-out set by the cleat", "deg", foot.toe_out_deg),
        _row(foot, "float", "deg", foot.float_deg, *ends),
        _row(foot, "natural toe-out", "deg", foot.natural_toe_out_deg),
    ]
    if foot.target_mm is not None or not foot.instruction:
        move = None if foot.target_mm is None else foot.move_mm
        target = [
            _row(foot, f"{foot.target_word}, behind the joint", "mm", foot.target_mm, lacking="not given"),
            _row(foot, "move, toward the heel", "mm", move, lacking="not given"),
        ]
        if halved(foot.past_the_slots_mm):
            target.append(_row(foot, "target past the slots, toward the heel", "mm", foot.past_the_slots_mm))
        rows[1:1] = target
    if foot.instruction:
        rows.insert(0, {**_row(foot, "instruction", ""), "words": foot.instruction})
    return rows


def _row(
    foot: SoleFoot,
    what: str,
    unit: str,
    value: float | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    lacking: str = "not measured",
) -> dict:
    given = {"value": value, "low": low, "high": high}
    numbers = {name: None if each is None else halved(each) for name, each in given.items()}
    words = lacking if given == dict.fromkeys(given) else ""
    return {"side": foot.side, "what": what, "unit": unit, **numbers, "words": words}


def sole_words(foot: SoleFoot) -> str:
    """Return everything the drawing of one sole shows, in plain sentences."""
    # Seen from below, the left foot's big toe is on the left.
    words = [f"{foot.side.capitalize()} sole from below, toes up, big-toe side on the {foot.side}."]
    if foot.instruction:
        words.append(f"{foot.instruction[0].upper()}{foot.instruction[1:]}.")
    words += _cleat_words(foot) + _rotation_words(foot)
    if foot.joint_to_big_toe_side_mm is not None:
        words.append(f"Joint {halves(foot.joint_to_big_toe_side_mm)} mm to the big-toe side of the shoe's axis.")
    if foot.foot_length_mm is not None:
        words.append(f"Foot length {halves(foot.foot_length_mm)} mm.")
    for lack in ("not measured", "not given"):
        lacking = [row["what"] for row in _rows(foot) if row["words"] == lack]
        if lacking:
            words.append(f"{lack.capitalize()}: {'; '.join(lacking)}.")
    return " ".join(words)


def _cleat_words(foot: SoleFoot) -> list[str]:
    words = []
    if foot.now_mm is not None:
        interval, ahead = "", foot.now_mm < 0
        if foot.has_interval:
            note = ", behind it positive" if ahead else ""
            interval = f" ({halves(foot.now_low_mm)} to {halves(foot.now_high_mm)}{note})"
        where = "ahead of" if ahead else "behind"
        words.append(f"Cleat {foot.now_word} {halves(abs(foot.now_mm))} mm {where} the joint{interval}.")
    if foot.slot_least_mm is not None or foot.slot_greatest_mm is not None:
        words.append(f"Slots allow {span(foot.slot_least_mm, foot.slot_greatest_mm)} mm.")
    if foot.target_mm is not None:
        move = "" if foot.move_mm is None else f", a move of {toward(foot.move_mm)}"
        words.append(f"{foot.target_word.capitalize()} {halves(foot.target_mm)} mm{move}.")
    if halved(foot.past_the_slots_mm):
        words.append(f"That is {halves(abs(foot.past_the_slots_mm))} mm past the slots.")
    if foot.band_low_mm is not None or foot.band_high_mm is not None:
        words.append(f"Starting band {span(foot.band_low_mm, foot.band_high_mm)} mm.")
    return words


def _rotation_words(foot: SoleFoot) -> list[str]:
    words = []
    if foot.toe_out_deg is not None:
        words.append(f"Toe-out set by the cleat {halves(foot.toe_out_deg)} degrees.")
    if foot.float_deg is not None:
        ends = foot.float_ends_deg
        words.append(f"Float {halves(foot.float_deg)} degrees{f', from {span(*ends)}' if ends else ''}.")
    if foot.natural_toe_out_deg is not None:
        words.append(f"Natural toe-out {halves(foot.natural_toe_out_deg)} degrees.")
    return words


def span(low: float | None, high: float | None) -> str:
    """Return "6 to 19"; an end that is not measured is a question mark."""
    return " to ".join("?" if end is None else halves(end) for end in (low, high))


def toward(move_mm: float) -> str:
    """Return a move in words: how far and toward which end of the shoe."""
    if not halved(move_mm):
        return "0 mm"
    return f"{halves(abs(move_mm))} mm toward the {'heel' if move_mm > 0 else 'toes'}"
