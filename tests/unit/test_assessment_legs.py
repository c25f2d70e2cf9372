"""The knock-on printed for a whole session: by a second route, left and right apart, and null where it must be."""

import math
from dataclasses import replace

import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.special import j0

from fitkit import house
from fitkit.assessment import assess

CONSTANT = {
    f"ride.{side}.{name}": value
    for side in ("left", "right")
    for name, value in (("foot_pitch_amplitude_deg", None), ("foot_pitch_phase_deg", None))
}


def ankle(leg, setback, crank_angle):
    """Second route: the ankle's place from the foot's triangle, by complex numbers (x forward, y up)."""
    theta = math.radians(crank_angle)
    pedal = leg["crank"] * complex(math.sin(theta), math.cos(theta))
    pitch = math.radians(leg["mean"] + leg["amplitude"] * math.sin(theta + math.radians(leg["phase"])))
    foot = complex(-(leg["ankle_to_mtp1"] - setback), leg["ankle_height"] + leg["sole"])
    return pedal + foot * complex(math.cos(-pitch), math.sin(-pitch))


def least_flexion(leg, setback, hip_distance):
    """Second route: the straightest knee of the stroke, by the law of cosines and a bounded minimiser."""
    tube = math.radians(leg["seat_tube"])
    hip = hip_distance * complex(-math.cos(tube), math.sin(tube))

    def flexion(angle):
        reach = abs(hip - ankle(leg, setback, angle))
        cosine = (leg["thigh"] ** 2 + leg["shank"] ** 2 - reach**2) / (2 * leg["thigh"] * leg["shank"])
        return 180 - math.degrees(math.acos(max(-1.0, min(1.0, cosine))))

    start = min(range(0, 360, 2), key=flexion)
    return minimize_scalar(flexion, bounds=(start - 3, start + 3), method="bounded", options={"xatol": 1e-10}).fun


def saddle_down(leg, old, new):
    """Second route: two roots by Brent's method."""
    hip = brentq(lambda d: least_flexion(leg, old, d) - leg["flexion"], 500, 900, xtol=1e-9)
    return brentq(lambda s: least_flexion(leg, new, hip - s) - leg["flexion"], -40, 40, xtol=1e-9)


def leg_of(document, side):
    rider, ride = document["rider"][side], document["ride"][side]

    def mean(values):
        return sum(values) / len(values)

    return {
        "thigh": mean(rider["thigh_mm"]),
        "shank": mean(rider["shank_mm"]),
        "ankle_height": mean(rider["ankle_height_mm"]),
        "ankle_to_mtp1": mean(rider["ankle_to_mtp1_mm"]),
        "sole": document["shoes"][side]["axle_to_foot_sole_mm"],
        "crank": document["bike"]["crank_length_mm"],
        "seat_tube": document["bike"]["seat_tube_angle_deg"],
        "mean": ride["foot_pitch_mean_deg"],
        "amplitude": ride["foot_pitch_amplitude_deg"],
        "phase": ride["foot_pitch_phase_deg"],
        "flexion": mean(ride["least_knee_flexion_deg"]),
    }


MOVES = {"decided.moved_mm": {"left": 5, "right": 9}}


@pytest.mark.parametrize(
    ("path", "key", "value"),
    [
        (None, None, None),
        ("ride.left.foot_pitch_amplitude_deg", "amplitude", 3),
        ("rider.left.ankle_height_mm", "ankle_height", [90]),
        ("rider.left.shank_mm", "shank", [400]),
        ("bike.seat_tube_angle_deg", "seat_tube", 71),
    ],
)
def test_saddle_move_is_what_a_second_root_finder_says(assessed, example, path, key, value):
    results = assessed({**MOVES, **({path: value} if path else {})})
    for side, moved in (("left", 5), ("right", 9)):
        leg = leg_of(example, side)
        if path and (side in path.split(".") or path.startswith("bike")):
            leg[key] = value[0] if isinstance(value, list) else value
        found = sum(example["as_found"][side]["cleat_setback_mm"]) / 3
        expected = saddle_down(leg, found, found + moved)
        assert results[f"{side}.height_only.saddle_down"].value == pytest.approx(expected, abs=1e-3)


def test_left_and_right_are_kept_apart(assessed):
    before, after = assessed(MOVES), assessed({**MOVES, "rider.left.shank_mm": [400]})
    assert before["left.height_only.saddle_down"].value != after["left.height_only.saddle_down"].value
    assert before["right.height_only.saddle_down"] == after["right.height_only.saddle_down"]


def test_cleat_back_leg_reaches_further_knee_straighter_saddle_down(assessed):
    results = assessed(MOVES)
    assert results["left.untouched.knee_change"].value < 0
    assert results["left.height_only.saddle_down"].value > 0
    assert results["left.full.saddle_forward"].value > 0


def test_the_full_answer_of_a_swinging_foot_by_a_bessel_function(assessed, example):
    # Abramowitz & Stegun 9.1.18: the mean of cos(a + b sin t) is cos(a) J0(b), of sin sin(a) J0(b).
    results = assessed(MOVES)
    ride = example["ride"]["right"]
    mean, swing = math.radians(ride["foot_pitch_mean_deg"]), math.radians(ride["foot_pitch_amplitude_deg"])
    assert results["right.full.saddle_forward"].value == pytest.approx(9 * math.cos(mean) * j0(swing), abs=1e-6)
    assert results["right.full.saddle_down"].value == pytest.approx(9 * math.sin(mean) * j0(swing), abs=1e-6)


def test_amplitude_and_phase_not_recorded_are_a_foot_that_does_not_swing(assessed):
    results = assessed({**MOVES, **CONSTANT})
    assert results["left.full.saddle_down"].value == pytest.approx(5 * math.sin(math.radians(14)), abs=1e-9)


def test_one_saddle_for_two_legs_and_the_bars_follow(assessed, example):
    results = assessed(MOVES)
    downs = [results[f"{side}.height_only.saddle_down"].value for side in ("left", "right")]
    saddle, bar = results["saddle.height_only.down"], results["bar.height_only.down"]
    assert saddle.value == pytest.approx(sum(downs) / 2)
    sine = math.sin(math.radians(example["bike"]["seat_tube_angle_deg"]))
    assert bar.value == pytest.approx(saddle.value * sine)
    assert any("ask" in note for note in bar.notes)


def test_too_little_room_for_the_bars_is_said(assessed):
    notes = assessed({**MOVES, "bike.bar_room_down_mm": 1})["bar.height_only.down"].notes
    assert any("lack" in note and "room" in note for note in notes)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("rider.left.ankle_height_mm", "ankle height"),
        ("rider.left.shank_mm", "shank"),
        ("rider.left.thigh_mm", "thigh"),
        ("rider.left.ankle_to_mtp1_mm", "ankle to first MTP"),
        ("shoes.left.axle_to_foot_sole_mm", "axle to foot sole"),
        ("bike.seat_tube_angle_deg", "seat-tube angle"),
        ("bike.crank_length_mm", "crank length"),
        ("ride.left.foot_pitch_mean_deg", "foot pitch"),
    ],
)
def test_what_was_not_measured_is_null_with_its_need(assessed, path, words):
    results = assessed({**MOVES, path: None, "rider.stature_mm": None})
    for name in ("untouched.knee_change", "height_only.saddle_down"):
        assert results[f"left.{name}"].value is None
        assert words in results[f"left.{name}"].needs
    if ".left." in path:
        assert results["right.height_only.saddle_down"].is_known
        assert "from the right leg only" in results["saddle.height_only.down"].notes


def test_a_segment_from_stature_is_graded_published_and_wide(assessed):
    measured, guessed = assessed(MOVES), assessed({**MOVES, "rider.left.shank_mm": None})
    estimate = guessed["left.height_only.saddle_down"]
    assert estimate.grade == "published"
    assert any("shank not measured" in note for note in estimate.notes)
    assert measured["left.height_only.saddle_down"].grade == "derived"


def test_a_leg_that_cannot_reach_says_by_how_much(assessed):
    results = assessed({**MOVES, "ride.left.least_knee_flexion_deg": None, "as_found.saddle_height_mm": [860]})
    assert results["left.height_only.saddle_down"].needs.startswith("leg out of reach by ")


def test_without_flexion_the_hip_comes_from_the_saddle_and_says_so(assessed):
    results = assessed({**MOVES, "ride.left.least_knee_flexion_deg": None})
    notes = results["left.height_only.saddle_down"].notes
    assert any("from the saddle height" in note for note in notes)
    assert any("hip above saddle not measured: taken as 75 mm, give or take 25" in note for note in notes)


def test_segments_that_contradict_the_inseam_are_said(assessed):
    needs = assessed({**MOVES, "rider.left.thigh_mm": [528]})["left.height_only.saddle_down"].needs
    assert "segment lengths that agree" in needs


def test_the_lever_is_a_ratio_of_lengths(assessed):
    found = 34 / 3
    lever = assessed(MOVES)["left.calf_lever.ratio"]
    assert lever.value == pytest.approx((176 - found - 5) / (176 - found))
    assert any("no claim" in note for note in lever.notes)


def test_a_shim_at_the_target_lifts_that_leg_alone(assessed):
    before, after = assessed(MOVES), assessed({**MOVES, "decided.left": {"shim_mm": 4}})
    assert after["left.height_only.saddle_down"].value < before["left.height_only.saddle_down"].value
    assert before["right.height_only.saddle_down"] == after["right.height_only.saddle_down"]


def test_the_pitch_habit_usually_dominates(assessed):
    # House rule: within 3 degrees at 95 %. A habit alone moves the ankle by about 150 x sin 3 degrees, 8 mm.
    found = assessed(MOVES)
    habit = found["left.pitch_habit.saddle_down"]
    assert habit.value == 0
    assert 5 < habit.half_width < 12
    # The answer itself is for the pitch kept, with the measuring error alone.
    assert found["left.height_only.saddle_down"].half_width < habit.half_width / 3
    assert "if the foot keeps its pitch" in found["left.height_only.saddle_down"].notes


def test_a_habit_with_the_heel_higher_bends_the_knee_and_asks_for_less_saddle_down(assessed):
    # Derived: the ankle comes up with the heel, so that the knee bends more and the saddle may stay higher.
    found = assessed({**MOVES, "ride.left.least_knee_flexion_deg": [36]})
    knee, saddle = (found[f"left.pitch_habit.{name}"] for name in ("knee_change", "saddle_down"))
    assert knee.low < 0 < knee.high
    assert saddle.low < 0 < saddle.high
    # Halved habit, about half of what it does.
    rules = house.load().rules.model_copy(update={"pitch_habit_95_deg": 1.5})
    visit = replace(found.visit, house=replace(found.visit.house, rules=rules))
    assert assess(visit)["left.pitch_habit.saddle_down"].half_width == pytest.approx(saddle.half_width / 2, rel=0.05)


def test_a_measured_pitch_table_replaces_the_wave(assessed):
    table = [{"crank_angle_deg": angle, "pitch_deg": 20} for angle in (0, 90, 180, 270, 360)]
    results = assessed({**MOVES, "ride.left.foot_pitch_table": table})
    assert results["left.full.saddle_down"].value == pytest.approx(5 * math.sin(math.radians(20)), abs=1e-9)


@pytest.mark.parametrize(
    "changes",
    [
        {"rider.left.thigh_mm": None, "rider.stature_mm": None},
        {"bike.seat_tube_angle_deg": None},
        {"ride.left.least_knee_flexion_deg": None, "as_found.saddle_height_mm": [860]},
        {"ride.left.least_knee_flexion_deg": None, "as_found.saddle_height_mm": None},
    ],
)
def test_the_full_answer_needs_foot_and_cleat_alone(assessed, changes):
    before, after = assessed(MOVES), assessed({**MOVES, **changes})
    assert after["left.full.saddle_down"].value == pytest.approx(before["left.full.saddle_down"].value, abs=1e-9)
    assert after["left.height_only.saddle_down"].value is None


def test_the_hip_is_as_found_and_needs_no_target(assessed):
    # Without a starting point, and under an open sign, the lean still comes from the measured knee.
    before = assessed(MOVES)["left.frontal_lean"]
    without = assessed({"decided": {}, "as_left": {}, "trials": [], "shoes.left.size": 38})
    assert without["left.cleat_setback.start"].value is None
    assert without["left.frontal_lean"].value == pytest.approx(before.value, abs=1e-9)
    stopped = assessed({**MOVES, "signs": [{"sign": "fever", "side": "both"}]})
    assert stopped["left.frontal_lean"] == before


def test_a_leg_out_of_reach_after_the_move_still_says_how_far_the_saddle_comes(assessed):
    changes = {"ride.left.least_knee_flexion_deg": [2], "decided.moved_mm": {"left": 9, "right": 0}}
    results = assessed(changes)
    assert "after the move" in results["left.untouched.knee_change"].needs
    assert results["left.height_only.saddle_down"].value > 0
    assert results["left.frontal_lean"].is_known


def test_a_pitch_table_with_gaps_is_said_and_spoils_nothing_else(assessed):
    table = [{"crank_angle_deg": angle, "pitch_deg": 20} for angle in (0, 45, 180)]
    results = assessed({**MOVES, "ride.left.foot_pitch_table": table})
    assert "foot pitch table without gaps" in results["left.full.saddle_down"].needs
    assert results["right.full.saddle_down"].is_known
    assert results["left.frontal_lean"].is_known
