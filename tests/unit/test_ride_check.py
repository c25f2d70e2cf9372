"""The knee's track against synthetic points whose answer is known, under noise, missing frames and bad films."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fitkit.calculations import ride_check
from fitkit.calculations.film_points import film_problems, find_turns
from fitkit.calculations.ride_check import (
    effective_turns,
    knee_from_ruler,
    knee_track,
    travel_change,
)

CRANK_MM = 172.5
DENSE = np.radians(np.linspace(0, 360, 36001))


def place(angle):
    """Return an invented knee's place outward of its pedal [mm]: 12 on the mean, two waves a turn."""
    return 12 + 6 * np.cos(angle - 0.3) + 2 * np.cos(2 * angle + 0.5)


OFFSET, TRAVEL = 12.0, float(np.ptp(place(DENSE)))
PULL = float(place(0.0) - place(DENSE[:18001]).min())


def film(*, seconds=12.0, frames_per_s=30.0, rpm=88.0, noise_mm=0.0, uneven=False, rng=None):
    """Return a synthetic film of one side: the crank turns evenly, or speeds up and slows down."""
    rng = rng or np.random.default_rng(0)
    time = np.arange(0, seconds, 1 / frames_per_s)
    angle = 1.0 + 2 * np.pi * rpm / 60 * time
    if uneven:
        angle = angle + 0.5 * np.sin(0.7 * time) + 0.08 * np.sin(2 * angle)
    points = {
        "knee_outward_mm": 3 + place(angle),
        "pedal_outward_mm": 3 + 0 * time,
        "pedal_up_mm": CRANK_MM * np.cos(angle),
    }
    return {"time_s": time, **{name: values + rng.normal(0, noise_mm, time.size) for name, values in points.items()}}


def track(points, **options):
    return knee_track(**points, problems=film_problems(**points, **options), house_sd_mm=1.0)


def test_a_track_without_noise_gives_back_what_was_put_in():
    found = track(film(), crank_length_mm=CRANK_MM)
    assert found.needs is None
    assert found.offset_mm.value == pytest.approx(OFFSET, abs=0.05)
    assert found.travel_mm.value == pytest.approx(TRAVEL, abs=0.1)
    assert found.inward_pull_mm.value == pytest.approx(PULL, abs=0.1)
    assert [turn.cadence_rpm for turn in found.revolutions] == pytest.approx([88] * 16, abs=0.3)
    # 16 turns alike: the interval is that of one reading's spread, never zero.
    assert found.offset_mm.high - found.offset_mm.value == pytest.approx(2.131 / 4, abs=0.001)


def test_noise_and_missing_frames_leave_the_answer_inside_its_interval():
    held = np.zeros(3)
    for seed in range(40):
        rng = np.random.default_rng(seed)
        points = film(noise_mm=2, uneven=True, rng=rng)
        points["knee_outward_mm"][rng.random(points["time_s"].size) < 0.1] = np.nan
        points["pedal_up_mm"][rng.random(points["time_s"].size) < 0.05] = np.nan
        found = track(points)
        pairs = ((found.offset_mm, OFFSET), (found.travel_mm, TRAVEL), (found.inward_pull_mm, PULL))
        held += [ends.low <= known <= ends.high for ends, known in pairs]
    assert np.all(held >= 0.85 * 40)  # 95 %, less the scatter of 40


def test_missing_frames_stay_missing():
    points = film()
    gap = (points["time_s"] > 3) & (points["time_s"] < 4.2)
    points["knee_outward_mm"][gap] = np.nan
    found = track(points)
    assert np.isnan(np.array(found.place_mm)[gap]).all()
    left_out = [turn for turn in found.revolutions if turn.needs]
    assert 2 <= len(left_out) <= 3
    assert all(turn.travel_mm is None and "frames missing from" in turn.needs for turn in left_out)
    assert found.notes[0].startswith(f"{np.count_nonzero(gap)} of 360 frames lack the knee or the pedal")
    assert found.travel_mm.value == pytest.approx(TRAVEL, abs=0.1)


def test_frames_that_were_never_taken_are_said():
    points = film()
    kept = (points["time_s"] < 3) | (points["time_s"] > 5)
    found = track({name: values[kept] for name, values in points.items()})
    assert "no frames from 2.97 to 5.03 s" in found.notes
    assert all(not 3 < turn.start_s < 5 for turn in found.revolutions)


@given(st.floats(35, 130), st.floats(0, 2 * math.pi), st.floats(-300, 300))
def test_tops_and_bottoms_are_where_the_pedal_was_put(rpm, start, middle):
    time = np.arange(0, 6, 1 / 30)
    turn = 2 * np.pi * rpm / 60
    found = find_turns(time_s=time, pedal_up_mm=middle + CRANK_MM * np.cos(start + turn * time))
    tops, bottoms, next_tops = np.array(found).T
    assert np.array_equal(tops[1:], next_tops[:-1])
    tops = [*tops, next_tops[-1]]
    angles = np.degrees(start + turn * np.array(tops)) % 360
    assert len(tops) >= int(6 * rpm / 60) - 1
    assert np.minimum(angles, 360 - angles).max() < 4
    assert np.abs(np.degrees(start + turn * bottoms) % 360 - 180).max() < 4


def test_a_pedal_that_stands_still_has_no_turns():
    assert find_turns(time_s=[0, 1, 2, 3], pedal_up_mm=[5, 5, 5, 5]) == ()
    assert find_turns(time_s=[0, 1, 2], pedal_up_mm=[5, math.nan, 6]) == ()


def swapped(points):
    still = points["pedal_outward_mm"] + np.cos(points["time_s"])  # a pedal shakes by a millimetre
    return {**points, "pedal_outward_mm": points["pedal_up_mm"], "pedal_up_mm": still}


def times_three(points):
    return {name: values if name == "time_s" else 3 * values for name, values in points.items()}


def other_rider(points):
    knee = points["knee_outward_mm"].copy()
    knee[100:110] += 700
    return {**points, "knee_outward_mm": knee}


def one_a_second(points):
    return {name: values[::30] for name, values in points.items()}


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (swapped, "are the axes swapped"),
        (times_three, r"half of the pedal's way up and down is 51\d mm; expected 155 to 190"),
        (other_rider, r"the knee jumps \d\d\d mm at 3\.333 s: a second rider's point"),
        (one_a_second, "frames are 1 s apart"),
        (
            lambda p: {**p, "knee_outward_mm": p["knee_outward_mm"] + 700},
            r"the knee is 71\d mm sideways from the pedal",
        ),
        (lambda p: {**p, "pedal_up_mm": 0 * p["pedal_up_mm"]}, "the pedal does not move up and down"),
    ],
)
def test_a_film_that_cannot_be_right_is_said_and_gives_no_number(spoil, message):
    found = track(spoil(film()), crank_length_mm=CRANK_MM)
    assert found.needs.startswith("a film without this: ")
    assert (found.offset_mm, found.travel_mm, found.inward_pull_mm) == (None, None, None)
    assert re.search(message, found.needs)


def test_a_film_of_fewer_than_five_turns_is_not_enough():
    assert track(film(seconds=2)).needs == "5 whole turns with the knee in sight; found 1"


@pytest.mark.parametrize("frames_a_second", [20, 30])
def test_scatter_in_digitising_hardly_makes_the_travel_look_greater(frames_a_second):
    # Derived: 16 mm of travel, points that scatter by 2 mm; uncorrected the travel reads .5 to .9 mm too great.
    rng, found = np.random.default_rng(5), []
    time = np.arange(0, 10, 1 / frames_a_second)
    angle = 2 * np.pi * 1.4 * time
    for _ in range(40):
        knee = 100 + 8 * np.cos(angle) + rng.normal(0, 2, time.size)
        seen = {"pedal_outward_mm": np.full(time.size, 100.0), "pedal_up_mm": CRANK_MM * np.cos(angle)}
        found.append(
            knee_track(time_s=time, knee_outward_mm=knee, **seen, problems=(), house_sd_mm=1.0).travel_mm.value
        )
    assert np.mean(found) == pytest.approx(16, abs=0.3)


def test_turns_that_follow_one_another_closely_count_as_fewer():
    # n (1 - r) / (1 + r): an autoregression of .6 leaves a quarter of a long series, none leaves nearly all of it.
    rng = np.random.default_rng(1)
    steps = rng.normal(0, 1, 4000)
    followed = [0.0]
    for step in steps:
        followed.append(0.6 * followed[-1] + step)
    assert effective_turns(followed) == pytest.approx(1000, rel=0.12)
    assert effective_turns(steps) > 3600


def test_a_change_of_travel_between_two_films_is_welch_s_difference():
    # Turns alike: the house SD of 1.0 mm over n of them, n - 1 degrees of freedom each, by Welch and Satterthwaite.
    one = track(film())
    less = film()
    less["knee_outward_mm"] = less["pedal_outward_mm"] + 0.5 * (less["knee_outward_mm"] - less["pedal_outward_mm"])
    change, n = travel_change(one, track(less)), len(one.revolutions)
    assert change.value == pytest.approx(-TRAVEL / 2, abs=0.2)
    half = stats.t.ppf(0.975, 2 * (n - 1)) * math.sqrt(2 / n)
    assert change.high - change.value == pytest.approx(half, rel=0.01)
    assert travel_change(one, track(film(seconds=2))) is None


def test_points_that_do_not_belong_together_are_refused():
    points = film()
    with pytest.raises(ValueError, match="360, 359, 360, 360"):
        track({**points, "knee_outward_mm": points["knee_outward_mm"][1:]})
    with pytest.raises(ValueError, match="360 entries that must rise"):
        track({**points, "time_s": points["time_s"][::-1]})


def test_a_ruler_on_a_paused_film_gives_the_least_travel():
    found = knee_from_ruler(top_mm=[18, 20, 19], bottom_mm=[8, 9, 7], house_sd_mm=1.0)
    assert (found.offset_mm.value, found.travel_mm.value, found.inward_pull_mm.value) == (13.5, 11, 11)
    assert found.travel_mm.low == found.inward_pull_mm.low > 0
    assert "least it can be" in found.notes[0]


def test_one_turn_on_a_ruler_has_the_interval_of_the_house():
    found = knee_from_ruler(top_mm=[12], bottom_mm=[15], house_sd_mm=1.0)
    # t(.975, 4) = 2.776, two readings: 2.776 sqrt(2).
    assert found.inward_pull_mm.value == -3
    assert found.inward_pull_mm.high - found.inward_pull_mm.value == pytest.approx(2.776 * math.sqrt(2), abs=0.001)
    assert (found.travel_mm.value, found.travel_mm.low) == (3, 0)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=1, max_size=6))
def test_travel_on_a_ruler_is_the_size_of_the_pull(pairs):
    found = knee_from_ruler(top_mm=[a for a, _ in pairs], bottom_mm=[b for _, b in pairs], house_sd_mm=1.0)
    assert found.travel_mm.value == abs(found.inward_pull_mm.value)
    assert found.travel_mm.low <= found.travel_mm.value <= found.travel_mm.high


@pytest.mark.parametrize(
    ("top", "bottom", "message"),
    [
        ([12, 13], [8], "2 offsets at the top and 1 at the bottom"),
        ([], [], "0 offsets"),
        ([412], [8], "top_mm is 412"),
        ([12], [math.nan], "bottom_mm is nan"),
    ],
)
def test_ruler_readings_that_cannot_be_right_are_refused(top, bottom, message):
    with pytest.raises(ValueError, match=message):
        knee_from_ruler(top_mm=top, bottom_mm=bottom, house_sd_mm=1.0)


def test_both_published_findings_stand_beside_it():
    # Conference abstract, 8 cyclists: 8 (3) and 14 (5) mm; Branco 2023, 50 riders: no link.
    first, second = ride_check.PUBLISHED_FINDINGS
    assert "8 (3) mm" in first
    assert "14 (5) mm" in first
    assert "no link" in second
