"""How often each shown interval holds the truth: whole visits with known errors, assessed, against a leg of our own.

Run by name: ``python -m tests.benchmarks.coverage [VISITS] [SEED]``; it prints result, coverage, mean width. The truth
of a visit never passes through the package: lengths are drawn, readings are truth plus mark and reading errors of the
house's kinds, and what follows is worked out by a leg written here from plain trigonometry.
"""

from __future__ import annotations

import json
import math
import sys
from collections import defaultdict
from itertools import chain

import numpy as np

from fitkit import house, session
from fitkit.assessment import RESULT_NAMES, Visit, assess
from fitkit.calculations.ride_check import knee_track, travel_change
from fitkit.calculations.sprint_settings import compare
from fitkit.session.study import FitterStudy

SIDES = ("left", "right")
MARK_SD, SETBACK_SD, CALLIPER_SD, LENGTH_SD, PELVIS_SD, ANGLE_SD, MOVED_SD = 1.5, 1.0, 0.2, 1.0, 5.0, 1.0, 0.5
HABIT_SD, CRANK_SD = 3 / 1.959964, 1.0
STUDY_DF = 9
NOT_COVERED = {
    "cleat_setback.band_low": "a rule of the house: it estimates nothing",
    "cleat_setback.band_high": "a rule of the house: it estimates nothing",
    "cleat_setback.start": "a rule of the house; its ends are the band's",
    "hip.spacing": "a span of published models, called one",
    "frontal_lean": "rests on that span",
    "half_stance.wish": "what the fitter typed",
    "half_stance.remaining": "the parts table's own figures, which carry no error",
    "forward_limit": "a bracket: it says beside it how often it holds, see bracket_hits",
}
SPANS = {
    "mtp1.expected": "from foot length: SEE and reading error of readings pooled with the house's",
    "cleat_setback.shortfall": "cut at 0, so that it holds whenever both lie inside the slots",
}


def body_sd(length_mm: float) -> float:
    """Return the house SD of one reading of a length on the body [mm]: 1 up to 200 mm, 3 from 400."""
    return 1.0 + 2.0 * min(max((length_mm - 200) / 200, 0), 1)


def least_flexion(path: tuple, distance_mm, tube_rad, thigh_mm, shank_mm) -> np.ndarray:
    """Return the least knee flexion [deg] over a stroke of ankle places (x forward, y up), one row a leg."""
    hip_x, hip_y = -distance_mm * np.cos(tube_rad), distance_mm * np.sin(tube_rad)
    reach = np.hypot(path[0] - hip_x[:, None], path[1] - hip_y[:, None])
    at = reach.argmax(axis=1)
    rows = np.arange(len(at))
    around = np.stack([reach[rows, (at + step) % reach.shape[1]] for step in (-1, 0, 1)])
    # A parabola through the three places about the greatest reach.
    bend = around[0] - 2 * around[1] + around[2]
    most = around[1] - (around[2] - around[0]) ** 2 / (8 * bend)
    cosine = (most**2 - thigh_mm**2 - shank_mm**2) / (2 * thigh_mm * shank_mm)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def ankle_path(leg: dict, setback_mm, shim_mm, habit_deg=0.0) -> tuple[np.ndarray, np.ndarray]:
    """Return the ankle's places [mm] over 360 crank angles, one row a leg."""
    crank_angle = np.radians(np.arange(360.0))
    wave = np.sin(crank_angle + np.radians(leg["phase"])[:, None])
    angle = np.radians((leg["mean"] + habit_deg)[:, None] + leg["amplitude"][:, None] * wave)
    along, above = (leg["ankle_to_mtp1"] - setback_mm)[:, None], (leg["ankle_height"] + leg["sole"] + shim_mm)[:, None]
    x = leg["crank"][:, None] * np.sin(crank_angle) - along * np.cos(angle) + above * np.sin(angle)
    y = leg["crank"][:, None] * np.cos(crank_angle) + along * np.sin(angle) + above * np.cos(angle)
    return x, y


def distance_for(path: tuple, flexion_deg, leg: dict) -> np.ndarray:
    """Return the hip's distance along the seat tube [mm] at which the stroke's least flexion is as given."""
    low, high = np.full(len(flexion_deg), 300.0), np.full(len(flexion_deg), 1200.0)
    for _ in range(45):
        middle = (low + high) / 2
        is_bent = least_flexion(path, middle, leg["tube"], leg["thigh"], leg["shank"]) > flexion_deg
        low, high = np.where(is_bent, middle, low), np.where(is_bent, high, middle)
    return (low + high) / 2


class Drawn:
    """One visit being drawn: its session, and the truth by result name."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng, self.tree, self.truth = rng, {}, {}

    def put(self, dotted: str, value: object) -> None:
        *path, last = dotted.split(".")
        place = self.tree
        for step in path:
            place = place.setdefault(step, {})
        place[last] = value

    def read(self, dotted: str, true: float, sd: float, *, off: float = 0.0, single: bool = False) -> float:
        """Put one to three readings of a true value, each with its own error, all with the mark's; return the truth."""
        count = 1 if single else int(self.rng.integers(1, 4))
        readings = (true + off + self.rng.normal(0, sd, count)).tolist()
        self.put(dotted, readings[0] if single else readings)
        return true


def draw_visit(rng: np.random.Generator) -> tuple[Drawn, FitterStudy | None, dict]:
    """Return one visit with the truth of what needs no leg, its fitter's study, and both legs' true lengths."""
    visit = Drawn(rng)
    for name, value in {
        "format": "cleat-stance-session",
        "version": 1,
        "client_id": "rider-1",
        "visit_date": "2026-03-04",
        "setup": "road",
        "fitter_id": "f1",
        "rider.reference_population": "men",
        "rider.riding": "everyday",
        "bike.crank_length_mm": 172.5,
        "bike.float_deg": 6,
    }.items():
        visit.put(name, value)
    tube = visit.read("bike.seat_tube_angle_deg", rng.normal(73.5, 0.7), ANGLE_SD, single=True)
    depth = visit.read("bike.crank_thread_depth_mm", rng.normal(15, 1), CALLIPER_SD, single=True)
    bottom = visit.read("bike.bottom_bracket_height_mm", rng.normal(270, 4), LENGTH_SD, single=True)
    stance = _draw_cranks(visit)
    study = None
    if rng.random() < 0.3:
        shares = np.sqrt(rng.chisquare(STUDY_DF, 2) / STUDY_DF)
        study = FitterStudy(
            fitter_id="f1",
            date="2026-01-01",
            place_sd_mm=float(MARK_SD * shares[0]),
            place_df=STUDY_DF,
            spread_sd_mm=float(SETBACK_SD * shares[1]),
            spread_df=STUDY_DF,
        )
    legs = {side: _draw_side(visit, side, stance[side], depth, bottom, tube) for side in SIDES}
    halves = [visit.truth[f"{side}.half_stance"] for side in SIDES]
    visit.truth |= {"stance.width": sum(halves), "stance.difference": halves[0] - halves[1]}
    return visit, study, legs


def _draw_cranks(visit: Drawn) -> dict[str, float]:
    """Return the true crank faces [mm]; half of the visits measured them, the others the Q factor alone."""
    half, uneven = visit.rng.normal(74, 2), visit.rng.normal(0, CRANK_SD)
    faces = {"left": half + uneven, "right": half - uneven}
    visit.read("bike.q_factor_mm", 2 * half, LENGTH_SD)
    if visit.rng.random() < 0.5:
        for side, face in faces.items():
            visit.read(f"bike.{side}.crank_face_to_centreline_mm", face, LENGTH_SD)
    return faces


def _draw_side(visit: Drawn, side: str, face: float, depth: float, bottom: float, tube: float) -> dict[str, float]:
    rng, truth, mark = visit.rng, visit.truth, visit.rng.normal(0, MARK_SD)
    visit.put(f"shoes.{side}.size", 42)
    visit.put(f"shoes.{side}.size_system", "eu")
    setback = rng.uniform(2, 12)
    taken = f"as_found.{side}.cleat_setback_mm"
    if rng.random() < 0.3:
        visit.put(taken, [setback + rng.normal(0, MARK_SD) + rng.normal(0, SETBACK_SD) for _ in range(3)])
        visit.tree.setdefault("taken", {})[taken] = "mark_found_anew"
    else:
        visit.read(taken, setback, SETBACK_SD, off=mark)
    ends = {"least": rng.uniform(-4, 1), "greatest": rng.uniform(12, 24)}
    for end, place in ends.items():
        visit.read(f"shoes.{side}.{end}_cleat_setback_mm", place, SETBACK_SD, off=mark, single=True)
        truth[f"{side}.cleat_setback.slot_{end}"] = place
    toe_out, natural = rng.normal(6, 2), rng.normal(7, 2)
    visit.read(f"as_found.{side}.cleat_toe_out_deg", toe_out, ANGLE_SD)
    visit.read(f"rider.{side}.natural_toe_out_deg", natural, ANGLE_SD)
    outward = visit.read(f"as_found.{side}.shoe_outward_mm", rng.normal(0, 2), LENGTH_SD)
    beside = visit.read(f"rider.{side}.mtp1_big_toe_side_mm", rng.normal(33, 2), LENGTH_SD)
    foot = rng.normal(267, 8)
    visit.read(f"rider.{side}.foot_length_mm", foot, body_sd(foot))
    washer = visit.read(f"as_found.{side}.washer_mm", rng.choice([1.0, 2.0]), CALLIPER_SD, single=True)
    spindle = visit.read(f"bike.{side}.spindle_to_cleat_centre_mm", rng.normal(53, 1), CALLIPER_SD, single=True)
    thread = visit.read(f"bike.{side}.spindle_thread_mm", rng.normal(14, 0.5), CALLIPER_SD, single=True)
    tip = visit.read(f"bike.{side}.unthreaded_tip_mm", rng.uniform(1.5, 2.5), CALLIPER_SD, single=True)
    edge = visit.read(f"bike.{side}.pedal_outer_edge_mm", rng.normal(168, 2), LENGTH_SD, single=True)
    below = visit.read(f"bike.{side}.pedal_below_axle_mm", rng.normal(14, 1), LENGTH_SD, single=True)
    tyre = visit.read(f"bike.{side}.axle_to_tyre_mm", rng.normal(101, 4), LENGTH_SD, single=True)
    toe = visit.read(f"bike.{side}.axle_to_toe_mm", rng.normal(96, 4), LENGTH_SD, single=True)
    turn = math.radians(toe_out)
    truth |= {
        f"{side}.cleat_setback.as_found": setback,
        f"{side}.cleat_setback.square_to_axle": setback * math.cos(turn) + (beside - outward) * math.sin(turn),
        f"{side}.mtp1.expected": 0.46 + 0.7393 * foot + rng.normal(0, 3.98),
        f"{side}.float.free_heel_in": 3 - (natural - toe_out),
        f"{side}.float.free_heel_out": 3 + (natural - toe_out),
        f"{side}.half_stance": face + washer + spindle + outward,
        f"{side}.thread.turns": min(thread - tip - washer, depth) / 1.27,
        f"{side}.lean.clearance": math.degrees(math.atan((bottom - 172.5 - below) / edge)),
        f"{side}.toe.gap": tyre - toe,
    }
    return {"setback": setback, "slot": ends, "mark": mark, **_draw_leg(visit, side, tube)}


def _draw_leg(visit: Drawn, side: str, tube: float) -> dict[str, float]:
    rng = visit.rng
    lengths = {"thigh": (428, 15), "shank": (431, 15), "ankle_to_mtp1": (150, 8), "ankle_height": (72, 4)}
    leg = {name: rng.normal(*about) for name, about in lengths.items()}
    for name, true in leg.items():
        visit.read(f"rider.{side}.{name}_mm", true, body_sd(true))
    leg["sole"] = visit.read(f"shoes.{side}.axle_to_foot_sole_mm", rng.normal(20, 2), LENGTH_SD, single=True)
    for name, about in {"mean": (14, 4), "amplitude": (12, 3), "phase": (20, 10)}.items():
        leg[name] = visit.read(f"ride.{side}.foot_pitch_{name}_deg", rng.normal(*about), ANGLE_SD, single=True)
    leg["flexion"] = visit.read(f"ride.{side}.least_knee_flexion_deg", rng.normal(36, 4), ANGLE_SD)
    leg["shim"] = 0.0
    if rng.random() < 0.5:
        leg["shim"] = visit.read(f"decided.{side}.shim_mm", rng.choice([2.0, 3.0]), CALLIPER_SD, single=True)
    leg["habit"] = rng.normal(0, HABIT_SD)
    return leg | {"tube": math.radians(tube), "crank": 172.5}


def of_legs(legs: list[dict], targets: np.ndarray) -> dict[str, np.ndarray]:
    """Return the truth that needs the leg, by result name, one entry a leg moved to its target [mm]."""
    leg = {name: np.array([each[name] for each in legs]) for name in legs[0] if name != "slot"}
    before, none = ankle_path(leg, leg["setback"], 0.0), np.zeros(len(legs))
    after = ankle_path(leg, targets, leg["shim"])
    turned = ankle_path(leg, targets, leg["shim"], leg["habit"])
    stacked = ankle_path(leg, leg["setback"], leg["shim"])
    hip = distance_for(before, leg["flexion"], leg)
    bones = leg["tube"], leg["thigh"], leg["shank"]
    down = hip - distance_for(after, leg["flexion"], leg)
    return {
        "untouched.knee_change": least_flexion(after, hip, *bones) - leg["flexion"],
        "height_only.saddle_down": down,
        "full.saddle_forward": (after[0] - before[0]).mean(axis=1),
        "full.saddle_down": (before[1] - after[1]).mean(axis=1),
        "pitch_habit.saddle_down": hip - distance_for(turned, leg["flexion"], leg) - down,
        "pitch_habit.knee_change": least_flexion(turned, hip, *bones) - least_flexion(after, hip, *bones),
        "stack.saddle_down": np.where(leg["shim"] > 0, hip - distance_for(stacked, leg["flexion"], leg), none),
        "calf_lever.ratio": (leg["ankle_to_mtp1"] - targets) / (leg["ankle_to_mtp1"] - leg["setback"]),
    }


def whole_visits(count: int, seed: int) -> dict[str, list[tuple[bool, float]]]:
    """Return for each result whether its interval held the truth, and its width, a pair a visit and side."""
    rng, kept = np.random.default_rng(seed), house.load()
    visits, legs, targets, assessed = [], [], [], []
    for _ in range(count):
        visit, study, both = draw_visit(rng)
        moved = {side: rng.uniform(2, 6) for side in SIDES} if rng.random() < 0.4 else None
        if moved:
            # Moved between scribed lines: what was typed has its own error.
            typed = {side: true + rng.normal(0, MOVED_SD) for side, true in moved.items()}
            visit.put("as_left", {"moved_mm": typed})
        loaded = session.parse(json.dumps(visit.tree).encode())
        found = assess(Visit(session.key(loaded), loaded, kept, None, study))
        for side in SIDES:
            leg = both[side]
            to = leg["setback"] + moved[side] if moved else found.feet[side].set_to
            to = leg["setback"] if to is None else to
            visit.truth[f"{side}.cleat_setback.as_left"] = to if moved else None
            visit.truth[f"{side}.cleat_setback.move"] = to - leg["setback"]
            visit.truth[f"{side}.toe.gap_after"] = visit.truth[f"{side}.toe.gap"] - (to - leg["setback"])
            wanted = found.advice[side].to_mm
            beyond = 0 if wanted is None else wanted + found.advice[side].short_by_mm - leg["slot"]["greatest"]
            visit.truth[f"{side}.cleat_setback.shortfall"] = max(beyond, 0.0)
            legs.append(leg)
            targets.append(to)
        visits.append(visit)
        assessed.append(found)
    _add_legs(visits, assessed, legs, np.array(targets))
    return _held(visits, assessed)


def _add_legs(visits: list[Drawn], assessed: list, legs: list[dict], targets: np.ndarray) -> None:
    for name, values in of_legs(legs, targets).items():
        for at, value in enumerate(values):
            visits[at // 2].truth[f"{SIDES[at % 2]}.{name}"] = float(value)
    for at, (visit, found) in enumerate(zip(visits, assessed, strict=True)):
        names = [name for side in SIDES if found[name := f"{side}.height_only.saddle_down"].is_known]
        if names:  # one saddle: the mean of the legs that have an answer
            down = sum(visit.truth[name] for name in names) / len(names)
            visit.truth["saddle.height_only.down"] = down
            visit.truth["bar.height_only.down"] = down * math.sin(legs[2 * at]["tube"])


def _held(visits: list[Drawn], assessed: list) -> dict[str, list[tuple[bool, float]]]:
    rows = defaultdict(list)
    for visit, found in zip(visits, assessed, strict=True):
        for name in RESULT_NAMES:
            truth, estimate = visit.truth.get(name), found[name]
            if truth is None or not estimate.is_known:
                continue
            side, _, rest = name.partition(".")
            key = rest if side in SIDES else name
            if key == "cleat_setback.as_found" and f"as_found.{side}.cleat_setback_mm" in visit.tree.get("taken", {}):
                key += ", mark found anew"
            if key.startswith("half_stance") and "crank_face_to_centreline_mm" not in visit.tree["bike"]["left"]:
                key += ", from the Q factor"
            if key == "stack.saddle_down" and not visit.tree.get("decided", {}).get(side):
                continue
            rounding = 1e-6  # two ways to one length differ by that much where nothing moves
            is_held = estimate.low - rounding <= truth <= estimate.high + rounding
            rows[key].append((is_held, estimate.high - estimate.low))
    return rows


def riding(count: int, seed: int) -> dict[str, list[tuple[bool, float]]]:
    """Return the same for what is seen riding: differences of sprints, knee travel on film and its change."""
    rng, rows = np.random.default_rng(seed), defaultdict(list)
    for _ in range(count):
        means = rng.normal(1100, 80) * np.array([1.0, rng.normal(1, 0.03)])
        found = compare(*(mean * (1 + rng.normal(0, 0.033, 4)) for mean in means)).difference_w
        rows["sprints, difference"].append((found.low <= means[1] - means[0] <= found.high, found.high - found.low))
    for _ in range(max(count // 10, 20)):
        tracks, true = zip(*(_film(rng) for _ in range(2)), strict=True)
        found = tracks[0].travel_mm
        rows["knee travel on film"].append((found.low <= true[0] <= found.high, found.high - found.low))
        found = travel_change(*tracks)
        rows["knee travel, change"].append((found.low <= true[1] - true[0] <= found.high, found.high - found.low))
    return rows


def _film(rng: np.random.Generator):
    """Return a knee's track from 12 turns at 30 frames a second whose travel drifts from turn to turn, and its mean."""
    turns, per_turn, travel = 12, 20, rng.uniform(8, 30)
    own = np.zeros(turns)
    for turn in range(turns):
        own[turn] = (0.3 * own[turn - 1] if turn else 0.0) + rng.normal(0, 2)
    time = np.arange(turns * per_turn + per_turn) / 30
    angle = 2 * math.pi * (np.arange(time.size) + 0.5) / per_turn
    way = np.concatenate([np.repeat(travel + own, per_turn), np.full(per_turn, travel)])
    knee = 20 + way / 2 * np.cos(angle) + rng.normal(0, 2, time.size)
    seen = {"pedal_outward_mm": np.zeros(time.size), "pedal_up_mm": 172.5 * np.cos(angle)}
    return knee_track(time_s=time, knee_outward_mm=knee, **seen, problems=(), house_sd_mm=LENGTH_SD), travel


def bracket_hits(settings_mm: tuple[float, ...], looks: tuple[int, ...], count: int, seed: int) -> float:
    """Return how often a bracket of trials holds the limit, of those that part where the second setting ends.

    Parameters
    ----------
    settings_mm, looks : tuple
        Where the mark was read to stand at each setting, the most forward first [mm], and the looks there.
    count, seed : int
        Riders drawn, their limits anywhere about the settings.

    Notes
    -----
    Each look's place scatters by 1 mm about what was read and is averaged over the looks; its score by 1 point about
    a line of half a point a mm through 4 at the limit, cut off at 0 and 10.
    """
    rng = np.random.default_rng(seed)
    limit = rng.uniform(settings_mm[0] - 10, settings_mm[-1] + 10, count)
    is_seen = np.ones(count, bool)
    for at, (read, times) in enumerate(zip(settings_mm, looks, strict=True)):
        place = read + rng.normal(0, SETBACK_SD, (times, count)).mean(axis=0)
        mean = np.clip(4 + 0.5 * (limit - place), 0, 10)
        is_unsteady = mean + rng.normal(0, 1, (times, count)).mean(axis=0) >= 4
        is_seen &= is_unsteady if at <= 1 else ~is_unsteady
    held = (settings_mm[1] <= limit) & (limit <= settings_mm[2])
    return float(held[is_seen].mean())


def table(count: int, seed: int) -> list[tuple[str, float, float, int]]:
    """Return one row a result: its name, the share of intervals that held the truth, mean width, how many."""
    found = {**whole_visits(count, seed), **riding(count, seed)}
    return [
        (name, sum(held for held, _ in pairs) / len(pairs), sum(width for _, width in pairs) / len(pairs), len(pairs))
        for name, pairs in found.items()
    ]


def uncovered(rows: list[tuple[str, float, float, int]]) -> list[str]:
    """Return the results that stand neither in the table nor in the list beside it."""
    named = {row[0].split(",")[0] for row in rows} | set(NOT_COVERED)
    sided = {name.partition(".")[2] if name.split(".")[0] in SIDES else name for name in RESULT_NAMES}
    return sorted(sided - named)


def main() -> None:
    """Print the table."""
    count, seed = (int(given) for given in chain(sys.argv[1:], ("2000", "0")[len(sys.argv) - 1 :]))
    rows = table(count, seed)
    for name, share, width, pairs in rows:
        print(f"{name:45} {share:6.3f} {width:8.2f} {pairs:6}  {SPANS.get(name, '')}")
    for name, why in NOT_COVERED.items():
        print(f"{name:45} not covered: {why}")
    for looks in ((1, 1, 1, 1), (1, 2, 2, 1), (1, 3, 3, 1)):
        share = bracket_hits((8.0, 12.0, 16.0, 20.0), looks, 400_000, seed)
        print(f"brackets of trials at 8, 12, 16, 20, {looks[1]} looks at 12 and 16: {share:.3f} hold the limit")
    print("left out:", ", ".join(uncovered(rows)) or "nothing")


if __name__ == "__main__":
    main()
