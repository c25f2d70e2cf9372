"""The words beside the drawn part of a sole, each at its place and none on another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import isotonic_regression

from fitkit.charts.figure import View
from fitkit.charts.sole_foot import SoleFoot, span
from fitkit.charts.sole_layout import GUTTER_PX, LABEL_PX, PART_MM, ROW_PX, WORDS_PX, Part
from fitkit.charts.theme import BLUE, GREY, INK, text_width_px, wrapped
from fitkit.words import halved, halves

__all__ = ["draw_labels", "spread"]


@dataclass(frozen=True)
class Label:
    """Words beside the drawn part: where they belong [mm], their lines, what leads from there to them."""

    place_mm: float
    lines: tuple[str, ...]
    lead: str = "line"  # "line", "slot" for a small slot, "" for nothing
    color: str = GREY

    @property
    def height_px(self) -> float:
        return ROW_PX * len(self.lines) + 6


def draw_labels(view: View, foot: SoleFoot, part: Part) -> None:
    """Write the labels on the little-toe side, with leaders to their places."""
    labels = sorted(_labels_of(foot, part), key=lambda label: label.place_mm)
    wanted = [view.px((0, -label.place_mm))[1] for label in labels]
    centres = spread(wanted, [label.height_px for label in labels], low=part.top_px - 4, high=part.bottom_px + 4)
    firsts = [centre - ROW_PX * (len(label.lines) - 1) / 2 for label, centre in zip(labels, centres, strict=True)]
    onward = 1 if view.mirrored else -1
    edge_px = view.px((-PART_MM, 0))[0]
    words_px = edge_px + onward * GUTTER_PX
    paper = view.drawing.paper
    for label, y_px, first_px in zip(labels, wanted, firsts, strict=True):
        if label.lead == "line":
            paper.path([(edge_px, y_px), (words_px - onward * 4, first_px)], stroke=label.color, width_px=0.8)
    for label, first_px in zip(labels, firsts, strict=True):
        if label.lead == "slot":
            middle_px = words_px - onward * 9
            corners = (middle_px - 3, first_px - 6), (middle_px + 3, first_px + 6)
            paper.box(*corners, fill="white", stroke=GREY, width_px=1.2, radius_px=3)
    anchor = "start" if view.mirrored else "end"
    for label, first_px in zip(labels, firsts, strict=True):
        for row, line in enumerate(label.lines):
            big = label.color != GREY and not row
            look = {"size_px": _big_px(line), "bold": True, "color": label.color} if big else {"color": GREY}
            paper.text((words_px, first_px + ROW_PX * row), line, anchor=anchor, **look)


def _big_px(line: str) -> float:
    return 16 if text_width_px(line, size_px=16, bold=True) <= LABEL_PX else 13.5


def _labels_of(foot: SoleFoot, part: Part) -> list[Label]:
    low = -part.heel_mm  # words about what is missing gather at the heel end
    labels = [_now_label(foot, low), _band_label(foot, low), _slots_label(foot, low)]
    if foot.target_mm is not None:
        lines = [f"{foot.target_word} {halves(foot.target_mm)}"]
        if halved(foot.past_the_slots_mm):
            lines.append(f"{halves(abs(foot.past_the_slots_mm))} past the slots")
        elif foot.stays:
            lines.append("as it is")
        labels.append(Label(foot.target_mm, tuple(lines), color=BLUE))
    elif not foot.instruction:
        labels.append(Label(low, _lines(foot.target_word, "not given"), ""))
    return labels


def _now_label(foot: SoleFoot, low_mm: float) -> Label:
    if foot.now_mm is None:
        return Label(low_mm, _lines(foot.now_word, "not measured"), "")
    lines = [f"{foot.now_word} {halves(foot.now_mm)}"]
    if foot.has_interval:
        lines.append(f"{halves(foot.now_low_mm)} to {halves(foot.now_high_mm)}")
    return Label(foot.now_mm, tuple(lines), color=INK)


def _band_label(foot: SoleFoot, low_mm: float) -> Label:
    ends = foot.band_low_mm, foot.band_high_mm
    if None in ends:
        return Label(low_mm, _lines("start", "not given" if ends == (None, None) else span(*ends)), "")
    return Label(sum(ends) / 2, _lines("start", span(*ends)))


def _slots_label(foot: SoleFoot, low_mm: float) -> Label:
    ends = foot.slot_least_mm, foot.slot_greatest_mm
    if None in ends:
        return Label(low_mm, _lines("slots", "not measured" if ends == (None, None) else span(*ends)), "")
    return Label(ends[0], _lines("slots", span(*ends)), "slot")


def _lines(*words: str) -> tuple[str, ...]:
    return tuple(wrapped(" ".join(words), width_px=LABEL_PX, size_px=WORDS_PX))


def spread(wanted: Sequence[float], heights: Sequence[float], *, low: float, high: float) -> list[float]:
    """Return the centres nearest to the wanted ones, in the given order, at which blocks do not overlap."""
    heights = np.asarray(heights, dtype=float)
    before = np.cumsum(heights) - heights
    tops = isotonic_regression(np.asarray(wanted) - heights / 2 - before).x
    held = np.maximum(low, np.minimum(tops, high - heights.sum()))
    return (held + before + heights / 2).tolist()
