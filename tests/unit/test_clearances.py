"""Threads and clearances against standards, drawings and a second route."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.calculations import clearances
from fitkit.calculations.readings import Quantity, exact

THREAD = {
    "spindle_thread_mm": 14.0,
    "unthreaded_tip_mm": 0.0,
    "washer_mm": 0.0,
    "crank_thread_depth_mm": 14.0,
    "extender_mm": 0.0,
    "extender_thread_mm": None,
}


def turns(**changes):
    return clearances.thread_turns(**{**THREAD, **changes})


def test_an_inch_of_thread_is_twenty_turns():
    # JIS B 0225-1960, 9/16 in x 20 per inch.
    assert turns(spindle_thread_mm=25.4, crank_thread_depth_mm=30.0).value == pytest.approx(20, abs=1e-12)


def test_twelve_millimetres_and_what_a_washer_costs():
    # Computed from JIS B 0225-1960: 12 mm is 9.449 turns, 1 mm of washer 0.787.
    assert turns(spindle_thread_mm=12.0).value == pytest.approx(9.449, abs=5e-4)
    costs = turns(spindle_thread_mm=12.0).value - turns(spindle_thread_mm=12.0, washer_mm=1.0).value
    assert costs == pytest.approx(0.787, abs=5e-4)


@pytest.mark.parametrize(
    ("changes", "engaged_mm"),
    [
        ({}, 14),
        ({"crank_thread_depth_mm": 10.0}, 10),
        ({"unthreaded_tip_mm": 1.5, "washer_mm": 2.0}, 10.5),
        ({"washer_mm": 20.0}, 0),
        ({"extender_mm": 20.0, "extender_thread_mm": 11.0}, 11),
        ({"extender_mm": 20.0, "extender_thread_mm": 12.0, "crank_thread_depth_mm": 9.0}, 9),
        ({"extender_mm": 20.0, "extender_thread_mm": 12.0, "washer_mm": 1.0}, 11),
        ({"extender_mm": 20.0, "extender_thread_mm": 18.0, "washer_mm": 3.0}, 11),
    ],
)
def test_engaged_by_hand(changes, engaged_mm):
    # Drawn by hand: two rods of thread, each in its hole; the lesser of both joints with an extender.
    result = turns(**changes)
    assert result.value == pytest.approx(engaged_mm / 1.270)


def test_an_extender_whose_thread_is_unknown_gives_no_turns():
    result = turns(extender_mm=20.0)
    assert result.value is None
    assert result.needs == "the extender's thread"


def test_what_is_missing_is_named_and_what_is_assumed_is_said():
    result = turns(spindle_thread_mm=None, crank_thread_depth_mm=None, washer_mm=None, unthreaded_tip_mm=None)
    assert result.needs == "spindle thread, crank thread depth"
    assert result.notes == ("washer not recorded: counted as 0", "unthreaded tip not recorded: counted as 0")
    assert turns(extender_mm=None).value == pytest.approx(14 / 1.270)


@pytest.mark.parametrize(("name", "value"), [("washer_mm", -1.0), ("spindle_thread_mm", math.nan)])
def test_negative_lengths_are_refused(name, value):
    with pytest.raises(ValueError, match=f"{name} is {value}"):
        turns(**{name: value})


def test_turns_of_arrays_keep_the_unknown_apart():
    found = clearances.turns_engaged(
        spindle_thread_mm=np.array([12.7, math.nan]),
        unthreaded_tip_mm=0.0,
        washer_mm=0.0,
        crank_thread_depth_mm=20.0,
    )
    assert found[0] == pytest.approx(10)
    assert math.isnan(found[1])


# --- Lean ----------------------------------------------------------------------------------------------------------

BICYCLE = {"bottom_bracket_height_mm": 268.0, "crank_length_mm": 172.5, "pedal_below_axle_mm": 12.0}


def test_lean_of_a_drawn_triangle():
    # Drawn: 90 high and 120 out is the 3-4-5 triangle, 36.87 degrees; as high as wide is 45.
    drawn = {"bottom_bracket_height_mm": 270.0, "crank_length_mm": 170.0, "pedal_below_axle_mm": 10.0}
    assert clearances.lean_deg(**drawn, pedal_outer_edge_mm=120.0) == pytest.approx(36.8699, abs=1e-4)
    assert clearances.lean_deg(**drawn, pedal_outer_edge_mm=80.0, added_mm=10.0) == pytest.approx(45)


@given(st.floats(220, 320), st.floats(150, 190), st.floats(4, 25), st.floats(120, 230), st.floats(0, 30))
def test_lean_by_vectors(height, crank, below, outer, added):
    # Second route: turn the pedal's corner about the line where the tyres stand; at the lean it lies on the floor.
    lean = math.radians(
        clearances.lean_deg(
            bottom_bracket_height_mm=height,
            crank_length_mm=crank,
            pedal_below_axle_mm=below,
            pedal_outer_edge_mm=outer,
            added_mm=added,
        )
    )
    turn = np.array([[math.cos(lean), math.sin(lean)], [-math.sin(lean), math.cos(lean)]])
    corner = turn @ np.array([outer + added, height - crank - below])
    assert corner[1] == pytest.approx(0, abs=1e-9)
    assert corner[0] > 0


def test_a_pedal_under_the_floor_is_refused():
    with pytest.raises(
        ValueError, match=r"bottom_bracket_height_mm is 180\.0; expected more than crank_length_mm 172\.5"
    ):
        clearances.lean_deg(**{**BICYCLE, "bottom_bracket_height_mm": 180.0}, pedal_outer_edge_mm=168.0)
    with pytest.raises(ValueError, match="pedal_outer_edge_mm is 0"):
        clearances.lean_deg(**BICYCLE, pedal_outer_edge_mm=0.0)


def test_lean_in_words_has_its_limit_and_scope():
    # 16 CFR 1512.17(c): at least 25 degrees, pedal horizontal, crank lowest.
    assert "less than the 25 of 16 CFR 1512.17(c)" in clearances.lean_words(24.9)
    assert "exactly the 25" in clearances.lean_words(25.0)
    assert "more than the 25" in clearances.lean_words(25.1)
    for words in ("pedals horizontal", "at its lowest", "Track and one-of-a-kind bicycles are exempt"):
        assert words in clearances.LEAN_SCOPE
    assert "89 mm" in clearances.TOE_SCOPE
    assert "without foot retention" in clearances.TOE_SCOPE


# --- Gaps ----------------------------------------------------------------------------------------------------------


def test_toe_gap_now_and_after_the_move_against_gtc():
    # GTC, a library for uncertain numbers: the same sum with the same components.
    tyre, toe, move = GTC.ureal(101, 1.0, 4), GTC.ureal(96, 0.8, 6), GTC.ureal(7, 0.5)
    gap = clearances.toe_gap(axle_to_tyre_mm=Quantity(101, ((1.0, 4),)), axle_to_toe_mm=Quantity(96, ((0.8, 6),)))
    after = clearances.toe_gap_after(gap, Quantity(7, ((0.5, math.inf),)))
    for ours, theirs in ((gap, tyre - toe), (after, tyre - toe - move)):
        assert ours.value == theirs.x
        assert ours.u == pytest.approx(theirs.u)
        assert ours.df == pytest.approx(theirs.df)
    assert clearances.gap_words(after.value) == "overlap 2 mm"


def test_a_move_toward_the_heel_closes_the_toe_gap():
    gap = clearances.toe_gap(axle_to_tyre_mm=101, axle_to_toe_mm=96)
    assert gap == exact(5)
    assert clearances.toe_gap_after(gap, 4).value == 1
    assert clearances.toe_gap_after(gap, -4).value == 9


@pytest.mark.parametrize(
    ("gap_mm", "words"),
    [(5.2, "gap 5 mm"), (0.4, "gap under 1 mm"), (0, "touches"), (-0.4, "overlap under 1 mm"), (-2, "overlap 2 mm")],
)
def test_gaps_in_words(gap_mm, words):
    assert clearances.gap_words(gap_mm) == words


@pytest.mark.parametrize(("added_mm", "percent"), [(20, 31), (12.5, 19), (4, 6), (0, 0)])
def test_bending_against_the_published_force_arm(added_mm, percent):
    # Computed from ISO 4210-8's force arm of 65 mm: +20 is 31 %, +12.5 is 19 %, +4 is 6 %.
    assert 100 * (clearances.bending_ratio(added_mm) - 1) == pytest.approx(percent, abs=0.5)
    assert f"by {percent} %" in clearances.bending_words(added_mm)


def test_negative_lever_is_refused():
    with pytest.raises(ValueError, match="added_mm is -3"):
        clearances.bending_ratio(-3)
