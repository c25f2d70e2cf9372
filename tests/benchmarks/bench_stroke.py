"""Poses per second of the closed chain on one core, as ratios in one run. Run: python tests/benchmarks/bench_stroke.py

The same riders, each at all crank angles, three ways:
- solved in closed form, in chunks of about 8,000 poses;
- solved pose by pose by `scipy.optimize.root` from the loop equations, started at the bottom of the stroke;
- copied: the arrays a pose takes or gives (crank angle, pitch, six results), by NumPy, in the same chunks.
Goals: at least 400 times the solver, at most 20 times the copy. Then the draws of a record, and their memory.
"""

from __future__ import annotations

import math
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import root

from fitkit.calculations.knock_on import over_draws
from fitkit.calculations.stroke import (
    BikeGeometry,
    Chain,
    Cleat,
    HipCentre,
    Leg,
    Pitch,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    solve_pose,
)

STEPS = 360
RIDERS_A_CHUNK = 22
POSES = RIDERS_A_CHUNK * STEPS
REPEATS = 500  # a chunk takes less than a millisecond: some run without being interrupted
SOLVED_POSES = 720


def riders(count: int) -> Chain:
    """Invented riders, an entry each."""
    random = np.random.default_rng(0)

    def around(mean: float, sd: float) -> np.ndarray:
        return mean + sd * random.standard_normal(count)

    return Chain(
        leg=Leg(
            thigh_mm=around(430, 15),
            shank_mm=around(430, 15),
            ankle_to_mtp1_mm=around(180, 6),
            ankle_height_mm=around(72, 4),
        ),
        cleat=Cleat(setback_mm=around(15, 4), axle_to_foot_sole_mm=around(22, 2)),
        pitch=Pitch(mean_deg=around(15, 4), amplitude_deg=around(12, 3), phase_deg=around(20, 10)),
        bike=BikeGeometry(crank_mm=around(172.5, 2), seat_tube_angle_deg=around(73, 0.7)),
    )


def best_seconds(function: Callable[[], object], repeats: int) -> float:
    """Least of several times: what the machine can do when nobody else is at it."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        best = min(best, time.perf_counter() - start)
    return best


def closed_form(chain: Chain, hip: HipCentre) -> float:
    """Seconds a pose."""
    angles = crank_angles(STEPS)
    return best_seconds(lambda: solve_pose(chain, hip=hip, crank_angle_deg=angles), REPEATS) / POSES


def copied(arrays: int) -> float:
    """Seconds a pose to copy so many arrays."""
    sources = [np.random.default_rng(i).random((RIDERS_A_CHUNK, STEPS)) for i in range(arrays)]
    return best_seconds(lambda: [source.copy() for source in sources], REPEATS) / POSES


def by_root(chain: Chain, hip: HipCentre) -> tuple[float, float]:
    """Seconds a pose (median, least) of the loop equations solved for thigh and shank; checks that angles agree."""
    thigh, shank, crank = chain.leg.thigh_mm, chain.leg.shank_mm, chain.bike.crank_mm
    behind, above = chain.behind_mm, chain.above_mm
    angles = crank_angles(STEPS)
    ours = solve_pose(chain, hip=hip, crank_angle_deg=angles).knee_flexion_deg
    worst, seconds = 0.0, []
    for number in range(SOLVED_POSES):
        rider, step = divmod(number, STEPS)
        angle = np.deg2rad(angles[step])
        pitch = np.deg2rad(
            chain.pitch.mean_deg[rider]
            + chain.pitch.amplitude_deg[rider] * np.sin(angle + np.deg2rad(chain.pitch.phase_deg[rider]))
        )
        cosine, sine = np.cos(pitch), np.sin(pitch)
        x = crank[rider] * np.sin(angle) - behind[rider] * cosine + above[rider] * sine - hip.x_mm[rider]
        y = crank[rider] * np.cos(angle) + behind[rider] * sine + above[rider] * cosine - hip.y_mm[rider]
        a, b = thigh[rider], shank[rider]

        def loop(q: np.ndarray, a: float = a, b: float = b, x: float = x, y: float = y) -> list[float]:
            return [a * math.cos(q[0]) + b * math.cos(q[1]) - x, a * math.sin(q[0]) + b * math.sin(q[1]) - y]

        start = time.perf_counter()
        found = root(loop, (-0.7, -1.9)).x
        seconds.append(time.perf_counter() - start)
        worst = max(worst, abs(np.rad2deg(found[0] - found[1]) - ours[rider, step]))
    print(f"largest difference to the solver: {worst:.1e} degrees in {SOLVED_POSES} poses")
    return float(np.median(seconds)), min(seconds)


def draws(count: int, steps: int) -> None:
    """Print time and memory of one leg's knock-on over so many draws."""
    before = riders(count)
    habit = np.random.default_rng(1).normal(0.0, 3.0 / 1.96, count)
    after = replace(before, cleat=replace(before.cleat, setback_mm=25.0), pitch=replace(before.pitch, habit_deg=habit))
    hip = {"hip_distance_mm": greatest_hip_distance(before, least_knee_flexion_deg=35.0)}
    seconds = best_seconds(lambda: over_draws(before, after, **hip, steps=steps), 3)
    tracemalloc.start()
    over_draws(before, after, **hip, steps=steps)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    plain = count * steps * 8
    print(
        f"{count:6d} draws x {steps} angles: {seconds:.2f} s, peak {peak / 1e6:.2f} MB "
        f"({peak / plain:.3f} of a single array of all poses)"
    )


def main() -> None:
    """Print the ratios."""
    chain = riders(RIDERS_A_CHUNK)
    distance = greatest_hip_distance(chain, least_knee_flexion_deg=35.0)
    hip = hip_on_tube(distance, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)
    ours, (solver, fastest) = closed_form(chain, hip), by_root(chain, hip)
    taken_and_given, given = copied(8), copied(6)
    print(f"closed form: {1e9 * ours:.1f} ns a pose, {1 / ours:,.0f} poses a second")
    print(f"scipy.optimize.root: {1e6 * solver:.1f} us a pose: {solver / ours:.0f} times as long (goal: 400 or more)")
    print(f"    its fastest pose: {1e6 * fastest:.1f} us: {fastest / ours:.0f} times as long")
    print(f"copy of the 8 arrays taken and given: {ours / taken_and_given:.1f} times as long as it (goal: 20 or less)")
    print(f"copy of the 6 results alone: {ours / given:.1f} times as long as it")
    draws(4_000, 360)
    draws(10_000, 720)


if __name__ == "__main__":
    main()
