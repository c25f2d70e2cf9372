"""What widths a family of parts reaches on each side, what nothing reaches, the wish and what remains of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitkit.charts.figure import Drawing, Figure, Point, View
from fitkit.charts.rows import check_numbers, check_sides, lacking_words, level_dimension, row
from fitkit.charts.theme import BLUE, GREY, INK, text_width_px, wrapped
from fitkit.words import signed, tenths

__all__ = ["WidthSide", "widths", "widths_table"]

Spans = tuple[tuple[float, float], ...]

WIDTH_PX, EDGE_PX, MARGIN_PX, GAP_PX = 440, 6, 34, 10
TITLE_PX, SIDE_PX, WORDS_PX, ROW_PX = 15, 15, 12, 16
BAR_PX, HATCH_PX, LEAST_BAR_PX, LEAST_RANGE_MM = 15, 5, 3, 12
REACHED, REFUSED, BLANK = "reached with these parts", "only with refused parts", "nothing reaches"
CHOSEN, REFUSES, WISH, LANDS, REMAINS = "chosen", "refused", "wish", "reached", "remains of the wish"


@dataclass(frozen=True, kw_only=True)
class WidthSide:
    """One side's widths as changes of half-stance, outward positive [mm]; None is not known and is said."""

    side: str  # "left" or "right"
    reachable_mm: Spans = ()  # changes the family reaches, those only refused parts reach, those nothing reaches [mm]
    # changes the family reaches, those only refused parts reach, those nothing reaches [mm]
    refused_only_mm: Spans = ()
    gaps_mm: Spans = ()  # changes the family reaches, those only refused parts reach, those nothing reaches [mm]
    wish_mm: float | None = None  # the change wished for, and the one the chosen parts and the play give [mm]
    reached_mm: float | None = None  # the change wished for, and the one the chosen parts and the play give [mm]
    chosen: tuple[str, ...] = ()  # parts to fit; none where what is fitted does it
    refused: tuple[tuple[str, str], ...] = ()  # parts that may not be fitted, each with the reason

    def __post_init__(self) -> None:
        check_numbers(self)
        for name in ("reachable_mm", "refused_only_mm", "gaps_mm"):
            for low, high in getattr(self, name):
                if not -math.inf < low <= high < math.inf:
                    raise ValueError(f"{name} holds {low} to {high}; expected finite ends, the lower one first")

    @property
    def remaining_mm(self) -> float | None:
        """What remains of the wish, signed as the wish is [mm]."""
        if self.wish_mm is None or self.reached_mm is None:
            return None
        return self.wish_mm - self.reached_mm

    @property
    def remains(self) -> bool:
        """Whether anything remains, to a tenth."""
        return self.remaining_mm is not None and round(self.remaining_mm, 1) != 0

    @property
    def places_mm(self) -> list[float]:
        """Every place on the line that is drawn [mm]."""
        spans = (*self.reachable_mm, *self.refused_only_mm, *self.gaps_mm)
        marks = [mark for mark in (self.wish_mm, self.reached_mm) if mark is not None]
        return [0.0, *marks, *(end for span in spans for end in span)]


@dataclass(frozen=True)
class Line:
    """The line of changes, the same for both sides: places [mm] on the sheet [px]."""

    low_mm: float
    px_per_mm: float

    def x(self, change_mm: float) -> float:
        """Return where a change [mm] is on the sheet [px]."""
        return MARGIN_PX + (change_mm - self.low_mm) * self.px_per_mm


def widths(sides: Sequence[WidthSide], *, family: str = "") -> Figure:
    """Draw the widths a family reaches as one line a side, to one scale."""
    check_sides(sides)
    places = [place for side in sides for place in side.places_mm]
    low, high = math.floor(min(places)) - 1, math.ceil(max(places)) + 1
    high = max(high, low + LEAST_RANGE_MM)
    line = Line(low, (WIDTH_PX - 2 * MARGIN_PX) / (high - low))
    blocks = [_Block(side, line) for side in sides]
    notes = wrapped(_notes(sides), width_px=0.94 * WIDTH_PX, size_px=WORDS_PX)
    title = wrapped(_title(family), width_px=0.9 * WIDTH_PX, size_px=TITLE_PX, bold=True)
    top = 13 + 19 * len(title)
    height = top + sum(block.height_px + 14 for block in blocks) + ROW_PX * len(notes)
    drawing = Drawing(WIDTH_PX, math.ceil(height))
    for place, words in enumerate(title):
        drawing.paper.text((EDGE_PX, 13 + 19 * place), words, size_px=TITLE_PX, bold=True)
    for block in blocks:
        _draw(drawing.paper, line, block, top, (low, high))
        top += block.height_px + 14
    for place, words in enumerate(notes):
        drawing.paper.text((EDGE_PX, top + ROW_PX * place), words, color=GREY)
    return drawing.figure(alt=widths_words(sides, family=family), title=_title(family))


class _Block:
    """What one side's row holds and how high it is, settled before the sheet is made."""

    def __init__(self, side: WidthSide, line: Line) -> None:
        self.side = side
        self.marks = _marks(side, line)
        self.mark_rows = max((at for *_, at in self.marks), default=-1) + 1
        self.names = _names(side, line)
        self.name_rows = max((tier for _, _, tier in self.names), default=-1) + 1
        self.said = [each for said in _said(side) for each in wrapped(said, width_px=0.92 * WIDTH_PX, size_px=WORDS_PX)]

    @property
    def bar_px(self) -> float:
        """Top of the bar below the row's heading [px]."""
        return 22 + ROW_PX * self.mark_rows + (18 if self.side.wish_mm is not None else 0)

    @property
    def names_px(self) -> float:
        return self.bar_px + BAR_PX + 37

    @property
    def height_px(self) -> float:
        return self.names_px + ROW_PX * (self.name_rows + len(self.said))


def _marks(side: WidthSide, line: Line) -> list[tuple[str, float, str, int]]:
    """Return words, x [px], anchor and row of what stands above the bar: side by side, else one over the other."""
    if side.wish_mm is None:
        return []
    wish = line.x(side.wish_mm)
    if side.reached_mm is None or not side.remains:
        words = f"wish {signed(side.wish_mm, tenths)}" + ("" if side.reached_mm is None else ": reached")
        return [(words, *_beside(wish, words, right=True), 0)]
    right = side.wish_mm > side.reached_mm
    pair = [
        (f"wish {signed(side.wish_mm, tenths)}", wish),
        (f"reached {signed(side.reached_mm, tenths)}", line.x(side.reached_mm)),
    ]
    placed = [_beside(x, words, right=right == (at == 0)) for at, (words, x) in enumerate(pair)]
    if any(place[1] != ("start" if right == (at == 0) else "end") for at, place in enumerate(placed)):
        return [(words, *place, at) for at, ((words, _), place) in enumerate(zip(pair, placed, strict=True))]
    # words aside of two near marks must not meet between them
    nudge = min(0, abs(pair[0][1] - pair[1][1]) / 2 - 8)
    ways = {"start": -nudge, "end": nudge}
    return [(words, x + ways[anchor], anchor, 0) for (words, _), (x, anchor) in zip(pair, placed, strict=True)]


def _beside(x_px: float, words: str, *, right: bool) -> tuple[float, str]:
    """Return place and anchor of words that begin or end at a mark, on the wanted side if they fit there."""
    breadth = text_width_px(words, size_px=WORDS_PX, bold=True)
    fits = x_px + breadth < WIDTH_PX - EDGE_PX if right else x_px - breadth > EDGE_PX
    right = right if fits else not right
    return (x_px - 5, "start") if right else (x_px + 5, "end")


def _names(side: WidthSide, line: Line) -> list[tuple[str, float, int]]:
    """Return words, centre [px] and tier of the names below the line, none on another."""
    spans = [(span, f"{BLANK} {_span(*span)}") for span in side.gaps_mm]
    spans += [(span, f"refused parts {_span(*span)}") for span in side.refused_only_mm]
    placed, tiers = [], []
    for (low, high), words in sorted(spans):
        half = text_width_px(words, size_px=WORDS_PX) / 2
        centre = min(max(line.x((low + high) / 2), EDGE_PX + half), WIDTH_PX - EDGE_PX - half)
        tier = next((at for at, end in enumerate(tiers) if end + GAP_PX <= centre - half), len(tiers))
        tiers[tier : tier + 1] = [centre + half]
        placed.append((words, centre, tier))
    return placed


def _draw(paper: View, line: Line, block: _Block, top: float, ends: tuple[int, int]) -> None:
    side = block.side
    paper.text((EDGE_PX, top + 6), _heading(side), size_px=SIDE_PX, bold=True)
    bar = top + block.bar_px
    _bars(paper, line, side, bar)
    _axis(paper, line, bar + BAR_PX, ends)
    for words, x, anchor, at in block.marks:
        color = BLUE if words.startswith("wish") else INK
        paper.text((x, top + 27 + ROW_PX * at), words, anchor=anchor, bold=True, color=color)
    if side.wish_mm is not None:
        _pointers(paper, line, side, bar)
    for words, centre, tier in block.names:
        paper.text((centre, top + block.names_px + ROW_PX * tier), words, anchor="middle")
    below = top + block.names_px + ROW_PX * block.name_rows
    for at, words in enumerate(block.said):
        paper.text((EDGE_PX, below + ROW_PX * at), words, color=GREY)


def _bars(paper: View, line: Line, side: WidthSide, top: float) -> None:
    for low, high in side.reachable_mm:
        x, x2 = _ends(line, low, high)
        paper.box((x, top), (x2, top + BAR_PX), fill=INK)
    for low, high in side.refused_only_mm:
        x, x2 = _ends(line, low, high)
        paper.box((x, top + 0.5), (x2, top + BAR_PX - 0.5), fill="white", stroke=GREY, pattern="dashed")
        paper.lines(_hatching(x, x2, top, top + BAR_PX), stroke=GREY)


def _ends(line: Line, low: float, high: float) -> Point:
    """Return both ends on the sheet [px]; a single place is drawn a little broader than it is, to be seen."""
    x, x2 = line.x(low), line.x(high)
    spare = max(0, LEAST_BAR_PX - (x2 - x)) / 2
    return x - spare, x2 + spare


def _hatching(left: float, right: float, top: float, bottom: float) -> list[tuple[Point, Point]]:
    """Return slanting pieces that fill a box, each cut off at the box's sides."""
    rise, pieces = bottom - top, []
    start = left - rise + HATCH_PX
    while start < right:
        x, x2 = max(start, left), min(start + rise, right)
        pieces.append(((x, bottom - (x - start)), (x2, bottom - (x2 - start))))
        start += HATCH_PX
    return pieces


def _axis(paper: View, line: Line, y: float, ends: tuple[int, int]) -> None:
    low, high = ends
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if step * line.px_per_mm >= 26)
    fine = 1 if line.px_per_mm >= 4 else max(1, step // 2)
    ticks = [change for change in range(low, high + 1) if change % fine == 0]
    pieces = [((line.x(t), y + 2), (line.x(t), y + (9 if t % step == 0 else 6))) for t in ticks]
    paper.lines([((line.x(low), y + 2), (line.x(high), y + 2)), *pieces], stroke=GREY, width_px=0.8)
    for change in ticks:
        if change % step == 0:
            paper.text((line.x(change), y + 18), signed(change, tenths), anchor="middle", color=GREY, bold=change == 0)


def _pointers(paper: View, line: Line, side: WidthSide, bar: float) -> None:
    """Draw arrows from above to the wish and to what is reached, and what lies between as a dimension."""
    wish, y = line.x(side.wish_mm), bar - 16
    paper.path([(wish, y - 6), (wish, bar)], stroke=BLUE, width_px=1.6, pattern="dashed")
    paper.head((wish, bar), away_from=(wish, bar - 9), color=BLUE)
    if not side.remains:
        return
    reached = line.x(side.reached_mm)
    paper.line((reached, y - 6), (reached, bar), width_px=1.6)
    paper.head((reached, bar), away_from=(reached, bar - 9))
    level_dimension(paper, reached, wish, y)
    words = remaining_words(side)
    right, breadth = max(wish, reached) + 14, text_width_px(words, size_px=WORDS_PX, bold=True)
    if right + breadth < WIDTH_PX - EDGE_PX:
        paper.text((right, y), words, bold=True)
    else:
        paper.text((min(wish, reached) - 14, y), words, bold=True, anchor="end")


def remaining_words(side: WidthSide) -> str:
    """Return how much of the wish remains."""
    return f"{tenths(abs(side.remaining_mm))} mm {'remains' if abs(round(side.remaining_mm, 1)) <= 1 else 'remain'}"


def _span(low: float, high: float) -> str:
    ends = signed(low, tenths), signed(high, tenths)
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _title(family: str) -> str:
    return f"Widths the parts reach{f': {family}' if family else ''}"


def _heading(side: WidthSide) -> str:
    name = side.side.capitalize()
    if side.wish_mm is None:
        return f"{name}: no wish"
    if side.reached_mm is None:
        return f"{name}: wish {_way(side.wish_mm)}, not assessed"
    if not side.remains:
        return f"{name}: wish {_way(side.wish_mm)}, reached"
    return f"{name}: wish {_way(side.wish_mm)}, {remaining_words(side)}"


def _way(change_mm: float) -> str:
    if not round(change_mm, 1):
        return "0 mm"
    return f"{tenths(abs(change_mm))} mm {'outward' if change_mm > 0 else 'inward'}"


def _said(side: WidthSide) -> list[str]:
    said = []
    if not side.reachable_mm:
        said.append("What these parts reach: not assessed.")
    if side.reached_mm is not None:
        said.append(f"Chosen: {_chosen(side)}.")
    said += [f"Refused: {part}, {reason}." for part, reason in side.refused]
    return said


def _chosen(side: WidthSide) -> str:
    return ", ".join(side.chosen) or "what is fitted, with its play"


def _notes(sides: Sequence[WidthSide]) -> str:
    notes = "Change of half-stance from as fitted (0), mm to scale, + outward. Solid: reached. "
    if any(side.refused_only_mm for side in sides):
        notes += "Hatched: only with refused parts. "
    return f"{notes}Blank: nothing reaches."


def widths_table(sides: Sequence[WidthSide]) -> list[dict]:
    """Return the table behind the widths: what is drawn, as precise as it is written there, and nothing else."""
    return [each for side in sides for each in _rows(side)]


def _rows(side: WidthSide) -> list[dict]:
    name = side.side
    rows = [
        row(name, WISH, "mm", side.wish_mm, lacking="no wish", typed=True),
        row(name, LANDS, "mm", side.reached_mm, lacking="not assessed", typed=True),
        row(name, REMAINS, "mm", side.remaining_mm, lacking="not assessed", typed=True),
    ]
    for what, spans in ((REACHED, side.reachable_mm), (REFUSED, side.refused_only_mm), (BLANK, side.gaps_mm)):
        rows += [row(name, what, "mm", None, low, high, typed=True) for low, high in spans]
    if not side.reachable_mm:
        rows.append(row(name, REACHED, lacking="not assessed"))
    if side.reached_mm is not None:
        rows.append(row(name, CHOSEN, "", words=_chosen(side)))
    return rows + [row(name, f"{REFUSES}: {part}", "", words=reason) for part, reason in side.refused]


def widths_words(sides: Sequence[WidthSide], *, family: str = "") -> str:
    """Return everything the drawing of the widths shows, in plain sentences."""
    words = [f"{_title(family)}, as changes of half-stance in mm, outward positive."]
    for side in sides:
        words.append(f"{_heading(side)}.")
        if side.remains:
            words.append(f"Reached {signed(side.reached_mm, tenths)} of {signed(side.wish_mm, tenths)}.")
        elif side.reached_mm is not None:
            words.append(f"Reached {signed(side.reached_mm, tenths)}.")
        for what, spans in ((REACHED, side.reachable_mm), (REFUSED, side.refused_only_mm), (BLANK, side.gaps_mm)):
            if spans:
                words.append(f"{what.capitalize()}: {', '.join(_span(*span) for span in spans)}.")
        words += [said for said in _said(side) if not said.startswith("What")]
    named = [{**each, "what": f"{each['side']} {each['what']}"} for each in widths_table(sides)]
    return " ".join(words + lacking_words(named, "not assessed"))
