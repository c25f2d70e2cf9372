"""What widths a family of parts reaches on each side, what nothing reaches, the wish and what remains of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fitkit.charts.canvas import Drawing, Point, View, clamped
from fitkit.charts.figure import (
    BLUE,
    GREY,
    INK,
    WIDTH_PX,
    Figure,
    FigureRow,
    check_sides,
    row,
    tenth,
    text_width_px,
    wrapped,
)
from fitkit.words import capital, signed, tenths

Spans = tuple[tuple[float, float], ...]

EDGE_PX, MARGIN_PX, GAP_PX = 6, 28, 10
TITLE_PX, SIDE_PX, WORDS_PX, ROW_PX = 13, 13, 12, 14
BAR_PX, HATCH_PX, LEAST_BAR_PX, LEAST_RANGE_MM = 11, 5, 3, 12
REACHED, REFUSED, BLANK = "reached with these parts", "only with refused parts", "nothing reaches"


@dataclass(frozen=True, kw_only=True)
class WidthSide:
    """One side's widths as changes of half-stance, outward positive [mm]; None is not known and is said."""

    side: str  # "left" or "right"
    reachable_mm: Spans = ()  # changes the family reaches [mm]
    refused_only_mm: Spans = ()  # those only refused parts reach [mm]
    gaps_mm: Spans = ()  # those nothing reaches [mm]
    wish_mm: float | None = None  # the change wished for, and the one the chosen parts and the play give [mm]
    reached_mm: float | None = None
    chosen: tuple[str, ...] = ()  # parts to fit; none where what is fitted does it
    refused: tuple[tuple[str, str], ...] = ()  # parts that may not be fitted, each with the reason

    def __post_init__(self) -> None:
        for name in ("reachable_mm", "refused_only_mm", "gaps_mm"):
            for low, high in getattr(self, name):
                if not -math.inf < low <= high < math.inf:
                    raise ValueError(f"{name} holds {low} to {high}; expected finite ends, the lower one first")

    @property
    def spans_mm(self) -> dict[str, Spans]:
        """The spans of the line by what they are [mm]."""
        return {REACHED: self.reachable_mm, REFUSED: self.refused_only_mm, BLANK: self.gaps_mm}

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
        marks = [mark for mark in (self.wish_mm, self.reached_mm) if mark is not None]
        return [0.0, *marks, *(end for spans in self.spans_mm.values() for span in spans for end in span)]


def widths(sides: Sequence[WidthSide], *, family: str = "") -> Figure:
    """Draw the widths a family reaches as one line a side, to one scale."""
    check_sides(sides)
    rows = [each for side in sides for each in _rows(side)]
    places = [place for side in sides for place in side.places_mm]
    low, high = math.floor(min(places)) - 1, math.ceil(max(places)) + 1
    changes = range(low, max(high, low + LEAST_RANGE_MM) + 1)
    notes = wrapped(_notes(sides), width_px=0.94 * WIDTH_PX, size_px=WORDS_PX)
    title = f"Widths the parts reach{f': {family}' if family else ''}"
    titles = wrapped(title, width_px=0.9 * WIDTH_PX, size_px=TITLE_PX, bold=True)
    top = 13 + 19 * len(titles)
    drawing = Drawing(WIDTH_PX, 0)
    drawing.paper.text((EDGE_PX, 13), titles, row_px=19, size_px=TITLE_PX, bold=True)
    px_per_mm = (WIDTH_PX - 2 * MARGIN_PX) / (len(changes) - 1)
    line = drawing.across(origin_px=(MARGIN_PX - low * px_per_mm, 0), px_per_mm=px_per_mm)
    for side in sides:
        top = _side(line, side, changes, top) + 8
    drawing.paper.text((EDGE_PX, top), notes, row_px=ROW_PX, color=GREY)
    drawing.height_px = math.ceil(top + ROW_PX * len(notes))
    opening = f"{title}, as changes of half-stance in mm, outward positive."
    return drawing.figure(title=title, alt=opening, rows=rows)


def _rows(side: WidthSide) -> list[FigureRow]:
    name, typed, reached = side.side, {"to": tenth, "lacking": "not assessed"}, ""
    if side.reached_mm is not None:
        rest = f" of {_signed(side.wish_mm)}" if side.remains else ""
        reached = f" Reached {_signed(side.reached_mm)}{rest}."
    wish = row(name, "wish", side.wish_mm, to=tenth, words="" if side.wish_mm is not None else "no wish")
    rows = [
        replace(wish, said=f"{_heading(side)}.{reached}"),
        row(name, "reached", side.reached_mm, said="", **typed),
        row(name, "remains of the wish", side.remaining_mm, said="", **typed),
    ]
    for what, spans in side.spans_mm.items():
        said = f"{capital(what)}: {', '.join(_span(*span) for span in spans)}."
        rows += [row(name, what, None, span, said="" if place else said, to=tenth) for place, span in enumerate(spans)]
    if not side.reachable_mm:
        rows.append(row(name, REACHED, unit="", lacking="not assessed"))
    if side.reached_mm is not None:
        rows.append(row(name, "chosen", unit="", words=_chosen(side), said=f"Chosen: {_chosen(side)}."))
    return rows + [
        row(name, f"refused: {part}", unit="", words=reason, said=f"Refused: {part}, {reason}.")
        for part, reason in side.refused
    ]


def _signed(change_mm: float) -> str:
    return signed(change_mm, tenths)


def _span(low: float, high: float) -> str:
    return _signed(low) if _signed(low) == _signed(high) else f"{_signed(low)} to {_signed(high)}"


def _chosen(side: WidthSide) -> str:
    return ", ".join(side.chosen) or "what is fitted, with its play"


def _remaining(side: WidthSide) -> str:
    """Return how much of the wish remains."""
    return f"{tenths(abs(side.remaining_mm))} mm {'remains' if abs(round(side.remaining_mm, 1)) <= 1 else 'remain'}"


def _heading(side: WidthSide) -> str:
    name, wish = capital(side.side), side.wish_mm
    if wish is None:
        return f"{name}: no wish"
    way = f" {'outward' if wish > 0 else 'inward'}" if round(wish, 1) else ""
    rest = "not assessed" if side.reached_mm is None else _remaining(side) if side.remains else "reached"
    return f"{name}: wish {tenths(abs(wish))} mm{way}, {rest}"


def _notes(sides: Sequence[WidthSide]) -> str:
    notes = "Change of half-stance from as fitted (0), mm to scale, + outward. Solid: reached. "
    if any(side.refused_only_mm for side in sides):
        notes += "Hatched: only with refused parts. "
    return f"{notes}Blank: nothing reaches."


def _side(line: View, side: WidthSide, changes: range, top: float) -> float:
    """Draw one side from `top` down and return where it ends [px]."""
    marks, names, paper = _marks(side, line), _names(side, line), line.drawing.paper
    said = [] if side.reachable_mm else ["What these parts reach: not assessed."]
    said += [f"Chosen: {_chosen(side)}."] if side.reached_mm is not None else []
    said += [f"Refused: {part}, {reason}." for part, reason in side.refused]
    said = [piece for each in said for piece in wrapped(each, width_px=0.92 * WIDTH_PX, size_px=WORDS_PX)]
    # Tops of the bar, of the names under the line, of what is said below them [px].
    bar = top + 22 + ROW_PX * (1 + max((at for *_, at in marks), default=-1))
    bar += 18 if side.wish_mm is not None else 0
    names_px = bar + BAR_PX + 33
    said_px = names_px + ROW_PX * (1 + max((tier for *_, tier in names), default=-1))
    paper.text((EDGE_PX, top + 6), _heading(side), size_px=SIDE_PX, bold=True)
    _bars(line, side, bar)
    _axis(line, changes, bar + BAR_PX)
    for words, x, anchor, at in marks:
        color = BLUE if words.startswith("wish") else INK
        paper.text((x, top + 24 + ROW_PX * at), words, anchor=anchor, bold=True, color=color)
    if side.wish_mm is not None:
        _pointers(line, side, bar)
    for words, centre, tier in names:
        paper.text((centre, names_px + ROW_PX * tier), words, anchor="middle")
    paper.text((EDGE_PX, said_px), said, row_px=ROW_PX, color=GREY)
    return said_px + ROW_PX * len(said)


def _marks(side: WidthSide, line: View) -> list[tuple[str, float, str, int]]:
    """Return words, x [px], anchor and row of what stands above the bar: side by side, else one over the other."""
    if side.wish_mm is None:
        return []
    wish = line.x(side.wish_mm)
    if side.reached_mm is None or not side.remains:
        words = f"wish {_signed(side.wish_mm)}" + ("" if side.reached_mm is None else ": reached")
        return [(words, *_beside(wish, words, right=True), 0)]
    right = side.wish_mm > side.reached_mm
    pair = [
        (f"wish {_signed(side.wish_mm)}", wish),
        (f"reached {_signed(side.reached_mm)}", line.x(side.reached_mm)),
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


def _names(side: WidthSide, line: View) -> list[tuple[str, float, int]]:
    """Return words, centre [px] and tier of the names below the line, none on another."""
    spans = [(span, f"{BLANK} {_span(*span)}") for span in side.gaps_mm]
    spans += [(span, f"refused parts {_span(*span)}") for span in side.refused_only_mm]
    placed, tiers = [], []
    for (low, high), words in sorted(spans):
        half = text_width_px(words, size_px=WORDS_PX) / 2
        middle, ends = line.x((low + high) / 2), {"low_px": EDGE_PX, "high_px": WIDTH_PX - EDGE_PX}
        centre = clamped(middle, words, size_px=WORDS_PX, **ends)
        tier = next((at for at, end in enumerate(tiers) if end + GAP_PX <= centre - half), len(tiers))
        tiers[tier : tier + 1] = [centre + half]
        placed.append((words, centre, tier))
    return placed


def _bars(line: View, side: WidthSide, top: float) -> None:
    paper = line.drawing.paper
    for low, high in side.reachable_mm:
        x, x2 = _ends(line, low, high)
        paper.box((x, top), (x2, top + BAR_PX), fill=INK)
    for low, high in side.refused_only_mm:
        x, x2 = _ends(line, low, high)
        paper.box((x, top + 0.5), (x2, top + BAR_PX - 0.5), fill="white", stroke=GREY, pattern="dashed")
        paper.lines(_hatching(x, x2, top, top + BAR_PX), stroke=GREY)


def _ends(line: View, low: float, high: float) -> Point:
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


def _axis(line: View, changes: range, y: float) -> None:
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if step * line.px_per_mm >= 26)
    fine = 1 if line.px_per_mm >= 4 else max(1, step // 2)
    ticks = [change for change in changes if change % fine == 0]
    pieces = [((t, y + 2), (t, y + (9 if t % step == 0 else 6))) for t in ticks]
    line.lines([((changes[0], y + 2), (changes[-1], y + 2)), *pieces], stroke=GREY, width_px=0.8)
    for change in ticks:
        if change % step == 0:
            line.text((change, y + 18), _signed(change), anchor="middle", color=GREY, bold=change == 0)


def _pointers(line: View, side: WidthSide, bar: float) -> None:
    """Draw arrows from above to the wish and to what is reached, and what lies between as a dimension."""
    wish, reached, y = side.wish_mm, side.reached_mm, bar - 16
    line.line((wish, y - 6), (wish, bar), stroke=BLUE, width_px=1.6, pattern="dashed")
    line.head((wish, bar), away_from=(wish, bar - 9), color=BLUE)
    if not side.remains:
        return
    line.line((reached, y - 6), (reached, bar), width_px=1.6)
    line.head((reached, bar), away_from=(reached, bar - 9))
    line.level_dimension((reached, y), (wish, y))
    words = _remaining(side)
    fits = line.x(max(wish, reached)) + 14 + text_width_px(words, size_px=WORDS_PX, bold=True) < WIDTH_PX - EDGE_PX
    place, shift_px, anchor = (max(wish, reached), 14, "start") if fits else (min(wish, reached), -14, "end")
    line.text((place, y), words, bold=True, anchor=anchor, shift_px=(shift_px, 0))
