"""The bracket of trials: common practice and this kit's own definitions, as logic."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitkit.calculations import forward_limit
from fitkit.calculations.forward_limit import ScoredTrial, bracket, hit_rate, hit_rate_words

ERRORS = {"unsteady_from": 4, "score_sd": 1, "place_sd_mm": 1.0}

setbacks = st.integers(4, 30).map(float)
scores = st.integers(0, 10).map(float)
rides = st.lists(st.builds(lambda at, score: ScoredTrial(at, (score,), True), setbacks, scores), min_size=1, max_size=8)


def ridden(*pairs):
    return [ScoredTrial(at, (score,), saddle_corrected=True) for at, score in pairs]


def found_in(*pairs):
    return bracket(ridden(*pairs), unsteady_from=4)


def test_unsteady_in_front_and_steady_behind_is_a_bracket():
    found = found_in((8, 7), (12, 5), (16, 1), (20, 1))
    assert (found.low_mm, found.high_mm, found.needs) == (12, 16, None)
    assert found.notes == ("no return trial yet: ride 12 mm once more, to see that not the order made it",)
    assert found.rests_on == "unsteady at 8 (1), 12 (1) mm; steady at 16 (1), 20 (1) mm; trials in brackets, 4 in all"


@pytest.mark.parametrize(
    ("pairs", "low", "high", "needs"),
    [
        ([(16, 1), (20, 1)], None, None, "a trial further forward"),
        ([(8, 7), (12, 5)], None, None, "a trial further back"),
        ([(8, 1), (12, 6), (16, 1)], 12, 16, "return trial"),
        ([(8, 1), (12, 6)], None, None, "return trial"),
        ([], None, None, "a trial with a score of unsteadiness"),
        ([(12, 4), (16, 3.9)], 12, 16, None),
    ],
)
def test_what_is_needed_is_said(pairs, low, high, needs):
    found = found_in(*pairs)
    assert (found.low_mm, found.high_mm, found.needs) == (low, high, needs)


def test_contradictory_marks_are_named():
    assert "contradictory: steady at 8 mm, in front of unsteady at 12 mm" in found_in((8, 1), (12, 6), (16, 1)).notes


def test_a_return_trial_that_was_ridden_is_not_asked_again():
    found = found_in((8, 7), (12, 5), (16, 1), (12, 6))
    assert (found.low_mm, found.high_mm) == (12, 16)
    assert not any("no return trial yet" in note for note in found.notes)
    # The same setback twice in a row is a repeat, no return.
    again = found_in((8, 7), (12, 5), (12, 6), (16, 1))
    assert "no return trial yet: ride 12 mm once more, to see that not the order made it" in again.notes


def test_the_mean_of_all_trials_at_a_setback_decides():
    found = bracket([*ridden((12, 6), (16, 0)), ScoredTrial(12, (1.0,), True)], unsteady_from=4)
    assert [sum(setting.scores) / len(setting.scores) for setting in found.settings] == [3.5, 0]
    assert found.needs == "a trial further forward"
    assert "scores at 12 mm disagree: 6, 1" in found.notes


def test_trials_that_lack_something_are_said():
    trials = [
        ScoredTrial(8, (7,), saddle_corrected=False),
        ScoredTrial(16, (1,)),
        ScoredTrial(None, (3,), True),
        ScoredTrial(20, (), True),
    ]
    found = bracket(trials, unsteady_from=4)
    assert (found.low_mm, found.high_mm) == (8, 16)  # they count all the same
    assert found.notes[:4] == (
        "trial 1 at 8 mm: without a saddle correction",
        "trial 2 at 16 mm: saddle correction not recorded",
        "trial 3 has no cleat setback and does not count",
        "trial 4 at 20 mm has no score and does not count",
    )
    assert found.rests_on.endswith("2 without a recorded saddle correction")


@given(rides, st.integers(5, 20), st.integers(1, 8), st.integers(0, 30), st.integers(0, 3).map(float))
def test_a_steady_trial_forward_of_the_limit_never_widens(others, low, width, at, score):
    trials = [*others, *ridden((low, 10), (low + width, 0))]
    before = bracket(trials, unsteady_from=4)
    assume(before.low_mm is not None)
    # In front of the bracket or between its ends: a steady trial at its low end would speak against that end itself.
    at = 4 + at % (before.high_mm - 4)
    assume(at != before.low_mm)
    after = bracket([*trials, ScoredTrial(at, (score,), True)], unsteady_from=4)
    assert before.low_mm <= after.low_mm < after.high_mm <= before.high_mm


@given(rides)
def test_a_bracket_is_unsteady_in_front_and_steady_behind(trials):
    found = bracket(trials, unsteady_from=4)
    if found.low_mm is None:
        assert found.high_mm is None
        assert found.needs is not None
        return
    by_place = {setting.cleat_setback_mm: setting.is_unsteady for setting in found.settings}
    assert by_place[found.low_mm]
    assert not by_place[found.high_mm]
    assert not any(found.low_mm < at < found.high_mm for at in by_place)


@given(rides, st.randoms())
def test_the_order_of_trials_changes_no_end(trials, random):
    mixed = random.sample(trials, len(trials))
    ends = [
        (found.low_mm, found.high_mm, found.needs) for found in (bracket(t, unsteady_from=4) for t in (trials, mixed))
    ]
    assert ends[0] == ends[1]


@pytest.mark.parametrize(
    ("pairs", "places"),
    [
        ([(12, 6), (12.3, 1), (16, 1)], [12.15, 16]),
        ([(12, 6), (12.9, 1), (13.8, 1)], [12.9]),
        ([(12, 6), (13, 1)], [12, 13]),
    ],
)
def test_settings_with_gaps_under_one_millimetre_count_as_one(pairs, places):
    # House choice: one setting read twice must not become a bracket of a third of a millimetre.
    found = bracket(ridden(*pairs), unsteady_from=4)
    assert [setting.cleat_setback_mm for setting in found.settings] == pytest.approx(places)


def test_scores_of_one_setting_are_pooled():
    found = bracket(ridden((12, 6), (12.4, 1), (8, 7)), unsteady_from=4)
    # 6 and 1 are 3.5 on the mean, which is under 4: steady.
    assert [setting.is_unsteady for setting in found.settings] == [True, False]


def test_each_trial_keeps_its_own_observations():
    trials = [
        ScoredTrial(16, (1,), True),
        ScoredTrial(8, (7,), True, ("hip_drop", "weight_on_hands"), 3),
        ScoredTrial(16, (2,), True),
    ]
    rows = forward_limit.along_setbacks(trials)
    assert [(number, trial.cleat_setback_mm) for number, trial in rows] == [(1, 8), (0, 16), (2, 16)]
    assert rows[0][1].seen == ("hip_drop", "weight_on_hands")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ScoredTrial(12, (11,)), "unsteadiness is 11"),
        (lambda: ScoredTrial(12, (math.nan,)), "unsteadiness is nan"),
        (lambda: ScoredTrial(math.inf, (1,)), "cleat_setback_mm is inf"),
        (lambda: bracket([], unsteady_from=0), "unsteady_from is 0"),
    ],
)
def test_impossible_values_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()


def test_a_bracket_says_how_often_such_a_one_holds_and_what_one_more_look_makes_it():
    ridden = [ScoredTrial(8, (7,)), ScoredTrial(12, (5,)), ScoredTrial(16, (1,)), ScoredTrial(20, (1,))]
    found = bracket(ridden, unsteady_from=4)
    words = hit_rate_words(found.settings, unsteady_from=4, score_sd=1, place_sd_mm=1.0)
    # By simulation (tests/benchmarks/coverage.py): 62 in 100, 71 with a second look at both ends.
    assert words.startswith("about 6 in 10 such brackets hold the limit")
    assert words.endswith("a further look at 12 and 16 makes it 7 in 10")


def test_exact_readings_and_scores_hold_the_limit_always():
    settings = bracket([ScoredTrial(8, (7,)), ScoredTrial(12, (5,)), ScoredTrial(16, (1,))], unsteady_from=4).settings
    assert hit_rate(settings, unsteady_from=4, score_sd=1e-3, place_sd_mm=1e-3) > 0.99
    wide, narrow = (
        hit_rate(bracket([ScoredTrial(8, (7,)), ScoredTrial(8 + gap, (1,))], unsteady_from=4).settings, **ERRORS)
        for gap in (6, 2)
    )
    assert narrow < wide
