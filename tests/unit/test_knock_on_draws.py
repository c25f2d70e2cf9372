"""Thousands of draws of one leg: each is the single leg, intervals against GTC, memory bounded."""

from __future__ import annotations

import tracemalloc
from dataclasses import fields, replace

import numpy as np
import pytest
from GTC import ureal

from fitkit.calculations.knock_on import (
    POSES_AT_ONCE,
    calf_lever_ratio,
    full_saddle_move,
    height_only_saddle_down,
    hip_distance_as_found,
    over_draws,
    untouched_knee_change,
)
from fitkit.calculations.stroke import BikeGeometry, Chain, Cleat, Leg, Pitch, greatest_hip_distance

LEAST = 35.0


def rider(setback_mm: float = 15.0, **pitch: object) -> Chain:
    """Thigh = shank 430, crank 172.5, seat tube 73; at setback 15 the ankle is 168 behind the axle and 95 above it."""
    return Chain(
        leg=Leg(thigh_mm=430.0, shank_mm=430.0, ankle_to_mtp1_mm=183.0, ankle_height_mm=73.0),
        cleat=Cleat(setback_mm=setback_mm, axle_to_foot_sole_mm=22.0),
        pitch=Pitch(**(pitch or {"mean_deg": 15.0})),
        bike=BikeGeometry(crank_mm=172.5, seat_tube_angle_deg=73.0),
    )


def with_cleat(chain: Chain, **changes: float) -> Chain:
    return replace(chain, cleat=replace(chain.cleat, **changes))


AS_FOUND, MOVED = rider(15.0), rider(25.0)
HIP_MM = hip_distance_as_found(AS_FOUND, least_knee_flexion_deg=LEAST)


def drawn(count: int, *, habit_sd_deg: float = 3.0 / 1.96) -> tuple[Chain, Chain, np.ndarray]:
    random = np.random.default_rng(0)

    def normal(mean: float, sd: float) -> np.ndarray:
        return mean + sd * random.standard_normal(count)

    before = Chain(
        leg=Leg(
            thigh_mm=normal(430, 3),
            shank_mm=normal(430, 3),
            ankle_to_mtp1_mm=normal(183, 1),
            ankle_height_mm=normal(73, 1),
        ),
        cleat=Cleat(setback_mm=normal(15, 1.6), axle_to_foot_sole_mm=22.0),
        pitch=Pitch(mean_deg=normal(15, 1), amplitude_deg=normal(12, 1), phase_deg=20.0),
        bike=BikeGeometry(crank_mm=172.5, seat_tube_angle_deg=normal(73, 1)),
    )
    habit = replace(before.pitch, habit_deg=normal(0, habit_sd_deg))
    return before, replace(with_cleat(before, setback_mm=25.0), pitch=habit), normal(LEAST, 1)


def one_of(chain: Chain, row: int) -> Chain:
    def pick(part: object) -> object:
        values = {field.name: getattr(part, field.name) for field in fields(part)}
        return replace(
            part, **{name: float(v[row]) for name, v in values.items() if isinstance(v, np.ndarray) and v.ndim}
        )

    return Chain(**{name: pick(getattr(chain, name)) for name in ("leg", "cleat", "pitch", "bike")})


def hips(chain: Chain, least: np.ndarray) -> np.ndarray:
    """Return where the hip is, as the assessment finds it: a draw beyond a straight knee counts as straight."""
    return greatest_hip_distance(chain, least_knee_flexion_deg=np.maximum(least, 0.0))


def test_each_draw_is_the_single_leg_across_chunks():
    count = 2 * (POSES_AT_ONCE // 360) + 5
    before, after, least = drawn(count)
    distance = hips(before, least)
    draws = over_draws(before, after, hip_distance_mm=distance)
    for row in (0, 1, POSES_AT_ONCE // 360, count - 1):
        single = one_of(before, row), one_of(after, row)
        hip = hip_distance_as_found(single[0], least_knee_flexion_deg=float(least[row]))
        assert distance[row] == pytest.approx(hip, abs=1e-9)
        assert draws.knee_change_deg[row] == pytest.approx(
            untouched_knee_change(*single, hip_distance_mm=hip), abs=1e-6
        )
        assert draws.height_only_down_mm[row] == pytest.approx(
            height_only_saddle_down(*single, hip_distance_mm=hip), abs=1e-6
        )


def test_pitch_habit_usually_matters_more_than_everything_else():
    def width(habit_sd_deg: float) -> float:
        before, after, least = drawn(2000, habit_sd_deg=habit_sd_deg)
        down = over_draws(before, after, hip_distance_mm=hips(before, least), steps=120).height_only_down_mm
        return np.ptp(np.percentile(down, [2.5, 97.5]))

    assert width(3.0 / 1.96) > 2.0 * width(0.0)


def test_draw_out_of_reach_counts_as_a_straight_knee():
    # Hips from far below reach to far above it; the leg reaches up to `straight`.
    straight = hip_distance_as_found(AS_FOUND, least_knee_flexion_deg=0.0)
    draws = over_draws(AS_FOUND, MOVED, hip_distance_mm=np.array([HIP_MM, straight + 5.0, straight + 80.0]))
    assert draws.knee_change_deg[1:] == pytest.approx(0.0, abs=1e-4)
    assert draws.height_only_down_mm[1] == pytest.approx(draws.height_only_down_mm[2])
    assert np.all(np.isfinite(draws.height_only_down_mm))


def test_flexion_drawn_below_zero_counts_as_a_straight_knee():
    draws = over_draws(AS_FOUND, MOVED, hip_distance_mm=hips(AS_FOUND, np.array([-2.0, 0.0])))
    assert draws.height_only_down_mm[0] == draws.height_only_down_mm[1]


def test_interval_of_the_full_move_where_it_is_linear_against_gtc():
    # Constant pitch known exactly: forward = (new - old) cos p, so the old cleat setback's u goes through linearly.
    count, u = 40_000, 1.6
    setback = 15.0 + u * np.random.default_rng(1).standard_normal(count)
    found = full_saddle_move(with_cleat(AS_FOUND, setback_mm=setback), MOVED, steps=12)
    forward = (25.0 - ureal(15.0, u)) * np.cos(np.deg2rad(15.0))
    low, high = np.percentile(found.forward_mm, [2.5, 97.5])
    assert (high + low) / 2 == pytest.approx(forward.x, abs=0.03)
    assert (high - low) / 2 == pytest.approx(1.96 * forward.u, rel=0.02)


def test_interval_of_the_lever_for_small_errors_against_gtc():
    random, count = np.random.default_rng(2), 40_000
    ankle, old = 183.0 + random.standard_normal(count), 15.0 + 1.6 * random.standard_normal(count)
    drawn_ratio = calf_lever_ratio(ankle, old_setback_mm=old, new_setback_mm=25.0)
    a, s = ureal(183.0, 1.0), ureal(15.0, 1.6)
    assert np.std(drawn_ratio) == pytest.approx(((a - 25.0) / (a - s)).u, rel=0.03)


@pytest.mark.parametrize("count", [200, 2000])
def test_memory_of_draws_is_bounded(count):
    # One array of 2000 draws x 720 angles alone would be 11.5 MB; the chunks keep to 8 MB whatever the count.
    before, after, least = drawn(count)
    distance = hips(before, least)
    tracemalloc.start()
    over_draws(before, after, hip_distance_mm=distance, steps=720)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak - 2 * 8 * count < 8e6


def test_draws_of_two_lengths_are_refused():
    with pytest.raises(ValueError, match=r"lengths \[3, 4\]"):
        over_draws(with_cleat(AS_FOUND, setback_mm=np.zeros(3)), MOVED, hip_distance_mm=np.full(4, HIP_MM))
