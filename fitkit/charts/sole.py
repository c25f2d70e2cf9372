"""The soles from below, to scale: joint, cleat now and to be, slots, band, move, rotation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.charts.figure import Drawing, Figure, View, beside
from fitkit.charts.sole_foot import SoleFoot, missing_words, sole_table, sole_words, span
from fitkit.charts.theme import BLUE, GREY, INK, PALE, number, rounded, wrapped

__all__ = ["SoleFoot", "sole_table", "soles"]

# The sheet, left to right: a ruler (on the big-toe side), the part of the sole round the joint, its labels [px].
WIDTH_PX, EDGE_PX, RULER_PX, PART_PX, GUTTER_PX = 440, 6, 28, 288, 18
TITLE_PX, INSTRUCTION_PX, WORDS_PX, ROW_PX = 15, 17, 12, 15
STRIP_PX = 118  # the whole sole and the rotation, below

# How far the drawn things reach from the shoe's long axis, to either side [mm]; house choices for legibility.
CLEAT_MM, BAND_MM, SLOT_MM, SLOT_HALF_MM, WHISKER_MM, PART_MM = 21.5, 23, 13.5, 2.6, 18.8, 26

# A sketched sole: place from heel to toe tip, then half-breadths to the big-toe and little-toe side, all in parts
# of the foot's length. It only gives the eye something to hold on to: no measurement is read from it.
SOLE = np.array(
    [
        (-0.02, 0.010, 0.010),
        (0.00, 0.065, 0.065),
        (0.05, 0.105, 0.105),
        (0.14, 0.123, 0.125),
        (0.25, 0.120, 0.132),
        (0.37, 0.110, 0.140),
        (0.50, 0.118, 0.155),
        (0.60, 0.142, 0.170),
        (0.70, 0.170, 0.180),
        (0.77, 0.178, 0.176),
        (0.85, 0.172, 0.154),
        (0.92, 0.152, 0.112),
        (0.98, 0.112, 0.052),
        (1.02, 0.058, -0.005),
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
    def height_px(self) -> float:
        return self.bottom_px + 50 + STRIP_PX


def soles(feet: Sequence[SoleFoot]) -> Figure:
    """Draw soles from below to one scale, beside one another where there is room.

    Parameters
    ----------
    feet : sequence of SoleFoot
        One or two feet, in the order drawn.

    Returns
    -------
    Figure
        One part a foot; its words hold every number of `sole_table`.

    Raises
    ------
    ValueError
        If there is no foot, or one side twice.

    Notes
    -----
    The cleat line is drawn square to the shoe's long axis at the cleat setback, which is measured along that
    axis; how the cleat turns the shoe is drawn apart, at its true angle.
    """
    sides = [foot.side for foot in feet]
    if not sides or len(set(sides)) < len(sides):
        raise ValueError(f"feet are {sides}; expected one of each side at most, and at least one")
    part = _part_for(feet)
    return beside([_sole(foot, part, feet) for foot in feet], title="Soles from below")


def _part_for(feet: Sequence[SoleFoot]) -> Part:
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
        heel_mm=-max(30, max(places, default=0) + 5),
        head_rows=max(len(_instruction_lines(foot)) for foot in feet),
    )


def _instruction_lines(foot: SoleFoot) -> list[str]:
    return wrapped(foot.instruction or "", width_px=WIDTH_PX - 2 * EDGE_PX, size_px=INSTRUCTION_PX, bold=True)


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
    _labels(view, foot, part)
    _heading(view, foot, part)
    _strip(drawing, foot, part, feet)
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
            if rounded(foot.past_the_slots_mm):
                end = -foot.target_mm + foot.past_the_slots_mm
                view.box((left, end), (right, -foot.target_mm), stroke=BLUE, pattern="dotted")
    view.box((-PART_MM, part.toes_mm), (part.big_toe_mm, part.heel_mm), stroke=PALE)


def _outline(view: View, foot: SoleFoot, part: Part) -> None:
    if foot.foot_length_mm is not None:
        y = np.linspace(part.heel_mm, part.toes_mm, 9)
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
        view.line((b - 4, 0), (b + 4, 0), width_px=2)
        view.line((b, -4), (b, 4), width_px=2)


def _cleat(view: View, foot: SoleFoot) -> None:
    if foot.now_mm is not None:
        view.line((-CLEAT_MM, -foot.now_mm), (CLEAT_MM, -foot.now_mm), width_px=3)
    if foot.now_mm is not None and foot.now_low_mm is not None and foot.now_high_mm is not None:
        low, high = -foot.now_low_mm, -foot.now_high_mm
        view.line((-WHISKER_MM, low), (-WHISKER_MM, high), width_px=1.2)
        for y in (low, high):
            view.line((-WHISKER_MM - 1.3, y), (-WHISKER_MM + 1.3, y), width_px=1.2)
    if foot.target_mm is not None and not _same(foot):
        target = -foot.target_mm
        view.line((-CLEAT_MM, target), (CLEAT_MM, target), stroke=BLUE, width_px=3, pattern="dashed")
    if _has_arrow(foot):
        length_px = min(9, abs(foot.target_mm - foot.now_mm) * view.px_per_mm - 1.5)
        view.line((0, -foot.now_mm), (0, -foot.target_mm), stroke=BLUE, width_px=2)
        view.head((0, -foot.target_mm), away_from=(0, -foot.now_mm), color=BLUE, length_px=max(length_px, 3))


def _same(foot: SoleFoot) -> bool:
    return foot.now_mm is not None and foot.target_mm is not None and not rounded(foot.target_mm - foot.now_mm)


def _has_arrow(foot: SoleFoot) -> bool:
    return foot.now_mm is not None and foot.target_mm is not None and not _same(foot)


@dataclass(frozen=True)
class Label:
    """Words beside the drawn part: where they belong [mm], their lines, what leads from there to them."""

    place_mm: float
    lines: tuple[str, ...]
    lead: str = "line"  # "line", "slot" for a small slot, "" for nothing
    color: str = GREY

    @property
    def height_px(self) -> float:
        return ROW_PX * len(self.lines) + 6


def _labels(view: View, foot: SoleFoot, part: Part) -> None:
    labels = sorted(_label_list(foot, part), key=lambda label: label.place_mm)
    wanted = [view.px((0, -label.place_mm))[1] for label in labels]
    centres = spread(wanted, [label.height_px for label in labels], low=part.top_px - 4, high=part.bottom_px + 4)
    firsts = [centre - ROW_PX * (len(label.lines) - 1) / 2 for label, centre in zip(labels, centres, strict=True)]
    onward = 1 if view.mirrored else -1
    edge_px = view.px((-PART_MM, 0))[0]
    words_px = edge_px + onward * GUTTER_PX
    paper = view.drawing.paper
    for label, y_px, first_px in zip(labels, wanted, firsts, strict=True):
        if label.lead == "line":
            paper.path([(edge_px, y_px), (words_px - onward * 4, first_px)], stroke=label.color, width_px=0.8)
    for label, first_px in zip(labels, firsts, strict=True):
        if label.lead == "slot":
            middle_px = words_px - onward * 9
            corners = (middle_px - 3, first_px - 6), (middle_px + 3, first_px + 6)
            paper.box(*corners, fill="white", stroke=GREY, width_px=1.2, radius_px=3)
    anchor = "start" if view.mirrored else "end"
    for label, first_px in zip(labels, firsts, strict=True):
        for row, line in enumerate(label.lines):
            big = label.color != GREY and not row
            look = {"size_px": 15, "bold": True, "color": label.color} if big else {"color": GREY}
            paper.text((words_px, first_px + ROW_PX * row), line, anchor=anchor, **look)


def _label_list(foot: SoleFoot, part: Part) -> list[Label]:
    low = -part.heel_mm  # words about what is missing gather at the heel end
    labels = [_now_label(foot, low), _band_label(foot, low), _slots_label(foot, low)]
    if foot.target_mm is not None:
        past = abs(foot.past_the_slots_mm)
        more = f"{number(past)} past the slots" if rounded(past) else "as it is" if _same(foot) else ""
        lines = (f"{foot.target_word} {number(foot.target_mm)}", more) if more else (
            f"{foot.target_word} {number(foot.target_mm)}",
        )
        labels.append(Label(foot.target_mm, lines, color=BLUE))
    elif not foot.instruction:
        labels.append(Label(low, (foot.target_word, "not given"), ""))
    return labels


def _now_label(foot: SoleFoot, low_mm: float) -> Label:
    if foot.now_mm is None:
        return Label(low_mm, (foot.now_word, "not measured"), "")
    lines = [f"{foot.now_word} {number(foot.now_mm)}"]
    if foot.now_low_mm is not None and foot.now_high_mm is not None:
        lines.append(f"{number(foot.now_low_mm, step=1)} to {number(foot.now_high_mm, step=1)}")
    return Label(foot.now_mm, tuple(lines), color=INK)


def _band_label(foot: SoleFoot, low_mm: float) -> Label:
    if foot.band_low_mm is None or foot.band_high_mm is None:
        return Label(low_mm, ("start", "not given"), "")
    words = span(foot.band_low_mm, foot.band_high_mm)
    return Label((foot.band_low_mm + foot.band_high_mm) / 2, ("start", words))


def _slots_label(foot: SoleFoot, low_mm: float) -> Label:
    ends = foot.slot_least_mm, foot.slot_greatest_mm
    if ends == (None, None):
        return Label(low_mm, ("slots", "not measured"), "")
    if None in ends:
        return Label(low_mm, ("slots", span(*ends)), "")
    return Label(sum(ends) / 2, ("slots", span(*ends)), "slot")


def spread(wanted: Sequence[float], heights: Sequence[float], *, low: float, high: float) -> list[float]:
    """Return the centres nearest to the wanted ones, in the given order, at which blocks of these heights fit.

    Blocks that would overlap form a pile round the mean of their wishes; a pile stays between `low` and `high`.
    """
    piles: list[tuple[float, float, int]] = []  # top, height, blocks
    for wish, height in zip(wanted, heights, strict=True):
        piles.append((_held(wish - height / 2, height, low, high), height, 1))
        while len(piles) > 1 and piles[-2][0] + piles[-2][1] > piles[-1][0]:
            (top, above, count), (next_top, below, more) = piles[-2:]
            # a pile sits where its blocks' shifts from their wishes cancel out
            mean = (count * top + more * (next_top - above)) / (count + more)
            piles[-2:] = [(_held(mean, above + below, low, high), above + below, count + more)]
    centres: list[float] = []
    for top, _, count in piles:
        for height in heights[len(centres) : len(centres) + count]:
            centres.append(top + height / 2)
            top += height
    return centres


def _held(top: float, height: float, low: float, high: float) -> float:
    return max(low, min(top, high - height))


def _heading(view: View, foot: SoleFoot, part: Part) -> None:
    paper = view.drawing.paper
    paper.text((EDGE_PX, 13), f"{foot.side.capitalize()} sole from below", size_px=TITLE_PX, bold=True)
    for row, line in enumerate(_instruction_lines(foot)):
        color = BLUE if _has_arrow(foot) else INK
        paper.text((EDGE_PX, 36 + 21 * row), line, size_px=INSTRUCTION_PX, bold=True, color=color)
    above = (0, -9)
    view.text((part.big_toe_mm, part.toes_mm), "big-toe side", anchor="end", color=GREY, shift_px=above)
    view.text((-PART_MM, part.toes_mm), "little-toe side", color=GREY, shift_px=above)
    view.text(((part.big_toe_mm - PART_MM) / 2, part.toes_mm), "toes", anchor="middle", color=GREY, shift_px=above)
    b = foot.joint_to_big_toe_side_mm
    if b is None:
        view.text((part.big_toe_mm - 2, 0), "joint", bold=True, anchor="end", shift_px=(0, -9))
    else:
        view.text((b, 4), "joint", bold=True, anchor="middle", shift_px=(0, -9))
    bar_px = 10 * part.px_per_mm
    x, y = EDGE_PX + RULER_PX, part.bottom_px + 15
    paper.lines([((x, y), (x + bar_px, y)), ((x, y - 4), (x, y + 4)), ((x + bar_px, y - 4), (x + bar_px, y + 4))])
    paper.text((x + bar_px + 8, y), "scale: this bar is 10 mm; ruler: mm behind the joint", color=GREY)
    if foot.now_low_mm is not None and foot.now_mm is not None:
        paper.text((x, y + 17), f"upright bar: 95 % interval of {foot.now_word}", color=GREY)


def _strip(drawing: Drawing, foot: SoleFoot, part: Part, feet: Sequence[SoleFoot]) -> None:
    top_px = part.bottom_px + 48
    drawing.paper.line((EDGE_PX, top_px - 4), (WIDTH_PX - EDGE_PX, top_px - 4), stroke=PALE)
    _whole_sole(drawing, foot, part, max((each.foot_length_mm or 0) for each in feet), top_px)
    _rotation(drawing, foot, top_px)


def _whole_sole(drawing: Drawing, foot: SoleFoot, part: Part, longest_mm: float, top_px: float) -> None:
    length = foot.foot_length_mm
    if length is None:
        for row, line in enumerate(("foot length", "not measured:", "no outline")):
            drawing.paper.text((EDGE_PX, top_px + 14 + ROW_PX * row), line, color=GREY)
        return
    px_per_mm = (STRIP_PX - 14) / (1.06 * longest_mm)
    joint_px = top_px + 6 + (1.03 - JOINT_PLACE) * longest_mm * px_per_mm
    key = drawing.view(origin_px=(EDGE_PX + 36, joint_px), px_per_mm=px_per_mm, mirrored=foot.side == "left")
    y = (SOLE[:, 0] - JOINT_PLACE) * length
    x = np.concatenate([SOLE[:, 1], -SOLE[::-1, 2]]) * length
    key.box((part.big_toe_mm, part.toes_mm), (-PART_MM, part.heel_mm), fill=PALE)
    key.path(
        list(zip(x, np.concatenate([y, y[::-1]]), strict=True)), stroke=GREY, width_px=1.3, smooth=True, closed=True
    )
    for row, line in enumerate(("whole sole;", "field: the part", "drawn above")):
        drawing.paper.text((EDGE_PX + 70, top_px + 14 + ROW_PX * row), line, color=GREY)


def _rotation(drawing: Drawing, foot: SoleFoot, top_px: float) -> None:
    pivot_px = (208, top_px + STRIP_PX - 12)
    fan = drawing.view(origin_px=pivot_px, px_per_mm=1, mirrored=foot.side == "right")
    length = STRIP_PX - 20

    def ray(angle_deg: float, **look) -> None:
        # toes out is toward the little-toe side: to the right on the left foot, seen from below
        turn = math.radians(angle_deg)
        fan.path([(0, 0), (length * math.sin(turn), length * math.cos(turn))], **look)

    ray(0, stroke=GREY, width_px=0.8, pattern="dash_dot")
    for end in foot.float_ends_deg or ():
        ray(end, stroke=GREY, width_px=0.8)
    if foot.natural_toe_out_deg is not None:
        ray(foot.natural_toe_out_deg, width_px=2, pattern="dotted")
    if foot.toe_out_deg is not None:
        ray(foot.toe_out_deg, width_px=2.5)
    rows = _rotation_rows(foot)
    paper = drawing.paper
    paper.text((266, top_px + 12), "Toe-out on the pedal", bold=True)
    for row, (_, look) in enumerate(rows):
        y = top_px + 32 + 18 * row
        if look:
            for shift in (-3, 3) if look.get("double") else (0,):
                drawn = {name: value for name, value in look.items() if name != "double"}
                paper.path([(266, y + shift), (292, y + shift)], **drawn)
    for row, (words, look) in enumerate(rows):
        paper.text((300 if look else 266, top_px + 32 + 18 * row), words, color=INK if look else GREY)


def _rotation_rows(foot: SoleFoot) -> list[tuple[str, dict | None]]:
    rows: list[tuple[str, dict | None]] = [
        ("straight ahead", {"stroke": GREY, "width_px": 0.8, "pattern": "dash_dot"}),
        ("cleat: not measured", None),
        ("float: not measured", None),
        ("natural: not measured", None),
    ]
    if foot.toe_out_deg is not None:
        rows[1] = (f"cleat {number(foot.toe_out_deg)}°", {"width_px": 2.5})
    if foot.float_deg is not None:
        ends = foot.float_ends_deg
        words = f"float {number(foot.float_deg)}°" + (f": {span(*ends)}°" if ends else "")
        rows[2] = (words, {"stroke": GREY, "width_px": 0.8, "double": True} if ends else None)
    if foot.natural_toe_out_deg is not None:
        rows[3] = (f"natural {number(foot.natural_toe_out_deg)}°", {"width_px": 2, "pattern": "dotted"})
    return rows
