"""The soles from below, to scale: joint, cleat now and to be, slots, band, move, rotation."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fitkit.charts.figure import Drawing, Figure, View, beside
from fitkit.charts.sole_foot import SoleFoot, sole_table, sole_words
from fitkit.charts.sole_labels import draw_labels
from fitkit.charts.sole_layout import (
    EDGE_PX,
    INSTRUCTION_PX,
    JOINT_PLACE,
    PART_MM,
    RULER_PX,
    SOLE,
    WIDTH_PX,
    Part,
    instruction_lines,
    part_for,
)
from fitkit.charts.sole_strip import draw_strip
from fitkit.charts.theme import BLUE, GREY, INK, PALE
from fitkit.words import halved

__all__ = ["SoleFoot", "sole_table", "soles"]

TITLE_PX = 15
# How far the drawn things reach from the shoe's long axis, to either side [mm]; house choices for legibility.
CLEAT_MM, BAND_MM, SLOT_MM, SLOT_HALF_MM, WHISKER_MM = 21.5, 23, 13.5, 2.6, 18.8


def soles(feet: Sequence[SoleFoot]) -> Figure:
    """Draw soles from below to one scale, beside one another where there is room."""
    sides = [foot.side for foot in feet]
    if not sides or len(set(sides)) < len(sides):
        raise ValueError(f"feet are {sides}; expected one of each side at most, and at least one")
    part = part_for(feet)
    return beside([_sole(foot, part, feet) for foot in feet], title="Soles from below")


def _sole(foot: SoleFoot, part: Part, feet: Sequence[SoleFoot]) -> Figure:
    drawing = Drawing(WIDTH_PX, math.ceil(part.height_px))
    left = foot.side == "left"
    axis_px = EDGE_PX + RULER_PX + part.big_toe_mm * part.px_per_mm
    view = drawing.view(
        origin_px=(axis_px if left else WIDTH_PX - axis_px, part.top_px + part.toes_mm * part.px_per_mm),
        px_per_mm=part.px_per_mm,
        # x runs to the big-toe side; seen from below that is to the left on the left foot
        mirrored=left,
    )
    _fields(view, foot, part)
    _outline(view, foot, part)
    _cleat(view, foot)
    draw_labels(view, foot, part)
    _heading(view, foot, part)
    _notes(view, foot, part)
    draw_strip(drawing, foot, part, feet)
    return drawing.figure(alt=sole_words(foot), title=f"{foot.side.capitalize()} sole from below")


def _fields(view: View, foot: SoleFoot, part: Part) -> None:
    if foot.band_low_mm is not None and foot.band_high_mm is not None:
        view.box((BAND_MM, -foot.band_low_mm), (-PART_MM, -foot.band_high_mm), fill=PALE)
    if foot.slot_least_mm is not None and foot.slot_greatest_mm is not None:
        ends = -foot.slot_least_mm, -foot.slot_greatest_mm
        radius_px = min(SLOT_HALF_MM, (foot.slot_greatest_mm - foot.slot_least_mm) / 2) * view.px_per_mm
        for x in (-SLOT_MM, SLOT_MM):
            left, right = x - SLOT_HALF_MM, x + SLOT_HALF_MM
            view.box((left, ends[0]), (right, ends[1]), fill="white", stroke=GREY, width_px=1.2, radius_px=radius_px)
            if halved(foot.past_the_slots_mm):
                end = -foot.target_mm + foot.past_the_slots_mm
                view.box((left, end), (right, -foot.target_mm), stroke=BLUE, pattern="dotted")
    view.box((-PART_MM, part.toes_mm), (part.big_toe_mm, part.heel_mm), stroke=PALE)


def _outline(view: View, foot: SoleFoot, part: Part) -> None:
    if foot.foot_length_mm is not None:
        y = np.linspace(part.heel_mm, part.toes_mm, 6)
        for half, toward in ((SOLE[:, 1], 1), (SOLE[:, 2], -1)):
            x = toward * np.interp(y / foot.foot_length_mm + JOINT_PLACE, SOLE[:, 0], half) * foot.foot_length_mm
            inside = (x > -PART_MM) & (x < part.big_toe_mm)
            if inside.sum() > 1:
                view.path(list(zip(x[inside], y[inside], strict=True)), stroke=GREY, width_px=1.3, smooth=True)
    top, bottom = math.floor(part.toes_mm), math.ceil(part.heel_mm)
    view.ruler((part.big_toe_mm, top), (part.big_toe_mm, bottom), first=-top)
    view.path([(part.big_toe_mm, 0), (-PART_MM, 0)], stroke=GREY, width_px=0.7, pattern="dash_dot")
    if foot.joint_to_big_toe_side_mm is not None:
        b = foot.joint_to_big_toe_side_mm
        view.lines([((b - 4, 0), (b + 4, 0)), ((b, -4), (b, 4))], width_px=2)


def _cleat(view: View, foot: SoleFoot) -> None:
    if foot.now_mm is not None:
        view.line((-CLEAT_MM, -foot.now_mm), (CLEAT_MM, -foot.now_mm), width_px=3)
    if foot.has_interval:
        low, high = -foot.now_low_mm, -foot.now_high_mm
        caps = [((-WHISKER_MM - 1.3, y), (-WHISKER_MM + 1.3, y)) for y in (low, high)]
        view.lines([((-WHISKER_MM, low), (-WHISKER_MM, high)), *caps], width_px=1.2)
    if foot.target_mm is not None and not foot.stays:
        target = -foot.target_mm
        view.line((-CLEAT_MM, target), (CLEAT_MM, target), stroke=BLUE, width_px=3, pattern="dashed")
    if foot.moves:
        # A move too short for an arrow of its own is reached by one that starts before the present line.
        way = math.copysign(1, foot.target_mm - foot.now_mm)
        start = foot.target_mm - way * max(abs(foot.target_mm - foot.now_mm), 14 / view.px_per_mm)
        base = foot.target_mm - way * 8 / view.px_per_mm
        view.line((0, -start), (0, -base), stroke=BLUE, width_px=2)
        view.head((0, -foot.target_mm), away_from=(0, -start), color=BLUE)


def _heading(view: View, foot: SoleFoot, part: Part) -> None:
    paper = view.drawing.paper
    paper.text((EDGE_PX, 13), f"{foot.side.capitalize()} sole from below", size_px=TITLE_PX, bold=True)
    for row, line in enumerate(instruction_lines(foot)):
        color = BLUE if foot.moves else INK
        paper.text((EDGE_PX, 36 + 21 * row), line, size_px=INSTRUCTION_PX, bold=True, color=color)
    above = (0, -9)
    view.text((part.big_toe_mm, part.toes_mm), "big-toe side", anchor="end", color=GREY, shift_px=above)
    view.text((-PART_MM, part.toes_mm), "little-toe side", color=GREY, shift_px=above)
    middle = (part.big_toe_mm - PART_MM) / 2
    view.text((middle, part.toes_mm), "toes", anchor="middle", color=GREY, shift_px=above)
    b = foot.joint_to_big_toe_side_mm
    # inside the outline, and clear of the cross where there is one
    inside_mm = math.inf if foot.foot_length_mm is None else SOLE[:, 1].max() * foot.foot_length_mm - 6
    place = (min(33, inside_mm), 0) if b is None else (min(b, inside_mm), 4)
    view.text(place, "joint", bold=True, anchor="middle", shift_px=(0, -9))


def _notes(view: View, foot: SoleFoot, part: Part) -> None:
    notes = ["scale: this bar is 10 mm", "ruler: mm behind the joint"]
    if foot.has_interval:
        notes.append(f"upright bar: 95 % interval of {foot.now_word}")
    if foot.joint_to_big_toe_side_mm is None:
        notes.append("joint sideways: not measured")
    x, y = EDGE_PX + RULER_PX, part.bottom_px + 15
    notes = ["; ".join(notes[:2]), "; ".join(notes[2:])]
    paper = view.drawing.paper
    bar_px = 10 * view.px_per_mm
    paper.lines([((x, y), (x + bar_px, y)), ((x, y - 4), (x, y + 4)), ((x + bar_px, y - 4), (x + bar_px, y + 4))])
    for row, words in enumerate(filter(None, notes)):
        paper.text((x if row else x + bar_px + 8, y + 17 * row), words, color=GREY)
