"""Static height rules against the worked agreement of their sources, and their intervals against GTC."""

from __future__ import annotations

import pytest
from GTC import ureal

from fitkit.calculations.readings import Quantity, exact
from fitkit.calculations.saddle_height import (
    IGNORED,
    disagreement_mm,
    height_rules,
)


def test_worked_agreement_of_the_three_rules():
    # Inseam 840, seat tube 73, knee 35, crank 172.5, to the pedal spindle: regression 911.9, 1.09 x inseam 915.6,
    # 0.883 x inseam plus crank 914.2 (computed from the published coefficients).
    rules = height_rules(exact(840.0), crank_mm=172.5, seat_tube_angle_deg=73.0, least_knee_flexion=exact(35.0))
    to_spindle = [rule.saddle_height.value + 172.5 for rule in rules]
    assert to_spindle == pytest.approx([915.6, 914.2, 911.9], abs=0.05)
    assert disagreement_mm(rules) == pytest.approx(915.6 - 911.9, abs=0.1)


def test_regression_without_a_knee_says_what_it_needs():
    *others, regression = height_rules(exact(840.0), crank_mm=172.5, seat_tube_angle_deg=73.0, least_knee_flexion=None)
    assert regression.saddle_height is None
    assert "needs the least knee flexion" in regression.notes[0]
    assert disagreement_mm((*others, regression)) == pytest.approx(1.4, abs=0.05)


def test_intervals_of_the_rules_against_gtc():
    inseam, knee = ureal(840.0, 2.0, 4), ureal(35.0, 0.8, 5)
    hamley, plain, regression = (
        rule.saddle_height
        for rule in height_rules(
            Quantity(840.0, ((2.0, 4),)),
            crank_mm=172.5,
            seat_tube_angle_deg=73.0,
            least_knee_flexion=Quantity(35.0, ((0.8, 5),)),
        )
    )
    own_error, rounding = ureal(0.0, 11.5, 36), ureal(0.0, 20.0)
    gatti = 10 * (7.41 + 0.82 * inseam / 10 - 0.1 * knee + 0.003 * inseam / 10 * 73.0) - 172.5 + own_error + rounding
    for ours, theirs in ((hamley, 1.09 * inseam - 172.5), (plain, 0.883 * inseam), (regression, gatti)):
        assert (ours.value, ours.u, ours.df) == pytest.approx((theirs.x, theirs.u, theirs.df))


def test_what_the_rules_ignore_is_said():
    assert "cleat setback" in IGNORED
