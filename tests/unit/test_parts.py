"""The parts search on cases told by hand: what it chooses, refuses and says."""

from __future__ import annotations

import dataclasses
import math

import pytest

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
STEPPED = (
    PartRow("A", "A-0", "spindle", 0, fitted_by="rider", in_stock=4),
    PartRow("A", "A-5", "spindle", 5, fitted_by="rider", in_stock=4),
    PartRow("A", "A-15", "spindle", 15, fitted_by="rider", in_stock=4),
    PartRow("A", "A-cleat", "cleat", play_mm=4),
    PartRow("B", "B-0", "spindle", 0),
    PartRow("B", "B-9", "spindle", 9),
    PartRow("B", "B-cleat", "cleat", play_mm=1),
    PartRow("C", "C-0", "spindle", 0),
    PartRow("C", "C-6", "spindle", 6),
)


def choose(table, left, right=None, *, family="A", **rules):
    right = left if right is None else right
    return parts.choose(table, family=family, left=left, right=right, rules=SearchRules(**{**RULES, **rules}))


# --- Cases told by hand --------------------------------------------------------------------------------------------


def test_a_wish_of_ten_in_steps_of_0_5_15_with_play_4_leaves_3_on_each_side():
    # Told by hand: 5 + 2 is 7, 15 - 2 is 13; both leave 3, and the smaller change is taken.
    pair = choose(STEPPED, Side(10.0))
    for side in (pair.left, pair.right):
        assert side.chosen == ("A-5",)
        assert (side.parts_mm, side.adjustment_mm, side.remaining_mm) == (5.0, 2.0, 3.0)
        assert side.reachable_mm == ((-2.0, 2.0), (3.0, 7.0), (13.0, 17.0))
        assert side.gaps_mm == ((2.0, 3.0), (7.0, 13.0))
        assert side.other_families == ("B",)
        assert parts.CHANGE_OF_FAMILY in side.notes
        assert any("4 mm in all, 2 each way" in note for note in side.notes)


@pytest.mark.parametrize(("wish", "remaining"), [(-10.0, -8.0), (-4.0, -2.0), (1.5, 0.0), (9.0, 2.0), (20.0, 3.0)])
def test_remaining_is_signed(wish, remaining):
    # Told by hand from the same steps.
    assert choose(STEPPED, Side(wish)).left.remaining_mm == remaining


def test_changes_count_from_what_is_fitted():
    # Told by hand: from +5 the family reaches -5, 0, +10 with 2 of play each way.
    side = choose(STEPPED, Side(-4.5, spindle_id="A-5")).left
    assert (side.chosen, side.parts_mm, side.adjustment_mm, side.remaining_mm) == (("A-0",), -5.0, 0.5, 0.0)
    assert side.reachable_mm == ((-7.0, -3.0), (-2.0, 2.0), (8.0, 12.0))


def test_a_family_of_the_trades_figures():
    # Common practice, no source: washers of about 2, spindles -5 to +4, longer ones to 12.5, an extender of 20.
    spindles = [
        PartRow("T", f"T{add:+g}", "spindle", add, fitted_by="rider", in_stock=2) for add in (-5, 0, 4, 8, 12.5)
    ]
    table = [
        *spindles,
        PartRow("T", "T-washer", "washer", 2, fitted_by="rider", in_stock=4),
        PartRow("T", "T-extender", "extender", 20, max_rider_kg=90, fitted_by="workshop", in_stock=2),
        PartRow("T", "T-cleat", "cleat", play_mm=6),
    ]
    by_wish = {wish: choose(table, Side(float(wish)), family="T").left for wish in (-7, 6, 10, 16, 22)}
    assert by_wish[6].chosen == ("T+4",)
    assert by_wish[-7].chosen == ("T-5",)
    assert by_wish[10].chosen == ("T+8",)
    assert by_wish[16].chosen == ("T+12.5",)
    assert by_wish[22].chosen == ("T-extender",)
    assert all(abs(side.remaining_mm) <= 2 for side in by_wish.values())


def test_a_step_of_sixteen_leaves_the_rider_between_with_nothing():
    # Common practice, no source.
    table = [PartRow("T", "T-0", "spindle", 0), PartRow("T", "T-16", "spindle", 16)]
    side = choose(table, Side(8.0), family="T").left
    assert (side.chosen, side.remaining_mm, side.gaps_mm) == ((), 8.0, ((0.0, 16.0),))


def test_workshop_jobs_then_parts_then_stock_then_the_same():
    rider, shop = {"fitted_by": "rider", "in_stock": 4}, {"fitted_by": "workshop", "in_stock": 4}
    base = PartRow("A", "A-0", "spindle", 0, **rider)
    five, washer = PartRow("A", "A-5", "spindle", 5, **shop), PartRow("A", "A-w5", "washer", 5, **rider)
    assert choose([base, five, washer], Side(5.0)).left.chosen == ("A-w5",)
    three = [PartRow("A", "A-3", "spindle", 3, **rider), PartRow("A", "A-w2", "washer", 2, **rider)]
    assert choose([base, *three, PartRow("A", "A-6", "spindle", 6, **rider)], Side(6.0)).left.chosen == ("A-6",)
    stocked = dataclasses.replace(washer, id="A-w4", adds_mm=4)
    assert choose([base, dataclasses.replace(washer, in_stock=0), stocked], Side(5.0)).left.chosen == ("A-w4",)


def test_of_two_as_close_the_smaller_change_and_the_lower_stack():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-16", "spindle", 16), PartRow("A", "A-6", "spindle", 6)]
    assert choose(table, Side(11.0)).left.chosen == ("A-6",)
    table += [PartRow("A", f"A-b{stack}", "base_adapter", setback_gain_mm=9, stack_mm=stack) for stack in (5, 3)]
    assert choose(table, Side(0.0, setback_shortfall_mm=9.0)).left.chosen == ("A-b3",)


def test_of_two_cranks_the_one_in_stock():
    cranks = [PartRow("A", f"A-crank-{n}", "crank", -9, in_stock=n) for n in (0, 1)]
    assert choose([PartRow("A", "A-0", "spindle", 0), *cranks], Side(-9.0)).left.chosen == ("A-crank-1",)


def test_a_gap_closed_as_found_gets_no_smaller():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-cleat", "cleat", play_mm=6)]
    side = choose(table, Side(-3.0, heel_gap_heel_in_mm=-1.0)).left
    assert (side.adjustment_mm, side.remaining_mm, side.reachable_mm) == (0.0, -3.0, ((0.0, 3.0),))


def test_the_same_on_both_sides_unless_asked_otherwise():
    table = [PartRow("A", f"A-{add}", "spindle", add, fitted_by="rider", in_stock=4) for add in (0, 4, 6, 8)]
    pair = choose(table, Side(4.5), Side(7.5))
    assert (pair.left.chosen, pair.right.chosen) == (("A-6",), ("A-6",))
    pair = choose(table, Side(4.5), Side(7.5), same_both_sides=False)
    assert (pair.left.chosen, pair.right.chosen) == (("A-4",), ("A-8",))


def test_a_crank_moves_both_sides_and_is_the_last_resort():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-crank", "crank", -7, fitted_by="workshop")]
    pair = choose(table, Side(-7.0))
    assert pair.left.chosen == pair.right.chosen == ("A-crank",)
    assert any("workshop's job" in note for note in pair.left.notes)
    alone = parts.choose(table, family="A", left=Side(-7.0), right=Side(), rules=SearchRules(**RULES))
    assert alone.left.chosen == ()
    assert alone.right is None


def test_a_crank_is_no_lighter_than_a_spindle_on_each_side():
    shop = {"fitted_by": "workshop", "in_stock": 0}
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-crank", "crank", -7, **shop)]
    table.append(PartRow("A", "A-3", "spindle", -3, **shop))
    assert choose(table, Side(-4.0), equal_within_mm=3.0).left.chosen == ("A-3",)


def test_no_wish_gives_nothing():
    assert choose(STEPPED, Side()) == parts.Pair(None, None)


def test_a_fitted_washer_can_come_off():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-w", "washer", 2)]
    side = choose(table, Side(-4.0, washer_mm=4.0)).left
    assert (side.chosen, side.parts_mm, side.remaining_mm) == ((), -4.0, 0.0)
    assert "take off the washer of 4 mm" in side.notes


def test_width_and_setback_together_bring_the_adapters_stack():
    adapters = [
        PartRow("A", f"A-base-{gain}", "base_adapter", setback_gain_mm=gain, stack_mm=stack)
        for gain, stack in ((6, 2), (12, 4), (20, 7))
    ]
    side = choose([*STEPPED, *adapters], Side(5.0, setback_shortfall_mm=10.0)).left
    assert (side.chosen, side.setback_remaining_mm, side.stack_mm) == (("A-5", "A-base-12"), 0.0, 4.0)
    assert any("goes to the saddle" in note for note in side.notes)
    assert side.other_families == ()
    elsewhere = [*STEPPED, PartRow("C", "C-base", "base_adapter", setback_gain_mm=12, stack_mm=4)]
    assert choose(elsewhere, Side(5.0, setback_shortfall_mm=10.0)).left.other_families == ("C",)
    assert choose(STEPPED, Side(5.0, setback_shortfall_mm=1.5)).left.setback_remaining_mm == 1.5


def test_a_blank_lateral_play_is_said():
    side = choose(STEPPED, Side(6.0), family="C").left
    assert any("no lateral play" in note for note in side.notes)


# --- What is refused -----------------------------------------------------------------------------------------------


def reasons(side):
    return {refused.id: refused.reason for refused in side.refused}


def test_a_washer_that_costs_too_many_turns_is_refused():
    # JIS B 0225-1960, pitch 1.270: 14 - 5 is 7.1 turns.
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-w3", "washer", 3), PartRow("A", "A-w5", "washer", 5)]
    side = choose(table, Side(5.0, spindle_thread_mm=14.0), crank_thread_depth_mm=14.0).left
    assert (side.chosen, side.remaining_mm) == (("A-w3",), 2.0)
    assert side.turns == pytest.approx(11 / 1.270)
    assert reasons(side) == {"A-w5": "turns: 7.1 left, at least 8 wanted"}
    assert side.refused_only_mm == ((5.0, 5.0),)
    assert side.gaps_mm == ((0.0, 3.0), (3.0, 5.0))


def test_a_limit_broken_as_found_refuses_only_what_makes_it_worse():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-w1", "washer", 1), PartRow("A", "A-w3", "washer", 3)]
    found = Side(-2.0, spindle_thread_mm=11.0, washer_mm=2.0)
    side = choose(table, found, crank_thread_depth_mm=14.0, equal_within_mm=0.0).left
    assert set(reasons(side)) == {"A-w3"}
    assert side.remaining_mm == 0.0


def test_ground_clearance_refuses_the_part_that_goes_below_25_degrees():
    # 16 CFR 1512.17(c): 83.5 mm of height is 25 degrees at 179.07 mm from the centreline.
    bicycle = {"crank_length_mm": 172.5, "bottom_bracket_height_mm": 268.0}
    found = Side(15.0, pedal_outer_edge_mm=168.0, pedal_below_axle_mm=12.0)
    side = choose(STEPPED, found, **bicycle).left
    assert side.chosen == ("A-5",)
    assert reasons(side) == {"A-15": "ground clearance: touches at 24.5 degrees, 25 wanted"}
    assert side.reachable_mm == ((-2.0, 2.0), (3.0, 7.0))
    assert side.refused_only_mm == ((13.0, 17.0),)
    assert side.lean_deg == pytest.approx(math.degrees(math.atan(83.5 / 173)))


@pytest.mark.parametrize(
    ("field", "name"),
    [
        ("heel_gap_heel_in_mm", "heel gap"),
        ("heel_gap_heel_out_mm", "heel gap"),
        ("ankle_gap_mm", "ankle gap"),
        ("forefoot_gap_mm", "forefoot gap"),
    ],
)
def test_a_narrower_part_is_refused_where_the_foot_would_touch(field, name):
    table = [
        PartRow("A", "A-0", "spindle", 0),
        PartRow("A", "A-4", "spindle", -4),
        PartRow("A", "A-cleat", "cleat", play_mm=6),
    ]
    side = choose(table, Side(-4.0, **{field: 3.0})).left
    assert reasons(side) == {"A-4": f"{name}: 3 mm as found, this takes 4"}
    assert side.reachable_mm == ((-3.0, 3.0),)
    assert (side.chosen, side.adjustment_mm, side.remaining_mm) == ((), -3.0, -1.0)
    near = choose(table, Side(-4.0, **{field: 2.0})).left
    assert (near.adjustment_mm, near.reachable_mm) == (-2.0, ((-2.0, 3.0),))
    assert f"{name} after it: touches" in near.notes


def test_rider_mass_and_makers_word():
    extender = PartRow("A", "A-ext", "extender", 10, max_rider_kg=80)
    table = [PartRow("A", "A-0", "spindle", 0, max_rider_kg=None), extender, PartRow("A", "A-blank", "extender", 12)]
    fine = choose(table, Side(10.0)).left
    assert fine.chosen == ("A-ext",)
    assert reasons(fine) == {"A-blank": "maker's word missing: max_rider_kg not known"}
    assert reasons(choose(table, Side(10.0), rider_kg=None).left)["A-ext"].startswith("rider's mass")
    assert "85 kg" in reasons(choose(table, Side(10.0), rider_kg=85.0).left)["A-ext"]
    assert reasons(choose(table, Side(10.0), rider_kg=math.nan).left)["A-ext"].startswith("rider's mass")
    found = choose(table, Side(0.0, extender_id="A-ext"), rider_kg=None).left
    assert any("fitted as found: rider's mass" in note for note in found.notes)


def test_blank_crank_and_adapter_need_the_makers_word():
    table = [*STEPPED, PartRow("A", "A-crank", "crank"), PartRow("A", "A-base", "base_adapter", setback_gain_mm=9)]
    found = reasons(choose(table, Side(5.0, setback_shortfall_mm=9.0)).left)
    assert found == {
        "A-crank": "maker's word missing: adds_mm not known",
        "A-base": "maker's word missing: stack_mm not known",
    }


def test_what_was_not_measured_is_said():
    notes = " ".join(choose(STEPPED, Side(5.0)).left.notes)
    assert "turns engaged not known" in notes
    assert "lean not known" in notes
    assert "no gap between foot and crank measured" in " ".join(choose(STEPPED, Side(-2.0)).left.notes)


def test_stock_that_does_not_suffice_for_both_sides_is_said():
    table = [PartRow("A", "A-0", "spindle", 0), PartRow("A", "A-5", "spindle", 5, in_stock=1)]
    assert "A-5: 2 needed, 1 in stock" in choose(table, Side(5.0)).left.notes


# --- Bad input -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "side", "words"),
    [
        (STEPPED, Side(1.0, spindle_id="Z-9"), "spindle_id is 'Z-9'; expected one of family 'A'"),
        (STEPPED, Side(1.0, spindle_id="B-9"), "spindle_id is 'B-9'"),
        (STEPPED, Side(1.0, extender_id="E"), "extender_id is 'E'"),
        ((), Side(1.0), "pedal_family is 'A'; expected one of a family of the table, which is empty"),
        ((*STEPPED, STEPPED[0]), Side(1.0), "id is 'A-0' twice"),
        ((PartRow("A", "x", "bolt"),), Side(1.0), "kind of 'x' is 'bolt'"),
        ((PartRow("A", "x", "washer", -2),), Side(1.0), "adds_mm of 'x' is -2"),
        ((PartRow("A", "x", "spindle"),), Side(1.0), "adds_mm of 'x' is blank"),
        ((PartRow("A", "x", "spindle", math.nan),), Side(1.0), "adds_mm of 'x' is nan"),
        ((PartRow("A", "x", "spindle", 4000),), Side(1.0), "adds_mm of 'x' is 4000"),
        ((PartRow("A", "x", "cleat", play_mm=-4),), Side(1.0), "play_mm of 'x' is -4"),
    ],
)
def test_bad_tables_are_refused(table, side, words):
    with pytest.raises(ValueError, match=words):
        choose(table, side)


def test_unknown_family_is_refused():
    with pytest.raises(ValueError, match="pedal_family is 'Z'; expected one of A, B, C"):
        choose(STEPPED, Side(1.0), family="Z")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"half_stance_change_mm": math.nan}, "half_stance_change_mm is nan"),
        ({"half_stance_change_mm": 1e9}, "half_stance_change_mm is 1000000000.0"),
        ({"washer_mm": -1.0}, "washer_mm is -1.0"),
        ({"extender_mm": -2.0}, "extender_mm is -2.0"),
    ],
)
def test_bad_sides_are_refused(values, words):
    with pytest.raises(ValueError, match=words):
        Side(**values)
