"""The cleat's numbers: anchors of the trade, geometry by a second route, and what must always hold."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.calculations import cleats
from fitkit.calculations.readings import Quantity

RULE = {
    "low_at_eu_40_mm": 10,
    "per_size_mm": 1.5,
    "high_above_low_mm": 5,
    "point_above_low_mm": 2,
    "below_point_high_mm": 15,
    "least_size": 36,
    "point_from_size": 40,
    "extrapolated_above_size": 47,
    "greatest_size": 50,
}
millimetres = st.floats(-40, 60)
degrees = st.floats(-30, 30)


@pytest.mark.parametrize(("size", "low", "high"), [(40, 10, 15), (42, 13, 18)])
def test_starting_band_at_the_anchors(size, low, high):
    # Common practice, no source: EU 40, 10 to 15; EU 42, 13 to 18.
    band = cleats.starting_band(size, **RULE)
    assert (band.low, band.high) == (low, high)


def test_starting_point_for_an_unknown_rider_at_42():
    # Common practice, no source: about 15 at EU 42.
    assert cleats.starting_band(42, **RULE).point == 15


def test_a_large_foot_begins_behind_20():
    # Common practice, no source: EU 47, more than 20.
    assert cleats.starting_band(47, **RULE).low > 20


def test_small_feet_get_a_spread_and_no_point():
    band = cleats.starting_band(38, **RULE)
    assert (band.low, band.high, band.point) == (7, 15, None)


def test_above_47_is_extrapolated_and_outside_36_to_50_is_nothing():
    assert cleats.starting_band(48, **RULE).is_extrapolated
    assert not cleats.starting_band(47, **RULE).is_extrapolated
    assert cleats.starting_band(35.5, **RULE) is None
    assert cleats.starting_band(50.5, **RULE) is None


@given(st.floats(40, 49.9), st.floats(0.01, 0.1))
def test_a_bigger_foot_never_begins_further_forward(size, more):
    # Common practice, no source: bigger feet, more setback.
    assert cleats.starting_band(size + more, **RULE).low >= cleats.starting_band(size, **RULE).low


def test_a_size_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="size_eu is nan"):
        cleats.starting_band(math.nan, **RULE)


def test_contrary_shifts_leave_the_point_where_it_is():
    band = cleats.starting_band(42, **RULE)
    assert cleats.shift_to(band, {"high"}) == (18, False)
    assert cleats.shift_to(band, {"low", "none"}) == (13, False)
    assert cleats.shift_to(band, {"high", "low"}) == (15, True)
    assert cleats.shift_to(band, set()) == (15, False)


def forward_of_axle_by_matrix(side, s, b, toe_out):
    """Second route: put the foot on the bicycle (x forward, z to the right) and turn it by a rotation matrix."""
    outward = 1 if side == "right" else -1
    joint = np.array([s, -outward * b])  # ahead of the cleat, to the big-toe side: toward the frame
    angle = np.radians(toe_out) * outward
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return (turn @ joint)[0]


@pytest.mark.parametrize("side", ["left", "right"])
@given(s=millimetres, b=millimetres, toe_out=degrees)
def test_square_to_the_axle_by_a_rotation_matrix(side, s, b, toe_out):
    ours = cleats.square_to_axle(s, b, toe_out)
    assert ours == pytest.approx(forward_of_axle_by_matrix(side, s, b, toe_out), abs=1e-9)


def test_turning_the_toes_outward_carries_the_joint_forward():
    assert cleats.square_to_axle(15, 33, 6) > cleats.square_to_axle(15, 33, 0) == 15


@given(millimetres, millimetres)
def test_a_move_and_its_reverse_cancel(new, old):
    there = cleats.move_between_marks(Quantity(new), Quantity(old)).value
    back = cleats.move_between_marks(Quantity(old), Quantity(new)).value
    assert there == pytest.approx(-back)


@given(millimetres, st.floats(0, 20), st.floats(0, 20), st.floats(0.1, 3))
def test_shortfall_is_what_holding_inside_took_away(target, least, length, u):
    greatest = least + length
    value, low, high = cleats.shortfall(Quantity(target - greatest, ((u, 5),)), Quantity(target - least, ((u, 5),)))
    held = min(max(target, least), greatest)
    assert value == pytest.approx(target - held, abs=1e-9)
    assert low <= value <= high


def test_float_is_shared_out_by_the_natural_angle():
    # Drawn case: 6 degrees of float, foot hangs 2 degrees further out than the cleat: 1 left heel-in, 5 heel-out.
    free = cleats.free_rotation(6, Quantity(8), Quantity(6))
    assert (free.heel_in.value, free.heel_out.value) == (1, 5)


@given(st.floats(0, 15), degrees, degrees)
def test_free_rotations_add_up_to_the_float(play, natural, cleat):
    free = cleats.free_rotation(play, Quantity(natural), Quantity(cleat))
    assert free.heel_in.value + free.heel_out.value == pytest.approx(play)


def test_a_negative_float_is_refused():
    with pytest.raises(ValueError, match="float_deg is -1"):
        cleats.free_rotation(-1, Quantity(0), Quantity(0))
