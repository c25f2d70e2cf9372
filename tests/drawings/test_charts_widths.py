"""The widths a family reaches: places on the line, blanks, wish and rest; read off the drawn SVG."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from fitkit.charts.figure import BLUE, GREY, INK
from fitkit.charts.widths import WidthSide, widths
from tests.drawings.drawn_svg import drawn, numbers, require_closed, require_tidy, tabled

# An invented family of 0, +5 and +15 with 4 of play: common practice, no source.
LEFT = WidthSide(
    side="left",
    reachable_mm=((-2, 7), (13, 17)),
    gaps_mm=((7, 13),),
    wish_mm=10,
    reached_mm=7,
    chosen=("spindle +5",),
)
RIGHT = replace(
    LEFT,
    side="right",
    reachable_mm=((-2, 7),),
    refused_only_mm=((13, 17),),
    refused=(("spindle +15", "the lowered pedal would touch at a lean of 22 degrees; expected 25 or more"),),
)
STEPS = WidthSide(
    side="left",
    reachable_mm=((-1, 0), (2, 2), (3, 4), (5, 6), (7, 8), (28, 30)),
    refused_only_mm=((9, 10), (11, 12), (20, 21)),
    gaps_mm=((0, 2), (2, 3), (4, 5), (6, 7), (8, 9), (10, 11), (12, 20), (21, 28)),
    wish_mm=30,
    reached_mm=30,
    chosen=("extender 30",),
)
AWKWARD = {
    "plain": [LEFT, RIGHT],
    "nothing known": [WidthSide(side="left"), WidthSide(side="right")],
    "no wish": [replace(LEFT, wish_mm=None, reached_mm=None, chosen=()), RIGHT],
    "no answer": [replace(LEFT, reached_mm=None, chosen=())],
    "inward": [replace(LEFT, wish_mm=-4, reached_mm=-2, chosen=()), replace(RIGHT, wish_mm=-1, reached_mm=-1)],
    "one millimetre": [replace(LEFT, wish_mm=8), replace(RIGHT, wish_mm=17.5, reached_mm=17)],
    "many steps, extender of 30": [STEPS],
    "far": [replace(LEFT, wish_mm=30, reached_mm=17), replace(RIGHT, wish_mm=-20, reached_mm=-2)],
    "at the edge": [replace(LEFT, wish_mm=-2.5, reached_mm=-2), replace(RIGHT, wish_mm=17, reached_mm=17.2)],
    "half a millimetre apart": [replace(LEFT, wish_mm=12.5, reached_mm=12), replace(RIGHT, wish_mm=6.5, reached_mm=7)],
    "equal": [LEFT, replace(LEFT, side="right")],
    "long names": [replace(LEFT, chosen=("a spindle with a long name", "a washer with a longer name", "another"))],
    "beyond both": [replace(LEFT, wish_mm=-3, reached_mm=7)],
}


@cache
def awkward(name):
    return widths(AWKWARD[name], family="an invented family")


def axis(texts, row=0):
    """Return px of 0 and px per mm as the numbers under a row's line give them."""
    marks = [
        each for each in texts if each.anchor == "middle" and not each.words[-1].isalpha() and " " not in each.words
    ]
    ys = sorted({each.y for each in marks})
    places = {float(each.words.replace("−", "-")): each.x for each in marks if each.y == ys[row]}
    low, high = min(places), max(places)
    scale = (places[high] - places[low]) / (high - low)
    return places[low] - low * scale, scale


def bars(shapes):
    return sorted(
        (s.box for s in shapes if s.look.get("fill") == INK and len(s.points) > 4), key=lambda b: (b[1], b[0])
    )


def heads(shapes, color):
    """Return the tips of arrow heads that point straight down."""
    found = [s for s in shapes if s.look.get("fill") == color and len(s.points) == 4]
    return [s.points[0] for s in found if s.points[0][1] == max(y for _, y in s.points) and s.box[3] - s.box[1] > 8.5]


def test_bars_wish_and_rest_are_at_their_places_on_the_line():
    shapes, texts = drawn(awkward("plain").svg)
    zero, scale = axis(texts)
    solid = bars(shapes)
    for bar, (low, high) in zip(solid, [(-2, 7), (13, 17), (-2, 7)], strict=True):
        assert [bar[0], bar[2]] == pytest.approx([zero + low * scale, zero + high * scale], abs=0.05)
    assert [x for x, _ in heads(shapes, BLUE)] == pytest.approx([zero + 10 * scale] * 2, abs=0.05)
    assert [x for x, _ in heads(shapes, INK)] == pytest.approx([zero + 7 * scale] * 2, abs=0.05)
    said = [each.words for each in texts]
    assert said.count("3 mm remain") == 2
    assert said.count("nothing reaches +7 to +13") == 2


def test_both_rows_have_one_scale_and_outward_to_the_right():
    texts = drawn(awkward("far").svg)[1]
    assert axis(texts, 0) == pytest.approx(axis(texts, 1))
    assert axis(texts)[1] > 0


def test_what_only_refused_parts_reach_is_hatched_dashed_and_named():
    shapes, texts = drawn(awkward("plain").svg)
    zero, scale = axis(texts)
    (box,) = [s for s in shapes if s.look.get("stroke") == GREY and s.dashes == "8,4"]
    assert [box.box[0], box.box[2]] == pytest.approx([zero + 13 * scale, zero + 17 * scale], abs=0.05)
    hatching = [s for s in shapes if len(s.pieces) > 4 and s.pieces[1][0][0] != s.pieces[1][1][0] and not s.filled]
    assert any(box.box[0] - 0.1 <= s.box[0] and s.box[2] <= box.box[2] + 0.1 for s in hatching)
    assert "refused parts +13 to +17" in [each.words for each in texts]
    assert "lean of 22 degrees" in awkward("plain").alt


def test_every_gap_of_many_is_named():
    said = [each.words for each in drawn(awkward("many steps, extender of 30").svg)[1]]
    assert sum(words.startswith("nothing reaches") for words in said) == 8
    assert sum(words.startswith("refused parts") for words in said) == 3


@pytest.mark.parametrize(
    ("wish", "reached", "words"),
    [
        (10, 7, "Left: wish 10 mm outward, 3 mm remain"),
        (-4, -2, "Left: wish 4 mm inward, 2 mm remain"),
        (8, 7, "Left: wish 8 mm outward, 1 mm remains"),
        (5, 5.04, "Left: wish 5 mm outward, reached"),
        (5, None, "Left: wish 5 mm outward, not assessed"),
        (None, None, "Left: no wish"),
    ],
)
def test_heading_says_wish_and_rest(wish, reached, words):
    figure = widths([replace(LEFT, wish_mm=wish, reached_mm=reached)])
    assert words in [each.words for each in drawn(figure.svg)[1]]
    assert f"{words}." in figure.alt


@pytest.mark.parametrize("name", AWKWARD)
def test_words_touch_nothing_and_the_picture_is_small_and_closed(name):
    require_tidy(awkward(name).svg)
    require_closed(awkward(name).svg, most_bytes=7000)


@pytest.mark.parametrize("name", AWKWARD)
def test_words_picture_and_table_hold_the_same_numbers(name):
    figure = awkward(name)
    rows = tabled(figure.rows)
    assert numbers(figure.alt) <= rows | {0.0}
    assert {each for each in rows if each} <= numbers(figure.alt)
    for each in drawn(figure.svg)[1]:
        if each.anchor != "middle" or " " in each.words:  # all but the line's own numbers
            assert numbers(each.words) - {0.0} <= rows, each.words


def test_a_side_with_nothing_known_says_so():
    figure = awkward("nothing known")
    shapes, texts = drawn(figure.svg)
    assert not bars(shapes)
    assert "What these parts reach: not assessed." in [each.words for each in texts]
    assert "Not assessed: left reached" in figure.alt


def test_equal_sides_are_equal_bytes():
    first = widths([LEFT, RIGHT])
    widths([STEPS])
    assert widths([LEFT, RIGHT]) == first


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side": "both"}, "side is 'both'"),
        ({"wish_mm": math.inf}, "wish_mm is inf"),
        ({"gaps_mm": ((13, 7),)}, "gaps_mm holds 13 to 7"),
        ({"reachable_mm": ((math.nan, 7),)}, "reachable_mm holds nan to 7"),
    ],
)
def test_impossible_numbers_are_refused(change, said):
    with pytest.raises(ValueError, match=said):
        widths([replace(LEFT, **change)])


def test_one_side_twice_is_refused():
    with pytest.raises(ValueError, match=r"sides are \['left', 'left'\]"):
        widths([LEFT, LEFT])
