"""Saddle and bars from the side, large, to scale, before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.charts.canvas import Drawing, Point, View
from fitkit.charts.figure import BEFORE, BLUE, GREY, INK, PALE, WIDTH_PX, Figure, check_numbers, row, wrapped
from fitkit.words import halved, halves, rounded, whole

EDGE_PX, WORDS_PX, ROW_PX = 6, 12, 14
GREATEST_PX_PER_MM, SADDLE_X_PX, BARS_X_PX, BAR_PX, TUBE_PX = 3, 150, 280, 18, 46
SADDLE_TOP_PX, SADDLE_HALF_PX = 46, 76


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


def draw_seat(seat: SeatMove) -> Figure:
    """Draw what saddle and bars do."""
    rows = [
        row("", "saddle down along the seat tube", seat.saddle_down_mm, lacking="not given", said=""),
        row("", "seat-tube angle", seat.seat_tube_angle_deg, unit="deg", to=rounded),
        row("", "bars down", seat.bar_down_mm, lacking="not given", said=""),
    ]
    notes = "Dashed: before. Saddle and bars sketched; moves to scale."
    if seat.seat_tube_angle_deg is None:
        notes += " Seat-tube angle: not measured, drawn upright."
    lines = wrapped(notes, width_px=0.95 * WIDTH_PX, size_px=WORDS_PX)
    moves = [move or 0 for move in (seat.saddle_down_mm, seat.bar_down_mm)]
    scale = min(GREATEST_PX_PER_MM, 50 / max(*map(abs, moves), 1))
    # the clamp as found; what goes up needs room above it, what goes down below
    clamp = 80 + SADDLE_TOP_PX + scale * max(0, *(-move for move in moves))
    bottom = clamp + TUBE_PX + scale * max(0, *moves)
    if seat.saddle_down_mm is None and seat.bar_down_mm is None:
        bottom = 62
    drawing = Drawing(WIDTH_PX, math.ceil(bottom + 22 + ROW_PX * len(lines)))
    title = "Saddle and bars from the side"
    saddle_words = _move_words("Saddle", seat.saddle_down_mm, stays="Saddle stays", tail=" along the seat tube")
    bar_words = _move_words("Bars", seat.bar_down_mm, stays="Bars stay")
    drawing.heading(EDGE_PX, title, saddle_words, moves=bool(halved(seat.saddle_down_mm or 0)))
    drawing.paper.text((EDGE_PX, 49), bar_words, size_px=15, bold=True)
    view = drawing.view(origin_px=(SADDLE_X_PX, clamp), px_per_mm=scale)
    if seat.saddle_down_mm is not None:
        _saddle(view, seat, bottom)
    if seat.bar_down_mm is not None:
        _bars(drawing.view(origin_px=(BARS_X_PX, clamp - 40), px_per_mm=scale), seat.bar_down_mm)
    view.scale_bar((EDGE_PX, bottom + 8), 10)
    drawing.paper.text((EDGE_PX, bottom + 26), lines, row_px=ROW_PX, color=GREY)
    return drawing.figure(title=title, alt=f"{title}, front to the right. {saddle_words}. {bar_words}.", rows=rows)


def _move_words(name: str, down_mm: float | None, *, stays: str, tail: str = "") -> str:
    if down_mm is None:
        return f"{name}: not given"
    if not halved(down_mm):
        return stays
    return f"{name} {'down' if down_mm > 0 else 'up'} {halves(abs(down_mm))} mm{tail}"


def _saddle(view: View, seat: SeatMove, bottom: float) -> None:
    angle = math.radians(90 if seat.seat_tube_angle_deg is None else seat.seat_tube_angle_deg)
    down, moved, paper = (math.cos(angle), -math.sin(angle)), seat.saddle_down_mm, view.drawing.paper
    (x, y), (x0, y0) = view.px((moved * down[0], moved * down[1])), view.px((0, 0))
    foot = x0 + (bottom - y0) * down[0] / math.sin(angle), bottom
    paper.line((x0, y0), foot, stroke=GREY, pattern="dash_dot")
    if halved(moved):
        _saddle_outline(paper, (x0, y0), BEFORE)
    _saddle_outline(paper, (x, y), {})
    paper.box((x - 13, y - 5), (x + 13, y + 7), fill=PALE, stroke=INK)
    if halved(moved):
        tip = -SADDLE_HALF_PX / view.px_per_mm, (SADDLE_TOP_PX + 12) / view.px_per_mm
        end = tip[0] + moved * down[0], tip[1] + moved * down[1]
        away = math.copysign(18 / view.px_per_mm, -moved)
        view.dimension(tip, end, f"{halves(abs(moved))} mm", away_mm=away, color=BLUE)
    words = "seat tube" if seat.seat_tube_angle_deg is None else f"seat tube {whole(seat.seat_tube_angle_deg)}°"
    paper.text((foot[0] - 14, bottom - 8), words, anchor="end", color=GREY)
    paper.text((min(x, x0) - 30, max(y, y0) + 17), "clamp", anchor="end", color=GREY)


def _saddle_outline(paper: View, clamp: Point, look: dict[str, str]) -> None:
    """Draw a sketched saddle and its rails over a clamp's place on the sheet [px]."""
    (x, y), half, top = clamp, SADDLE_HALF_PX, clamp[1] - SADDLE_TOP_PX
    shape = [(-half, top - 12), (-half / 2, top), (0, top + 3), (half / 2, top), (half, top + 3)]
    paper.path([(x + across, height) for across, height in shape], width_px=2.2, smooth=True, **look)
    rails = [(-0.7 * half, top + 9), (-0.4 * half, y), (0.4 * half, y), (0.75 * half, top + 11)]
    paper.path([(x + across, height) for across, height in rails], width_px=1.2, **look)


def _bars(view: View, down: float) -> None:
    if halved(down):
        view.ring((0, 0), BAR_PX, fill="none", width_px=1.4, **BEFORE)
        away = math.copysign((BAR_PX + 10) / view.px_per_mm, down)
        view.dimension((0, 0), (0, -down), f"{halves(abs(down))} mm", away_mm=away, color=BLUE)
    view.ring((0, -down), BAR_PX, fill="none", width_px=1.4)
    x, y = view.px((0, min(0, -down)))
    view.drawing.paper.text((x, y + BAR_PX + 14), "bars", anchor="middle", color=GREY)
