"""Foot, cleat and axle from the side, before and after: the foot on its pedal, the whole leg small, the axle large."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.charts.canvas import Drawing, Point, View
from fitkit.charts.figure import (
    BEFORE,
    BLUE,
    GREY,
    INK,
    PALE,
    WIDTH_PX,
    Figure,
    FigureRow,
    beside,
    check_sides,
    row,
    tenth,
    wrapped,
)
from fitkit.charts.side_seat import SeatMove, draw_seat
from fitkit.words import halved, halves, rounded, tenths, whole

EDGE_PX, WORDS_PX, ROW_PX = 6, 12, 14
# Left of the sheet the foot and below it the whole leg, right of them the axle large [px].
FOOT_PX, TOP_PX, KEY_PX, NEAR_PX, LABELS_PX, NEAR_HEIGHT_PX = 164, 48, 104, 174, 66, 212
# A sketched foot: places along the sole from heel or joint, and above it [mm]. Nothing is read from it.
HEEL_BEHIND_ANKLE_MM, SKETCHED_ANKLE_MM, SKETCHED_HEIGHT_MM, SKETCHED_SOLE_MM = 45, 130, 75, 20
FOREFOOT = ((-24, 50), (22, 40), (58, 22), (72, 6), (64, 0))
AXLE_MM, NEAR_AXLE_MM, GREATEST_PX_PER_MM, NEAR_GREATEST_PX_PER_MM = 7, 4.5, 1.4, 3.4

WHOLE_LEG = {
    "ankle_to_mtp1_mm": "ankle to joint",
    "ankle_height_mm": "ankle height",
    "axle_to_foot_sole_mm": "axle to foot sole",
    "old_setback_mm": "cleat setback",
    "pitch_deg": "foot pitch",
    "thigh_mm": "thigh",
    "shank_mm": "shank",
    "hip_mm": "hip place",
    "crank_mm": "crank length",
    "crank_angle_deg": "crank angle",
}


@dataclass(frozen=True, kw_only=True)
class SideLeg:
    """What the side view shows of one leg; None is "not measured" and is said, not drawn."""

    side: str  # "left" or "right"; both are drawn facing right
    # ankle to the first-MTP mark along the sole, and ankle above the foot's sole [mm]
    ankle_to_mtp1_mm: float | None = None
    ankle_height_mm: float | None = None
    axle_to_foot_sole_mm: float | None = None  # pedal axle to the foot's sole, square to it [mm]
    old_setback_mm: float | None = None  # cleat setback before and after, toward the heel positive [mm]
    new_setback_mm: float | None = None
    pitch_deg: float | None = None  # foot pitch at the drawn crank angle, heel up positive [deg]
    thigh_mm: float | None = None  # lengths of the leg [mm]
    shank_mm: float | None = None
    hip_mm: Point | None = None  # hip from the crank centre, forward and up positive [mm]
    crank_mm: float | None = None  # crank length [mm]
    crank_angle_deg: float | None = None  # 0 at the top, 90 forward [deg]

    def __post_init__(self) -> None:
        for name in ("ankle_to_mtp1_mm", "ankle_height_mm", "thigh_mm", "shank_mm", "crank_mm"):
            length = getattr(self, name)
            if length is not None and not length > 0:
                raise ValueError(f"{name} is {length}; expected more than 0")

    @property
    def setbacks_mm(self) -> list[float]:
        """Cleat setback before and after, where known [mm]."""
        return [setback for setback in (self.old_setback_mm, self.new_setback_mm) if setback is not None]

    @property
    def move_mm(self) -> float | None:
        """New minus old cleat setback, as both are written [mm]; the foot goes that far forward along its sole."""
        if self.old_setback_mm is None or self.new_setback_mm is None:
            return None
        return halved(self.new_setback_mm) - halved(self.old_setback_mm)

    @property
    def ankle_move_mm(self) -> Point | None:
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

    @property
    def lacking_for_whole_leg(self) -> list[str]:
        """What the key of the whole leg lacks."""
        return [what for name, what in WHOLE_LEG.items() if getattr(self, name) is None]


def side_view(legs: Sequence[SideLeg], *, seat: SeatMove | None = None) -> Figure:
    """Draw each foot on its pedal from the side, before and after, and what saddle and bars do."""
    check_sides(legs)
    parts = [_leg(leg) for leg in legs] + ([] if seat is None else [draw_seat(seat)])
    return beside(parts, title="Foot, saddle and bars from the side")


def whole_leg(leg: SideLeg) -> list[Point] | None:
    """Return hip, knee, ankle, axle and crank centre as found [mm from the crank centre]; None if out of reach."""
    turn = math.radians(leg.crank_angle_deg)
    axle = (leg.crank_mm * math.sin(turn), leg.crank_mm * math.cos(turn))
    ahead, above = leg.ankle(leg.old_setback_mm)
    ankle, hip = (axle[0] + ahead, axle[1] + above), leg.hip_mm
    reach = math.dist(hip, ankle)
    if not abs(leg.thigh_mm - leg.shank_mm) < reach <= leg.thigh_mm + leg.shank_mm:
        return None
    along = (leg.thigh_mm**2 - leg.shank_mm**2 + reach**2) / (2 * reach)
    aside = math.sqrt(max(0.0, leg.thigh_mm**2 - along**2))
    way = ((ankle[0] - hip[0]) / reach, (ankle[1] - hip[1]) / reach)
    knee = (hip[0] + along * way[0] - aside * way[1], hip[1] + along * way[1] + aside * way[0])
    return [hip, knee, ankle, axle, (0.0, 0.0)]


def _rows(leg: SideLeg) -> list[FigureRow]:
    forward, down = leg.ankle_move_mm or (None, None)
    ahead, above = leg.hip_mm or (None, None)
    side, degrees = leg.side, {"unit": "deg", "to": rounded}
    return [
        row(side, "cleat setback before", leg.old_setback_mm),
        row(side, "cleat setback after", leg.new_setback_mm),
        row(side, "move of the cleat, toward the heel", leg.move_mm),
        row(side, "ankle goes forward", forward),
        row(side, "ankle goes down", down),
        row(side, "foot pitch, heel up", leg.pitch_deg, **degrees),
        row(side, "axle to foot sole", leg.axle_to_foot_sole_mm, to=tenth),
        row(side, "ankle to joint along the sole", leg.ankle_to_mtp1_mm),
        row(side, "ankle height above the sole", leg.ankle_height_mm),
        row(side, "thigh", leg.thigh_mm),
        row(side, "shank", leg.shank_mm),
        row(side, "hip behind the crank centre", None if ahead is None else -ahead),
        row(side, "hip above the crank centre", above),
        row(side, "crank length", leg.crank_mm, to=tenth),
        row(side, "crank angle drawn", leg.crank_angle_deg, **degrees),
    ]


def _foot_words(leg: SideLeg) -> str:
    """Return what the foot does on the pedal."""
    if leg.move_mm is None:
        return "Move of the cleat: not given"
    if not leg.move_mm:
        return "Cleat stays where it is"
    way = "back: foot goes forward" if leg.move_mm > 0 else "forward: foot goes back"
    return f"Cleat {halves(abs(leg.move_mm))} mm {way}"


def _leg(leg: SideLeg) -> Figure:
    rows = _rows(leg)
    outline = [leg.place(*place, setback) for setback in leg.setbacks_mm or [0] for place in _foot(leg)]
    xs, ys = zip(*outline, *_pitch_lines(leg)[0], *_pitch_lines(leg)[1], (0, -AXLE_MM), strict=True)
    scale = min(GREATEST_PX_PER_MM, (FOOT_PX - EDGE_PX - 4) / (max(xs) - min(xs)))
    origin = EDGE_PX + 2 - min(xs) * scale, TOP_PX + max(ys) * scale
    bottom = origin[1] - min(ys) * scale + 18
    chain = None if leg.lacking_for_whole_leg else whole_leg(leg)
    pitch, notes = _pitch_words(leg), _notes(leg)
    key_top = bottom + ROW_PX * len(pitch) + 8
    end = max(key_top + KEY_PX, TOP_PX + NEAR_HEIGHT_PX)
    drawing = Drawing(WIDTH_PX, math.ceil(end + 18 + ROW_PX * len(notes)))
    title = f"{leg.side.capitalize()} foot from the side"
    drawing.heading(EDGE_PX, title, _foot_words(leg), moves=bool(leg.move_mm))
    view = drawing.view(origin_px=origin, px_per_mm=scale)
    _whole_foot(view, leg)
    drawing.paper.text((EDGE_PX, bottom + 8), pitch, row_px=ROW_PX, color=GREY)
    _key(drawing, leg, chain, key_top)
    _near(drawing, leg)
    view.scale_bar((EDGE_PX, end + 6), 50)
    drawing.paper.text((EDGE_PX, end + 22), notes, row_px=ROW_PX, color=GREY)
    opening = f"{leg.side.capitalize()} foot on the pedal from the side, toes to the right. {_foot_words(leg)}."
    if chain is None and not leg.lacking_for_whole_leg:
        opening += " With these lengths the leg does not reach its pedal."
    return drawing.figure(title=title, alt=opening, rows=rows)


def _foot(leg: SideLeg) -> list[Point]:
    """Return the sketched foot from the joint back along the sole and round, ahead and above [mm]."""
    ankle, height = leg.ankle_to_mtp1_mm or SKETCHED_ANKLE_MM, leg.ankle_height_mm or SKETCHED_HEIGHT_MM
    heel = -ankle - HEEL_BEHIND_ANKLE_MM
    back = [(0, 0), (heel + 8, 0), (heel, 16), (heel + 6, height), (heel + 8, height + 22)]
    return [*back, (-ankle + 46, height + 22), (-ankle + 52, height - 2), *FOREFOOT]


def _whole_foot(view: View, leg: SideLeg) -> None:
    foot = _foot(leg)
    if leg.setbacks_mm:
        after = leg.setbacks_mm[-1]
        # the ankle's opening is left open
        view.path([leg.place(*place, after) for place in [*foot[5:], *foot[:5]]], width_px=1.6)
        _marks(view, leg, after)
        _pitch(view, leg)
    if leg.old_setback_mm is not None and leg.move_mm:
        old = [leg.place(*place, leg.old_setback_mm) for place in foot]
        for piece in (old[1:5], old[7:], [old[1], old[-1]]):
            view.path(piece, **BEFORE)
        _marks(view, leg, leg.old_setback_mm, **BEFORE)
    _ring(view, (0, 0), AXLE_MM, fill=PALE)
    x, y = view.px((0, -AXLE_MM))
    view.drawing.paper.text((x, y + 11), "pedal axle", anchor="middle")


def _marks(view: View, leg: SideLeg, setback: float, **look: str) -> None:
    """Draw joint and ankle: a small upright on the sole, a ring."""
    view.path([leg.place(0, above, setback) for above in (-8, 14)], width_px=2, **look)
    ankle = leg.ankle(setback)
    if ankle is not None:
        _ring(view, ankle, 6, **look)


def _ring(view: View, middle: Point, radius_mm: float, *, fill: str = "none", **look: str) -> None:
    view.ring(middle, radius_mm * view.px_per_mm, fill=fill, width_px=1.4, **look)


def _pitch_lines(leg: SideLeg) -> tuple[list[Point], list[Point]]:
    """Return the level line back from the sole over the axle, and the arc from it to the sole [mm]."""
    corner = leg.place(0, 0, 0)
    back = (leg.ankle_to_mtp1_mm or SKETCHED_ANKLE_MM) + HEEL_BEHIND_ANKLE_MM - 4
    angles = [math.radians(leg.pitch_deg or 0) * step / 6 for step in range(7)]
    arc = [(corner[0] - 0.8 * back * math.cos(a), corner[1] + 0.8 * back * math.sin(a)) for a in angles]
    return [corner, (corner[0] - back, corner[1])], arc


def _pitch(view: View, leg: SideLeg) -> None:
    if leg.pitch_deg is not None:
        level, arc = _pitch_lines(leg)
        view.path(level, stroke=GREY, width_px=0.8, pattern="dash_dot")
        if rounded(leg.pitch_deg):
            view.path(arc, stroke=GREY)


def _pitch_words(leg: SideLeg) -> list[str]:
    """Return, line by line, how the drawn foot is pitched, or why none is drawn."""
    words = "foot pitch: not measured, drawn level"
    if not leg.setbacks_mm:
        words = "cleat setback: not measured, foot not placed"
    elif leg.pitch_deg is not None:
        words = f"foot pitch {whole(leg.pitch_deg)}°, heel {'up' if leg.pitch_deg >= 0 else 'down'}"
    return wrapped(words, width_px=FOOT_PX - EDGE_PX, size_px=WORDS_PX)


def _key(drawing: Drawing, leg: SideLeg, chain: Sequence[Point] | None, top: float) -> None:
    """Draw the whole leg small, as found: it shows where the details belong, no more."""
    paper, lacking = drawing.paper, leg.lacking_for_whole_leg
    if chain is None:
        words = (
            f"whole leg: not drawn, needs {', '.join(lacking)}" if lacking else "whole leg: does not reach its pedal"
        )
        lines = wrapped(words, width_px=FOOT_PX - EDGE_PX, size_px=WORDS_PX)
        paper.text((EDGE_PX, top + 8), lines, row_px=ROW_PX, color=GREY)
        return
    paper.text((EDGE_PX, top + 8), f"whole leg, crank at {whole(leg.crank_angle_deg)}°", color=GREY)
    circle = leg.crank_mm
    xs, ys = zip(*chain, (-circle, -circle), (circle, circle), strict=True)
    scale = min(64 / (max(xs) - min(xs)), (KEY_PX - 40) / (max(ys) - min(ys)))
    view = drawing.view(origin_px=(EDGE_PX + 4 - min(xs) * scale, top + 32 + max(ys) * scale), px_per_mm=scale)
    _ring(view, (0, 0), circle, stroke=GREY, pattern="dotted")
    view.path(chain, width_px=1.6)
    hip, knee, ankle = (view.px(place) for place in chain[:3])
    aside = max(view.px(place)[0] for place in [*chain, (circle, 0)]) + 7
    for joint in chain[:3]:
        view.ring(joint, 2.5)
    paper.line((ankle[0] + 3, ankle[1]), (aside - 3, ankle[1]), stroke=GREY, width_px=0.6)
    for words, x, y in (("hip", hip[0] + 4, hip[1] - 10), ("knee", knee[0] + 8, knee[1]), ("ankle", aside, ankle[1])):
        paper.text((x, y), words, color=GREY)


def _near(drawing: Drawing, leg: SideLeg) -> None:
    """Draw joint, sole and axle large, turned so that the sole lies level."""
    paper, sole = drawing.paper, leg.drawn_sole_mm
    least, greatest = min(0, *leg.setbacks_mm, 0) - NEAR_AXLE_MM - 1, max(0, *leg.setbacks_mm, 0) + 8
    left, sole_y = NEAR_PX + LABELS_PX, TOP_PX + 86
    room = WIDTH_PX - EDGE_PX - 26 - left
    scale = min(NEAR_GREATEST_PX_PER_MM, room / (greatest - least), 84 / max(abs(sole), 1))
    view = drawing.view(origin_px=(left - least * scale, sole_y + sole * scale), px_per_mm=scale)
    right = view.x(greatest)
    paper.text((NEAR_PX, TOP_PX + 8), "the same, large, sole level", color=GREY)
    paper.line((left - 4, sole_y), (right, sole_y), width_px=2)
    paper.text((left - 10, sole_y), "foot sole", anchor="end")
    x, y = view.px((0, 0))
    _ring(view, (0, 0), NEAR_AXLE_MM, fill=PALE)
    paper.text((left - 10, y), "pedal axle", anchor="end")
    paper.line((x, y), (x, sole_y - 42), stroke=GREY, pattern="dash_dot", width_px=0.9)
    _setbacks(view, leg, sole_y, left)
    if leg.axle_to_foot_sole_mm:
        paper.lines([((x, y), (right + 4, y)), ((right, sole_y), (right + 4, sole_y))], stroke=GREY, width_px=0.6)
        view.dimension((greatest, sole), (greatest, 0), tenths(sole))
    view.scale_bar((NEAR_PX, TOP_PX + NEAR_HEIGHT_PX - 6), 10)


def _setbacks(view: View, leg: SideLeg, sole_y: float, left: float) -> None:
    """Draw both setbacks and the move as dimension lines above the sole, their words in a column."""
    paper, axle = view.drawing.paper, view.x(0)
    looks = (("before", leg.old_setback_mm, BEFORE, 18), ("after", leg.new_setback_mm, {"stroke": INK}, 38))
    for name, setback, look, up in looks:
        words = f"{name}: ?" if setback is None else f"{name} {halves(setback)}"
        paper.text((left - 10, sole_y - up), words, anchor="end", color=look["stroke"], bold=name == "after")
        if setback is None:
            continue
        joint = view.x(setback)
        paper.path([(joint, sole_y + 7), (joint, sole_y - up - 4)], width_px=2, **look)
        if halved(setback):
            paper.path([(axle, sole_y - up), (joint, sole_y - up)], **look)
            way = math.copysign(9, setback)
            for tip, from_px in ((axle, axle + way), (joint, joint - way)):
                place = (from_px, sole_y - up)
                paper.head((tip, sole_y - up), away_from=place, color=look["stroke"], length_px=7)
    if leg.move_mm:
        paper.level_dimension(*((view.x(at), sole_y - 58) for at in leg.setbacks_mm), color=BLUE)
        words = f"move {halves(abs(leg.move_mm))}"
        paper.text((left - 10, sole_y - 58), words, anchor="end", color=BLUE, bold=True)


def _notes(leg: SideLeg) -> list[str]:
    notes = [
        "Grey, dashed: before. Ink, solid: after. Upright on the sole: the joint. Ring: the ankle. Foot sketched; mm."
    ]
    if leg.ankle_move_mm is not None and leg.move_mm:
        forward, down = leg.ankle_move_mm
        ways = f"{halves(abs(forward))} {'back' if forward < 0 else 'forward'} and {halves(abs(down))}"
        notes.append(f"At this pitch the ankle goes {ways} {'up' if down < 0 else 'down'}.")
    first_three = list(WHOLE_LEG)[:3]
    missing = [WHOLE_LEG[name] for name in first_three if getattr(leg, name) is None]
    if missing:
        notes.append(f"Not measured: {', '.join(missing)}.")
    return [line for note in notes for line in wrapped(note, width_px=0.95 * WIDTH_PX, size_px=WORDS_PX)]
