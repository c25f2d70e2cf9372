"""One leg's numbers for the side view, and the saddle's and the bars': checked, placed, as a table and in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.charts.figure import Point
from fitkit.charts.rows import check_numbers, lacking_words, row
from fitkit.words import halved, halves, tenths, whole

__all__ = [
    "SeatMove",
    "SideLeg",
    "bar_words",
    "foot_words",
    "leg_words",
    "missing_for_whole_leg",
    "saddle_words",
    "seat_words",
    "side_table",
    "whole_leg",
]

SKETCHED_SOLE_MM = 20  # where the foot's sole is drawn above the axle while it is not measured

WHOLE_LEG = {
    "ankle_to_mtp1_mm": "ankle to joint",
    "ankle_height_mm": "ankle height",
    "axle_to_foot_sole_mm": "axle to foot sole",
    "old_setback_mm": "cleat setback",
    "pitch_deg": "foot pitch",
    "thigh_mm": "thigh",
    "shank_mm": "shank",
    "hip_x_mm": "hip place",
    "hip_y_mm": "hip place",
    "crank_mm": "crank length",
    "crank_angle_deg": "crank angle",
}


@dataclass(frozen=True, kw_only=True)
class SideLeg:
    """What the side view shows of one leg; None is "not measured" and is said, not drawn."""

    side: str  # "left" or "right"; both are drawn facing right
    # ankle to the first-MTP mark along the sole, and ankle above the foot's sole [mm]
    ankle_to_mtp1_mm: float | None = None
    # ankle to the first-MTP mark along the sole, and ankle above the foot's sole [mm]
    ankle_height_mm: float | None = None
    axle_to_foot_sole_mm: float | None = None  # pedal axle to the foot's sole, square to it [mm]
    old_setback_mm: float | None = None  # cleat setback before and after, toward the heel positive [mm]
    new_setback_mm: float | None = None  # cleat setback before and after, toward the heel positive [mm]
    pitch_deg: float | None = None  # foot pitch at the drawn crank angle, heel up positive [deg]
    thigh_mm: float | None = None  # lengths of the leg [mm]
    shank_mm: float | None = None  # lengths of the leg [mm]
    hip_x_mm: float | None = None  # hip from the crank centre, forward and up positive [mm]
    hip_y_mm: float | None = None  # hip from the crank centre, forward and up positive [mm]
    crank_mm: float | None = None  # crank length [mm]
    crank_angle_deg: float | None = None  # 0 at the top, 90 forward [deg]

    def __post_init__(self) -> None:
        check_numbers(self)
        for name in ("ankle_to_mtp1_mm", "ankle_height_mm", "thigh_mm", "shank_mm", "crank_mm"):
            length = getattr(self, name)
            if length is not None and not length > 0:
                raise ValueError(f"{name} is {length}; expected more than 0")

    @property
    def move_mm(self) -> float | None:
        """New minus old cleat setback, as both are written [mm]; the foot goes that far forward along its sole."""
        if self.old_setback_mm is None or self.new_setback_mm is None:
            return None
        return halved(self.new_setback_mm) - halved(self.old_setback_mm)

    @property
    def moves(self) -> bool:
        """Whether the cleat moves, as precise as it is read."""
        return bool(self.move_mm)

    @property
    def ankle_move_mm(self) -> tuple[float, float] | None:
        """How far the ankle goes forward and down at this pitch [mm]."""
        if self.move_mm is None or self.pitch_deg is None:
            return None
        pitch = math.radians(self.pitch_deg)
        return self.move_mm * math.cos(pitch), self.move_mm * math.sin(pitch)

    @property
    def drawn_sole_mm(self) -> float:
        """Axle to foot sole as drawn [mm]."""
        return SKETCHED_SOLE_MM if self.axle_to_foot_sole_mm is None else self.axle_to_foot_sole_mm

    def place(self, ahead_mm: float, above_mm: float, setback_mm: float) -> Point:
        """Return a place on the foot, forward and up from the pedal axle [mm]."""
        pitch = math.radians(self.pitch_deg or 0)
        along, square = ahead_mm + setback_mm, above_mm + self.drawn_sole_mm
        return (
            along * math.cos(pitch) + square * math.sin(pitch),
            -along * math.sin(pitch) + square * math.cos(pitch),
        )

    def ankle(self, setback_mm: float) -> Point | None:
        """Return the ankle, forward and up from the pedal axle [mm]; None where it is not known."""
        if self.ankle_to_mtp1_mm is None or self.ankle_height_mm is None:
            return None
        return self.place(-self.ankle_to_mtp1_mm, self.ankle_height_mm, setback_mm)


@dataclass(frozen=True, kw_only=True)
class SeatMove:
    """What saddle and bars do; None is not given and is said."""

    saddle_down_mm: float | None = None  # down along the seat tube positive [mm]
    seat_tube_angle_deg: float | None = None  # from horizontal [deg]
    bar_down_mm: float | None = None  # straight down positive [mm]

    def __post_init__(self) -> None:
        check_numbers(self)
        angle = self.seat_tube_angle_deg
        if angle is not None and not 0 < angle < 180:
            raise ValueError(f"seat_tube_angle_deg is {angle}; expected more than 0 and less than 180")


def missing_for_whole_leg(leg: SideLeg) -> list[str]:
    """Return what the key of the whole leg lacks."""
    return list(dict.fromkeys(what for name, what in WHOLE_LEG.items() if getattr(leg, name) is None))


def whole_leg(leg: SideLeg) -> list[Point] | None:
    """Return hip, knee, ankle, axle and crank centre as found [mm from the crank centre]; None if out of reach."""
    turn = math.radians(leg.crank_angle_deg)
    axle = (leg.crank_mm * math.sin(turn), leg.crank_mm * math.cos(turn))
    ahead, above = leg.ankle(leg.old_setback_mm)
    ankle, hip = (axle[0] + ahead, axle[1] + above), (leg.hip_x_mm, leg.hip_y_mm)
    reach = math.dist(hip, ankle)
    if not abs(leg.thigh_mm - leg.shank_mm) < reach <= leg.thigh_mm + leg.shank_mm:
        return None
    along = (leg.thigh_mm**2 - leg.shank_mm**2 + reach**2) / (2 * reach)
    aside = math.sqrt(max(0.0, leg.thigh_mm**2 - along**2))
    way = ((ankle[0] - hip[0]) / reach, (ankle[1] - hip[1]) / reach)
    knee = (hip[0] + along * way[0] - aside * way[1], hip[1] + along * way[1] + aside * way[0])
    return [hip, knee, ankle, axle, (0.0, 0.0)]


def foot_words(leg: SideLeg) -> str:
    """Return what the foot does on the pedal."""
    if leg.move_mm is None:
        return "Move of the cleat: not given"
    if not leg.moves:
        return "Cleat stays where it is"
    back = leg.move_mm > 0
    return f"Cleat {halves(abs(leg.move_mm))} mm {'back: foot goes forward' if back else 'forward: foot goes back'}"


def saddle_words(seat: SeatMove) -> str:
    """Return what the saddle does."""
    if seat.saddle_down_mm is None:
        return "Saddle: not given"
    if not halved(seat.saddle_down_mm):
        return "Saddle stays"
    way = "down" if seat.saddle_down_mm > 0 else "up"
    return f"Saddle {way} {halves(abs(seat.saddle_down_mm))} mm along the seat tube"


def bar_words(seat: SeatMove) -> str:
    """Return what the bars do."""
    if seat.bar_down_mm is None:
        return "Bars: not given"
    if not halved(seat.bar_down_mm):
        return "Bars stay"
    return f"Bars {'down' if seat.bar_down_mm > 0 else 'up'} {halves(abs(seat.bar_down_mm))} mm"


def side_table(legs: Sequence[SideLeg], *, seat: SeatMove | None = None) -> list[dict]:
    """Return the table behind the side view: what is drawn, as precise as it is written there, and nothing else."""
    rows = [each for leg in legs for each in _leg_rows(leg)]
    return rows + ([] if seat is None else _seat_rows(seat))


def _leg_rows(leg: SideLeg) -> list[dict]:
    forward, down = leg.ankle_move_mm or (None, None)
    named = [
        ("cleat setback before", "mm", leg.old_setback_mm),
        ("cleat setback after", "mm", leg.new_setback_mm),
        ("move of the cleat, toward the heel", "mm", leg.move_mm),
        ("ankle goes forward", "mm", forward),
        ("ankle goes down", "mm", down),
        ("foot pitch, heel up", "deg", leg.pitch_deg),
        ("axle to foot sole", "mm", leg.axle_to_foot_sole_mm),
        ("ankle to joint along the sole", "mm", leg.ankle_to_mtp1_mm),
        ("ankle height above the sole", "mm", leg.ankle_height_mm),
        ("thigh", "mm", leg.thigh_mm),
        ("shank", "mm", leg.shank_mm),
        ("hip ahead of the crank centre", "mm", leg.hip_x_mm),
        ("hip above the crank centre", "mm", leg.hip_y_mm),
        ("crank length", "mm", leg.crank_mm),
        ("crank angle drawn", "deg", leg.crank_angle_deg),
    ]
    typed = ("crank length", "axle to foot sole")
    return [row(leg.side, what, unit, value, typed=what in typed) for what, unit, value in named]


def _seat_rows(seat: SeatMove) -> list[dict]:
    named = [
        ("saddle down along the seat tube", "mm", seat.saddle_down_mm, "not given"),
        ("seat-tube angle", "deg", seat.seat_tube_angle_deg, "not measured"),
        ("bars down", "mm", seat.bar_down_mm, "not given"),
    ]
    return [row("", what, unit, value, lacking=lacking) for what, unit, value, lacking in named]


def leg_words(leg: SideLeg) -> str:
    """Return everything the side view shows of one leg, in plain sentences."""
    words = [f"{leg.side.capitalize()} foot on the pedal from the side, toes to the right. {foot_words(leg)}."]
    rows = _leg_rows(leg)
    for each in rows:
        if each["value"] is not None:
            unit = "degrees" if each["unit"] == "deg" else "mm"
            words.append(f"{each['what'].capitalize()} {tenths(each['value'])} {unit}.")
    if not missing_for_whole_leg(leg) and whole_leg(leg) is None:
        words.append("With these lengths the leg does not reach its pedal.")
    return " ".join(words + lacking_words(rows, "not measured"))


def seat_words(seat: SeatMove) -> str:
    """Return everything the side view shows of saddle and bars, in plain sentences."""
    words = [f"Saddle and bars from the side, front to the right. {saddle_words(seat)}. {bar_words(seat)}."]
    if seat.seat_tube_angle_deg is not None:
        words.append(f"Seat-tube angle {whole(seat.seat_tube_angle_deg)} degrees.")
    return " ".join(words + lacking_words(_seat_rows(seat), "not measured", "not given"))
