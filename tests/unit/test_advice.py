"""Advice for one foot: the rules in their order, one row a rule and one a boundary, typed from the definition.

Cleat setbacks are behind the first-MTP mark [mm]. The band of EU 42 is 13 to 18, of EU 40 10 to 15, of EU 47 20.5 to
25.5 (common practice, no source); below EU 40 the line goes on as the low end, and the high end is 15. One step is
5 mm toward the heel and 2 mm toward the toes (house choices, ours, no source).
"""

import dataclasses
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.calculations.advice import (
    Advice,
    FootFacts,
    RiddenSetting,
    Steps,
    Worse,
    advise,
    worse_complaints,
)
from fitkit.session.rider import Complaint

EU_36 = {"band_low_mm": 4.0, "band_high_mm": 15.0}
EU_39_5 = {"band_low_mm": 9.25, "band_high_mm": 15.0}
EU_40 = {"band_low_mm": 10.0, "band_high_mm": 15.0}
EU_40_5 = {"band_low_mm": 10.75, "band_high_mm": 15.75}
EU_42 = {"band_low_mm": 13.0, "band_high_mm": 18.0}
EU_47 = {"band_low_mm": 20.5, "band_high_mm": 25.5}

UNSTEADY = frozenset({"unsteady"})
HEEL_DROPS = frozenset({"heel_drops"})
NOTHING = frozenset()

KNEE = Worse("knee_front", "left", 3, 6)


def foot(found=15.0, *, band=EU_42, ridden=(), **facts) -> FootFacts:
    """Return a foot; `ridden` are (setback, "unsteady" or "steady")."""
    trials = tuple(RiddenSetting(at, ("by_score",) if how == "unsteady" else ()) for at, how in ridden)
    return FootFacts(found, **{"half_width_mm": 0.5, "settings": trials, **(band or {}), **facts})


def told(facts: FootFacts) -> tuple:
    advice = advise(facts, Steps())
    return advice.kind, advice.to_mm, advice.next_mm


# Rules 1 to 4: what was said, decided, got worse or was kept outranks band and trials.
FIRST_RULES = {
    "a sign": (foot(8, sign="knee_swollen"), "clinician", None, None),
    "a sign outranks a decision": (foot(8, sign="fever", decided_mm=12), "clinician", None, None),
    "a sign outranks a worsening": (
        foot(8, sign="fever", worse=(KNEE,), changed_then_mm=4),
        "clinician",
        None,
        None,
    ),
    "a sign outranks a missing cleat": (foot(None, sign="fever"), "clinician", None, None),
    "nothing measured": (foot(None), "unknown", None, None),
    "decided": (foot(8, decided_mm=16), "decided", 16, 16),
    "decided to stay, moved by 0": (foot(8, decided_mm=8.0), "decided", 8, 8),
    "decided at the joint itself, place 0": (foot(8, decided_mm=0.0), "decided", 0, 0),
    "decided is not held inside the slots": (foot(8, decided_mm=30, slot_greatest_mm=19), "decided", 30, 30),
    "decided is not held within a step": (foot(8, decided_mm=28), "decided", 28, 28),
    "decided outranks a worsening": (
        foot(16, decided_mm=18, worse=(KNEE,), changed_then_mm=4),
        "decided",
        18,
        18,
    ),
    "decided outranks a trial kept": (foot(8, decided_mm=18, kept_mm=12), "decided", 18, 18),
    "decided outranks unsteady trials": (foot(8, decided_mm=9, ridden=[(8, "unsteady")]), "decided", 9, 9),
    "worse after 4 mm toward the heel": (foot(16, worse=(KNEE,), changed_then_mm=4), "put_back", None, 12),
    "worse after 3 mm toward the toes": (foot(16, worse=(KNEE,), changed_then_mm=-3), "put_back", None, 19),
    "worse, and only the saddle was changed": (
        foot(16, worse=(KNEE,), also_changed=("saddle_height_mm",)),
        "put_back",
        None,
        16,
    ),
    "put back is not held inside the slots": (
        foot(16, worse=(KNEE,), changed_then_mm=9, slot_least_mm=10),
        "put_back",
        None,
        7,
    ),
    "put back even toward the toes though unsteady": (
        foot(20, worse=(KNEE,), changed_then_mm=6, seen=UNSTEADY),
        "put_back",
        None,
        14,
    ),
    "a worsening outranks a trial kept": (foot(16, worse=(KNEE,), changed_then_mm=4, kept_mm=18), "put_back", None, 12),
    "kept": (foot(11, kept_mm=23), "kept", 23, 23),
    "kept is not held inside the slots": (foot(11, kept_mm=23, slot_greatest_mm=19), "kept", 23, 23),
    "kept toward the toes": (foot(22, kept_mm=17), "kept", 17, 17),
    "kept outranks the trials": (foot(11, kept_mm=23, ridden=[(8, "unsteady"), (14, "steady")]), "kept", 23, 23),
}

# Rule 5: the rider's own trials.
TRIALS = {
    "unsteady ahead of steady: the least steady one": (
        foot(9, ridden=[(9, "unsteady"), (14, "steady"), (19, "steady")]),
        "after_trials",
        14,
        14,
    ),
    "however far that is from as found": (foot(9, ridden=[(9, "unsteady"), (24, "steady")]), "after_trials", 24, 24),
    "steady ahead of unsteady: neither place": (
        foot(9, ridden=[(9, "steady"), (14, "unsteady")]),
        "after_trials",
        None,
        None,
    ),
    "steady between two unsteady ones: neither place": (
        foot(9, ridden=[(9, "unsteady"), (12, "steady"), (15, "unsteady"), (18, "steady")]),
        "after_trials",
        None,
        None,
    ),
    "only unsteady: the rearmost and a step": (
        foot(9, ridden=[(9, "unsteady"), (14, "unsteady")]),
        "after_trials",
        19,
        19,
    ),
    "only unsteady, one setting": (foot(9, ridden=[(9.5, "unsteady")]), "after_trials", 14.5, 14.5),
    "unsteady over 9.9 mm": (
        foot(9, ridden=[(9, "unsteady"), (18.9, "unsteady")]),
        "after_trials",
        23.9,
        23.9,
    ),
    "unsteady over 10 mm exactly": (
        foot(9, ridden=[(9, "unsteady"), (19, "unsteady")]),
        "other_cause",
        None,
        None,
    ),
    "unsteady over 10 mm, where binary fractions are a hair short": (
        foot(8.2, ridden=[(8.2, "unsteady"), (18.2 - 1e-12, "unsteady")]),
        "other_cause",
        None,
        None,
    ),
    "unsteady over 10 mm, as found counted": (
        foot(9, seen=UNSTEADY, ridden=[(14, "unsteady"), (19, "unsteady")]),
        "other_cause",
        None,
        None,
    ),
    "unsteady over 5 mm, nobody looked as found": (
        foot(9, seen=None, ridden=[(14, "unsteady"), (19, "unsteady")]),
        "after_trials",
        24,
        24,
    ),
    "as found unsteady by a sign seen, steady behind it": (
        foot(9, seen=HEEL_DROPS, ridden=[(14, "steady")]),
        "after_trials",
        14,
        14,
    ),
    "as found unsteady, steady ahead of it": (
        foot(14, seen=UNSTEADY, ridden=[(11, "steady")]),
        "after_trials",
        None,
        None,
    ),
    "as found steady where it was watched, unsteady ahead of it: leave it there": (
        foot(14, seen=NOTHING, ridden=[(10, "unsteady")]),
        "after_trials",
        14,
        14,
    ),
    "as found steady where it was watched, unsteady behind it": (
        foot(14, seen=NOTHING, ridden=[(19, "unsteady")]),
        "after_trials",
        None,
        None,
    ),
    "as found not counted where nobody looked": (
        foot(14, seen=None, ridden=[(19, "unsteady")]),
        "after_trials",
        24,
        24,
    ),
    "as found not counted where only something else was seen": (
        foot(14, seen=frozenset({"toes_point"}), ridden=[(19, "unsteady")]),
        "after_trials",
        24,
        24,
    ),
    "as found not counted where a trial stands 1 mm from it": (
        foot(14, seen=NOTHING, ridden=[(15, "unsteady")]),
        "after_trials",
        20,
        20,
    ),
    "as found counted where a trial stands 1.1 mm from it": (
        foot(14, seen=NOTHING, ridden=[(15.1, "unsteady")]),
        "after_trials",
        None,
        None,
    ),
    "never ahead of as found": (
        foot(20, ridden=[(11, "unsteady"), (16, "steady")]),
        "after_trials",
        20,
        20,
    ),
    "never ahead of as found, only unsteady": (
        foot(20, ridden=[(10, "unsteady"), (14, "unsteady")]),
        "after_trials",
        20,
        20,
    ),
    "ahead of as found for short maximal efforts": (
        foot(20, riding="short_maximal", ridden=[(11, "unsteady"), (16, "steady")]),
        "after_trials",
        16,
        16,
    ),
    "not ahead for short maximal efforts with a heel that drops": (
        foot(20, riding="short_maximal", seen=HEEL_DROPS, ridden=[(11, "unsteady"), (16, "steady"), (20.5, "steady")]),
        "after_trials",
        20,
        20,
    ),
    "not ahead for long steady riding": (
        foot(20, riding="long_steady", ridden=[(11, "unsteady"), (16, "steady")]),
        "after_trials",
        20,
        20,
    ),
    "only steady: by the band": (foot(9, riding=None, ridden=[(11, "steady")]), "move", 15, 15),
    "held inside the slots": (
        foot(9, ridden=[(9, "unsteady"), (13, "unsteady")], slot_greatest_mm=16.5),
        "after_trials",
        16.5,
        16.5,
    ),
    "never past as found though the slots end ahead of it": (
        foot(14, ridden=[(14, "unsteady")], slot_greatest_mm=13),
        "after_trials",
        14,
        14,
    ),
    "never beyond 35 mm": (foot(31, band=None, ridden=[(32, "unsteady")]), "after_trials", 35, 35),
    "nowhere to go beyond 35 mm": (foot(35, ridden=[(35, "unsteady")]), "other_cause", None, None),
    # what an expert would not do, trial or none: further back from well behind the band (18 + 5), or on a worn cleat
    "unsteady a step behind high": (foot(20, ridden=[(23, "unsteady")]), "after_trials", 28, 28),
    "unsteady further behind": (foot(20, ridden=[(23.1, "unsteady")]), "other_cause", None, None),
    "unsteady on a worn cleat": (foot(9, ridden=[(12, "unsteady")], is_worn=True), "other_cause", None, None),
    "unsteady in a loose shoe": (foot(9, ridden=[(12, "unsteady")], is_loose=True), "other_cause", None, None),
    "a dropping hip is not sent toward the toes": (
        foot(20, ridden=[(12, "unsteady"), (16, "steady")], riding="short_maximal", seen=frozenset({"hip_drop"})),
        "after_trials",
        20,
        20,
    ),
    "nor is a bad complaint": (
        foot(20, ridden=[(12, "unsteady"), (16, "steady")], riding="short_maximal", has_bad_complaint=True),
        "after_trials",
        20,
        20,
    ),
}

# Rule 6: the band.
BAND = {
    # a heel-ward sign: the greater of the high end and a step behind as found
    "unsteady, ahead of the band": (foot(8, seen=UNSTEADY), "move", 18, 13),
    "heel drops, ahead of the band": (foot(8, seen=HEEL_DROPS), "move", 18, 13),
    "unsteady, at the high end": (foot(18, seen=UNSTEADY), "move", 23, 23),
    "unsteady, as found and a step make the high end": (foot(13, seen=UNSTEADY), "move", 18, 18),
    "unsteady, a step behind high exactly": (foot(23, seen=UNSTEADY), "move", 28, 28),
    "unsteady, a step and 0.1 behind high": (foot(23.1, seen=UNSTEADY), "other_cause", None, None),
    "unsteady, 26 behind": (foot(26, seen=UNSTEADY), "other_cause", None, None),
    "heel drops, 26 behind": (foot(26, seen=HEEL_DROPS), "other_cause", None, None),
    "unsteady, worn cleat": (foot(8, seen=UNSTEADY, is_worn=True), "other_cause", None, None),
    "unsteady, loose shoe": (foot(8, seen=UNSTEADY, is_loose=True), "other_cause", None, None),
    "unsteady outranks short maximal efforts, ahead": (foot(8, seen=UNSTEADY, riding="short_maximal"), "move", 18, 13),
    "unsteady outranks short maximal efforts, behind": (
        foot(20, seen=UNSTEADY, riding="short_maximal"),
        "move",
        25,
        25,
    ),
    "unsteady, difference smaller than the half-width": (foot(14, seen=UNSTEADY, half_width_mm=9), "move", 19, 19),
    "unsteady, no band": (foot(20, band=None, seen=UNSTEADY), "move", 25, 25),
    "unsteady, no band, worn": (foot(20, band=None, seen=UNSTEADY, is_worn=True), "other_cause", None, None),
    "unsteady, no band, never beyond 35": (foot(31.5, band=None, seen=UNSTEADY), "move", 35, 35),
    "unsteady, EU 50, never beyond 35": (
        foot(31.5, band={"band_low_mm": 25.0, "band_high_mm": 30.0}, seen=UNSTEADY),
        "move",
        35,
        35,
    ),
    "unsteady, EU 36, ahead": (foot(3, band=EU_36, seen=UNSTEADY), "move", 15, 8),
    "unsteady, EU 40": (foot(9, band=EU_40, seen=UNSTEADY), "move", 15, 15),
    "unsteady, EU 47": (foot(21, band=EU_47, seen=UNSTEADY), "move", 26, 26),
    # toe-ward riding behind the high end
    "short maximal, behind high": (foot(21, riding="short_maximal"), "move", 18, 18),
    "short maximal, far behind high": (foot(30, riding="short_maximal"), "move", 18, 28),
    "short maximal, at the high end": (foot(18, riding="short_maximal"), "leave", None, None),
    "short maximal, behind high by 0.1 under an error of 0.5": (
        foot(18.1, riding="short_maximal"),
        "leave",
        None,
        None,
    ),
    **{
        f"short maximal, behind high, {what}": (
            foot(30, riding="short_maximal", seen=frozenset({what})),
            "leave",
            None,
            None,
        )
        for what in ("hip_drop", "pelvis_rocks", "heel_swing", "weight_on_hands")
    },
    "short maximal, behind high, toes point": (
        foot(30, riding="short_maximal", seen=frozenset({"toes_point", "ankling"})),
        "move",
        18,
        28,
    ),
    "short maximal, behind high, a bad complaint": (
        foot(30, riding="short_maximal", has_bad_complaint=True),
        "leave",
        None,
        None,
    ),
    # ahead of the low end
    "ahead of the band": (foot(9), "move", 15, 15),
    "ahead of the band, long steady": (foot(9, riding="long_steady"), "move", 18, 14),
    "ahead of the band, time trial": (foot(9, riding="time_trial"), "move", 18, 14),
    "ahead of the band, short maximal": (foot(9, riding="short_maximal"), "move", 13, 13),
    "ahead of the band, short maximal, hips drop": (
        foot(9, riding="short_maximal", seen=frozenset({"hip_drop"})),
        "move",
        13,
        13,
    ),
    "ahead of the band, everyday": (foot(9, riding="everyday"), "move", 15, 15),
    "ahead of the band, mixed racing": (foot(9, riding="mixed_racing"), "move", 15, 15),
    "ahead of the band, toes point: no direction": (foot(9, seen=frozenset({"toes_point"})), "move", 15, 15),
    "ahead of the band, ankling: no direction": (foot(9, seen=frozenset({"ankling"})), "move", 15, 15),
    "at the low end": (foot(13), "leave", None, None),
    "0.1 ahead of the low end": (foot(12.9), "move", 15, 15),
    "ahead, worn cleat and nothing seen": (foot(9, is_worn=True, is_loose=True), "move", 15, 15),
    "ahead of EU 36": (foot(2, band=EU_36), "move", 6, 6),
    "inside EU 36": (foot(4, band=EU_36), "leave", None, None),
    "ahead of EU 39.5": (foot(6, band=EU_39_5), "move", 11.25, 11.25),
    "ahead of EU 40": (foot(6, band=EU_40), "move", 12, 12),
    "ahead of EU 40.5": (foot(6, band=EU_40_5), "move", 12.75, 12.75),
    "ahead of EU 47": (foot(16, band=EU_47), "move", 22.5, 22.5),
    # smaller than can be measured
    "difference of the half-width exactly": (foot(12, half_width_mm=3), "move", 15, 15),
    "difference a little under the half-width": (foot(12, half_width_mm=3.1), "leave", None, None),
    "short maximal, difference a little under the half-width": (
        foot(21, riding="short_maximal", half_width_mm=3.1),
        "leave",
        None,
        None,
    ),
    # inside or behind, and nothing that speaks for moving
    "inside": (foot(15), "leave", None, None),
    "inside, long steady": (foot(14, riding="long_steady"), "leave", None, None),
    "behind and content": (foot(26, seen=NOTHING), "leave", None, None),
    "behind, long steady": (foot(26, riding="long_steady"), "leave", None, None),
    "behind, hips drop": (foot(26, seen=frozenset({"hip_drop"})), "leave", None, None),
    # no band
    "no band": (foot(15, band=None), "unknown", None, None),
    "no band, short maximal": (foot(30, band=None, riding="short_maximal"), "unknown", None, None),
    # one step
    "a rest of 2 stays for later, toward the heel": (foot(11, riding="long_steady"), "move", 18, 16),
    "a rest of 1.9 joins, toward the heel": (foot(11.1, riding="long_steady"), "move", 18, 18),
    "a rest of 2, where binary fractions are a hair short": (
        foot(18.2 - 7, band={"band_low_mm": 13.2, "band_high_mm": 18.2 - 1e-12}, riding="long_steady"),
        "move",
        18.2,
        16.2,
    ),
    "a rest of 2 stays for later, toward the toes": (foot(22, riding="short_maximal"), "move", 18, 20),
    "a rest of 1.9 joins, toward the toes": (foot(21.9, riding="short_maximal"), "move", 18, 18),
    "on from the steady setting ridden nearest": (
        foot(3, ridden=[(5, "steady"), (8, "steady")], riding="time_trial"),
        "move",
        18,
        13,
    ),
    "not on from a steady setting beyond it": (
        foot(3, ridden=[(19, "steady")], riding="time_trial"),
        "move",
        18,
        8,
    ),
    "not on from a steady setting the other way": (
        foot(8, ridden=[(5, "steady")], riding="time_trial"),
        "move",
        18,
        13,
    ),
    "a steady setting ridden where it is going": (
        foot(3, ridden=[(18, "steady")], riding="time_trial"),
        "move",
        18,
        18,
    ),
    "toward the toes on from a steady setting": (
        foot(30, ridden=[(24, "steady")], riding="short_maximal"),
        "move",
        18,
        22,
    ),
}


@pytest.mark.parametrize(("facts", "kind", "to", "following"), FIRST_RULES.values(), ids=FIRST_RULES)
def test_what_was_said_decided_got_worse_or_was_kept_comes_first(facts, kind, to, following):
    assert told(facts) == (kind, to, following)


@pytest.mark.parametrize(("facts", "kind", "to", "following"), TRIALS.values(), ids=TRIALS)
def test_trials_of_this_rider_outrank_the_band(facts, kind, to, following):
    assert told(facts) == (kind, pytest.approx(to), pytest.approx(following))


@pytest.mark.parametrize(("facts", "kind", "to", "following"), BAND.values(), ids=BAND)
def test_the_band_and_what_was_seen(facts, kind, to, following):
    assert told(facts) == (kind, pytest.approx(to), pytest.approx(following))


# Slots: (foot, unheld to, held to, next, short by, adapters that close it)
ADAPTERS = (("far", 15.0), ("near", 10.0), ("small", 3.0))
SLOTS = {
    "rear end 1.9 short": (foot(9, riding="long_steady", slot_greatest_mm=16.1, adapters=ADAPTERS), 16.1, 14, 1.9, ()),
    "rear end 2 short": (
        foot(9, riding="long_steady", slot_greatest_mm=16, adapters=ADAPTERS),
        16,
        14,
        2,
        ("small", "near", "far"),
    ),
    "3 short: the adapter that gives just that": (
        foot(9, riding="long_steady", slot_greatest_mm=15, adapters=ADAPTERS),
        15,
        15,
        3,
        ("small", "near", "far"),
    ),
    "8.5 short": (
        foot(6, riding="long_steady", slot_greatest_mm=9.5, adapters=ADAPTERS),
        9.5,
        9.5,
        8.5,
        ("near", "far"),
    ),
    "no adapter gives it": (
        foot(6, riding="long_steady", slot_greatest_mm=9.5, adapters=(("small", 3.0),)),
        9.5,
        9.5,
        8.5,
        (),
    ),
    "slots end at as found": (
        foot(18, seen=UNSTEADY, slot_greatest_mm=18, adapters=ADAPTERS),
        18,
        18,
        5,
        ("near", "far"),
    ),
    "rear end not measured": (foot(9, riding="long_steady", slot_least_mm=4, adapters=ADAPTERS), 18, 14, 0, ()),
    "front end does not hold a move toward the heel": (
        foot(9, riding="long_steady", slot_least_mm=10, slot_greatest_mm=30),
        18,
        14,
        0,
        (),
    ),
    "front end holds a move toward the toes": (
        foot(30, riding="short_maximal", slot_least_mm=25, adapters=ADAPTERS),
        25,
        28,
        -7,
        (),
    ),
    "an adapter fitted already counts in the end given": (
        foot(6, riding="long_steady", slot_greatest_mm=9.5 + 10, adapters=(("near", 0.0), ("far", 5.0))),
        18,
        11,
        0,
        (),
    ),
    "trials: 4 short": (
        foot(9, ridden=[(9, "unsteady"), (15, "unsteady")], slot_greatest_mm=16, adapters=ADAPTERS),
        16,
        16,
        4,
        ("near", "far"),
    ),
}


@pytest.mark.parametrize(("facts", "to", "following", "short", "closed_by"), SLOTS.values(), ids=SLOTS)
def test_slots_hold_the_place_and_adapters_that_give_it_are_named_least_first(facts, to, following, short, closed_by):
    advice = advise(facts, Steps())
    assert advice.to_mm == pytest.approx(to)
    assert advice.next_mm == pytest.approx(following)
    assert advice.short_by_mm == pytest.approx(short)
    assert advice.closed_by == closed_by
    assert ("slots" in advice.why) == (abs(short) >= 2)


@pytest.mark.parametrize(
    "facts", [foot(8, decided_mm=30, slot_greatest_mm=19), foot(8, kept_mm=30, slot_greatest_mm=19)]
)
def test_a_place_decided_or_kept_is_not_cut_by_the_slots(facts):
    assert advise(facts, Steps()).short_by_mm == 0


def test_what_is_needed_is_said():
    assert advise(foot(None), Steps()).needs == "cleat setback"
    assert advise(foot(8, sign="knee_swollen"), Steps()).needs == "clinician: knee_swollen"
    assert advise(foot(15, band=None), Steps()).needs == "shoe size"
    assert advise(foot(15, band=None, band_needs="a band for EU 35"), Steps()).needs == "a band for EU 35"
    contrary = advise(foot(9, ridden=[(9, "steady"), (14, "unsteady")]), Steps())
    assert contrary.needs == "ride 14 once more"


def test_what_else_was_changed_goes_back_too():
    worse = {"worse": (KNEE,), "changed_then_mm": 4.0, "also_changed": ("saddle_height_mm", "shim_mm")}
    assert advise(foot(16, **worse), Steps()).also_back == ("saddle_height_mm", "shim_mm")
    assert advise(foot(16, decided_mm=18, **worse), Steps()).why == ("worse", "decided")
    assert advise(foot(16, also_changed=("shim_mm",)), Steps()).also_back == ()


def test_reasons_name_what_was_seen_and_what_else_it_may_be():
    both = frozenset({"unsteady", "heel_drops"})
    assert advise(foot(8, seen=both), Steps()).why == ("unsteady", "heel_drops")
    assert advise(foot(26, seen=UNSTEADY), Steps()).why == ("unsteady", "far_behind_band")
    loose = advise(foot(8, seen=UNSTEADY, is_worn=True, is_loose=True), Steps())
    assert loose.why == ("unsteady", "worn_cleat", "loose_shoe")
    everywhere = advise(foot(9, ridden=[(9, "unsteady"), (19, "unsteady")], is_worn=True), Steps())
    assert everywhere.why == ("unsteady_everywhere", "by_score", "worn_cleat")
    # Which of score, sign seen and complaint made it unsteady is said.
    hurt = FootFacts(9, settings=(RiddenSetting(9, ("heel_drops", "worse_in_trial")), RiddenSetting(14)), **EU_42)
    assert advise(hurt, Steps()).why == ("steady_in_trials", "heel_drops", "worse_in_trial")
    # Held at as found though unsteady everywhere ahead of it: "steady further forward too" would be untrue.
    assert advise(foot(20, ridden=[(10, "unsteady"), (14, "unsteady")]), Steps()).why == (
        "unsteady_in_trials",
        "by_score",
    )
    assert advise(foot(26, seen=NOTHING), Steps()).why == ("behind_band",)
    assert advise(foot(15), Steps()).why == ("inside_band",)
    assert advise(foot(12, half_width_mm=3.1), Steps()).why == ("smaller_than_measured",)


def test_the_house_may_choose_other_steps():
    steps = Steps(toward_heel_mm=3, toward_toes_mm=1, greatest_setback_mm=20, point_above_low_mm=1)
    assert advise(foot(9), steps).to_mm == 14
    assert advise(foot(8, riding="long_steady"), steps).next_mm == 11
    assert advise(foot(18, seen=UNSTEADY), steps).to_mm == 20
    assert advise(foot(30, riding="short_maximal"), steps).next_mm == 29


def test_the_advice_stands_in_the_results_as_defined():
    facts = foot(6, riding="long_steady", slot_greatest_mm=9.5, adapters=ADAPTERS)
    assert advise(facts, Steps()).as_document() == {
        "kind": "move",
        "to_mm": 9.5,
        "next_mm": 9.5,
        "why": ["slots", "long_steady", "ahead_of_band"],
        "needs": None,
        "short_by_mm": 8.5,
        "closed_by": ["near", "far"],
        "also_back": [],
    }


# What got worse: (before, now, side, (severity then, now) of each found)
def _hurts(severity, region="knee_front", side="left", since=None):
    return Complaint(region=region, side=side, severity=severity, since=since)


WORSE = {
    "2 higher": ([_hurts(3)], [_hurts(5)], "left", [(3, 5)]),
    "1.9 higher": ([_hurts(3)], [_hurts(4.9)], "left", []),
    "2 higher, where binary fractions are a hair short": ([_hurts(2.1)], [_hurts(4.1)], "left", [(2.1, 4.1)]),
    "better": ([_hurts(6)], [_hurts(2)], "left", []),
    "gone": ([_hurts(6)], [], "left", []),
    "doubled": ([_hurts(3)], [_hurts(6)], "left", [(3, 6)]),
    "new with 4": ([], [_hurts(4)], "left", [(None, 4)]),
    "new with 3.9": ([], [_hurts(3.9)], "left", []),
    "new, since the day before": ([], [_hurts(5, since="2026-03-03")], "left", []),
    "new, since the very day": ([], [_hurts(5, since="2026-03-04")], "left", [(None, 5)]),
    "new, since the day after": ([], [_hurts(5, since="2026-03-05")], "left", [(None, 5)]),
    "new, since the month before": ([], [_hurts(5, since="2026-02")], "left", []),
    "new, since that month": ([], [_hurts(5, since="2026-03")], "left", [(None, 5)]),
    "new, since that year": ([], [_hurts(5, since="2026")], "left", [(None, 5)]),
    "new, since the year before": ([], [_hurts(5, since="2025")], "left", []),
    "higher though it began long before": ([_hurts(3)], [_hurts(5, since="2019")], "left", [(3, 5)]),
    "the other side": ([_hurts(3)], [_hurts(6)], "right", []),
    "new on the other side": ([_hurts(3, side="right")], [_hurts(5)], "left", [(None, 5)]),
    "another region": ([_hurts(6, "hip")], [_hurts(5)], "left", [(None, 5)]),
    "both sides count on the left": ([_hurts(3, side="both")], [_hurts(5, side="both")], "left", [(3, 5)]),
    "both sides count on the right": ([_hurts(3, side="both")], [_hurts(5, side="both")], "right", [(3, 5)]),
    "no side said counts on either": ([_hurts(3, side=None)], [_hurts(5, side=None)], "right", [(3, 5)]),
    "no side said then": ([_hurts(3, side=None)], [_hurts(5)], "left", [(3, 5)]),
    "no side said now": ([_hurts(3)], [_hurts(5, side=None)], "left", [(3, 5)]),
    "both then, one now": ([_hurts(5, side="both")], [_hurts(6)], "left", []),
    "one then, both now": ([_hurts(5)], [_hurts(6, side="both")], "left", []),
    "both now, the worse side then was the other": (
        [_hurts(3, side="left"), _hurts(7, side="right")],
        [_hurts(6, side="both")],
        "left",
        [(3, 6)],
    ),
    "both now, on the side that was worse then": (
        [_hurts(3, side="left"), _hurts(7, side="right")],
        [_hurts(6, side="both")],
        "right",
        [],
    ),
    "both now, only the other side then: new on this one": (
        [_hurts(6, side="right")],
        [_hurts(6, side="both")],
        "left",
        [(None, 6)],
    ),
    "low back": ([_hurts(2, "low_back", None)], [_hurts(4, "low_back", None)], "left", [(2, 4)]),
    "low back of the other side": (
        [_hurts(2, "low_back", "right")],
        [_hurts(4, "low_back", "right")],
        "left",
        [(2, 4)],
    ),
    "saddle area of the other side": ([], [_hurts(4, "saddle_area", "right")], "left", [(None, 4)]),
    **{
        f"{region} is above the low back": ([], [_hurts(9, region, None)], "left", [])
        for region in ("neck", "shoulder", "hand")
    },
    **{
        f"{region} is from the low back downward": ([], [_hurts(4, region)], "left", [(None, 4)])
        for region in (
            *("hip", "groin", "buttock", "thigh_front", "thigh_back", "knee_front", "knee_inner", "knee_outer"),
            *("knee_back", "calf", "achilles", "ankle", "heel", "forefoot", "toes"),
        )
    },
    "no severity now": ([_hurts(3)], [_hurts(None)], "left", []),
    "no severity then: neither higher nor new": ([_hurts(None)], [_hurts(8)], "left", []),
    "no severity at all, new": ([], [_hurts(None)], "left", []),
    "two of them": (
        [_hurts(3), _hurts(1, "hip")],
        [_hurts(6), _hurts(4, "hip"), _hurts(2, "toes")],
        "left",
        [(3, 6), (1, 4)],
    ),
}


@pytest.mark.parametrize(("before", "now", "side", "expected"), WORSE.values(), ids=WORSE)
def test_what_got_worse_since_the_last_visit(before, now, side, expected):
    found = worse_complaints(before, now, side=side, since_day="2026-03-04", worse_by=2, new_from=4)
    assert [(each.then, each.now) for each in found] == expected


def test_within_one_visit_a_complaint_of_4_is_new_whenever_it_began():
    now = [_hurts(4, since="2019")]
    assert worse_complaints([], now, side="left", since_day=None, worse_by=2, new_from=4)


# Properties
PLACES = st.floats(-5, 38).map(lambda value: round(value, 1))
BANDS = st.sampled_from([EU_36, EU_39_5, EU_40, EU_40_5, EU_42, EU_47, {}])
SEEN = st.none() | st.frozensets(
    st.sampled_from(["unsteady", "heel_drops", "toes_point", "ankling", "hip_drop", "pelvis_rocks", "heel_swing"]),
    max_size=3,
)
RIDING = st.sampled_from([None, "everyday", "long_steady", "time_trial", "mixed_racing", "short_maximal"])


@st.composite
def feet(draw):
    """Return any foot with a cleat measured, without sign, decision, worsening or kept trial."""
    ridden = draw(st.lists(st.tuples(PLACES, st.booleans()), max_size=4, unique_by=lambda pair: round(pair[0])))
    low, high = sorted(draw(st.tuples(PLACES, PLACES)))
    return FootFacts(
        draw(PLACES),
        half_width_mm=draw(st.sampled_from([0.0, 2.0, 3.4])),
        settings=tuple(RiddenSetting(at, ("by_score",) if is_unsteady else ()) for at, is_unsteady in ridden),
        seen=draw(SEEN),
        riding=draw(RIDING),
        has_bad_complaint=draw(st.booleans()),
        slot_least_mm=draw(st.sampled_from([None, low])),
        slot_greatest_mm=draw(st.sampled_from([None, high])),
        adapters=ADAPTERS,
        is_worn=draw(st.booleans()),
        is_loose=draw(st.booleans()),
        **draw(BANDS),
    )


MANY = settings(max_examples=600, deadline=None)


@MANY
@given(feet(), st.sampled_from([UNSTEADY, HEEL_DROPS, UNSTEADY | HEEL_DROPS]))
def test_an_unsteady_or_heel_dropping_rider_is_never_sent_toward_the_toes(facts, signs):
    facts = dataclasses.replace(facts, seen=signs | (facts.seen or NOTHING))
    advice = advise(facts, Steps())
    assert advice.next_mm is None or advice.next_mm >= facts.found_mm
    assert advice.to_mm is None or advice.to_mm >= facts.found_mm


@MANY
@given(feet())
def test_no_step_is_as_long_as_a_step_and_2_mm(facts):
    following = advise(facts, Steps()).next_mm
    if following is None:
        return
    known = [facts.found_mm, *(each.cleat_setback_mm for each in facts.settings)]
    toward_heel = min((following - at for at in known if at <= following), default=99)
    toward_toes = min((at - following for at in known if at >= following), default=99)
    assert toward_heel < 7 or toward_toes < 4


@MANY
@given(feet())
def test_nothing_is_advised_outside_the_slots_unless_it_stands_there(facts):
    advice = advise(facts, Steps())
    for place in (advice.to_mm, advice.next_mm):
        if place is None:
            continue
        if facts.slot_greatest_mm is not None:
            assert place <= max(facts.slot_greatest_mm, facts.found_mm)
        if facts.slot_least_mm is not None:
            assert place >= min(facts.slot_least_mm, facts.found_mm)


@MANY
@given(feet())
def test_nothing_is_advised_beyond_35_mm_that_was_not_ridden(facts):
    following = advise(facts, Steps()).next_mm
    ridden = [facts.found_mm, *(each.cleat_setback_mm for each in facts.settings)]
    assert following is None or following <= max(35, facts.found_mm) or following in ridden


@MANY
@given(feet(), st.none() | PLACES, st.none() | PLACES, st.booleans())
def test_a_sign_removes_every_number(facts, decided, kept, is_worse):
    worse = (KNEE,) if is_worse else ()
    facts = dataclasses.replace(
        facts, sign="hot_swollen_calf", decided_mm=decided, kept_mm=kept, worse=worse, changed_then_mm=4.0
    )
    assert advise(facts, Steps()) == Advice(
        "clinician", None, None, ("hot_swollen_calf",), "clinician: hot_swollen_calf", 0.0, (), ()
    )


@MANY
@given(feet(), st.randoms(use_true_random=False))
def test_the_order_of_the_settings_changes_nothing(facts, shuffled: random.Random):
    ridden = list(facts.settings)
    shuffled.shuffle(ridden)
    assert advise(dataclasses.replace(facts, settings=tuple(ridden)), Steps()) == advise(facts, Steps())
