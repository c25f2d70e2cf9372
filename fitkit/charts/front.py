"""The rider from the front: hips, knees, feet and crank faces, sideways to scale, each length with its name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from fitkit.charts.canvas import Drawing, View, clamped
from fitkit.charts.figure import (
    GREY,
    INK,
    NOT_KNOWN,
    PALE,
    WIDTH_PX,
    Figure,
    FigureRow,
    check_sides,
    has_interval,
    row,
    tenth,
    text_width_px,
    wrapped,
)
from fitkit.estimate import Estimate
from fitkit.words import capital, halved, halves, rounded, span, tenths

EDGE_PX, MIDDLE_PX, SAID_PX, WORDS_PX = 6, WIDTH_PX / 2, 15, 12
HALF_PX = MIDDLE_PX - EDGE_PX
# Heights are only an order from hip to pedal [px below the words on top].
HIP_WORDS_PX, HIP_PX, KNEE_PX, ANKLE_PX, SHOE_PX, SPINDLE_PX, PARTS_PX = 20, 42, 83, 132, 136, 164, 180
PART_PX, BAR_PX = 26, 7  # one length: its words and its bar
# Sketched breadths: they only give the eye something to hold on to [mm].
SHOE_HALF_MM, CRANK_MM = 43, 13


@dataclass(frozen=True, kw_only=True)
class FrontSide:
    """What the front view shows of one side; what is not known is said, not drawn."""

    side: str  # the rider's "left" or "right"
    half_stance: Estimate = NOT_KNOWN  # frame centreline to the shoe's long axis at the cleat [mm]
    crank_face_mm: float | None = None  # frame centreline to the crank's outer face [mm]
    # each part from the centreline outward, by name, adding up to the half-stance [mm]
    lengths_mm: tuple[tuple[str, float], ...] = ()
    # knee from the shoe's long axis, outward positive, in the middle of its travel [mm]
    knee_offset_mm: float | None = None
    knee_travel_mm: float | None = None  # how far the knee travels sideways over a turn, both ways together [mm]

    def __post_init__(self) -> None:
        total = sum(length for _, length in self.lengths_mm)
        if self.lengths_mm and self.half_stance.is_known and not abs(total - self.half_stance.value) <= 0.5:
            raise ValueError(f"lengths_mm add up to {total:g}; expected the half-stance, {self.half_stance.value:g}")

    @property
    def knee_mm(self) -> float | None:
        """Knee from the centreline, outward positive [mm]."""
        if not self.half_stance.is_known or self.knee_offset_mm is None:
            return None
        return self.half_stance.value + self.knee_offset_mm

    @property
    def parts_mm(self) -> tuple[tuple[str, float], ...]:
        """The named lengths; without them the crank face alone [mm]."""
        if self.lengths_mm or self.crank_face_mm is None:
            return self.lengths_mm
        return (("crank face", self.crank_face_mm),)


def front_view(sides: Sequence[FrontSide], *, hips: Estimate, is_told: bool = True) -> Figure:
    """Draw the rider from the front, the rider's left on the right; sideways to scale, heights not.

    `hips` is the distance between the hip joint centres [mm]; `is_told` says whether the errors let left and right
    be told apart.
    """
    check_sides(sides)
    title, difference = "Stance seen from the front", _difference_words(sides, is_told=is_told)
    said = wrapped(difference, width_px=0.87 * WIDTH_PX, size_px=SAID_PX, bold=True)
    top_px = 34 + 18 * len(said)
    half_px = top_px + PARTS_PX + PART_PX * max(1, *(len(side.parts_mm) for side in sides)) + 6
    notes = _notes(sides, hips)
    drawing = Drawing(WIDTH_PX, half_px + 76 + 15 * len(notes))
    drawing.heading(EDGE_PX, title, said)
    paper = drawing.paper
    scale = HALF_PX / max(120, *(_reach_mm(side) for side in sides), (hips.high or 0) / 2 + 8)
    paper.line((MIDDLE_PX, top_px + HIP_PX - 14), (MIDDLE_PX, half_px + 31), stroke=GREY, pattern="dash_dot")
    middle = {"origin_px": (MIDDLE_PX, top_px), "px_per_mm": scale}
    for side in sides:
        # out from the centreline; the rider's left is on the viewer's right
        half = drawing.across(mirrored=side.side == "right", **middle)
        _words(half, HALF_PX, 0, f"rider's {side.side}", outward=False, bold=True)
        _leg(half, side, hips)
        _knee_words(half, side, hips)
        _pedal(half, side)
        _lengths(half, side)
        _half_stance(half, side, half_px - top_px)
    both = drawing.across(**middle)
    _hip_words(both, hips)
    _width(both, sides, half_px - top_px + 50)
    both.scale_bar((EDGE_PX, half_px + 68), 50)
    paper.text((EDGE_PX, half_px + 84), notes, row_px=15, color=GREY)
    opening = f"{title}, sideways to scale; the rider's left is on the right of the picture. {difference}."
    return drawing.figure(title=title, alt=opening, rows=_rows(sides, hips))


def _rows(sides: Sequence[FrontSide], hips: Estimate) -> list[FigureRow]:
    rows = [
        row("", "hip spacing", hips),
        row("", "stance width", _stance_width_mm(sides), lacking="not assessed"),
        row("", "left minus right half-stance", _difference_mm(sides), lacking="not assessed", said=""),
    ]
    for side in sides:
        name = capital(side.side)
        lengths = ", ".join(f"{part} {tenths(length)}" for part, length in side.lengths_mm)
        face = f"{name} crank face {tenths(side.crank_face_mm or 0)} mm from the centreline."
        offset = f"{name} {_knee_place(side, unit=' mm')}."
        travel = f"{name} knee travels {halves(side.knee_travel_mm or 0)} mm sideways."
        rows.append(row(side.side, "half-stance", side.half_stance))
        for place, (part, length) in enumerate(side.lengths_mm):
            said = "" if place else f"{name}, from the centreline outward: {lengths} mm."
            rows.append(row(side.side, f"length: {part}", length, to=tenth, said=said))
        rows += [
            row(side.side, "crank face from the centreline", side.crank_face_mm, to=tenth, said=face),
            row(side.side, "knee from the foot, outward", side.knee_offset_mm, said=offset),
            row(side.side, "knee travel", side.knee_travel_mm, said=travel),
        ]
    return rows


def _stance_width_mm(sides: Sequence[FrontSide]) -> float | None:
    """Return left and right half-stance together [mm]; None while one is not known."""
    known = [halved(side.half_stance.value) for side in sides if side.half_stance.is_known]
    return None if len(known) < 2 else sum(known)


def _difference_mm(sides: Sequence[FrontSide]) -> float | None:
    """Return left minus right half-stance [mm]; None while one, or every crank face, is not known."""
    known = {side.side: side.half_stance.value for side in sides}
    left, right = known.get("left"), known.get("right")
    names = [name for side in sides for name, _ in side.lengths_mm]
    is_by_q = "Q factor" in names and not any(name.endswith("crank face") for name in names)
    return None if left is None or right is None or is_by_q else halved(left) - halved(right)


def _difference_words(sides: Sequence[FrontSide], *, is_told: bool) -> str:
    """Return which foot stands further out and by how much, where the errors let that be told."""
    difference = _difference_mm(sides)
    if difference is None:
        return "Left against right: not assessed"
    if not rounded(difference):
        return "Both feet stand equally far out"
    if not is_told:
        return "No difference left to right that can be told"
    return f"{'Left' if difference > 0 else 'Right'} foot stands {halves(abs(difference))} mm further out"


def _knee_place(side: FrontSide, *, unit: str = "") -> str:
    """Return where the knee is against its foot; with a unit, as in a sentence."""
    if side.knee_offset_mm is None:
        return "knee: not measured"
    if not halved(side.knee_offset_mm):
        return "knee over the foot"
    where = "outside" if side.knee_offset_mm > 0 else "inside"
    return f"knee {halves(abs(side.knee_offset_mm))}{unit} {where}{' the foot' if unit else ''}"


def _reach_mm(side: FrontSide) -> float:
    """Return how far out anything of a side is drawn [mm]."""
    outer = [*accumulate(length for _, length in side.parts_mm), side.crank_face_mm or 0]
    if side.half_stance.is_known:
        outer += [side.half_stance.value + SHOE_HALF_MM]
        outer += [(side.knee_mm or 0) + (side.knee_travel_mm or 0) / 2]
    return max(outer) + 4


def _with_interval(found: Estimate) -> str:
    return span(found.value, found.low, found.high)


def _words(half: View, near_px: float, y_px: float, words: str | list[str], *, outward: bool = True, **look) -> None:
    """Write words from a distance [px] from the centreline outward, or inward."""
    half.text((0, y_px), words, anchor="start" if outward else "end", shift_px=(near_px, 0), **look)


def _hip_words(both: View, hips: Estimate) -> None:
    words = "hip spacing: not measured"
    if hips.is_known:
        words, y = f"hip spacing {_with_interval(hips)}", HIP_WORDS_PX + 11
        both.level_dimension((-hips.value / 2, y), (hips.value / 2, y))
    both.text((0, HIP_WORDS_PX - 2), words, anchor="middle")


def _leg(half: View, side: FrontSide, hips: Estimate) -> None:
    hip = (hips.value / 2, HIP_PX) if hips.is_known else None
    knee = None if side.knee_mm is None else (side.knee_mm, KNEE_PX)
    foot = (side.half_stance.value, ANKLE_PX) if side.half_stance.is_known else None
    for start, end in ((hip, knee), (knee, foot)):
        if start and end:
            half.line(start, end, width_px=2)
    if hip and foot and not knee:
        half.line(hip, foot, stroke=GREY, pattern="dotted", width_px=1.3)
    swing = (side.knee_travel_mm or 0) / 2
    for joint, ends_mm in (
        (hip, (hips.low / 2, hips.high / 2) if has_interval(hips) else None),
        (knee, (side.knee_mm - swing, side.knee_mm + swing) if knee and swing else None),
    ):
        if joint:
            half.ring(joint, 4.5, width_px=1.6)
        if joint and ends_mm:
            half.whisker(*((end, joint[1]) for end in ends_mm), width_px=1.2)


def _knee_words(half: View, side: FrontSide, hips: Estimate) -> None:
    said = [_knee_place(side)]
    if side.knee_travel_mm is not None:
        said.append(f"travel {halves(side.knee_travel_mm)}")
    places = [side.half_stance.value, side.knee_mm]
    if side.knee_mm is None and hips.is_known:
        places.append(hips.value / 2)
    outer = [abs(place) * half.px_per_mm for place in places if place is not None] or [HALF_PX]
    inward_px, outward_px = min(outer) - 16, MIDDLE_PX - max(outer) - 18
    outward = inward_px < outward_px
    room_px = max(50, inward_px, outward_px)
    lines = [line for words in said for line in wrapped(words, width_px=room_px, size_px=WORDS_PX)]
    color = INK if side.knee_mm is not None else GREY
    near_px = max(outer) + 10 if outward else min(outer) - 10
    _words(half, near_px, KNEE_PX + 15, lines, outward=outward, color=color, row_px=14)


def _pedal(half: View, side: FrontSide) -> None:
    y, face = SPINDLE_PX, side.crank_face_mm
    if face is not None:
        half.box((face - CRANK_MM, y - 8), (face, y + 8), fill=PALE, stroke=GREY)
        half.line((face, y - 10), (face, y + 10), width_px=2.4)
    if not side.half_stance.is_known:
        return
    foot, top = side.half_stance.value, SHOE_PX
    ends = (foot - SHOE_HALF_MM, top), (foot + SHOE_HALF_MM, top + 18)
    half.box(*ends, fill="white", stroke=INK, width_px=1.3, radius_px=7)
    half.line((foot, top - 4), (foot, y + 10), width_px=2)
    if face is not None:
        half.line((face, y), (foot, y), stroke=GREY, width_px=1.2)


def _lengths(half: View, side: FrontSide) -> None:
    """Draw each length where it lies, one under another, from the end of the one before."""
    ends = [0.0, *accumulate(length for _, length in side.parts_mm)]
    if not side.parts_mm:
        _words(half, 6, PARTS_PX + 8, "lengths: not measured", color=GREY)
    for place, (name, length) in enumerate(side.parts_mm):
        y = PARTS_PX + PART_PX * place
        words = f"{name} {tenths(length)}"
        breadth = text_width_px(words, size_px=WORDS_PX)
        start, end = ends[place : place + 2]
        start_px = start * half.px_per_mm
        fits_outward, fits_inward = start_px + 5 + breadth <= HALF_PX, breadth <= start_px - 11
        near_px = start_px + 5 if fits_outward else start_px - 5 if fits_inward else max(6, HALF_PX - breadth)
        _words(half, near_px, y + 7, words, outward=fits_outward or not fits_inward)
        half.box((start, y + 16), (end, y + 16 + BAR_PX), fill=PALE, stroke=INK, width_px=0.9)
        if place and (fits_outward or fits_inward):
            half.line((start, y - PART_PX + 16 + BAR_PX), (start, y + 16), stroke=GREY)


def _half_stance(half: View, side: FrontSide, y_px: float) -> None:
    if not side.half_stance.is_known:
        _words(half, 6, y_px + 8, "half-stance: not measured", color=GREY)
        return
    words, out_mm = f"half-stance {_with_interval(side.half_stance)}", side.half_stance.value
    centre = clamped(out_mm * half.px_per_mm / 2, words, size_px=WORDS_PX, low_px=6, high_px=HALF_PX)
    half.text((0, y_px + 8), words, anchor="middle", shift_px=(centre, 0))
    half.level_dimension((0, y_px + 24), (out_mm, y_px + 24))


def _width(both: View, sides: Sequence[FrontSide], y_px: float) -> None:
    width = _stance_width_mm(sides)
    if width is not None:
        out_mm = {each.side: each.half_stance.value for each in sides}
        both.text((0, y_px - 9), f"stance width {halves(width)}", anchor="middle")
        both.level_dimension((-out_mm["right"], y_px + 4), (out_mm["left"], y_px + 4))


def _notes(sides: Sequence[FrontSide], hips: Estimate) -> list[str]:
    notes = ["Only sideways to scale: heights, shoes and cranks are sketched. All in mm."]
    if has_interval(hips):
        notes.append("Bar through a hip: 95 % interval of its place.")
    if any(side.knee_mm is not None and side.knee_travel_mm for side in sides):
        notes.append("Bar through a knee: its travel over a turn.")
    if hips.is_known and any(side.half_stance.is_known and side.knee_mm is None for side in sides):
        notes.append("Dotted: straight from hip to foot.")
    return wrapped(" ".join(notes), width_px=0.94 * WIDTH_PX, size_px=WORDS_PX)
