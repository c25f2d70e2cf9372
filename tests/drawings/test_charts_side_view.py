"""The side view: foot on its axle, saddle and bars, before and after; read off the drawn SVG."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from fitkit.charts.figure import BLUE, GREY, INK, PALE
from fitkit.charts.side import SeatMove, SideLeg, side_view, whole_leg
from tests.drawings.drawn_svg import drawn, numbers, require_closed, require_tidy, scale_px_per_mm, tabled

# Invented legs with round numbers.
LEFT = SideLeg(
    side="left",
    ankle_to_mtp1_mm=140,
    ankle_height_mm=70,
    axle_to_foot_sole_mm=24,
    old_setback_mm=11,
    new_setback_mm=15,
    pitch_deg=15,
    thigh_mm=430,
    shank_mm=430,
    hip_mm=(-215, 690),
    crank_mm=172.5,
    crank_angle_deg=90,
)
RIGHT = replace(LEFT, side="right", old_setback_mm=14, pitch_deg=-5)
SEAT = SeatMove(saddle_down_mm=4, seat_tube_angle_deg=73, bar_down_mm=4)
NOTHING = SideLeg(side="left")
AWKWARD = {
    "plain": ([LEFT, RIGHT], SEAT),
    "nothing measured": ([NOTHING], SeatMove()),
    "no seat": ([RIGHT], None),
    "ahead of the axle": ([replace(LEFT, old_setback_mm=-3)], SeatMove(saddle_down_mm=-6, seat_tube_angle_deg=73)),
    "far back, steep": ([replace(RIGHT, old_setback_mm=35, pitch_deg=35)], SEAT),
    "heel far down": ([replace(LEFT, pitch_deg=-25, crank_angle_deg=180)], SEAT),
    "no new setback": ([replace(LEFT, ankle_height_mm=None, new_setback_mm=None)], SEAT),
    "no old setback": ([replace(LEFT, old_setback_mm=None)], SeatMove(bar_down_mm=-1)),
    "no pitch, no stack": (
        [replace(RIGHT, pitch_deg=None, axle_to_foot_sole_mm=None)],
        SeatMove(saddle_down_mm=1, bar_down_mm=-1),
    ),
    "stays": ([replace(LEFT, new_setback_mm=11)], SeatMove(saddle_down_mm=0, seat_tube_angle_deg=73, bar_down_mm=0)),
    "large moves": (
        [replace(LEFT, new_setback_mm=41)],
        SeatMove(saddle_down_mm=25, seat_tube_angle_deg=68, bar_down_mm=25),
    ),
    "out of reach": (
        [replace(LEFT, thigh_mm=200)],
        SeatMove(saddle_down_mm=-25, seat_tube_angle_deg=80, bar_down_mm=-25),
    ),
    "level, one millimetre": (
        [replace(LEFT, pitch_deg=0, new_setback_mm=12)],
        SeatMove(saddle_down_mm=1, seat_tube_angle_deg=74),
    ),
}


@cache
def awkward(name):
    legs, seat = AWKWARD[name]
    return side_view(legs, seat=seat)


def rings(shapes, *, dashes, radius_mm, scale):
    """Return the middles of rings of a size and pattern."""
    found = [s.box for s in shapes if s.dashes == dashes and abs(s.box[2] - s.box[0] - 2 * radius_mm * scale) < 0.05]
    return [((b[0] + b[2]) / 2, (b[1] + b[3]) / 2) for b in found if abs(b[2] - b[0] - b[3] + b[1]) < 0.05]


def uprights(shapes, stroke, dashes):
    """Return the joint's short marks in the upper drawing, each as lower and upper end."""
    found = [s for s in shapes if s.width == "2" and s.look.get("stroke") == stroke and s.dashes == dashes]
    return sorted((s for s in found if len(s.points) == 2), key=lambda s: s.box[1])[0].points


@pytest.mark.parametrize(
    "name", ["plain", "ahead of the axle", "far back, steep", "heel far down", "level, one millimetre"]
)
def test_ankle_before_and_after_are_to_scale_from_the_axle(name):
    # The chain's geometry: axle - behind cos p + above sin p forward, behind sin p + above cos p up.
    leg = AWKWARD[name][0][0]
    shapes, texts = drawn(awkward(name).parts[0].svg)
    scale = scale_px_per_mm(shapes, texts, 50)
    ((axle_x, axle_y),) = [r for r in rings(shapes, dashes=None, radius_mm=7, scale=scale) if r[0] > 30][:1]
    p = math.radians(leg.pitch_deg)
    for setback, dashes in ((leg.old_setback_mm, "8,4"), (leg.new_setback_mm, None)):
        behind, above = leg.ankle_to_mtp1_mm - setback, leg.ankle_height_mm + leg.axle_to_foot_sole_mm
        ahead = -behind * math.cos(p) + above * math.sin(p)
        up = behind * math.sin(p) + above * math.cos(p)
        ankle = rings(shapes, dashes=dashes, radius_mm=6, scale=scale)[0]
        assert ankle == pytest.approx((axle_x + ahead * scale, axle_y - up * scale), abs=0.05)


def test_large_detail_is_to_scale_before_after_and_move():
    shapes, texts = drawn(awkward("plain").parts[0].svg)
    scale = scale_px_per_mm(shapes, texts, 10)
    axis = next(s for s in shapes if s.dashes == "11,3,2,3" and s.box[0] == s.box[2])
    level = {
        (s.look["stroke"], s.dashes): s.box
        for s in shapes
        if len(s.points) == 2 and s.box[1] == s.box[3] and s.box[0] == pytest.approx(axis.box[0]) and s.width == "1"
    }
    assert level[GREY, "8,4"][2] - axis.box[0] == pytest.approx(11 * scale, abs=0.05)
    assert level[INK, None][2] - axis.box[0] == pytest.approx(15 * scale, abs=0.05)
    (move,) = [s.box for s in shapes if s.look.get("stroke") == BLUE and s.box[1] == s.box[3]]
    assert [move[0] - axis.box[0], move[2] - axis.box[0]] == pytest.approx([11 * scale, 15 * scale], abs=0.05)
    sole = next(s.box for s in shapes if s.width == "2" and s.box[1] == s.box[3])
    assert axis.box[3] - sole[1] == pytest.approx(24 * scale, abs=0.05)


@pytest.mark.parametrize(("down", "angle"), [(4, 73), (-6, 73), (25, 68), (1, 74)])
def test_saddle_moves_along_the_seat_tube_to_scale_down_and_forward(down, angle):
    seat = SeatMove(saddle_down_mm=down, seat_tube_angle_deg=angle)
    shapes, texts = drawn(side_view([LEFT], seat=seat).parts[1].svg)
    scale = scale_px_per_mm(shapes, texts, 10)
    before, after = (
        next(s for s in shapes if s.width == "2.2" and s.dashes == dashes).points[0] for dashes in ("8,4", None)
    )
    moved = ((after[0] - before[0]) / scale, (after[1] - before[1]) / scale)
    turn = math.radians(angle)
    # down a tube that leans back is forward (to the right) and down
    assert moved == pytest.approx((down * math.cos(turn), down * math.sin(turn)), abs=0.02)
    (arrow,) = [s.points for s in shapes if s.look.get("stroke") == BLUE and not s.filled]
    assert math.dist(*arrow) == pytest.approx(abs(down) * scale, abs=0.05)


def test_bars_move_straight_down_to_scale():
    shapes, texts = drawn(awkward("plain").parts[2].svg)
    scale = scale_px_per_mm(shapes, texts, 10)
    old, new = (
        next(s.box for s in shapes if s.dashes == dashes and abs(s.box[2] - s.box[0] - 36) < 0.1 and s.box[0] > 240)
        for dashes in ("8,4", None)
    )
    assert new[1] - old[1] == pytest.approx(4 * scale, abs=0.05)
    assert new[0] == old[0]


def test_key_is_a_closed_chain_with_the_knee_forward():
    hip, knee, ankle, axle, centre = whole_leg(LEFT)
    assert math.dist(hip, knee) == pytest.approx(430)
    assert math.dist(knee, ankle) == pytest.approx(430)
    assert math.dist(axle, centre) == pytest.approx(172.5)
    assert knee[0] > (hip[0] + ankle[0]) / 2
    figure = awkward("out of reach").parts[0]
    said = " ".join(each.words for each in drawn(figure.svg)[1])
    assert "does not reach" in said
    assert "does not reach its pedal" in figure.alt


def test_before_differs_from_after_by_pattern():
    shapes, _ = drawn(awkward("plain").parts[0].svg)
    assert not [s for s in shapes if s.look.get("stroke") == GREY and s.width == "2" and s.dashes is None]
    assert uprights(shapes, GREY, "8,4") != uprights(shapes, INK, None)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (11, 15, "Cleat 4 mm back: foot goes forward"),
        (15, 11, "Cleat 4 mm forward: foot goes back"),
        (11, 11.2, "Cleat stays where it is"),
        (11, None, "Move of the cleat: not given"),
    ],
)
def test_move_is_said_in_words(old, new, words):
    part = side_view([replace(LEFT, old_setback_mm=old, new_setback_mm=new)]).parts[0]
    assert words in part.alt
    assert words in [each.words for each in drawn(part.svg)[1]]


@pytest.mark.parametrize("name", AWKWARD)
def test_words_touch_nothing_and_the_picture_is_small_and_closed(name):
    for part in awkward(name).parts:
        require_tidy(part.svg)
        require_closed(part.svg, most_bytes=6500)


@pytest.mark.parametrize("name", AWKWARD)
def test_words_picture_and_table_hold_the_same_numbers(name):
    figure = awkward(name)
    rows = tabled(figure.rows)
    assert numbers(figure.alt) <= rows
    assert {each for each in rows if each} <= numbers(figure.alt)
    for part in figure.parts:
        for each in drawn(part.svg)[1]:
            assert numbers(each.words) - {10, 50} <= rows, each.words


def test_what_is_missing_is_said_and_not_drawn():
    foot, seat = awkward("nothing measured").parts
    said = " ".join(each.words for each in drawn(foot.svg)[1])
    for words in (
        "cleat setback: not measured",
        "whole leg: not drawn",
        "after: ?",
        "before: ?",
        "Not measured: ankle",
    ):
        assert words in said
    shapes, texts = drawn(seat.svg)
    assert {"Saddle: not given", "Bars: not given"} <= {each.words for each in texts}
    assert not [s for s in shapes if s.look.get("fill") == PALE]


def test_equal_legs_are_equal_bytes():
    first = side_view([LEFT, RIGHT], seat=SEAT)
    side_view([NOTHING])
    assert side_view([LEFT, RIGHT], seat=SEAT) == first


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side": "front"}, "side is 'front'"),
        ({"pitch_deg": math.nan}, "pitch_deg is nan"),
        ({"thigh_mm": 0}, "thigh_mm is 0"),
    ],
)
def test_impossible_numbers_are_refused(change, said):
    with pytest.raises(ValueError, match=said):
        side_view([replace(LEFT, **change)])


def test_impossible_seat_tube_and_one_leg_twice_are_refused():
    with pytest.raises(ValueError, match="seat_tube_angle_deg is 0"):
        SeatMove(seat_tube_angle_deg=0)
    with pytest.raises(ValueError, match=r"sides are \['left', 'left'\]"):
        side_view([LEFT, LEFT])
