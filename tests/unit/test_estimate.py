"""No number without interval, grade and source; nothing missing without a word of what it needs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.estimate import GRADES, UNITS, between, known, missing


@given(st.floats(-1e4, 1e4), st.floats(0, 1e3), st.sampled_from(UNITS), st.sampled_from(GRADES))
def test_interval_holds_the_value(value, half_width, unit, grade):
    estimate = known(value, unit=unit, grade=grade, source="a source", half_width=half_width)
    assert estimate.low <= estimate.value <= estimate.high


def test_an_interval_beside_its_value_is_refused():
    with pytest.raises(ValueError, match="does not hold the value 5"):
        known(5, unit="mm", grade="derived", source="x", low=6, high=7)


def test_a_value_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="does not hold the value nan"):
        known(float("nan"), unit="mm", grade="derived", source="x")


def test_a_value_without_source_or_grade_is_refused():
    with pytest.raises(ValueError, match="has no source"):
        known(5, unit="mm", grade="derived", source="")
    with pytest.raises(ValueError, match="grade is 'guess'"):
        known(5, unit="mm", grade="guess", source="x")
    with pytest.raises(ValueError, match="unit is 'cm'"):
        known(5, unit="cm", grade="derived", source="x")


def test_what_is_missing_must_say_its_need():
    with pytest.raises(ValueError, match="must say what it needs"):
        missing("")
    assert missing("foot length").as_result("left.mtp1.expected")["needs"] == "foot length"


def test_a_bracket_has_both_ends_and_no_value():
    bracket = between(12, 16, unit="mm", grade="measured here", source="trials")
    assert (bracket.value, bracket.low, bracket.high, bracket.needs) == (None, 12, 16, None)
    assert bracket.is_bracket
    assert not bracket.is_known
    assert not missing("a trial further back").is_bracket
    with pytest.raises(ValueError, match="bracket 16 to 12"):
        between(16, 12, unit="mm", grade="measured here", source="trials")
