"""Half-stance and lean against outside libraries, published rows and a second route."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.calculations import stance
from fitkit.calculations.readings import Quantity, exact
from fitkit.calculations.stance import SideLengths

FACE_LEFT, FACE_RIGHT = Quantity(73.0, ((0.7, 8),)), Quantity(77.0, ((0.7, 8),))
Q = Quantity(150.0, ((1.1, 5),))
OUT_LEFT, OUT_RIGHT = Quantity(1.0, ((1.0, 4),)), Quantity(-2.0, ((0.6, 11),))


def side(face, out, **changes):
    whole = {"washer_mm": 2.0, "extender_mm": 0.0, "spindle_to_cleat_centre": 53.0, **changes}
    return SideLengths(crank_face=face, shoe_outward=out, **whole)


def gtc(quantity):
    ((u, df),) = quantity.components
    return GTC.ureal(quantity.value, u, df)


def half_stances(**measured):
    return stance.stance(**measured, uneven_crank_sd_mm=1.0)


# --- Half-stance ---------------------------------------------------------------------------------------------------


def expected(case):
    """Return left and right half-stance as GTC sees them, each shared input one uncertain number."""
    left, right, q, out_left, out_right = (gtc(v) for v in (FACE_LEFT, FACE_RIGHT, Q, OUT_LEFT, OUT_RIGHT))
    uneven = GTC.ureal(0, 1.0)  # house SD of a crank face about half of Q, opposite on the two sides
    faces = {
        "both": (left, right),
        "left and Q": (left, q - left),
        "right and Q": (q - right, right),
        "Q": (q / 2 + uneven, q / 2 - uneven),
    }[case]
    return faces[0] + 55 + out_left, faces[1] + 55 + out_right


@pytest.mark.parametrize("case", ["both", "left and Q", "right and Q", "Q"])
def test_sums_and_their_intervals_against_gtc(case):
    # GTC, a library for uncertain numbers (JCGM 100): value, standard uncertainty, degrees of freedom.
    found = half_stances(
        left=side(FACE_LEFT if case in ("both", "left and Q") else None, OUT_LEFT),
        right=side(FACE_RIGHT if case in ("both", "right and Q") else None, OUT_RIGHT),
        q_factor=None if case == "both" else Q,
    )
    left, right = expected(case)
    pairs = [
        (found.left.quantity, left),
        (found.right.quantity, right),
        (found.width, left + right),
    ]
    if case == "Q":
        assert (found.difference, found.difference_needs) == (None, "crank faces")
    else:
        pairs.append((found.difference, left - right))
    for ours, theirs in pairs:
        assert ours.value == pytest.approx(theirs.x)
        assert ours.u == pytest.approx(theirs.u)
        assert ours.df == pytest.approx(theirs.df)


def test_what_was_assumed_is_said():
    bare = SideLengths(spindle_to_cleat_centre=53.0)
    found = half_stances(left=bare, right=bare, q_factor=Q)
    assert found.left.quantity.value == 128
    notes = " ".join(found.left.notes)
    for words in ("half the Q factor", "washer not recorded", "extender not recorded", "side position of the cleat"):
        assert words in notes
    assert found.difference is None
    one = half_stances(left=side(FACE_LEFT, OUT_LEFT), right=side(None, OUT_RIGHT), q_factor=Q)
    assert one.right.notes == ("right crank face not measured: the Q factor less the left one",)
    assert one.left.notes == ()


def test_lengths_are_labelled_from_the_centreline_outward():
    found = half_stances(left=side(FACE_LEFT, OUT_LEFT, extender_mm=20.0), right=side(None, OUT_RIGHT), q_factor=Q)
    assert found.left.lengths_mm == (
        ("left crank face", 73.0),
        ("washer", 2.0),
        ("extender", 20.0),
        ("spindle to cleat centre", 53.0),
        ("shoe outward", 1.0),
    )
    for each in (found.left, found.right):
        assert sum(length for _, length in each.lengths_mm) == pytest.approx(each.quantity.value)


def test_a_face_on_one_side_only_is_said_and_the_rest_made():
    found = half_stances(left=side(FACE_LEFT, OUT_LEFT), right=side(None, OUT_RIGHT), q_factor=None)
    assert found.left.quantity.value == 129
    assert found.right.quantity is None
    assert found.right.needs == "crank face to centreline or Q factor"
    assert (found.width, found.difference) == (None, None)
    assert found.notes == ("crank face measured on the left only: measure the right one or the Q factor",)


def test_no_spindle_length_is_named():
    found = half_stances(left=SideLengths(), right=side(FACE_RIGHT, OUT_RIGHT), q_factor=None)
    assert found.left.needs == "crank face to centreline or Q factor and spindle to cleat centre"


@pytest.mark.parametrize(("apart", "is_said"), [(0, False), (0.99, False), (-0.99, False), (1.01, True), (-1.01, True)])
def test_faces_and_q_that_differ_by_more_than_their_errors_are_said(apart, is_said):
    # GTC's 95 % half-width of the sum of both faces, the Q factor taken as exact.
    total = gtc(FACE_LEFT) + gtc(FACE_RIGHT)
    q_mm = 150 + apart * GTC.reporting.k_factor(total.df) * total.u
    found = half_stances(left=side(FACE_LEFT, OUT_LEFT), right=side(FACE_RIGHT, OUT_RIGHT), q_factor=exact(q_mm))
    assert bool(found.notes) is is_said
    if is_said:
        assert f"the crank faces come to 150.0 mm, the Q factor is {q_mm:.1f}" in found.notes[0]
    assert found.left.quantity.value == 129


def test_left_and_right_are_alike():
    # Derived: swapping the sides swaps the half-stances and turns the difference round.
    one = half_stances(left=side(FACE_LEFT, OUT_LEFT), right=side(None, OUT_RIGHT), q_factor=Q)
    other = half_stances(left=side(None, OUT_RIGHT), right=side(FACE_LEFT, OUT_LEFT), q_factor=Q)
    assert one.left.quantity == other.right.quantity
    assert one.width.value == other.width.value
    assert one.width.u == pytest.approx(other.width.u)
    assert one.difference.value == -other.difference.value


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"left": side(exact(-73), OUT_LEFT)}, "left.crank_face_to_centreline_mm is -73.0"),
        ({"q_factor": exact(math.nan)}, "q_factor_mm is nan"),
        ({"left": side(None, OUT_LEFT), "q_factor": exact(70)}, "q_factor_mm is 70.0; expected more than the right"),
        ({"left": side(FACE_LEFT, OUT_LEFT, washer_mm=-2.0)}, "washer_mm is -2.0"),
        ({"left": side(FACE_LEFT, OUT_LEFT, extender_mm=math.inf)}, "extender_mm is inf"),
    ],
)
def test_absurd_lengths_are_refused(changes, words):
    whole = {"left": side(FACE_LEFT, OUT_LEFT), "right": side(FACE_RIGHT, OUT_RIGHT), "q_factor": None, **changes}
    with pytest.raises(ValueError, match=words):
        half_stances(**whole)


def test_candidates_are_told_in_no_order_of_merit():
    found = stance.candidates(252.0, foot_hang_mm=240.0, left_wish_mm=4.0, right_wish_mm=None)
    assert [(c.name, c.width_mm, c.left_change_mm, c.right_change_mm) for c in found] == [
        ("as found", 252.0, 0.0, 0.0),
        ("feet as they hang", 240.0, -6.0, -6.0),
        ("the fitter's own", 256.0, 4.0, 0.0),
    ]
    assert len(stance.candidates(252.0, foot_hang_mm=None, left_wish_mm=None, right_wish_mm=None)) == 1


# --- Lean ----------------------------------------------------------------------------------------------------------


def test_lean_of_a_drawn_case():
    # Drawn: 50 out on 866.03 down is 3.304 degrees; straight below the hip it is 0; inside it is negative.
    drawn = {"hip_spacing_mm": 160.0, "hip_height_mm": 693.53, "crank_length_mm": 172.5}
    assert stance.frontal_lean_deg(half_stance_mm=130.0, **drawn) == pytest.approx(3.304, abs=5e-4)
    assert stance.frontal_lean_deg(half_stance_mm=80.0, **drawn) == 0
    assert stance.frontal_lean_deg(half_stance_mm=70.0, **drawn) < 0


@given(st.floats(90, 160), st.floats(130, 200), st.floats(500, 900), st.floats(60, 85), st.floats(150, 190))
def test_lean_by_vectors(half, spacing, distance, tube, crank):
    # Second route: the angle between the vector from hip to foot, seen from the front, and straight down.
    hip = np.array([spacing / 2, distance * math.cos(math.radians(90 - tube))])
    foot = np.array([half, -crank])
    leg = (foot - hip) / np.linalg.norm(foot - hip)
    angle = math.degrees(math.acos(min(1.0, float(leg @ np.array([0.0, -1.0])))))
    height = stance.hip_height_mm(distance, tube)
    found = stance.frontal_lean_deg(
        half_stance_mm=half, hip_spacing_mm=spacing, hip_height_mm=height, crank_length_mm=crank
    )
    assert abs(found) == pytest.approx(angle, abs=1e-5)
    assert (found > 0) == (half > spacing / 2)


def test_lean_takes_draws():
    halves = np.array([120.0, 126.0, 132.0])
    found = stance.frontal_lean_deg(
        half_stance_mm=halves, hip_spacing_mm=160.0, hip_height_mm=780.0, crank_length_mm=172.5
    )
    assert found.shape == (3,)
    assert np.all(np.diff(found) > 0)


def test_a_hip_below_the_pedal_is_refused():
    with pytest.raises(ValueError, match=r"hip_height_mm is -180\.0"):
        stance.frontal_lean_deg(half_stance_mm=126.0, hip_spacing_mm=160.0, hip_height_mm=-180.0, crank_length_mm=172.5)
