"""Reads a drawn picture back: its shapes and words with the places they take, and what every picture must hold."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass
from xml.etree import ElementTree

from fitkit.charts.figure import BLUE, GREY, INK, NOT_KNOWN, PALE, text_width_px
from fitkit.estimate import Estimate

INHERITED = ("fill", "stroke", "stroke-width", "stroke-dasharray", "font-size", "font-weight", "text-anchor")
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Shape:
    """One drawn path: its look, its pieces, each a row of points on the sheet, and what steers its curves."""

    look: dict
    pieces: tuple
    handles: tuple = ()

    @property
    def points(self):
        return tuple(itertools.chain(*self.pieces))

    @property
    def box(self):
        xs, ys = zip(*self.points, *self.handles, strict=True)
        return min(xs), min(ys), max(xs), max(ys)

    @property
    def width(self):
        return self.look.get("stroke-width", "1")

    @property
    def dashes(self):
        return self.look.get("stroke-dasharray")

    @property
    def filled(self):
        return self.look.get("fill", "none") != "none"


@dataclass(frozen=True)
class Words:
    """One drawn text: where its baseline begins and the box it takes."""

    words: str
    x: float
    y: float
    anchor: str
    size_px: float
    bold: bool

    @property
    def box(self):
        width = text_width_px(self.words, size_px=self.size_px, bold=self.bold)
        left = self.x - {"start": 0, "middle": width / 2, "end": width}[self.anchor]
        return left, self.y - 0.74 * self.size_px, left + width, self.y + 0.2 * self.size_px


def drawn(svg):
    """Return the shapes and the texts of one sheet."""
    shapes, texts = [], []
    _walk(ElementTree.fromstring(svg), {}, shapes, texts)  # noqa: S314 - our own picture
    return shapes, texts


def _walk(element, carried, shapes, texts):
    look = carried | {name: value for name, value in element.attrib.items() if name in INHERITED}
    if element.tag == f"{SVG}path":
        *pieces, handles = _pieces(element)
        shapes.append(Shape(look, tuple(pieces), handles))
    if element.tag == f"{SVG}text":
        place = float(element.get("x")), float(element.get("y"))
        bold = look.get("font-weight") == "bold"
        texts.append(Words(element.text, *place, look.get("text-anchor", "start"), float(look["font-size"]), bold))
    for child in element:
        _walk(child, look, shapes, texts)


def _pieces(element):
    """Return the points of each piece, of a curve its end points only, and last of all what steers the curves."""
    pieces, handles, x, y = [], [], 0.0, 0.0
    for command, found in re.findall(r"([A-Za-z])([^A-Za-z]*)", element.get("d")):
        values = [float(number) for number in found.split(",") if number]
        if command == "M":
            pieces.append([])
        if command in "ML":
            points = list(zip(values[::2], values[1::2], strict=True))
        elif command == "C":
            *steering, end = zip(values[::2], values[1::2], strict=True)
            handles += steering
            points = [end]
        elif command in "Hh":
            points = [(values[0] + (x if command == "h" else 0), y)]
        elif command in "Vv":
            points = [(x, values[0] + (y if command == "v" else 0))]
        else:
            points = [pieces[-1][0]]
        pieces[-1] += points
        x, y = points[-1]
    pieces.append(handles)
    moved = re.match(r"translate\(([^,]+),([^)]+)\)(?: rotate\(([^)]+)\))?", element.get("transform", ""))
    if moved is None:
        return [tuple(piece) for piece in pieces]
    turn = math.radians(float(moved[3] or 0))
    return [
        tuple(
            (
                float(moved[1]) + px * math.cos(turn) - py * math.sin(turn),
                float(moved[2]) + px * math.sin(turn) + py * math.cos(turn),
            )
            for px, py in piece
        )
        for piece in pieces
    ]


def text(texts, beginning):
    """Return the one text that begins so."""
    (found,) = [each for each in texts if each.words.startswith(beginning)]
    return found


def scale_px_per_mm(shapes, texts, length_mm):
    """Return the scale as a sheet states it by its bar."""
    words = text(texts, f"scale: this bar is {length_mm:g} mm")
    (bar,) = [
        shape.box
        for shape in shapes
        if not shape.filled and abs(shape.box[1] + 8 - words.y) < 1.5 and abs(words.x - 8 - shape.box[2]) < 0.1
    ]
    return (bar[2] - bar[0]) / length_mm


def numbers(words):
    """Return every number in words, without its sign."""
    return {abs(float(found)) for found in re.findall(r"\d+(?:\.\d+)?", words)}


def tabled(rows):
    """Return every number a table holds, without its sign."""
    found = {abs(value) for row in rows for value in (row.value, row.low, row.high) if value is not None}
    return found.union(*(numbers(f"{row.what} {row.words}") for row in rows))


def read(value=None, low=None, high=None):
    """Return an invented reading with its interval [mm], exact without one; without a value, none."""
    if value is None:
        return NOT_KNOWN
    ends = (value if low is None else low, value if high is None else high)
    return Estimate(value, *ends, "mm", "measured here", "an invented reading")


def require_tidy(svg):
    """Require that no words touch words, a line, a filled shape or the sheet's edge, and nothing leaves the sheet."""
    shapes, texts = drawn(svg)
    width, height = (float(re.search(rf'{name}="([\d.]+)"', svg)[1]) for name in ("width", "height"))
    for each in (*shapes, *texts):
        left, top, right, bottom = each.box
        assert left >= 0, each
        assert top >= 0, each
        assert right <= width, each
        assert bottom <= height, each
    for each, shape in itertools.product(texts, shapes):
        assert not (shape.filled and _overlap(each.box, shape.box)), (each.words, shape)
        for piece in shape.pieces:
            for start, end in itertools.pairwise(piece):
                assert not crosses(start, end, each.box), (each.words, shape)
    for one, other in itertools.combinations(texts, 2):
        assert not _overlap(one.box, other.box), (one.words, other.words)


def _overlap(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def crosses(start, end, box):
    """Return whether a straight piece enters a box (points tested every half px)."""
    if max(start[0], end[0]) < box[0] or min(start[0], end[0]) > box[2]:
        return False
    if max(start[1], end[1]) < box[1] or min(start[1], end[1]) > box[3]:
        return False
    steps = max(2, math.ceil(2 * math.dist(start, end)))
    return any(
        box[0] < start[0] + (end[0] - start[0]) * step / steps < box[2]
        and box[1] < start[1] + (end[1] - start[1]) * step / steps < box[3]
        for step in range(steps + 1)
    )


def require_closed(svg, *, most_bytes):
    """Require a small picture in the kit's colours with readable words and nothing that reaches outside."""
    assert len(svg.encode()) < most_bytes
    assert re.findall(r"\w+:/+[^\"'< ]*", svg) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"<script|<style|<image|href|@font-face|url\(|on\w+=|aria-|role=", svg)
    assert set(re.findall(r"#[0-9a-fA-F]{6}", svg)) <= {INK, GREY, PALE, BLUE}
    width = float(re.search(r'width="([\d.]+)"', svg)[1])
    # House choice: 11 px, 8 pt, at least when the picture is 340 px wide.
    assert all(each.size_px * 340 / width >= 11 for each in drawn(svg)[1])
