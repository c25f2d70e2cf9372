"""The knee's change over a turn: lines at their places, told apart by pattern and name; read off the drawn SVG."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fitkit.charts.knee_change import KneeChange, knee_change
from tests.drawings.drawn_svg import drawn, numbers, require_closed, require_tidy, tabled, text

ANGLES = tuple(range(0, 360, 2))
TURN = np.deg2rad(ANGLES)
LEFT = KneeChange(
    side="left",
    crank_angle_deg=ANGLES,
    change_deg={
        "saddle untouched": -1.8 - 1.6 * np.sin(TURN - 0.6),
        "height only": 1.7 * np.sin(TURN - 2.6),
        "full": 0.6 * np.sin(TURN - 2.9),
    },
)
UNTOUCHED, STAYS = LEFT.change_deg["saddle untouched"], 0 * TURN


def changed(side="left", **change):
    """Return the leg with other changes, a choice's words joined by an underscore; None is not assessed."""
    named = LEFT.change_deg | {name.replace("_", " "): each for name, each in change.items()}
    return replace(LEFT, side=side, change_deg={name: each for name, each in named.items() if each is not None})


RIGHT = changed("right", saddle_untouched=UNTOUCHED / 4, full=STAYS)
NOTHING = KneeChange(side="left", change_deg={})
AWKWARD = {
    "plain": [LEFT, RIGHT],
    "nothing assessed": [NOTHING, changed("right", height_only=None)],
    "all zero": [changed(saddle_untouched=STAYS, height_only=STAYS, full=STAYS)],
    "tiny": [changed(saddle_untouched=STAYS - 0.1, height_only=0.04 * np.sin(TURN), full=STAYS)],
    "large": [changed(saddle_untouched=-20 - 15 * np.sin(TURN)), RIGHT],
    "lines together": [changed(height_only=UNTOUCHED, full=UNTOUCHED + 0.02)],
    "one leg": [RIGHT],
}
PATTERNS = {"saddle untouched": "8,4", "height only": None, "full": "2,3"}


@cache
def awkward(name):
    return knee_change(AWKWARD[name])


def line(shapes, name):
    (found,) = [
        s for s in shapes if s.width == "2" and s.dashes == PATTERNS[name] and not s.filled and len(s.points) > 9
    ]
    return found


def place(texts):
    """Return what turns crank angle and change into px, from the axes' own numbers."""
    start, end = text(texts, "0°"), text(texts, "360°")
    marks = {float(e.words.replace("−", "-")): e.y - 4 for e in texts if e.anchor == "end"}
    low, high = min(marks), max(marks)
    down = (marks[low] - marks[high]) / (high - low)
    return lambda angle, change: (start.x + (end.x - start.x) * angle / 360, marks[high] + (high - change) * down)


@pytest.mark.parametrize("name", PATTERNS)
def test_each_line_is_at_its_place_with_its_own_pattern_and_closes_at_the_top(name):
    shapes, texts = drawn(awkward("plain").parts[0].svg)
    at = place(texts)
    points = line(shapes, name).points
    change = dict(zip(ANGLES, LEFT.change_deg[name], strict=True))
    for angle in (0, 90, 180, 270):
        wanted = at(angle, change[angle])
        nearest = min(points, key=lambda point, wanted=wanted: abs(point[0] - wanted[0]))
        assert nearest == pytest.approx(wanted, abs=0.4)
    assert points[0][1] == pytest.approx(points[-1][1], abs=0.02)
    lowest = max(y for _, y in points)
    assert lowest == pytest.approx(at(0, min(change.values()))[1], abs=0.4)


def test_all_legs_have_one_scale():
    first, second = (place(drawn(part.svg)[1]) for part in awkward("plain").parts)
    assert first(90, -3) == pytest.approx(second(90, -3), abs=0.05)


def test_each_line_is_named_with_its_largest_change():
    said = " ".join(each.words for each in drawn(awkward("plain").parts[0].svg)[1])
    for words in ("saddle untouched", "height only", "full", "most −3.4°", "+ more bent", "− straighter"):
        assert words in said


@pytest.mark.parametrize("name", AWKWARD)
def test_words_touch_nothing_and_the_picture_is_small_and_closed(name):
    for part in awkward(name).parts:
        require_tidy(part.svg)
        require_closed(part.svg, most_bytes=5500)


@pytest.mark.parametrize("name", AWKWARD)
def test_every_number_said_is_in_the_table(name):
    figure = awkward(name)
    rows = tabled(figure.rows)
    assert numbers(figure.alt) <= rows
    for part in figure.parts:
        for each in drawn(part.svg)[1]:
            if each.words.startswith("most"):
                assert numbers(each.words) <= rows


def test_table_holds_every_30_degrees_of_each_choice():
    rows = {row.what: row.value for row in knee_change([LEFT]).rows if row.side == "left, height only"}
    assert list(rows)[2:] == [f"crank {angle}°" for angle in range(0, 360, 30)]
    assert rows["crank 90°"] == pytest.approx(1.7 * math.sin(math.pi / 2 - 2.6), abs=0.051)


def test_what_is_not_assessed_is_said_and_not_drawn():
    nothing, half = awkward("nothing assessed").parts
    assert "not assessed: saddle untouched, height only, full" in [each.words for each in drawn(nothing.svg)[1]]
    shapes, texts = drawn(half.svg)
    assert "not assessed: height only" in [each.words for each in texts]
    assert len([s for s in shapes if len(s.points) > 20]) == 2
    assert "Not assessed: knee change, height only." in half.alt


def test_equal_legs_are_equal_bytes():
    first = knee_change([LEFT, RIGHT])
    knee_change([NOTHING])
    assert knee_change([LEFT, RIGHT]) == first


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side": ""}, "side is ''"),
        ({"change_deg": {"full": (1, 2)}}, "full has 2 values"),
        ({"change_deg": {"full": (math.nan,) * 180}}, "full holds a value that is not finite"),
        ({"change_deg": {"none": STAYS}}, "choice is 'none'; expected one of saddle untouched, height only, full"),
        ({"crank_angle_deg": tuple(range(2, 362, 2))}, "runs from 2 to 360"),
    ],
)
def test_impossible_numbers_are_refused(change, said):
    with pytest.raises(ValueError, match=said):
        knee_change([replace(LEFT, **change)])


def test_one_leg_twice_is_refused():
    with pytest.raises(ValueError, match=r"sides are \['left', 'left'\]"):
        knee_change([LEFT, LEFT])
