"""Foot, cleat and axle from the side, saddle and bars from the side: large, to scale, before and after."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fitkit.charts.figure import Drawing, Figure, Point, View, beside
from fitkit.charts.rows import check_sides, level_dimension
from fitkit.charts.side_leg import (
    SeatMove,
    SideLeg,
    bar_words,
    foot_words,
    leg_words,
    missing_for_whole_leg,
    saddle_words,
    seat_words,
    side_table,
    whole_leg,
)
from fitkit.charts.theme import BLUE, GREY, INK, PALE, wrapped
from fitkit.words import halved, halves, rounded, tenths, whole

__all__ = ["SeatMove", "SideLeg", "side_table", "side_view"]

WIDTH_PX, EDGE_PX, TITLE_PX, SAID_PX, WORDS_PX, ROW_PX = 440, 8, 15, 17, 12, 16
KEY_PX, NEAR_PX, NEAR_HEIGHT_PX, LABELS_PX = 118, 130, 222, 86  # below the foot: the whole leg, then the axle large
BEFORE = {"stroke": GREY, "pattern": "dashed"}
# A sketched foot: places along the sole from heel or joint, and above it [mm]. Nothing is read from it.
HEEL_BEHIND_ANKLE_MM, TOES_MM, SKETCHED_ANKLE_MM, SKETCHED_HEIGHT_MM = 45, 72, 130, 75
FOREFOOT = ((-24, 50), (22, 40), (58, 22), (72, 6), (64, 0))
AXLE_MM, NEAR_GREATEST, NEAR_AXLE_MM = 7, 6.0, 4.5
SEAT_SCALE, SADDLE_X_PX, BARS_X_PX, SADDLE_TOP_PX, SADDLE_HALF_PX, BAR_PX, TUBE_PX = 3.0, 172, 345, 84, 102, 22, 74


def side_view(legs: Sequence[SideLeg], *, seat: SeatMove | None = None) -> Figure:
    """Draw each foot on its pedal from the side, before and after, and what saddle and bars do."""
    check_sides(legs)
    parts = [_leg(leg) for leg in legs]
    if seat is not None:
        parts.append(_seat(seat))
    return beside(parts, title="Foot, saddle and bars from the side")


def _leg(leg: SideLeg) -> Figure:
    setbacks = [setback for setback in (leg.old_setback_mm, leg.new_setback_mm) if setback is not None]
    outline = [leg.place(*place, setback) for setback in setbacks or [0] for place in _foot(leg)]
    xs, ys = zip(*outline, *_pitch_lines(leg)[0], *_pitch_lines(leg)[1], (0, -AXLE_MM), strict=True)
    scale = min(1.4, (WIDTH_PX - 2 * EDGE_PX - 8) / (max(xs) - min(xs)))
    top = 56.0
    origin = EDGE_PX + 4 - min(xs) * scale, top + max(ys) * scale
    bottom = origin[1] - min(ys) * scale
    near_top = bottom + 68
    notes = _leg_notes(leg)
    drawing = Drawing(WIDTH_PX, math.ceil(near_top + NEAR_HEIGHT_PX + 20 + ROW_PX * len(notes)))
    paper = drawing.paper
    paper.text((EDGE_PX, 13), f"{leg.side.capitalize()} foot from the side", size_px=TITLE_PX, bold=True)
    paper.text((EDGE_PX, 36), foot_words(leg), size_px=SAID_PX, bold=True, color=BLUE if leg.moves else INK)
    view = drawing.view(origin_px=origin, px_per_mm=scale)
    _whole_foot(view, leg, bottom)
    _scale_bar(paper, (EDGE_PX, bottom + 52), 50, scale)
    paper.line((EDGE_PX, near_top - 4), (WIDTH_PX - EDGE_PX, near_top - 4), stroke=PALE)
    _key(drawing, leg, near_top)
    _near(drawing, leg, near_top)
    for place, words in enumerate(notes):
        paper.text((EDGE_PX, near_top + NEAR_HEIGHT_PX + 14 + ROW_PX * place), words, color=GREY)
    return drawing.figure(alt=leg_words(leg), title=f"{leg.side.capitalize()} foot from the side")


def _foot(leg: SideLeg) -> list[Point]:
    """Return the sketched foot from the joint back along the sole and round, ahead and above [mm]."""
    ankle, height = leg.ankle_to_mtp1_mm or SKETCHED_ANKLE_MM, leg.ankle_height_mm or SKETCHED_HEIGHT_MM
    heel = -ankle - HEEL_BEHIND_ANKLE_MM
    back = [(0, 0), (heel + 8, 0), (heel, 16), (heel + 6, height), (heel + 8, height + 22)]
    return [*back, (-ankle + 46, height + 22), (-ankle + 52, height - 2), *FOREFOOT]


def _whole_foot(view: View, leg: SideLeg, bottom: float) -> None:
    known = [setback for setback in (leg.old_setback_mm, leg.new_setback_mm) if setback is not None]
    after = known[-1] if known else None
    foot = _foot(leg)
    if after is None:
        view.drawing.paper.text((EDGE_PX, bottom + 32), "cleat setback: not measured, foot not placed", color=GREY)
    else:
        # the ankle's opening is left open
        view.path([leg.place(*place, after) for place in [*foot[5:], *foot[:5]]], width_px=1.6)
        _marks(view, leg, after, {"stroke": INK, "pattern": "solid"})
        x, y = view.px(leg.place(0, 0, after))
        view.drawing.paper.text((x - 4, y - 24), "joint", anchor="middle", bold=True)
        ankles = [view.px(place) for place in map(leg.ankle, known) if place is not None]
        if ankles:
            view.drawing.paper.text((max(x for x, _ in ankles) + 11, view.px(leg.ankle(after))[1]), "ankle")
        _pitch(view, leg, bottom)
    if leg.old_setback_mm is not None and leg.moves:
        ends = [leg.place(*place, leg.old_setback_mm) for place in (foot[1], foot[-1])]
        heel = [leg.place(*place, leg.old_setback_mm) for place in foot[1:5]]
        toes = [leg.place(*place, leg.old_setback_mm) for place in foot[7:]]
        view.path(heel, **BEFORE)
        view.path(toes, **BEFORE)
        view.line(*ends, **BEFORE)
        _marks(view, leg, leg.old_setback_mm, BEFORE)
    _axle(view, (0, 0), AXLE_MM)
    x, y = view.px((0, -AXLE_MM))
    view.drawing.paper.text((x, y + 11), "pedal axle", anchor="middle")


def _marks(view: View, leg: SideLeg, setback: float, look: dict) -> None:
    """Draw joint and ankle: a small upright on the sole, a ring."""
    view.path([leg.place(0, above, setback) for above in (-5, 9)], width_px=2, **look)
    ankle = leg.ankle(setback)
    if ankle is not None:
        _axle(view, ankle, 4, fill=None, **look)


def _axle(view: View, middle: Point, radius: float, *, fill: str | None = PALE, **look: str) -> None:
    (x, y), r = view.px(middle), radius * view.px_per_mm
    dashes = look.get("pattern", "solid")
    paper = view.drawing.paper
    corners = (x - r, y - r), (x + r, y + r)
    paper.box(*corners, fill=fill, stroke=look.get("stroke", INK), width_px=1.4, radius_px=r, pattern=dashes)


def _pitch_lines(leg: SideLeg) -> tuple[list[Point], list[Point]]:
    """Return the level line back from the sole over the axle, and the arc from it to the sole [mm]."""
    corner = leg.place(0, 0, 0)
    back = (leg.ankle_to_mtp1_mm or SKETCHED_ANKLE_MM) + HEEL_BEHIND_ANKLE_MM - 4
    angles = [math.radians(leg.pitch_deg or 0) * step / 6 for step in range(7)]
    arc = [(corner[0] - 0.8 * back * math.cos(a), corner[1] + 0.8 * back * math.sin(a)) for a in angles]
    return [corner, (corner[0] - back, corner[1])], arc


def _pitch(view: View, leg: SideLeg, bottom: float) -> None:
    paper = view.drawing.paper
    if leg.pitch_deg is None:
        paper.text((EDGE_PX, bottom + 32), "foot pitch: not measured, drawn level", color=GREY)
        return
    level, arc = _pitch_lines(leg)
    view.path(level, stroke=GREY, width_px=0.8, pattern="dash_dot")
    if rounded(leg.pitch_deg):
        view.path(arc, stroke=GREY)
    words = f"foot pitch {whole(leg.pitch_deg)}°, {'heel up' if leg.pitch_deg >= 0 else 'heel down'}"
    paper.text((EDGE_PX, bottom + 32), words)


def _scale_bar(paper: View, place: Point, length_mm: float, scale: float) -> None:
    (x, y), end = place, place[0] + length_mm * scale
    paper.lines([((x, y), (end, y)), ((x, y - 4), (x, y + 4)), ((end, y - 4), (end, y + 4))])
    paper.text((end + 8, y), f"scale: this bar is {halves(length_mm)} mm", color=GREY)


def _key(drawing: Drawing, leg: SideLeg, top: float) -> None:
    """Draw the whole leg small, as found: it shows where the details belong, no more."""
    paper = drawing.paper
    missing = missing_for_whole_leg(leg)
    chain = None if missing else whole_leg(leg)
    if chain is None:
        words = (
            f"whole leg: not drawn, needs {', '.join(missing)}" if missing else "whole leg: does not reach its pedal"
        )
        for place, line in enumerate(wrapped(words, width_px=KEY_PX - 8, size_px=WORDS_PX)):
            paper.text((EDGE_PX, top + 14 + 15 * place), line, color=GREY)
        return
    paper.text((EDGE_PX, top + 14), "whole leg (key)", color=GREY)
    circle = leg.crank_mm
    xs, ys = zip(*chain, (-circle, -circle), (circle, circle), strict=True)
    scale = min(64 / (max(xs) - min(xs)), (NEAR_HEIGHT_PX - 68) / (max(ys) - min(ys)))
    view = drawing.view(origin_px=(EDGE_PX + 4 - min(xs) * scale, top + 38 + max(ys) * scale), px_per_mm=scale)
    _axle(view, (0, 0), circle, fill=None, stroke=GREY, pattern="dotted")
    view.path(chain, width_px=1.6)
    hip, knee, ankle = (view.px(place) for place in chain[:3])
    aside = max(view.px(place)[0] for place in [*chain, (circle, 0)]) + 7
    for x, y in (hip, knee, ankle):
        paper.box((x - 2.5, y - 2.5), (x + 2.5, y + 2.5), fill="white", stroke=INK, radius_px=2.5)
    paper.line((ankle[0] + 3, ankle[1]), (aside - 3, ankle[1]), stroke=GREY, width_px=0.6)
    for words, x, y in (("hip", hip[0] + 4, hip[1] - 10), ("knee", knee[0] + 8, knee[1]), ("ankle", aside, ankle[1])):
        paper.text((x, y), words, color=GREY)
    paper.text((EDGE_PX, top + NEAR_HEIGHT_PX - 10), f"crank at {whole(leg.crank_angle_deg)}°", color=GREY)


def _near(drawing: Drawing, leg: SideLeg, top: float) -> None:
    """Draw joint, sole and axle large, turned so that the sole lies level."""
    paper = drawing.paper
    known = [setback for setback in (leg.old_setback_mm, leg.new_setback_mm) if setback is not None]
    sole = leg.drawn_sole_mm
    least, greatest = min(0, *known, 0) - NEAR_AXLE_MM - 1, max(0, *known, 0) + 8
    room = WIDTH_PX - EDGE_PX - 26 - NEAR_PX - LABELS_PX
    scale = min(NEAR_GREATEST, room / (greatest - least), 84 / max(abs(sole), 1))
    left = NEAR_PX + LABELS_PX
    sole_y = top + 96
    view = drawing.view(origin_px=(left - least * scale, sole_y + sole * scale), px_per_mm=scale)
    right = view.px((greatest, 0))[0]
    paper.text((NEAR_PX, top + 14), "the same, large, sole level", color=GREY)
    paper.line((left - 4, sole_y), (right, sole_y), width_px=2)
    paper.text((left - 10, sole_y), "foot sole", anchor="end")
    x, y = view.px((0, 0))
    _axle(view, (0, 0), NEAR_AXLE_MM)
    paper.text((left - 10, y), "pedal axle", anchor="end")
    paper.line((x, y), (x, sole_y - 42), stroke=GREY, pattern="dash_dot", width_px=0.9)
    _rows(view, leg, sole_y, left)
    if leg.axle_to_foot_sole_mm:
        paper.lines([((x, y), (right + 4, y)), ((right, sole_y), (right + 4, sole_y))], stroke=GREY, width_px=0.6)
        upright = drawing.view(origin_px=(right, y), px_per_mm=scale)
        upright.dimension((0, sole), (0, 0), tenths(sole))
    _scale_bar(paper, (NEAR_PX, top + NEAR_HEIGHT_PX - 10), 10, scale)


def _rows(view: View, leg: SideLeg, sole_y: float, left: float) -> None:
    """Draw both setbacks and the move as dimension lines above the sole, their words in a column."""
    paper, axle = view.drawing.paper, view.px((0, 0))[0]
    looks = (("before", leg.old_setback_mm, GREY, "dashed", 18), ("after", leg.new_setback_mm, INK, "solid", 38))
    for name, setback, color, pattern, up in looks:
        words = f"{name}: ?" if setback is None else f"{name} {halves(setback)}"
        paper.text((left - 10, sole_y - up), words, anchor="end", color=color, bold=name == "after")
        if setback is None:
            continue
        joint = view.px((setback, 0))[0]
        paper.path([(joint, sole_y + 7), (joint, sole_y - up - 4)], stroke=color, width_px=2, pattern=pattern)
        if halved(setback):
            paper.path([(axle, sole_y - up), (joint, sole_y - up)], stroke=color, pattern=pattern)
            way = math.copysign(9, setback)
            for tip, outward in ((axle, -1), (joint, 1)):
                paper.head((tip, sole_y - up), away_from=(tip - outward * way, sole_y - up), color=color, length_px=7)
    if leg.moves:
        ends = [view.px((setback, 0))[0] for setback in (leg.old_setback_mm, leg.new_setback_mm)]
        level_dimension(paper, *ends, sole_y - 58, color=BLUE)
        words = f"move {halves(abs(leg.move_mm))}"
        paper.text((left - 10, sole_y - 58), words, anchor="end", color=BLUE, bold=True)


def _leg_notes(leg: SideLeg) -> list[str]:
    notes = ["Grey, dashed: before. Ink, solid: after. Upright on the sole: the joint. All in mm; foot sketched."]
    move = leg.ankle_move_mm
    if move is not None and leg.moves:
        ways = [
            f"{halves(abs(each))} {names[each < 0]}"
            for each, names in zip(move, (("forward", "back"), ("down", "up")), strict=True)
        ]
        notes.append(f"At this pitch the ankle goes {ways[0]} and {ways[1]}.")
    lacking = {"ankle_to_mtp1_mm": "ankle to joint", "ankle_height_mm": "ankle height"}
    lacking |= {"axle_to_foot_sole_mm": "axle to foot sole"}
    missing = [what for name, what in lacking.items() if getattr(leg, name) is None]
    if missing:
        notes.append(f"Not measured: {', '.join(missing)}.")
    return [line for note in notes for line in wrapped(note, width_px=0.95 * WIDTH_PX, size_px=WORDS_PX)]


def _seat(seat: SeatMove) -> Figure:
    notes = "Grey, dashed: before. Ink, solid: after. Saddle and bars sketched; moves to scale."
    if seat.seat_tube_angle_deg is None:
        notes += " Seat-tube angle: not measured, drawn upright."
    lines = wrapped(notes, width_px=0.95 * WIDTH_PX, size_px=WORDS_PX)
    moves = [move or 0 for move in (seat.saddle_down_mm, seat.bar_down_mm)]
    scale = min(SEAT_SCALE, 66 / max(*map(abs, moves), 1))
    # the clamp as found; what goes up needs room above it, what goes down below
    clamp = 88 + SADDLE_TOP_PX + scale * max(0, *(-move for move in moves))
    bottom = clamp + TUBE_PX + scale * max(0, *moves)
    if seat.saddle_down_mm is None and seat.bar_down_mm is None:
        bottom = 72
    drawing = Drawing(WIDTH_PX, math.ceil(bottom + 32 + ROW_PX * len(lines)))
    paper = drawing.paper
    paper.text((EDGE_PX, 13), "Saddle and bars from the side", size_px=TITLE_PX, bold=True)
    color = BLUE if halved(seat.saddle_down_mm or 0) else INK
    paper.text((EDGE_PX, 36), saddle_words(seat), size_px=SAID_PX, bold=True, color=color)
    paper.text((EDGE_PX, 57), bar_words(seat), size_px=14, bold=True)
    if seat.saddle_down_mm is not None:
        _saddle(drawing.view(origin_px=(SADDLE_X_PX, clamp), px_per_mm=scale), seat, bottom)
    if seat.bar_down_mm is not None:
        _bars(drawing.view(origin_px=(BARS_X_PX, clamp - 40), px_per_mm=scale), seat)
    _scale_bar(paper, (EDGE_PX, bottom + 12), 10, scale)
    for place, line in enumerate(lines):
        paper.text((EDGE_PX, bottom + 32 + ROW_PX * place), line, color=GREY)
    return drawing.figure(alt=seat_words(seat), title="Saddle and bars from the side")


def _saddle(view: View, seat: SeatMove, bottom: float) -> None:
    angle = math.radians(90 if seat.seat_tube_angle_deg is None else seat.seat_tube_angle_deg)
    down, moved, paper = (math.cos(angle), -math.sin(angle)), seat.saddle_down_mm, view.drawing.paper
    (x, y), (x0, y0) = view.px((moved * down[0], moved * down[1])), view.px((0, 0))
    foot = x0 + (bottom - y0) * down[0] / math.sin(angle), bottom
    paper.line((x0, y0), foot, stroke=GREY, pattern="dash_dot")
    if halved(moved):
        _saddle_outline(paper, (x0, y0), BEFORE)
    _saddle_outline(paper, (x, y), {"stroke": INK, "pattern": "solid"})
    paper.box((x - 13, y - 5), (x + 13, y + 7), fill=PALE, stroke=INK)
    if halved(moved):
        tip = -SADDLE_HALF_PX / view.px_per_mm, (SADDLE_TOP_PX + 12) / view.px_per_mm
        end = tip[0] + moved * down[0], tip[1] + moved * down[1]
        away = math.copysign(18 / view.px_per_mm, -moved)
        view.dimension(tip, end, f"{halves(abs(moved))} mm", away_mm=away, color=BLUE)
    words = "seat tube" if seat.seat_tube_angle_deg is None else f"seat tube {whole(seat.seat_tube_angle_deg)}°"
    paper.text((foot[0] - 14, bottom - 8), words, anchor="end", color=GREY)
    paper.text((min(x, x0) - 30, max(y, y0) + 17), "clamp", anchor="end", color=GREY)


def _saddle_outline(paper: View, clamp: Point, look: dict) -> None:
    """Draw a sketched saddle and its rails over a clamp's place on the sheet [px]."""
    (x, y), half, top = clamp, SADDLE_HALF_PX, clamp[1] - SADDLE_TOP_PX
    shape = [(-half, top - 12), (-half / 2, top), (0, top + 3), (half / 2, top), (half, top + 3)]
    paper.path([(x + across, height) for across, height in shape], width_px=2.2, smooth=True, **look)
    rails = [(-0.7 * half, top + 9), (-0.4 * half, y), (0.4 * half, y), (0.75 * half, top + 11)]
    paper.path([(x + across, height) for across, height in rails], width_px=1.2, **look)


def _bars(view: View, seat: SeatMove) -> None:
    radius, down = BAR_PX / view.px_per_mm, seat.bar_down_mm
    if halved(down):
        _axle(view, (0, 0), radius, fill=None, **BEFORE)
        away = math.copysign((BAR_PX + 10) / view.px_per_mm, down)
        view.dimension((0, 0), (0, -down), f"{halves(abs(down))} mm", away_mm=away, color=BLUE)
    _axle(view, (0, -down), radius, fill=None)
    x, y = view.px((0, min(0, -down)))
    view.drawing.paper.text((x, y + BAR_PX + 14), "bars", anchor="middle", color=GREY)
