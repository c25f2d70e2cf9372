"""How the drawing of one sole divides its sheet, and how the foot's numbers fall on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.charts.sole_foot import SoleFoot
from fitkit.charts.theme import wrapped

__all__ = [
    "EDGE_PX",
    "GUTTER_PX",
    "INSTRUCTION_PX",
    "JOINT_PLACE",
    "LABEL_PX",
    "PART_MM",
    "PART_PX",
    "ROW_PX",
    "RULER_PX",
    "SOLE",
    "STRIP_PX",
    "WIDTH_PX",
    "WORDS_PX",
    "Part",
    "instruction_lines",
    "part_for",
]

# The sheet, left to right: a ruler (on the big-toe side), the part of the sole round the joint, its labels [px].
WIDTH_PX, EDGE_PX, RULER_PX, PART_PX, GUTTER_PX = 440, 6, 31, 278, 17
LABEL_PX = WIDTH_PX - 2 * EDGE_PX - RULER_PX - PART_PX - GUTTER_PX
INSTRUCTION_PX, WORDS_PX, ROW_PX = 17, 12, 15
STRIP_PX = 118  # the whole sole and the rotation, below

PART_MM = 26  # how far the large part reaches to the little-toe side of the shoe's long axis [mm]

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


@dataclass(frozen=True)
class Part:
    """The part of the sole that is drawn large, the same for both feet.

    x runs to the big-toe side from the shoe's long axis, y to the toes from the joint [mm].
    """

    big_toe_mm: float
    toes_mm: float
    heel_mm: float
    head_rows: int

    @property
    def px_per_mm(self) -> float:
        return PART_PX / (self.big_toe_mm + PART_MM)

    @property
    def top_px(self) -> float:
        return 42 + 21 * self.head_rows

    @property
    def bottom_px(self) -> float:
        return self.top_px + (self.toes_mm - self.heel_mm) * self.px_per_mm

    @property
    def strip_px(self) -> float:
        """Top of the strip below, under the notes [px]."""
        return self.bottom_px + 48

    @property
    def height_px(self) -> float:
        return self.strip_px + 2 + STRIP_PX


def part_for(feet: Sequence[SoleFoot]) -> Part:
    """Return the part to draw large so that everything known of these feet lies in it."""
    places = [
        place
        for foot in feet
        for place in (
            *(foot.now_mm, foot.now_low_mm, foot.now_high_mm, foot.target_mm),
            *(foot.band_low_mm, foot.band_high_mm, foot.slot_least_mm, foot.slot_greatest_mm),
        )
        if place is not None
    ]
    breadths = [foot.foot_length_mm * SOLE[:, 1].max() for foot in feet if foot.foot_length_mm is not None]
    joints = [foot.joint_to_big_toe_side_mm + 4 for foot in feet if foot.joint_to_big_toe_side_mm is not None]
    return Part(
        big_toe_mm=max([44, *breadths, *joints]) + 2,
        toes_mm=max(12, 5 - min(places, default=0)),
        heel_mm=-max(34, max(places, default=0) + 5),
        head_rows=max(len(instruction_lines(foot)) for foot in feet),
    )


def instruction_lines(foot: SoleFoot) -> list[str]:
    """Return the instruction as it stands above the drawing, line by line."""
    words = foot.instruction or ""
    # some room to spare: a reader's machine may stand in a broader letter
    return wrapped(words[:1].upper() + words[1:], width_px=0.87 * WIDTH_PX, size_px=INSTRUCTION_PX, bold=True)
