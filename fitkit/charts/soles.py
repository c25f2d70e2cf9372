"""The soles from below, to scale: joint, cleat now and to be, slots, band, move; below them the rotation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.charts.canvas import Drawing, Point, View, spread
from fitkit.charts.figure import (
    BLUE,
    GREY,
    INK,
    PALE,
    WIDTH_PX,
    Figure,
    FigureRow,
    beside,
    check_sides,
    has_interval,
    text_width_px,
    wrapped,
)
from fitkit.charts.sole_foot import JOINT_PLACE, SOLE, SoleFoot, ends_words, sole_rows
from fitkit.words import capital, halved, halves

# The sheet, left to right: a ruler (on the big-toe side), the part of the sole round the joint, its labels [px].
EDGE_PX, RULER_PX, PART_PX, GUTTER_PX = 6, 29, 202, 15
LABEL_PX = WIDTH_PX - 2 * EDGE_PX - RULER_PX - PART_PX - GUTTER_PX
INSTRUCTION_PX, WORDS_PX, ROW_PX = 15, 12, 14
# Below: the rotation; the protractor's middle and breadth, and its key [px].
STRIP_PX, FAN_MIDDLE_PX, FAN_PX, KEY_PX = 116, 78, 100, 158
PART_MM = 26  # how far the large part reaches to the little-toe side of the shoe's long axis [mm]
# How far the drawn things reach from the shoe's long axis, to either side [mm]; house choices for legibility.
CLEAT_MM, BAND_MM, SLOT_MM, SLOT_HALF_MM, WHISKER_MM = 21.5, 23, 13.5, 2.6, 18.8
RAYS = {
    "ahead": {"stroke": GREY, "width_px": 0.8, "pattern": "dash_dot"},
    "cleat": {"width_px": 2.6},
    "float": {"stroke": GREY, "width_px": 0.8},
    "natural": {"width_px": 2, "pattern": "dotted"},
}


@dataclass(frozen=True)
class DrawnPart:
    """The part of the sole that is drawn large, the same for both feet.

    x runs to the big-toe side from the shoe's long axis, y to the toes from the joint [mm].
    """

    big_toe_mm: float
    toes_mm: float
    heel_mm: float
    head_rows: int
    note_rows: int

    @property
    def px_per_mm(self) -> float:
        return PART_PX / (self.big_toe_mm + PART_MM)

    @property
    def top_px(self) -> float:
        return 36 + 18 * self.head_rows

    @property
    def bottom_px(self) -> float:
        return self.top_px + (self.toes_mm - self.heel_mm) * self.px_per_mm

    @property
    def strip_px(self) -> float:
        """Top of the strip below, under the notes [px]."""
        return self.bottom_px + 30 + ROW_PX * self.note_rows


@dataclass(frozen=True)
class Label:
    """Words beside the drawn part: where they belong [mm], their lines, what leads from there to them."""

    place_mm: float
    lines: tuple[str, ...]
    lead: str = "line"  # "line", "slot" for a small slot, "" for nothing
    color: str = GREY


def soles(feet: Sequence[SoleFoot], *, with_rotation: bool = True) -> Figure:
    """Draw soles from below to one scale, beside one another where there is room; below them the rotation."""
    check_sides(feet)
    rows = [sole_rows(foot) for foot in feet]
    part = _part_for(feet)
    figures = [_sole(foot, part, found, with_rotation) for foot, found in zip(feet, rows, strict=True)]
    return beside(figures, title="Soles from below")


def _part_for(feet: Sequence[SoleFoot]) -> DrawnPart:
    """Return the part to draw large so that everything known of these feet lies in it."""
    places = [
        place
        for foot in feet
        for place in (foot.now.value, foot.now.low, foot.now.high, foot.target_mm, *foot.band_mm, *foot.slots_mm)
        if place is not None
    ]
    lengths = [foot.foot_length_mm for foot in feet if foot.foot_length_mm is not None]
    joints = [foot.joint_to_big_toe_side_mm + 4 for foot in feet if foot.joint_to_big_toe_side_mm is not None]
    return DrawnPart(
        big_toe_mm=max([44, *(length * SOLE[:, 1].max() for length in lengths), *joints]) + 2,
        toes_mm=max(12, 5 - min(places, default=0)),
        heel_mm=-max(34, max(places, default=0) + 5),
        head_rows=max(len(_instruction_lines(foot)) for foot in feet),
        note_rows=max(len(_notes_of(foot)) for foot in feet),
    )


def _instruction_lines(foot: SoleFoot) -> list[str]:
    """Return the instruction as it stands above the drawing, line by line."""
    # some room to spare: a reader's machine may stand in a broader letter
    return wrapped(capital(foot.instruction or ""), width_px=0.87 * WIDTH_PX, size_px=INSTRUCTION_PX, bold=True)


def _sole(foot: SoleFoot, part: DrawnPart, rows: Sequence[FigureRow], with_rotation: bool) -> Figure:
    drawing = Drawing(WIDTH_PX, math.ceil(part.strip_px - 6 + (with_rotation and 8 + STRIP_PX)))
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
    _draw_labels(view, foot, part)
    title = f"{foot.side.capitalize()} sole from below"
    drawing.heading(EDGE_PX, title, _instruction_lines(foot), moves=foot.moves)
    _names(view, foot, part)
    _notes(view, foot, part)
    if with_rotation:
        drawing.paper.line((EDGE_PX, part.strip_px - 4), (WIDTH_PX - EDGE_PX, part.strip_px - 4), stroke=PALE)
        _rotation(drawing, foot, part.strip_px)
        _rotation_key(drawing.paper, foot, part.strip_px)
    # Seen from below, the left foot's big toe is on the left.
    return drawing.figure(title=title, alt=f"{title}, toes up, big-toe side on the {foot.side}.", rows=rows)


def _fields(view: View, foot: SoleFoot, part: DrawnPart) -> None:
    if None not in foot.band_mm:
        view.box((BAND_MM, -foot.band_mm[0]), (-PART_MM, -foot.band_mm[1]), fill=PALE)
    if None not in foot.slots_mm:
        least, greatest = foot.slots_mm
        radius_px = min(SLOT_HALF_MM, (greatest - least) / 2) * view.px_per_mm
        for x in (-SLOT_MM, SLOT_MM):
            left, right = x - SLOT_HALF_MM, x + SLOT_HALF_MM
            view.box((left, -least), (right, -greatest), fill="white", stroke=GREY, width_px=1.2, radius_px=radius_px)
            if halved(foot.past_the_slots_mm):
                end = -foot.target_mm + foot.past_the_slots_mm
                view.box((left, end), (right, -foot.target_mm), stroke=BLUE, pattern="dotted")
    view.box((-PART_MM, part.toes_mm), (part.big_toe_mm, part.heel_mm), stroke=PALE)


def _outline(view: View, foot: SoleFoot, part: DrawnPart) -> None:
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
    now, target = foot.now, foot.target_mm
    if now.is_known:
        view.line((-CLEAT_MM, -now.value), (CLEAT_MM, -now.value), width_px=3)
    if has_interval(now):
        cap_px = 1.3 * view.px_per_mm
        view.whisker((-WHISKER_MM, -now.low), (-WHISKER_MM, -now.high), cap_px=cap_px, width_px=1.2)
    if target is not None and not foot.stays:
        view.line((-CLEAT_MM, -target), (CLEAT_MM, -target), stroke=BLUE, width_px=3, pattern="dashed")
    if foot.moves:
        # A move too short for an arrow of its own is reached by one that starts before the present line.
        way = math.copysign(1, target - now.value)
        start = target - way * max(abs(target - now.value), 14 / view.px_per_mm)
        base = target - way * 8 / view.px_per_mm
        view.line((0, -start), (0, -base), stroke=BLUE, width_px=2)
        view.head((0, -target), away_from=(0, -start), color=BLUE)


def _draw_labels(view: View, foot: SoleFoot, part: DrawnPart) -> None:
    """Write the labels on the little-toe side, none on another, with leaders to their places."""
    labels = sorted(_labels_of(foot, -part.heel_mm), key=lambda label: label.place_mm)
    wanted = [view.px((0, -label.place_mm))[1] for label in labels]
    heights = [ROW_PX * len(label.lines) + 6 for label in labels]
    centres = spread(wanted, heights, low=part.top_px - 4, high=part.bottom_px + 4)
    onward = 1 if view.mirrored else -1
    edge_px = view.px((-PART_MM, 0))[0]
    words_px = edge_px + onward * GUTTER_PX
    paper = view.drawing.paper
    for label, y_px, centre in zip(labels, wanted, centres, strict=True):
        first_px = centre - ROW_PX * (len(label.lines) - 1) / 2
        if label.lead == "line":
            paper.path([(edge_px, y_px), (words_px - onward * 4, first_px)], stroke=label.color, width_px=0.8)
        if label.lead == "slot":
            middle_px = words_px - onward * 9
            corners = (middle_px - 3, first_px - 6), (middle_px + 3, first_px + 6)
            paper.box(*corners, fill="white", stroke=GREY, width_px=1.2, radius_px=3)
        for line, words in enumerate(label.lines):
            look = {"color": GREY}
            if label.color != GREY and not line:
                is_short = text_width_px(words, size_px=16, bold=True) <= LABEL_PX
                look = {"size_px": 16 if is_short else 13.5, "bold": True, "color": label.color}
            anchor = "start" if view.mirrored else "end"
            paper.text((words_px, first_px + ROW_PX * line), words, anchor=anchor, **look)


def _labels_of(foot: SoleFoot, low_mm: float) -> list[Label]:
    """Return the labels; words about what is missing gather at the heel end, `low_mm`."""
    now, target = foot.now, foot.target_mm
    lines = [f"{foot.now_word} {halves(now.value or 0)}"]
    if has_interval(now):
        lines.append(f"{halves(now.low)} to {halves(now.high)}")
    labels = [Label(now.value, tuple(lines), color=INK) if now.is_known else _lacking(low_mm, foot.now_word)]
    for name, ends, lack, lead in (("start", foot.band_mm, "not given", "line"), ("slots", foot.slots_mm, "", "slot")):
        if None in ends:
            said = lack or "not measured"
            labels.append(_lacking(low_mm, name, said if ends == (None, None) else ends_words(ends)))
        else:
            labels.append(Label(sum(ends) / 2 if lead == "line" else ends[0], _wrapped(name, ends_words(ends)), lead))
    if target is not None:
        lines = [f"{foot.target_word} {halves(target)}"]
        if halved(foot.past_the_slots_mm):
            lines.append(f"{halves(abs(foot.past_the_slots_mm))} past the slots")
        elif foot.stays:
            lines.append("as it is")
        labels.append(Label(target, tuple(lines), color=BLUE))
    elif not foot.instruction:
        labels.append(_lacking(low_mm, foot.target_word, "not given"))
    return labels


def _lacking(low_mm: float, name: str, words: str = "not measured") -> Label:
    return Label(low_mm, _wrapped(name, words), "")


def _wrapped(*words: str) -> tuple[str, ...]:
    return tuple(wrapped(" ".join(words), width_px=LABEL_PX, size_px=WORDS_PX))


def _names(view: View, foot: SoleFoot, part: DrawnPart) -> None:
    above = {"color": GREY, "shift_px": (0, -9)}
    view.text((part.big_toe_mm, part.toes_mm), "big-toe side", anchor="end", **above)
    view.text((-PART_MM, part.toes_mm), "little-toe side", **above)
    view.text(((part.big_toe_mm - PART_MM) / 2, part.toes_mm), "toes", anchor="middle", **above)
    b = foot.joint_to_big_toe_side_mm
    # inside the outline, and clear of the cross where there is one
    inside_mm = math.inf if foot.foot_length_mm is None else SOLE[:, 1].max() * foot.foot_length_mm - 6
    place = (min(33, inside_mm), 0) if b is None else (min(b, inside_mm), 4)
    view.text(place, "joint", bold=True, anchor="middle", shift_px=(0, -9))


def _notes(view: View, foot: SoleFoot, part: DrawnPart) -> None:
    view.scale_bar((EDGE_PX, part.bottom_px + 14), 10, beside="; ruler: mm behind the joint")
    view.drawing.paper.text((EDGE_PX, part.bottom_px + 29), _notes_of(foot), row_px=ROW_PX, color=GREY)


def _notes_of(foot: SoleFoot) -> list[str]:
    """Return, line by line, what stands below the drawing."""
    notes = [f"upright bar: 95 % interval of {foot.now_word}"] if has_interval(foot.now) else []
    lacking = {"joint sideways": foot.joint_to_big_toe_side_mm, "foot length": foot.foot_length_mm}
    notes += [f"{what}: not measured" for what, found in lacking.items() if found is None]
    return wrapped("; ".join(notes), width_px=0.97 * WIDTH_PX, size_px=WORDS_PX)


def _rotation(drawing: Drawing, foot: SoleFoot, top_px: float) -> None:
    """Draw a piece of a large protractor: true angles, and degrees far enough apart to be read."""
    rays = {"ahead": (0,), "float": foot.float_ends_deg, "cleat": (foot.toe_out_deg,)}
    rays = [(name, angle) for name, angles in rays.items() for angle in angles if angle is not None]
    rays += [] if foot.natural_toe_out_deg is None else [("natural", foot.natural_toe_out_deg)]
    known = [angle for _, angle in rays[1:]]
    low, high = math.floor(min([-2, *known])) - 2, math.ceil(max([13, *known])) + 2
    radius, middle = FAN_PX / math.radians(high - low), math.radians((low + high) / 2)
    onward = 1 if foot.side == "left" else -1
    fan = drawing.view(
        origin_px=(FAN_MIDDLE_PX - onward * radius * math.sin(middle), top_px + 36 + radius * math.cos(middle)),
        px_per_mm=1,
        # toes out is toward the little-toe side: to the right on the left foot, seen from below
        mirrored=foot.side == "right",
    )

    def at(angle_deg: float, distance: float) -> Point:
        return distance * math.sin(math.radians(angle_deg)), distance * math.cos(math.radians(angle_deg))

    degree_px = math.radians(1) * radius
    every = next(step for step in (5, 10, 20, 60) if step * degree_px >= 18)
    angles = [angle for angle in range(low, high + 1) if degree_px >= 2.5 or angle % 5 == 0]
    ticks = [(at(angle, radius), at(angle, radius + (3.5 if angle % every else 8))) for angle in angles]
    fan.lines(ticks, stroke=GREY, width_px=0.8)
    for angle in angles:
        if angle % every == 0:
            fan.text(at(angle, radius + 16), halves(angle), anchor="middle", color=GREY)
    for name, angle in rays:
        fan.path([at(angle, radius), at(angle, max(0, radius - 72))], **RAYS[name])


def _rotation_key(paper: View, foot: SoleFoot, top_px: float) -> None:
    ends = foot.float_ends_deg
    angles = {"cleat": foot.toe_out_deg, "float": foot.float_deg, "natural": foot.natural_toe_out_deg}
    words = {name: f"{name} {halves(angle)}°" for name, angle in angles.items() if angle is not None}
    words["ahead"] = "straight ahead"
    if None not in ends:
        words["float"] += f": {ends_words(ends)}°"
    paper.text((KEY_PX, top_px + 15), "Toe-out on the pedal", bold=True)
    for place, (name, look) in enumerate(RAYS.items()):
        y = top_px + 36 + 19 * place
        if name in words and (name != "float" or None not in ends):
            for shift in (-3, 3) if name == "float" else (0,):
                paper.path([(KEY_PX, y + shift), (KEY_PX + 26, y + shift)], **look)
        color = INK if name in words else GREY
        paper.text((KEY_PX + 32, y), words.get(name, f"{name} not measured"), color=color)
