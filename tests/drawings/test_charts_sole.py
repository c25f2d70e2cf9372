"""The drawing of the soles: sides, scale, words; read off the drawn SVG, not from the code's own numbers."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import pytest

from fitkit.charts.canvas import spread
from fitkit.charts.figure import BLUE, GREY, INK, PALE
from fitkit.charts.soles import SoleFoot, soles
from tests.drawings.drawn_svg import crosses, drawn, read

# Invented feet with round numbers.
LEFT = SoleFoot(
    side="left",
    now=read(11, 7.9, 14.1),
    target_mm=15,
    band_mm=(13, 18),
    slots_mm=(6, 19),
    toe_out_deg=5,
    natural_toe_out_deg=9,
    float_deg=6,
    joint_to_big_toe_side_mm=34,
    foot_length_mm=267,
    instruction="4 mm toward the heel",
)
RIGHT = replace(LEFT, side="right")
NOTHING = SoleFoot(side="left")
NOTHING_RIGHT = replace(NOTHING, side="right")
LEAVE = replace(RIGHT, now=read(13.5, 7.9, 14.1), target_mm=None, instruction="leave it: closer than the mark can tell")
LARGE = replace(
    LEFT,
    foot_length_mm=300,
    joint_to_big_toe_side_mm=42,
    band_mm=(20.5, 25.5),
    target_mm=22.5,
    toe_out_deg=12,
    natural_toe_out_deg=15,
)
AWKWARD = {
    "plain": [LEFT, LEAVE],
    "nothing measured": [NOTHING, NOTHING_RIGHT],
    "half measured": [
        replace(LEFT, now=read(), natural_toe_out_deg=None, slots_mm=(6, None)),
        replace(RIGHT, joint_to_big_toe_side_mm=None, band_mm=(None, 18), toe_out_deg=None, instruction=None),
    ],
    "no target, no words": [replace(LEFT, target_mm=None, instruction=None)],
    "ahead of the joint": [
        replace(LEFT, now=read(-3, -6, 0)),
        replace(RIGHT, joint_to_big_toe_side_mm=None, now=read(-3, -6, 0)),
    ],
    "far back": [replace(RIGHT, now=read(35, 32, 38))],
    "one millimetre apart": [replace(LEFT, now=read(14, 7.9, 14.1)), replace(RIGHT, now=read(16, 7.9, 17))],
    "already there": [replace(LEFT, now=read(15, 12, 18), instruction="leave it")],
    "past the slots": [
        replace(LEFT, target_mm=21, instruction="10 mm toward the heel: the slots end 2 mm short of it"),
        replace(RIGHT, slots_mm=(8, 12), target_mm=5),
    ],
    "size 47": [LARGE, replace(LARGE, side="right", now=read(23, 20, 26), slots_mm=(20, 26))],
    "sizes apart": [LARGE, replace(RIGHT, foot_length_mm=225, joint_to_big_toe_side_mm=27)],
    "turned far": [replace(LEFT, toe_out_deg=30, natural_toe_out_deg=-10, float_deg=16)],
    "stopped": [
        replace(
            NOTHING,
            now=read(11),
            instruction="not advised: clinician: the knee locks or gives way; what was measured stays in the record",
        )
    ],
    "long words": [replace(LEFT, now_word="as found", target_word="decided", target_mm=16.5)],
    "before and after": [replace(LEFT, now_word="before", target_word="now", now=read(12.5, 9, 16))],
}


def frame(shapes):
    """Return the frame of the large part: the one pale outlined box."""
    return next(shape for shape in shapes if shape.look.get("stroke") == PALE and shape.box[1] != shape.box[3]).box


def line(shapes, color):
    """Return the cleat line of a colour, three px wide."""
    found = [shape for shape in shapes if shape.look.get("stroke") == color and shape.look.get("stroke-width") == "3"]
    return found[0].box if found else None


def heads(shapes):
    return [shape for shape in shapes if shape.look.get("fill") == BLUE]


def px_per_mm(shapes, texts):
    """Return the scale as the sheet states it: its bar is 10 mm."""
    words = next(each for each in texts if each.words.startswith("scale: this bar is 10 mm"))
    bars = [shape for shape in shapes if abs(shape.box[1] + 4 - (words.y - 4)) < 1 and shape.box[2] < words.x]
    assert len(bars) == 1
    return (bars[0].box[2] - bars[0].box[0]) / 10


@cache
def picture(foot):
    return drawn(soles([foot]).parts[0].svg)


@cache
def awkward(name):
    """Return the figure and, foot by foot, what is drawn of it."""
    figure = soles(AWKWARD[name])
    return figure, [drawn(part.svg) for part in figure.parts]


def test_left_sole_is_the_right_one_in_a_mirror():
    left, right = (drawn(part.svg)[0] for part in soles([LEFT, RIGHT]).parts)
    bottom = frame(left)[3]

    def zone(shapes, mirrored):
        boxes = []
        for shape in shapes:
            x, y, x2, y2 = shape.box
            if y2 <= bottom + 0.01 and shape.look.get("fill") != "white":
                ends = (360 - x2, 360 - x) if mirrored else (x, x2)
                look = (shape.look.get("stroke") or "", shape.look.get("stroke-dasharray") or "")
                boxes.append((*look, round(y, 1), round(y2, 1), *ends))
        return sorted(boxes)

    one, other = zone(left, False), zone(right, True)
    assert len(one) > 10
    for a, b in zip(one, other, strict=True):
        assert a[:2] == b[:2]
        assert a[2:] == pytest.approx(b[2:], abs=0.02)


@pytest.mark.parametrize(("foot", "big_toe_is_left"), [(LEFT, True), (RIGHT, False)])
def test_big_toe_lies_as_on_a_sole_seen_from_below(foot, big_toe_is_left):
    # Anatomy: the big toe is on the body's midline side; a left foot from below, toes up, has it on the left.
    shapes, texts = picture(foot)
    place = {each.words: each.x for each in texts}
    left, _, right, _ = frame(shapes)
    assert (place["big-toe side"] < place["little-toe side"]) is big_toe_is_left
    assert (place["joint"] < (left + right) / 2) is big_toe_is_left
    assert (place["now 11"] > right) is big_toe_is_left


@pytest.mark.parametrize(("now", "move"), [(11, 4), (35, -20), (14, 1), (-3, 18), (11, 11.5), (15, -0.7)])
def test_cleat_lines_are_apart_by_the_move_to_scale(now, move):
    shapes, texts = picture(replace(LEFT, now=read(now), target_mm=now + move))
    apart = line(shapes, BLUE)[1] - line(shapes, INK)[1]
    assert apart == pytest.approx(move * px_per_mm(shapes, texts), abs=0.05)


def test_everything_along_the_shoe_is_at_its_place_on_the_ruler():
    shapes, texts = picture(LEFT)
    scale = px_per_mm(shapes, texts)
    marks = {each.words: each.y - 4 for each in texts if each.words in ("−10", "0", "10", "20", "30") and each.x < 30}
    zero = marks["0"]
    for words, y in marks.items():
        assert y - zero == pytest.approx(float(words.replace("−", "-")) * scale, abs=0.3)
    cross = next(shape.box for shape in shapes if shape.look.get("stroke-width") == "2" and len(shape.points) == 4)
    joint = (cross[1] + cross[3]) / 2
    assert joint == pytest.approx(zero, abs=0.3)
    assert line(shapes, INK)[1] - joint == pytest.approx(11 * scale, abs=0.05)
    band = next(shape.box for shape in shapes if shape.look.get("fill") == PALE)
    assert [y - joint for y in (band[1], band[3])] == pytest.approx([13 * scale, 18 * scale], abs=0.05)
    slots = [shape.box for shape in shapes if shape.look.get("fill") == "white" and shape.box[2] < frame(shapes)[2]]
    assert len(slots) == 2
    for slot in slots:
        assert [y - joint for y in (slot[1], slot[3])] == pytest.approx([6 * scale, 19 * scale], abs=0.05)
    whisker = next(shape.box for shape in shapes if shape.look.get("stroke-width") == "1.2" and len(shape.points) == 6)
    assert [y - joint for y in (whisker[1], whisker[3])] == pytest.approx([7.9 * scale, 14.1 * scale], abs=0.05)


def test_both_feet_have_one_scale():
    scales = [px_per_mm(*each) for each in awkward("sizes apart")[1]]
    assert scales[0] == pytest.approx(scales[1], abs=0.005)


@pytest.mark.parametrize(("now", "toward_heel"), [(11, True), (14, True), (16, False), (30, False)])
def test_arrow_head_touches_the_target_and_points_the_way_of_the_move(now, toward_heel):
    shapes, texts = picture(replace(LEFT, now=read(now)))
    (head,) = heads(shapes)
    target = line(shapes, BLUE)[1]
    assert head.points[0][1] == pytest.approx(target, abs=0.05)
    assert (head.points[1][1] < target) is toward_heel
    shaft = next(shape.box for shape in shapes if shape.look.get("stroke") == BLUE and shape.box[0] == shape.box[2])
    assert (shaft[1] < target) is toward_heel
    if abs(15 - now) * px_per_mm(shapes, texts) > 14:
        start = shaft[1] if toward_heel else shaft[3]
        assert start == pytest.approx(line(shapes, INK)[1], abs=0.05)


def test_no_arrow_and_no_second_line_where_the_cleat_stays():
    for foot in (replace(LEFT, now=read(15)), LEAVE, replace(LEFT, now=read())):
        shapes, _ = picture(foot)
        assert not heads(shapes)
    assert line(picture(replace(LEFT, now=read(15)))[0], BLUE) is None


def test_target_past_the_slots_is_drawn_and_said():
    shapes, texts = picture(replace(LEFT, target_mm=21))
    scale = px_per_mm(shapes, texts)
    beyond = [shape for shape in shapes if shape.look.get("stroke-dasharray") == "2,3" and shape.look["stroke"] == BLUE]
    assert len(beyond) == 2
    for shape in beyond:
        assert shape.box[3] - shape.box[1] == pytest.approx(2 * scale, abs=0.05)
        assert shape.box[3] == pytest.approx(line(shapes, BLUE)[1], abs=0.05)
    assert "2 past the slots" in [each.words for each in texts]


@pytest.mark.parametrize(("foot", "onward"), [(LEFT, 1), (RIGHT, -1)])
def test_rotation_is_drawn_at_its_true_angle_toward_the_little_toe_side(foot, onward):
    shapes, _ = picture(foot)
    looks = {"cleat": ("2.6", None), "natural": ("2", "2,3")}
    for angle, (width, dash) in zip((5, 9), looks.values(), strict=True):
        rays = [
            shape.points
            for shape in shapes
            if shape.look.get("stroke-width") == width
            and shape.look.get("stroke-dasharray") == dash
            and shape.box[1] != shape.box[3]
            and len(shape.points) == 2
            and shape.box[1] > frame(shapes)[3]
        ]
        ((x, y), (x2, y2)) = rays[0]
        assert len(rays) == 1
        assert math.degrees(math.atan2(onward * (x - x2), y2 - y)) == pytest.approx(angle, abs=0.05)


@pytest.mark.parametrize("name", AWKWARD)
def test_no_words_touch_other_words_a_line_or_the_edge(name):
    figure, feet = awkward(name)
    height = float(re.search(r'height="([\d.]+)"', figure.svg)[1])
    for shapes, texts in feet:
        for each in texts:
            box = each.box
            assert min(box) >= 0, each
            assert box[2] <= 360, each
            assert box[3] <= height, each
            for shape in shapes:
                if shape.look.get("fill", "none") == "none" and len(shape.points) < 20:
                    for start, end in itertools.pairwise(shape.points):
                        assert not crosses(start, end, box), (each, shape)
        for one, other in itertools.combinations(texts, 2):
            a, b = one.box, other.box
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (one.words, other.words)


@pytest.mark.parametrize("name", AWKWARD)
def test_picture_is_small_closed_and_in_the_kits_colours(name):
    svg = awkward(name)[0].svg
    assert len(svg.encode()) < 14500
    assert re.findall(r"\w+:/+[^\"'< ]*", svg) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"<script|<style|<image|href|@font-face|url\(|on\w+=|aria-|role=", svg)
    assert set(re.findall(r"#[0-9a-fA-F]{6}", svg)) <= {INK, GREY, PALE, BLUE}


def test_ordinary_pair_stays_under_14_kilobytes():
    assert len(awkward("plain")[0].svg.encode()) < 14000


def test_smallest_words_are_readable_in_a_printed_column():
    # House choice: 11 px, 8 pt, at least when the picture is 340 px wide.
    for name in AWKWARD:
        for _, texts in awkward(name)[1]:
            assert min(each.size_px for each in texts) * 340 / 360 >= 11


def test_equal_feet_are_equal_bytes():
    first = soles([LEFT, RIGHT])
    soles([LARGE])
    assert soles([LEFT, RIGHT]) == first


def numbers(words):
    return {float(found.replace("−", "-")) for found in re.findall(r"[−-]?\d+(?:\.\d+)?", words)}


@pytest.mark.parametrize("name", AWKWARD)
def test_words_and_table_hold_the_same_numbers(name):
    feet = AWKWARD[name]
    for foot, part in zip(feet, awkward(name)[0].parts, strict=True):
        rows = [row for row in awkward(name)[0].rows if row.side == foot.side]
        tabled = {end for row in rows for end in (row.value, row.low, row.high) if end is not None}
        written = set().union(*(numbers(row.words) for row in rows))
        assert {abs(each) for each in numbers(part.alt)} <= {abs(each) for each in tabled | written}
        assert {abs(each) for each in tabled} <= {abs(each) for each in numbers(part.alt)}


def test_drawn_numbers_are_in_the_table():
    marks = {-10, 0, 5, 10, 15, 20, 30, 95}  # ruler, protractor, scale bar and the interval's level
    for name in AWKWARD:
        rows = awkward(name)[0].rows
        tabled = {end for row in rows for end in (row.value, row.low, row.high) if end is not None}
        tabled |= set().union(*(numbers(row.words) for row in rows))
        for _, texts in awkward(name)[1]:
            for each in texts:
                if each.words[0].isalpha():
                    assert {abs(found) for found in numbers(each.words)} - marks <= {abs(found) for found in tabled}


def test_what_is_missing_is_said_in_the_picture_in_words_and_in_the_table():
    part = soles([NOTHING]).parts[0]
    drawn_words = " ".join(each.words for each in drawn(part.svg)[1])
    for words in ("now not measured", "slots not measured", "start not given", "try not given", "joint sideways: not"):
        assert words in drawn_words
    for words in ("cleat not measured", "float not measured", "natural not measured", "foot length: not measured"):
        assert words in drawn_words
    assert "Not measured: cleat now, behind the joint; slots;" in part.alt
    assert {row.words for row in soles([NOTHING]).rows} == {"not measured", "not given"}


def test_words_say_side_direction_and_interval():
    alt = soles([LEFT]).parts[0].alt
    assert alt.startswith("Left sole from below, toes up, big-toe side on the left. 4 mm toward the heel.")
    assert "Cleat now 11 mm behind the joint (8 to 14)." in alt
    assert "Try 15 mm, a move of 4 mm toward the heel." in alt
    assert "Float 6 degrees, from 2 to 8." in alt
    ahead = soles(AWKWARD["ahead of the joint"]).parts[0].alt
    assert "Cleat now 3 mm ahead of the joint (−6 to 0, behind it positive)." in ahead


class Images(HTMLParser):
    """Collects what a browser would see of a figure."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


def test_alt_is_escaped_and_comes_back_whole():
    instruction = "wait: \"<script>alert(1)</script>\" & 'more'"
    figure = soles([replace(LEFT, instruction=instruction), RIGHT])
    page = Images()
    page.feed(figure.html)
    assert [tag for tag, _ in page.found] == ["figure", "img", "img"]
    assert [attributes["alt"] for tag, attributes in page.found if tag == "img"] == [part.alt for part in figure.parts]
    assert "<script" not in figure.html
    assert "<script" not in figure.svg


def test_spread_keeps_order_and_room():
    centres = spread([100, 101, 102, 150], [20, 30, 20, 10], low=0, high=300)
    assert centres == pytest.approx([76, 101, 126, 150])  # the first three share their shifts; by hand
    assert spread([-5, 400], [20, 20], low=0, high=300) == [10, 290]
    assert spread([290, 295], [20, 20], low=0, high=300) == [270, 290]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side": "both"}, "side is 'both'; expected 'left' or 'right'"),
        ({"target_mm": math.nan}, "target_mm is nan; expected a finite number"),
        ({"float_deg": math.inf}, "float_deg is inf; expected a finite number"),
        ({"slots_mm": (20, 19)}, "slots_mm is 20 to 19; expected the lower end first"),
        ({"band_mm": (19, 18)}, "band_mm is 19 to 18; expected the lower end first"),
        ({"foot_length_mm": 0}, "foot_length_mm is 0; expected more than 0"),
    ],
)
def test_impossible_feet_are_refused(change, said):
    with pytest.raises(ValueError, match=re.escape(said)):
        soles([replace(LEFT, **change)])


def test_feet_must_be_one_of_each_side_at_most():
    with pytest.raises(ValueError, match=re.escape("sides are ['left', 'left']")):
        soles([LEFT, LEFT])
    with pytest.raises(ValueError, match=re.escape("sides are []")):
        soles([])
