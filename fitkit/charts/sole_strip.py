"""Below the drawn part of a sole: the whole sole as a key, and the rotation at its true angles."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fitkit.charts.figure import Drawing
from fitkit.charts.sole_foot import SoleFoot, span
from fitkit.charts.sole_layout import EDGE_PX, JOINT_PLACE, PART_MM, ROW_PX, SOLE, STRIP_PX, WIDTH_PX, Part
from fitkit.charts.theme import GREY, INK, PALE
from fitkit.words import halves

__all__ = ["draw_strip"]

FAN_MIDDLE_PX, FAN_PX, KEY_PX = 196, 100, 264  # the protractor's middle and breadth, and its key [px]
LOOKS = {
    "ahead": {"stroke": GREY, "width_px": 0.8, "pattern": "dash_dot"},
    "cleat": {"width_px": 2.6},
    "float": {"stroke": GREY, "width_px": 0.8},
    "natural": {"width_px": 2, "pattern": "dotted"},
}


def draw_strip(drawing: Drawing, foot: SoleFoot, part: Part, feet: Sequence[SoleFoot]) -> None:
    """Draw the key of the whole sole, to one scale for all feet, and the rotation."""
    top_px = part.strip_px
    drawing.paper.line((EDGE_PX, top_px - 4), (WIDTH_PX - EDGE_PX, top_px - 4), stroke=PALE)
    _whole_sole(drawing, foot, part, max((each.foot_length_mm or 0) for each in feet), top_px)
    _rotation(drawing, foot, top_px)
    _rotation_key(drawing, foot, top_px)


def _whole_sole(drawing: Drawing, foot: SoleFoot, part: Part, longest_mm: float, top_px: float) -> None:
    length = foot.foot_length_mm
    if length is None:
        for row, line in enumerate(("foot length", "not measured:", "no outline")):
            drawing.paper.text((EDGE_PX, top_px + 14 + ROW_PX * row), line, color=GREY)
        return
    px_per_mm = (STRIP_PX - 14) / (1.06 * longest_mm)
    joint_px = top_px + 6 + (1.03 - JOINT_PLACE) * longest_mm * px_per_mm
    key = drawing.view(origin_px=(EDGE_PX + 26, joint_px), px_per_mm=px_per_mm, mirrored=foot.side == "left")
    y = (SOLE[:, 0] - JOINT_PLACE) * length
    x = np.concatenate([SOLE[:, 1], -SOLE[::-1, 2]]) * length
    key.box((part.big_toe_mm, part.toes_mm), (-PART_MM, part.heel_mm), fill=PALE)
    key.path(
        list(zip(x, np.concatenate([y, y[::-1]]), strict=True)), stroke=GREY, width_px=1.3, smooth=True, closed=True
    )
    for row, line in enumerate(("sketched", "sole; grey:", "the part", "above")):
        drawing.paper.text((EDGE_PX + 54, top_px + 14 + ROW_PX * row), line, color=GREY)


def _rotation(drawing: Drawing, foot: SoleFoot, top_px: float) -> None:
    known = [angle for angle in (foot.toe_out_deg, foot.natural_toe_out_deg) if angle is not None]
    low = math.floor(min([-2, *known, *(foot.float_ends_deg or ())])) - 2
    high = math.ceil(max([13, *known, *(foot.float_ends_deg or ())])) + 2
    # A piece of a large protractor: true angles, and degrees far enough apart to be read.
    radius = FAN_PX / math.radians(high - low)
    middle = math.radians((low + high) / 2)
    onward = 1 if foot.side == "left" else -1
    fan = drawing.view(
        origin_px=(FAN_MIDDLE_PX - onward * radius * math.sin(middle), top_px + 36 + radius * math.cos(middle)),
        px_per_mm=1,
        # toes out is toward the little-toe side: to the right on the left foot, seen from below
        mirrored=foot.side == "right",
    )

    def at(angle_deg: float, distance: float) -> tuple[float, float]:
        return distance * math.sin(math.radians(angle_deg)), distance * math.cos(math.radians(angle_deg))

    degree_px = math.radians(1) * radius
    every = next(step for step in (5, 10, 20, 60) if step * degree_px >= 18)
    angles = [angle for angle in range(low, high + 1) if degree_px >= 2.5 or angle % 5 == 0]
    ticks = [(at(angle, radius), at(angle, radius + (3.5 if angle % every else 8))) for angle in angles]
    fan.lines(ticks, stroke=GREY, width_px=0.8)
    for angle in angles:
        if angle % every == 0:
            fan.text(at(angle, radius + 16), halves(angle), anchor="middle", color=GREY)
    for angle, look in _rays(foot):
        fan.path([at(angle, radius), at(angle, max(0, radius - 72))], **look)


def _rays(foot: SoleFoot) -> list[tuple[float, dict]]:
    rays = [(0, LOOKS["ahead"])] + [(end, LOOKS["float"]) for end in foot.float_ends_deg or ()]
    if foot.toe_out_deg is not None:
        rays.append((foot.toe_out_deg, LOOKS["cleat"]))
    if foot.natural_toe_out_deg is not None:
        rays.append((foot.natural_toe_out_deg, LOOKS["natural"]))
    return rays


def _rotation_key(drawing: Drawing, foot: SoleFoot, top_px: float) -> None:
    ends = foot.float_ends_deg
    words = {"ahead": "straight ahead"}
    if foot.toe_out_deg is not None:
        words["cleat"] = f"cleat {halves(foot.toe_out_deg)}°"
    if foot.float_deg is not None:
        words["float"] = f"float {halves(foot.float_deg)}°" + (f": {span(*ends)}°" if ends else "")
    if foot.natural_toe_out_deg is not None:
        words["natural"] = f"natural {halves(foot.natural_toe_out_deg)}°"
    drawn = [name for name in words if name != "float" or ends]
    paper = drawing.paper
    rows_px = {name: top_px + 36 + 19 * row for row, name in enumerate(LOOKS)}
    for name in drawn:
        for shift in (-3, 3) if name == "float" else (0,):
            y = rows_px[name] + shift
            paper.path([(KEY_PX, y), (KEY_PX + 26, y)], **LOOKS[name])
    paper.text((KEY_PX, top_px + 15), "Toe-out on the pedal", bold=True)
    for name, y in rows_px.items():
        color = INK if name in words else GREY
        paper.text((KEY_PX + 32, y), words.get(name, f"{name} not measured"), color=color)
