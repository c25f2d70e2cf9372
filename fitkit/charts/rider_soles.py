"""Both soles from below for the rider: the whole shoe, the cleat before and now, and in a few words what was done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.charts.canvas import Drawing, View
from fitkit.charts.figure import BLUE, GREY, INK, PALE, Figure, wrapped
from fitkit.charts.sole_foot import JOINT_PLACE, SOLE, sole_outline
from fitkit.words import Catalogue

# Drawn for a column of a sheet: shrunk to 70 mm its smallest words are 8 pt.
SOLE_WIDTH_PX, HEAD_PX, SOLE_PX, ROW_PX, SMALL_PX, ARROW_PX = 168, 24, 244, 18, 14, 26
CLEAT_MM = (21.0, 19.0)  # half of a sketched cleat, sideways and along the shoe; no maker's
# Where the foot was not measured: a sketched shoe's length, and from its axis to the joint on the big-toe side.
OUTLINE_MM, JOINT_MM = 265.0, 34.0


@dataclass(frozen=True, kw_only=True)
class RiderSole:
    """One sole of the rider's drawing."""

    side: str  # "left" or "right"
    words: str  # what was done with this cleat, in one line or more
    # cleat setback before and now [mm], toward the heel positive; None is not known, and not drawn
    before_mm: float | None = None
    now_mm: float | None = None
    joint_to_big_toe_side_mm: float | None = None  # as measured; sketched where they were not [mm]
    foot_length_mm: float | None = None

    @property
    def moved_mm(self) -> float:
        """How far it was moved, toward the heel positive; 0 where it was not or is not known."""
        return 0.0 if None in (self.before_mm, self.now_mm) else self.now_mm - self.before_mm


def rider_soles(feet: Sequence[RiderSole], say: Catalogue) -> Figure:
    """Draw the soles beside one another, to one scale, toes up, in the words of a catalogue of the rider's sheet."""
    lines = [_lines(foot.words) for foot in feet]
    top_px = HEAD_PX + ROW_PX * max(map(len, lines)) + 24
    drawing = Drawing(SOLE_WIDTH_PX * len(feet), math.ceil(top_px + SOLE_PX + 6))
    longest = max(foot.foot_length_mm or OUTLINE_MM for foot in feet)
    px_per_mm = SOLE_PX / (1.01 * longest)
    head = {"size_px": SMALL_PX, "anchor": "middle", "row_px": ROW_PX}
    for place, foot in enumerate(feet):
        middle_px = SOLE_WIDTH_PX * (place + 0.5)
        color = BLUE if foot.moved_mm else INK
        drawing.paper.text((middle_px, 12), say(f"figure.title.{foot.side}"), bold=True, **head)
        drawing.paper.text((middle_px, HEAD_PX + 10), lines[place], bold=True, color=color, **head)
        drawing.paper.text((middle_px, top_px - 10), say("figure.toes"), color=GREY, **head)
        joint_px = top_px + (1 - JOINT_PLACE) * longest * px_per_mm
        # seen from below, the left foot's big toe is on the left
        _sole(
            drawing.view(origin_px=(middle_px, joint_px), px_per_mm=px_per_mm, mirrored=foot.side == "left"), foot, say
        )
    return drawing.figure(alt=" ".join(_words(foot, say) for foot in feet), title=say("figure.name"))


def _lines(words: str) -> list[str]:
    """Return the words line by line, those of one line wrapped."""
    room = {"width_px": 0.95 * SOLE_WIDTH_PX, "size_px": SMALL_PX, "bold": True}
    return [line for piece in words.split("\n") for line in wrapped(piece, **room)]


def _sole(view: View, foot: RiderSole, say: Catalogue) -> None:
    length = foot.foot_length_mm or OUTLINE_MM
    view.path(sole_outline(length), stroke=GREY, width_px=1.3, smooth=True, closed=True)
    joint = foot.joint_to_big_toe_side_mm or JOINT_MM
    view.lines([((joint - 5, 0), (joint + 5, 0)), ((joint, -5), (joint, 5))], width_px=1.6)
    view.text((SOLE[:, 1].max() * length, 0), say("figure.joint"), size_px=SMALL_PX, shift_px=(5, 0))
    if foot.before_mm is not None and foot.moved_mm:
        _cleat(view, foot.before_mm, stroke=GREY, pattern="dashed")
    now = foot.before_mm if foot.now_mm is None else foot.now_mm
    if now is None:
        return
    _cleat(view, now, stroke=BLUE if foot.moved_mm else INK, fill=PALE)
    if foot.moved_mm:
        way = math.copysign(1, foot.moved_mm)
        tip, base = (-now - way * step / view.px_per_mm for step in (ARROW_PX / 2, -ARROW_PX / 2))
        view.line((0, base), (0, tip + way * 8 / view.px_per_mm), stroke=BLUE, width_px=2.4)
        view.head((0, tip), away_from=(0, base), color=BLUE)


def _cleat(view: View, setback_mm: float, *, stroke: str, pattern: str = "solid", fill: str = "none") -> None:
    across, along = CLEAT_MM
    corner, opposite = (across, -setback_mm + along), (-across, -setback_mm - along)
    view.box(corner, opposite, fill=fill, stroke=stroke, width_px=2, pattern=pattern, radius_px=8)


def _words(foot: RiderSole, say: Catalogue) -> str:
    said = [say(f"figure.alt.{foot.side}", words=foot.words.replace("\n", " "))]
    if foot.moved_mm:
        said.append(say("figure.alt_moved"))
    elif foot.before_mm is None and foot.now_mm is None:
        said.append(say("figure.alt_no_cleat"))
    if foot.foot_length_mm is None or foot.joint_to_big_toe_side_mm is None:
        said.append(say("figure.alt_sketched"))
    return " ".join(said)
