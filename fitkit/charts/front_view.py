"""The rider from the front: hips, knees, feet and crank faces, sideways to scale, each length with its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from fitkit.charts.figure import Drawing, Figure, View
from fitkit.charts.front_side import (
    FrontSide,
    HipSpan,
    difference_words,
    front_table,
    front_words,
    knee_words,
    stance_width_mm,
)
from fitkit.charts.rows import check_sides, clamped, level_dimension, with_interval
from fitkit.charts.theme import GREY, INK, PALE, text_width_px, wrapped
from fitkit.words import halves, tenths

__all__ = ["FrontSide", "HipSpan", "front_table", "front_view"]

WIDTH_PX, EDGE_PX, MIDDLE_PX = 440, 8, 220
TITLE_PX, SAID_PX, WORDS_PX, ROW_PX = 15, 17, 12, 15
# Heights are only an order from hip to pedal [px below the words on top].
HIP_WORDS_PX, HIP_PX, KNEE_PX, ANKLE_PX, SHOE_PX, SPINDLE_PX, PARTS_PX = 26, 52, 128, 196, 200, 230, 252
PART_PX, BAR_PX = 29, 8  # one length: its words and its bar
# Sketched breadths: they only give the eye something to hold on to [mm].
SHOE_HALF_MM, CRANK_MM = 43, 13


@dataclass(frozen=True)
class Half:
    """One half of the sheet: places outward from the centreline [mm] on it [px]."""

    paper: View
    side: str
    px_per_mm: float
    top_px: float

    @property
    def way(self) -> int:
        """The rider's left is on the viewer's right."""
        return 1 if self.side == "left" else -1

    def x(self, out_mm: float) -> float:
        """Return where a place outward [mm] is on the sheet [px]."""
        return MIDDLE_PX + self.way * out_mm * self.px_per_mm

    def words(self, near_px: float, far_px: float, y_px: float, words: str, *, color: str = INK) -> None:
        """Write words from `near_px` outward or, where `far_px` is nearer the middle, from there inward."""
        outward = far_px >= near_px
        anchor = "start" if outward == (self.way > 0) else "end"
        self.paper.text((MIDDLE_PX + self.way * near_px, y_px), words, anchor=anchor, color=color)


def front_view(sides: Sequence[FrontSide], *, hips: HipSpan, is_told: bool = True) -> Figure:
    """Draw the rider from the front, the rider's left on the right; sideways to scale, heights not.

    `is_told` says whether the errors let left and right be told apart.
    """
    check_sides(sides)
    said = wrapped(difference_words(sides, is_told=is_told), width_px=0.87 * WIDTH_PX, size_px=SAID_PX, bold=True)
    top_px = 50 + 21 * len(said)
    rows = max(1, *(len(side.parts_mm) for side in sides))
    half_px = top_px + PARTS_PX + PART_PX * rows + 12
    notes = _notes(sides, hips)
    drawing = Drawing(WIDTH_PX, half_px + 84 + 17 * len(notes))
    paper = drawing.paper
    paper.text((EDGE_PX, 13), "Stance seen from the front", size_px=TITLE_PX, bold=True)
    for place, line in enumerate(said):
        paper.text((EDGE_PX, 36 + 21 * place), line, size_px=SAID_PX, bold=True)
    scale = (MIDDLE_PX - EDGE_PX) / max(120, *(_reach_mm(side) for side in sides), (hips.high_mm or 0) / 2 + 8)
    paper.line((MIDDLE_PX, top_px + HIP_PX - 14), (MIDDLE_PX, half_px + 36), stroke=GREY, pattern="dash_dot")
    for side in sides:
        half = Half(paper, side.side, scale, top_px)
        _heading(half)
        _leg(half, side, hips)
        _pedal(half, side)
        _lengths(half, side)
        _half_stance(half, side, half_px)
    _hip_words(paper, hips, scale, top_px)
    _width(paper, sides, scale, half_px + 54)
    _scale_bar(paper, scale, half_px + 74, notes)
    return drawing.figure(alt=front_words(sides, hips, is_told=is_told), title="Stance seen from the front")


def _reach_mm(side: FrontSide) -> float:
    """Return how far out anything of a side is drawn [mm]."""
    places = [length for _, length in side.parts_mm]
    outer = [*accumulate(places), side.crank_face_mm or 0]
    if side.half_stance_mm is not None:
        outer += [side.half_stance_mm + SHOE_HALF_MM]
        outer += [(side.knee_mm or 0) + (side.knee_travel_mm or 0) / 2]
    return max(outer) + 4


def _heading(half: Half) -> None:
    edge_px = MIDDLE_PX - EDGE_PX
    half.paper.text(
        (MIDDLE_PX + half.way * edge_px, half.top_px),
        f"rider's {half.side}",
        bold=True,
        anchor="end" if half.way > 0 else "start",
    )


def _hip_words(paper: View, hips: HipSpan, scale: float, top_px: float) -> None:
    words = "hip spacing: not measured"
    if hips.spacing_mm is not None:
        words = f"hip spacing {with_interval(hips.spacing_mm, hips.low_mm, hips.high_mm)}"
        ends = (MIDDLE_PX - hips.spacing_mm / 2 * scale, MIDDLE_PX + hips.spacing_mm / 2 * scale)
        level_dimension(paper, *ends, top_px + HIP_WORDS_PX + 11)
    paper.text((MIDDLE_PX, top_px + HIP_WORDS_PX - 2), words, anchor="middle")


def _leg(half: Half, side: FrontSide, hips: HipSpan) -> None:
    hip_y, knee_y, ankle_y = (half.top_px + y for y in (HIP_PX, KNEE_PX, ANKLE_PX))
    hip = None if hips.spacing_mm is None else (half.x(hips.spacing_mm / 2), hip_y)
    knee = None if side.knee_mm is None else (half.x(side.knee_mm), knee_y)
    foot = None if side.half_stance_mm is None else (half.x(side.half_stance_mm), ankle_y)
    for start, end in ((hip, knee), (knee, foot)):
        if start and end:
            half.paper.line(start, end, width_px=2)
    if hip and foot and not knee:
        half.paper.line(hip, foot, stroke=GREY, pattern="dotted", width_px=1.3)
    if hip:
        ends = () if None in (hips.low_mm, hips.high_mm) else (hips.low_mm / 2, hips.high_mm / 2)
        _joint(half, hip, ends)
    if knee:
        swing = (side.knee_travel_mm or 0) / 2
        _joint(half, knee, (side.knee_mm - swing, side.knee_mm + swing) if swing else ())
    _knee_words(half, side, hips)


def _joint(half: Half, place: tuple[float, float], ends_mm: tuple[float, ...]) -> None:
    (x, y), r = place, 4.5
    half.paper.box((x - r, y - r), (x + r, y + r), fill="white", stroke=INK, width_px=1.6, radius_px=r)
    if ends_mm:
        low, high = (half.x(end) for end in ends_mm)
        caps = [((end, y - 5), (end, y + 5)) for end in (low, high)]
        half.paper.lines([((low, y), (high, y)), *caps], width_px=1.2)


def _knee_words(half: Half, side: FrontSide, hips: HipSpan) -> None:
    said = [knee_words(side)]
    if side.knee_travel_mm is not None:
        said.append(f"travel {halves(side.knee_travel_mm)}")
    places = [side.half_stance_mm, side.knee_mm]
    if side.knee_mm is None and hips.spacing_mm is not None:
        places.append(hips.spacing_mm / 2)
    outer = [abs(half.x(place) - MIDDLE_PX) for place in places if place is not None]
    outer = outer or [MIDDLE_PX - EDGE_PX]
    inward_px, outward_px = min(outer) - 16, MIDDLE_PX - max(outer) - 18
    inward = inward_px >= outward_px
    near = min(outer) - 10 if inward else max(outer) + 10
    room_px = max(50, inward_px if inward else outward_px)
    lines = [line for words in said for line in wrapped(words, width_px=room_px, size_px=WORDS_PX)]
    for place, line in enumerate(lines):
        y = half.top_px + KNEE_PX + 17 + ROW_PX * place
        half.words(near, near - 1 if inward else near + 1, y, line, color=INK if side.knee_mm is not None else GREY)


def _pedal(half: Half, side: FrontSide) -> None:
    y, paper = half.top_px + SPINDLE_PX, half.paper
    if side.crank_face_mm is not None:
        face = half.x(side.crank_face_mm)
        paper.box((half.x(side.crank_face_mm - CRANK_MM), y - 8), (face, y + 8), fill=PALE, stroke=GREY)
        paper.line((face, y - 10), (face, y + 10), width_px=2.4)
    if side.half_stance_mm is None:
        return
    foot, top = half.x(side.half_stance_mm), half.top_px + SHOE_PX
    ends = half.x(side.half_stance_mm - SHOE_HALF_MM), half.x(side.half_stance_mm + SHOE_HALF_MM)
    paper.box((ends[0], top), (ends[1], top + 18), fill="white", stroke=INK, width_px=1.3, radius_px=7)
    paper.line((foot, top - 4), (foot, y + 10), width_px=2)
    if side.crank_face_mm is not None:
        paper.line((half.x(side.crank_face_mm), y), (foot, y), stroke=GREY, width_px=1.2)


def _lengths(half: Half, side: FrontSide) -> None:
    """Draw each length where it lies, one under another, from the end of the one before."""
    parts = side.parts_mm
    ends = [0.0, *accumulate(length for _, length in parts)]
    top, room_px = half.top_px + PARTS_PX, MIDDLE_PX - EDGE_PX
    if not parts:
        half.words(6, 7, top + 8, "lengths: not measured", color=GREY)
    for place, (name, length) in enumerate(parts):
        y = top + PART_PX * place
        words = f"{name} {tenths(length)}"
        breadth = text_width_px(words, size_px=WORDS_PX)
        start_px = ends[place] * half.px_per_mm
        guided = True
        if start_px + 5 + breadth <= room_px:
            half.words(start_px + 5, room_px, y + 7, words)
        elif breadth <= start_px - 11:
            half.words(start_px - 5, 0, y + 7, words)
        else:
            guided = False
            half.words(max(6, room_px - breadth), room_px, y + 7, words)
        bar = (half.x(ends[place]), y + 16), (half.x(ends[place + 1]), y + 16 + BAR_PX)
        half.paper.box(*bar, fill=PALE, stroke=INK, width_px=0.9)
        if guided and place:
            half.paper.line(
                (half.x(ends[place]), y - PART_PX + 16 + BAR_PX), (half.x(ends[place]), y + 16), stroke=GREY
            )


def _half_stance(half: Half, side: FrontSide, y_px: float) -> None:
    room_px = MIDDLE_PX - EDGE_PX
    if side.half_stance_mm is None:
        half.words(6, room_px, y_px + 8, "half-stance: not measured", color=GREY)
        return
    words = "half-stance " + with_interval(side.half_stance_mm, side.half_stance_low_mm, side.half_stance_high_mm)
    centre = clamped(side.half_stance_mm * half.px_per_mm / 2, words, size_px=WORDS_PX, low_px=6, high_px=room_px)
    half.paper.text((MIDDLE_PX + half.way * centre, y_px + 8), words, anchor="middle")
    level_dimension(half.paper, half.x(0), half.x(side.half_stance_mm), y_px + 24)


def _width(paper: View, sides: Sequence[FrontSide], scale: float, y_px: float) -> None:
    width = stance_width_mm(sides)
    if width is None:
        return
    left, right = (next(each.half_stance_mm for each in sides if each.side == side) for side in ("left", "right"))
    paper.text((MIDDLE_PX, y_px - 9), f"stance width {halves(width)}", anchor="middle")
    level_dimension(paper, MIDDLE_PX - right * scale, MIDDLE_PX + left * scale, y_px + 4)


def _notes(sides: Sequence[FrontSide], hips: HipSpan) -> list[str]:
    notes = ["Only sideways to scale: heights, shoes and cranks are sketched. All in mm."]
    if hips.spacing_mm is not None and None not in (hips.low_mm, hips.high_mm):
        notes.append("Bar through a hip: 95 % interval of its place.")
    if any(side.knee_mm is not None and side.knee_travel_mm for side in sides):
        notes.append("Bar through a knee: its travel over a turn.")
    if hips.spacing_mm is not None and any(side.half_stance_mm is not None and side.knee_mm is None for side in sides):
        notes.append("Dotted: straight from hip to foot.")
    return wrapped(" ".join(notes), width_px=0.94 * WIDTH_PX, size_px=WORDS_PX)


def _scale_bar(paper: View, scale: float, y_px: float, notes: Sequence[str]) -> None:
    end = EDGE_PX + 50 * scale
    paper.lines([((EDGE_PX, y_px), (end, y_px)), *(((x, y_px - 4), (x, y_px + 4)) for x in (EDGE_PX, end))])
    paper.text((end + 8, y_px), "scale: this bar is 50 mm", color=GREY)
    for place, line in enumerate(notes):
        paper.text((EDGE_PX, y_px + 18 + 17 * place - 1), line, color=GREY)
