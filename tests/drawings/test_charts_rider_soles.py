"""The rider's soles: the right side, the right way, to one scale, and words large enough to read on paper."""

from dataclasses import replace

import pytest

from fitkit import files
from fitkit.charts.figure import BLUE, GREY, INK
from fitkit.charts.rider_soles import RiderSole, rider_soles
from fitkit.words import catalogue
from tests.drawings.drawn_svg import drawn

LEFT = RiderSole(
    side="left",
    words="4 mm\ntoward the heel",
    before_mm=11,
    now_mm=15,
    joint_to_big_toe_side_mm=34,
    foot_length_mm=267,
)
STAYS = replace(LEFT, side="right", words="not moved", before_mm=14, now_mm=14)
NOTHING = RiderSole(side="right", words="not measured before")
WIDTH_PX, LONGEST_PX = 336, 244


def soles(feet):
    return rider_soles(feet, catalogue(files.template("rider_sheet_words.toml")))


def boxes(shapes, color):
    """Return the outlined cleats of a colour."""
    return [s.box for s in shapes if s.look.get("stroke") == color and s.look.get("stroke-width") == "2" and s.filled]


def test_both_shoes_stand_beside_one_another_with_their_words():
    texts = drawn(soles([LEFT, STAYS]).svg)[1]
    places = {each.words: each.x for each in texts}
    assert places["Left shoe from below"] < WIDTH_PX / 2 < places["Right shoe from below"]
    assert places["toward the heel"] < WIDTH_PX / 2 < places["not moved"]
    # printed 70 mm wide (ISO 216 sheet, two columns) a letter of 14 px is 8 pt: 14 x 198.4 / 336 x .96
    assert min(each.size_px for each in texts) * (70 / 25.4 * 72) / WIDTH_PX >= 8


@pytest.mark.parametrize(("now", "down"), [(15, 1), (7, -1)])
def test_the_arrow_points_where_the_cleat_went(now, down):
    shapes = drawn(soles([replace(LEFT, now_mm=now)]).svg)[0]
    heads = [shape for shape in shapes if shape.look.get("fill") == BLUE]
    stems = [s for s in shapes if s.look.get("stroke") == BLUE and s.look.get("stroke-width") == "2.4"]
    (head,), (stem,) = heads, stems
    middle = (stem.box[1] + stem.box[3]) / 2
    # toes are up, so toward the heel is down the sheet
    assert ((head.box[1] + head.box[3]) / 2 - middle) * down > 0


def test_the_move_is_to_scale():
    shapes = drawn(soles([replace(LEFT, now_mm=21)]).svg)[0]
    outlined = {
        color: next(s.box for s in shapes if s.look.get("stroke") == color and s.look.get("stroke-width") == "2")
        for color in (GREY, BLUE)
    }
    moved_px = outlined[BLUE][1] - outlined[GREY][1]
    shoe = next(s.box for s in shapes if s.look.get("stroke") == GREY and s.look.get("stroke-width") == "1.3")
    assert moved_px / (shoe[3] - shoe[1]) == pytest.approx(10 / 267, rel=0.05)


def test_seen_from_below_the_left_big_toe_is_on_the_left():
    for side, sign in (("left", -1), ("right", 1)):
        texts = drawn(soles([replace(LEFT, side=side)]).svg)[1]
        joint, toes = (next(each for each in texts if each.words == words) for words in ("joint", "toes"))
        assert ((joint.box[0] + joint.box[2]) - (toes.box[0] + toes.box[2])) * sign > 0


def test_what_is_not_known_is_not_drawn():
    shapes = drawn(soles([NOTHING]).svg)[0]
    assert not [s for s in shapes if s.look.get("stroke") in (INK, BLUE) and s.look.get("stroke-width") == "2"]
    assert not [s for s in drawn(soles([STAYS]).svg)[0] if s.look.get("fill") == BLUE]
    figure = soles([LEFT, NOTHING])
    assert "Left shoe from below, toes up: 4 mm toward the heel." in figure.alt
    assert "Right shoe from below, toes up: not measured before. The cleat is not drawn." in figure.alt
