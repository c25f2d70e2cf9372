"""No number without interval, grade and source; nothing missing without a word of what it needs."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.assessment.results import Result
from fitkit.calculations.readings import Quantity
from fitkit.estimate import GRADES, UNITS, Estimate


def lacking(needs):
    return Estimate(None, None, None, "mm", None, None, needs)


def bracket_of(low, high):
    return Estimate(None, low, high, "mm", "measured here", "trials")


@given(st.floats(-1e4, 1e4), st.floats(0, 1e3), st.sampled_from(UNITS), st.sampled_from(GRADES))
def test_interval_holds_the_value(value, half_width, unit, grade):
    found = Quantity(value, ((half_width, math.inf),))
    estimate = Result(unit, "a title", "a section", "a source", grade).of(found)
    assert estimate.low <= estimate.value <= estimate.high


def test_an_interval_beside_its_value_is_refused():
    with pytest.raises(ValueError, match="does not hold the value 5"):
        Estimate(5, 6, 7, "mm", "derived", "x")


def test_a_value_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="does not hold the value nan"):
        Estimate(float("nan"), 4, 6, "mm", "derived", "x")


def test_a_value_without_source_or_grade_is_refused():
    with pytest.raises(ValueError, match="has no source"):
        Estimate(5, 5, 5, "mm", "derived", "")
    with pytest.raises(ValueError, match="grade is 'guess'"):
        Estimate(5, 5, 5, "mm", "guess", "x")
    with pytest.raises(ValueError, match="unit is 'cm'"):
        Estimate(5, 5, 5, "cm", "derived", "x")


def test_what_is_missing_must_say_its_need():
    with pytest.raises(ValueError, match="must say what it needs"):
        lacking("")
    assert lacking("foot length").as_result("left.mtp1.expected")["needs"] == "foot length"


def test_a_bracket_has_both_ends_and_no_value():
    bracket = bracket_of(12, 16)
    assert (bracket.value, bracket.low, bracket.high, bracket.needs) == (None, 12, 16, None)
    assert bracket.is_bracket
    assert not bracket.is_known
    assert not lacking("a trial further back").is_bracket
    with pytest.raises(ValueError, match="bracket 16 to 12"):
        bracket_of(16, 12)
