"""The parts search against brute force, and against integer programming."""

from __future__ import annotations

import itertools
import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import optimize

from fitkit.calculations import parts
from fitkit.calculations.parts import PartRow, SearchRules, Side

RULES = {
    "rider_kg": 70.0,
    "equal_within_mm": 2.0,
    "least_turns": 8.0,
    "calliper_sd_mm": 0.0,
    "lean_refuses": True,
    "same_both_sides": True,
}


def choose(table, left, right=None, *, bicycle=None, **rules):
    right = left if right is None else right
    rules = SearchRules(**{**RULES, **(vars(bicycle) if bicycle else {}), **rules})
    return parts.choose(table, family="A", left=left, right=right, rules=rules)


# --- Brute force ---------------------------------------------------------------------------------------------------
# A second implementation of the definitions, with plain loops over every pair and nothing shared with the first.

HALVES = st.integers(-20, 40).map(lambda n: n / 2)
POSITIVE = st.integers(1, 30).map(lambda n: n / 2)


@st.composite
def families(draw):
    rows = [PartRow("A", "s0", "spindle", 0.0, fitted_by="rider", in_stock=1)]
    most = {"spindle": 2, "washer": 2, "extender": 1, "crank": 1, "base_adapter": 1}
    for kind in most:
        for n in range(draw(st.integers(int(kind == "spindle"), most[kind]))):
            adds = None if kind == "base_adapter" else draw(HALVES if kind in ("spindle", "crank") else POSITIVE)
            rows.append(
                PartRow(
                    "A",
                    f"{kind}{n}",
                    kind,
                    adds,
                    setback_gain_mm=draw(POSITIVE) if kind == "base_adapter" else None,
                    stack_mm=2.0 if kind == "base_adapter" else None,
                    thread_mm=draw(st.sampled_from([None, 10.0, 12.0, 15.0])),
                    # A crank is a workshop's job: the table refuses another.
                    fitted_by=draw(st.sampled_from(["workshop", None, *(["rider"] if kind != "crank" else [])])),
                    in_stock=draw(st.sampled_from([None, 0, 2])),
                    max_rider_kg=draw(st.sampled_from([None, 60.0, 90.0])),
                )
            )
    rows.append(PartRow("A", "cleat", "cleat", play_mm=draw(st.sampled_from([None, 0.0, 3.0, 4.0]))))
    return rows


@st.composite
def sides(draw, rows):
    return Side(
        half_stance_change_mm=draw(HALVES),
        setback_shortfall_mm=draw(st.sampled_from([None, 0.0, 1.0, 8.0, -5.0])),
        spindle_id=draw(st.sampled_from([None, *(row.id for row in rows if row.kind == "spindle")])),
        extender_id=draw(st.sampled_from([None, None, *(row.id for row in rows if row.kind == "extender")])),
        washer_mm=draw(st.sampled_from([None, 0.0, 1.0, 2.5])),
        spindle_thread_mm=draw(st.sampled_from([None, 9.0, 14.0])),
        unthreaded_tip_mm=draw(st.sampled_from([None, 1.0])),
        pedal_outer_edge_mm=draw(st.sampled_from([None, 168.0, 185.0])),
        pedal_below_axle_mm=12.0,
        heel_gap_heel_in_mm=draw(st.sampled_from([None, 0.0, 3.0])),
        ankle_gap_mm=draw(st.sampled_from([None, 5.0])),
    )


@st.composite
def cases(draw):
    rows = draw(families())
    depth_mm = draw(st.sampled_from([None, 12.0]))
    bicycle = SimpleNamespace(crank_length_mm=172.5, bottom_bracket_height_mm=268.0, crank_thread_depth_mm=depth_mm)
    return rows, draw(sides(rows)), draw(sides(rows)), bicycle, draw(st.sampled_from([None, 70.0])), draw(st.booleans())


def plain_turns(side, bicycle, thread, washer, extender, extender_thread):
    if thread is None or bicycle.crank_thread_depth_mm is None or (extender and extender_thread is None):
        return None
    male = thread - (side.unthreaded_tip_mm or 0)
    if not extender:
        engaged = min(male - washer, bicycle.crank_thread_depth_mm)
    else:
        engaged = min(male - washer, extender_thread, extender_thread - washer, bicycle.crank_thread_depth_mm)
    return max(engaged, 0) / 1.270


def plain_forbidden(part, mass):
    if part.max_rider_kg is None:
        return part.kind == "extender"
    return mass is None or mass > part.max_rider_kg


def plain_options(rows, side, bicycle, mass):
    """Yield every combination of one side as (change, stands, new parts, gain, stack, turns, forbidden)."""
    by_id = {row.id: row for row in rows}
    found_spindle = by_id[side.spindle_id or "s0"]
    found_washer = side.washer_mm or 0
    found_extender = by_id.get(side.extender_id)
    own_thread = side.spindle_thread_mm if side.spindle_thread_mm is not None else found_spindle.thread_mm
    spindles = [row for row in rows if row.kind == "spindle"]
    washers = [(found_washer, None), (0, None), *((row.adds_mm, row) for row in rows if row.kind == "washer")]
    extenders = [(found_extender, False), (None, False)]
    extenders += [(row, True) for row in rows if row.kind == "extender" and row is not found_extender]
    adapters = [None, *(row for row in rows if row.kind == "base_adapter" and side.setback_shortfall_mm)]
    for spindle, (washer, washer_row), (extender, is_new), adapter in itertools.product(
        spindles, washers, extenders, adapters
    ):
        new = [spindle] if spindle is not found_spindle else []
        new += [washer_row] if washer_row else []
        new += [extender] if is_new else []
        new += [adapter] if adapter else []
        thread = own_thread if spindle is found_spindle or spindle.thread_mm is None else spindle.thread_mm
        adds = extender.adds_mm if extender else 0
        before = found_spindle.adds_mm + found_washer + (found_extender.adds_mm if found_extender else 0)
        yield {
            "change": spindle.adds_mm + washer + adds - before,
            "stands": (spindle.id, float(washer), extender.id if extender else ""),
            "new": new,
            "gain": adapter.setback_gain_mm if adapter else 0,
            "stack": adapter.stack_mm if adapter else 0,
            "turns": plain_turns(side, bicycle, thread, washer, adds, extender.thread_mm if extender else None),
            "forbidden": any(plain_forbidden(row, mass) for row in new),
        }


def plain_allowed(option, first, side, bicycle, crank_mm):
    if option["forbidden"]:
        return False
    turns, found = option["turns"], first["turns"]
    if turns is not None and turns < min(8, 8 if found is None else found) - 1e-9:
        return False
    outer, change = side.pedal_outer_edge_mm, option["change"] + crank_mm
    if outer is not None and change > 1e-9:
        height = bicycle.bottom_bracket_height_mm - bicycle.crank_length_mm - side.pedal_below_axle_mm
        if height < math.tan(math.radians(25)) * (outer + change) - 1e-9:
            return False
    gaps = [gap for gap in (side.heel_gap_heel_in_mm, side.ankle_gap_mm) if gap is not None]
    return not gaps or option["change"] >= -1e-9 or option["change"] + min(gaps) > 1e-9


def plain_play_ends(option, side, play):
    gaps = [gap for gap in (side.heel_gap_heel_in_mm, side.ankle_gap_mm) if gap is not None]
    least = -play / 2
    return (max(least, -max(min(gaps), 0) - option["change"]) if gaps else least), play / 2


def plain_remaining(option, side, play, crank_mm):
    least, most = plain_play_ends(option, side, play)
    without = side.half_stance_change_mm - option["change"] - crank_mm
    return without - min(max(without, least), most)


def plain_setback(option, side):
    wanted = side.setback_shortfall_mm or 0
    return max(wanted - option["gain"], 0) if wanted >= 0 else -(wanted - option["gain"])


def plain_key(pair, sides_, play, crank, same):
    """Return the criteria in their order."""
    crank_mm = crank.adds_mm if crank else 0
    new = [row for option in pair for row in option["new"]] + ([crank, crank] if crank else [])
    left_over = [
        abs(length)
        for option, side in zip(pair, sides_, strict=True)
        for length in (plain_remaining(option, side, play, crank_mm), plain_setback(option, side))
    ]
    key = (
        sum(length for length in left_over if length > 2 + 1e-9),
        sum(row.fitted_by != "rider" for row in new),
        len(new),
        sum(not row.in_stock for row in new),
        int(same and pair[0]["stands"] != pair[1]["stands"]),
        sum(left_over),
        sum(option["stack"] for option in pair),
        sum(abs(option["change"]) for option in pair),
    )
    return tuple(round(value, 6) for value in key)


def plain_cranks(rows, mass):
    return [None, *(row for row in rows if row.kind == "crank" and not plain_forbidden(row, mass))]


def plain_allowed_options(rows, side, bicycle, mass, crank):
    listed = list(plain_options(rows, side, bicycle, mass))
    found = next(option for option in listed if not option["new"] and option["change"] == 0)
    crank_mm = crank.adds_mm if crank else 0
    return [option for option in listed if plain_allowed(option, found, side, bicycle, crank_mm)]


@settings(max_examples=80, deadline=None)
@given(cases())
def test_the_search_equals_brute_force(case):
    rows, left, right, bicycle, mass, same = case
    pair = choose(rows, left, right, bicycle=bicycle, rider_kg=mass, same_both_sides=same)
    play = rows[-1].play_mm or 0
    keys = {}
    for crank in plain_cranks(rows, mass):
        allowed = [plain_allowed_options(rows, side, bicycle, mass, crank) for side in (left, right)]
        for both in itertools.product(*allowed):
            extra = [crank] if crank else []
            names = [sorted(row.id for row in [*option["new"], *extra]) for option in both]
            change = [round(option["change"] + (crank.adds_mm if crank else 0), 6) for option in both]
            keys[str((names, change))] = plain_key(both, (left, right), play, crank, same)
    names = [sorted(side.chosen) for side in (pair.left, pair.right)]
    found = str((names, [round(side.parts_mm, 6) for side in (pair.left, pair.right)]))
    assert keys[found] == min(keys.values())


@settings(max_examples=60, deadline=None)
@given(cases())
def test_what_is_reached_equals_brute_force(case):
    rows, left, right, bicycle, mass, _ = case
    side = choose(rows, left, right, bicycle=bicycle, rider_kg=mass).left
    play = rows[-1].play_mm or 0
    reached, anyhow = [], []
    for crank in plain_cranks(rows, mass):
        crank_mm = crank.adds_mm if crank else 0
        allowed = plain_allowed_options(rows, left, bicycle, mass, crank)
        reached += [
            tuple(option["change"] + crank_mm + end for end in plain_play_ends(option, left, play))
            for option in allowed
        ]
        everything = [option["change"] + crank_mm for option in plain_options(rows, left, bicycle, mass)]
        anyhow += [(change - play / 2, change + play / 2) for change in everything]
    for at in np.arange(-70, 90, 0.25):
        assert inside(at, side.reachable_mm) == inside(at, reached)
        assert inside(at, [*side.reachable_mm, *side.refused_only_mm]) == inside(at, anyhow)
    ends = [end for interval in anyhow for end in interval]
    everything = (*side.reachable_mm, *side.refused_only_mm, *side.gaps_mm)
    assert sum(high - low for low, high in everything) == pytest.approx(max(ends) - min(ends), abs=1e-6)


def inside(at, intervals):
    return any(low - 1e-9 <= at <= high + 1e-9 for low, high in intervals)


@settings(max_examples=40, deadline=None)
@given(cases())
def test_left_and_right_are_alike(case):
    # Derived: nothing in the search knows a side, so swapped sides give a pair that is just as good, swapped.
    rows, left, right, bicycle, mass, same = case
    one = choose(rows, left, right, bicycle=bicycle, rider_kg=mass, same_both_sides=same)
    other = choose(rows, right, left, bicycle=bicycle, rider_kg=mass, same_both_sides=same)
    assert one.left.reachable_mm == other.right.reachable_mm
    assert one.right.gaps_mm == other.left.gaps_mm

    def total(pair):
        both = (pair.left, pair.right)
        return sum(abs(side.remaining_mm) for side in both), sum(len(side.chosen) for side in both)

    assert total(one) == pytest.approx(total(other))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-12, 25).filter(lambda x: abs(x) > 0.01), min_size=1, max_size=6), st.floats(-15, 40))
@example([0.1, 0.2, 0.3], 0.6)
def test_any_numbers_at_all(adds, wish):
    # Derived: one spindle and no play leave the distance to the nearest, or one within 2 mm with fewest parts.
    table = [PartRow("A", "s", "spindle", 0.0), *(PartRow("A", f"s{n}", "spindle", add) for n, add in enumerate(adds))]
    side = choose(table, Side(wish)).left
    nearest = min(abs(wish - add) for add in (0.0, *adds))
    if abs(wish) <= 2:
        assert side.chosen == ()
    else:
        assert abs(side.remaining_mm) == pytest.approx(nearest)
        assert nearest > 2 or len(side.chosen) == 1


# --- Integer programming -------------------------------------------------------------------------------------------


def solve(rows, wish, play, *, cost, within=None):
    """Return the least `cost` of one side as scipy's integer programme sees it; variables: parts, play, remainder."""
    n = len(rows)
    adds = [row.adds_mm for row in rows]
    constraints = [
        optimize.LinearConstraint([*(float(row.kind == kind) for row in rows), 0, 0, 0], int(kind == "spindle"), 1)
        for kind in ("spindle", "washer", "extender")
    ]
    constraints.append(optimize.LinearConstraint([*adds, 1, 1, -1], wish, wish))
    limit = np.inf if within is None else within
    bounds = optimize.Bounds([0] * n + [-play / 2, 0, 0], [1] * n + [play / 2, limit, limit])
    objective = [0.0] * n + [0, 1, 1] if cost == "remainder" else [float(row.adds_mm != 0) for row in rows] + [0, 0, 0]
    result = optimize.milp(objective, constraints=constraints, integrality=[1] * n + [0, 0, 0], bounds=bounds)
    assert result.success
    return result.fun


FAMILY = [
    *(PartRow("A", f"s{add}", "spindle", add, fitted_by="rider", in_stock=2) for add in (0, -4, 3.5, 9, 23)),
    *(PartRow("A", f"w{add}", "washer", add, fitted_by="rider", in_stock=2) for add in (1.2, 2.7)),
    PartRow("A", "e30", "extender", 30, max_rider_kg=100, fitted_by="rider", in_stock=2),
    PartRow("A", "c", "cleat", play_mm=1.5),
]


@pytest.mark.parametrize("wish", [-20.0, -9.3, -3.0, 0.0, 2.0, 5.1, 7.4, 16.0, 18.9, 27.0, 41.0, 58.0, 70.0])
def test_the_search_equals_integer_programming(wish):
    # scipy.optimize.milp (HiGHS): the least remainder; where that is within 2 mm, the fewest parts that stay within.
    rows = [row for row in FAMILY if row.kind != "cleat"]
    side = choose(FAMILY, Side(wish)).left
    least = solve(rows, wish, 1.5, cost="remainder")
    if least > 2:
        assert abs(side.remaining_mm) == pytest.approx(least, abs=1e-6)
    else:
        assert abs(side.remaining_mm) <= 2
        assert len(side.chosen) == round(solve(rows, wish, 1.5, cost="parts", within=2.0))
