"""The front view: sides, scale, words; read off the drawn SVG, not from the code's own numbers."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from fitkit.charts.figure import INK, PALE
from fitkit.charts.front import FrontSide, front_view
from tests.drawings.drawn_svg import drawn, numbers, read, require_closed, require_tidy, scale_px_per_mm, tabled, text

MIDDLE = 180  # the frame's centreline on a sheet 360 px wide
# Invented riders with round numbers.
LEFT = FrontSide(
    side="left",
    half_stance=read(130, 128, 132),
    crank_face_mm=75,
    lengths_mm=(("left crank face", 75), ("washer", 2), ("spindle to cleat centre", 53)),
    knee_offset_mm=-8,
    knee_travel_mm=22,
)
RIGHT = replace(
    LEFT,
    side="right",
    half_stance=read(126, 124, 128),
    crank_face_mm=73,
    lengths_mm=(("right crank face", 73), ("spindle to cleat centre", 53)),
    knee_offset_mm=5,
    knee_travel_mm=14,
)
HIPS = read(168, 146, 190)
NOTHING = FrontSide(side="left")
NO_KNEE = {"knee_offset_mm": None, "knee_travel_mm": None}
LONG = replace(
    LEFT,
    half_stance=read(161, 159, 163),
    lengths_mm=(*LEFT.lengths_mm[:2], ("extender", 30), LEFT.lengths_mm[2], ("shoe outward", 1)),
)
FROM_Q = (("Q factor", 150), ("right crank face", -78), ("spindle to cleat centre", 53), ("shoe outward", 5))
AWKWARD = {
    "plain": ([LEFT, RIGHT], HIPS),
    "right first": ([RIGHT, LEFT], HIPS),
    "nothing measured": ([NOTHING, replace(NOTHING, side="right")], read()),
    "extender of 30": ([LONG, replace(RIGHT, **NO_KNEE)], HIPS),
    "one leg": ([RIGHT], read(168)),
    "equal": ([LEFT, replace(LEFT, side="right", knee_offset_mm=0)], HIPS),
    "knees far": (
        [replace(LEFT, knee_offset_mm=-60, knee_travel_mm=40), replace(RIGHT, knee_offset_mm=70, knee_travel_mm=30)],
        read(240, 210, 270),
    ),
    "face from the Q factor": (
        [replace(LEFT, lengths_mm=FROM_Q, crank_face_mm=72), replace(RIGHT, lengths_mm=())],
        HIPS,
    ),
    "narrow, one millimetre": (
        [
            replace(LEFT, half_stance=read(95), lengths_mm=(), crank_face_mm=60, knee_offset_mm=-1),
            replace(RIGHT, half_stance=read(), lengths_mm=()),
        ],
        read(190, 189, 191),
    ),
    "feet closer than hips": (
        [replace(LEFT, half_stance=read(90), lengths_mm=(), **NO_KNEE), replace(RIGHT, **NO_KNEE)],
        read(260, 230, 290),
    ),
}


@cache
def awkward(name):
    sides, hips = AWKWARD[name]
    return front_view(sides, hips=hips)


def upright(shapes, width):
    """Return the places across of upright lines of a width."""
    return sorted(s.box[0] for s in shapes if s.width == width and s.box[0] == s.box[2] and s.look["stroke"] == INK)


def rings(shapes):
    """Return the middles of the joints, from left to right: hips above, knees below."""
    found = [s.box for s in shapes if s.look.get("fill") == "white" and abs(s.box[2] - s.box[0] - 9) < 0.1]
    return sorted(((box[1] + box[3]) / 2, (box[0] + box[2]) / 2) for box in found)


def test_everything_sideways_is_to_the_stated_scale_and_the_riders_left_is_on_the_right():
    shapes, texts = drawn(awkward("plain").svg)
    scale = scale_px_per_mm(shapes, texts, 50)
    assert text(texts, "rider's left").x > MIDDLE > text(texts, "rider's right").x
    assert upright(shapes, "2.4") == pytest.approx([MIDDLE - 73 * scale, MIDDLE + 75 * scale], abs=0.05)
    feet = [x for x in upright(shapes, "2") if abs(x - MIDDLE) > 1]
    assert feet == pytest.approx([MIDDLE - 126 * scale, MIDDLE + 130 * scale], abs=0.05)
    places = [x for _, x in rings(shapes)]
    hips_and_knees = [MIDDLE - 84 * scale, MIDDLE + 84 * scale, MIDDLE - 131 * scale, MIDDLE + 122 * scale]
    assert places == pytest.approx(hips_and_knees, abs=0.05)


def test_whiskers_reach_the_ends_of_hip_interval_and_knee_travel():
    shapes, texts = drawn(awkward("plain").svg)
    scale = scale_px_per_mm(shapes, texts, 50)
    whiskers = sorted((s.box[1], s.box[0], s.box[2]) for s in shapes if s.width == "1.2" and len(s.pieces) == 3)
    # hip spacing 146 to 190: each hip 73 to 95 from the middle; knees at 131 and 122, travel 14 and 22
    wanted = [(-95, -73), (73, 95), (-138, -124), (111, 133)]
    assert [MIDDLE + end * scale for ends in wanted for end in ends] == pytest.approx(
        [end for _, *ends in whiskers for end in ends], abs=0.05
    )


@pytest.mark.parametrize("name", ["plain", "extender of 30", "face from the Q factor"])
def test_each_length_is_a_bar_to_scale_that_begins_where_the_last_one_ended(name):
    shapes, texts = drawn(awkward(name).svg)
    scale = scale_px_per_mm(shapes, texts, 50)
    bars = sorted(s.box for s in shapes if s.look.get("fill") == PALE and s.width == ".9")
    left = sorted((b for b in bars if b[2] > MIDDLE + 1), key=lambda b: b[1])
    reached = 0.0
    lengths = AWKWARD[name][0][0].lengths_mm
    assert len(left) == len(lengths)
    for (part, length), bar in zip(lengths, left, strict=True):
        ends = sorted(MIDDLE + end * scale for end in (reached, reached + length))
        assert [bar[0], bar[2]] == pytest.approx(ends, abs=0.05), part
        reached += length


def test_one_side_is_the_other_in_a_mirror():
    def boxes(side, mirrored):
        shapes, _ = drawn(front_view([replace(LONG, side=side)], hips=HIPS).svg)
        found = []
        for shape in shapes:
            x, y, x2, y2 = shape.box
            if y2 < 600 and shape.dashes is None and not (x == 8 and y == y2):
                ends = (360 - x2, 360 - x) if mirrored else (x, x2)
                found.append((round(y, 1), round(y2, 1), round(ends[0], 1), round(ends[1], 1)))
        return sorted(found)[:-1]  # the last is the scale's bar

    one, other = boxes("left", False), boxes("right", True)
    assert len(one) > 15
    for a, b in zip(one, other, strict=True):
        assert a == pytest.approx(b, abs=0.11)


@pytest.mark.parametrize("name", AWKWARD)
def test_words_touch_nothing_and_the_picture_is_small_and_closed(name):
    require_tidy(awkward(name).svg)
    require_closed(awkward(name).svg, most_bytes=6000)


@pytest.mark.parametrize("name", AWKWARD)
def test_words_picture_and_table_hold_the_same_numbers(name):
    rows = tabled(awkward(name).rows)
    assert numbers(awkward(name).alt) <= rows
    assert {each for each in rows if each} <= numbers(awkward(name).alt)
    notes = {50, 95}  # the scale's bar and the interval's level
    for each in drawn(awkward(name).svg)[1]:
        assert numbers(each.words) - notes <= rows, each.words


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [
        (130, 126, "Left foot stands 4 mm further out"),
        (120, 126, "Right foot stands 6 mm further out"),
        (126, 126.2, "Both feet stand equally far out"),
        (None, 126, "Left against right: not assessed"),
    ],
)
def test_difference_is_said_in_words(left, right, words):
    sides = [FrontSide(side="left", half_stance=read(left)), FrontSide(side="right", half_stance=read(right))]
    figure = front_view(sides, hips=HIPS)
    assert words in figure.alt
    assert words in [each.words for each in drawn(figure.svg)[1]]


def test_a_difference_within_its_error_or_from_the_q_factor_alone_heads_no_drawing():
    sides = [FrontSide(side="left", half_stance=read(127)), FrontSide(side="right", half_stance=read(126))]
    words = "No difference left to right that can be told"
    figure = front_view(sides, hips=HIPS, is_told=False)
    assert words in figure.alt
    assert words in [each.words for each in drawn(figure.svg)[1]]
    by_q = [replace(side, lengths_mm=(("Q factor", side.half_stance.value),), crank_face_mm=None) for side in sides]
    assert "Left against right: not assessed" in front_view(by_q, hips=HIPS).alt


def test_what_is_missing_is_said_and_not_drawn():
    figure = awkward("nothing measured")
    shapes, texts = drawn(figure.svg)
    said = " ".join(each.words for each in texts)
    for what in ("hip spacing", "knee", "lengths", "half-stance"):
        assert f"{what}: not measured" in said
    assert not rings(shapes)
    assert not upright(shapes, "2.4")
    assert "heights" in said
    assert "left half-stance" in figure.alt


def test_equal_riders_are_equal_bytes():
    first = front_view([LEFT, RIGHT], hips=HIPS)
    front_view([LONG], hips=read())
    assert front_view([LEFT, RIGHT], hips=HIPS) == first


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side": "middle"}, "side is 'middle'"),
        ({"knee_offset_mm": math.nan}, "knee_offset_mm is nan"),
        ({"lengths_mm": (("crank face", 75), ("spindle", 50))}, "add up to 125"),
    ],
)
def test_impossible_numbers_are_refused(change, said):
    with pytest.raises(ValueError, match=said):
        front_view([replace(LEFT, **change)], hips=HIPS)


def test_no_side_or_one_twice_is_refused():
    with pytest.raises(ValueError, match=r"sides are \[\]"):
        front_view([], hips=HIPS)
    with pytest.raises(ValueError, match=r"sides are \['left', 'left'\]"):
        front_view([LEFT, LEFT], hips=HIPS)
