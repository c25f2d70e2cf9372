"""How often the hinge is found, claimed wrongly, and held by its interval; run by name, with -s to see the rates."""

import numpy as np
import pytest

from fitkit.calculations.forward_limit import hinge

SETBACKS = np.repeat(np.arange(8.0, 23.0, 2.0), 3)
FITS = 2000


def rates(score, *, setbacks=SETBACKS, as_scored=False):
    """Return the shares found, held by the interval among those found, held among all fits' own truth, and bias."""
    rng, told = np.random.default_rng(20), []
    for _ in range(FITS):
        y = score(setbacks) + rng.normal(size=setbacks.size)
        y = np.clip(np.round(y), 0, 10) if as_scored else y
        told.append(hinge(cleat_setback_mm=setbacks, unsteadiness=y).break_mm)
    found = [ends for ends in told if ends is not None]
    held = np.mean([ends.low <= 14 <= ends.high for ends in found]) if found else np.nan
    bias = np.mean([ends.value - 14 for ends in found]) if found else np.nan
    return len(found) / FITS, held, bias


def broken(at_rest):
    return lambda x: at_rest + 0.7 * np.maximum(14 - x, 0)


@pytest.mark.parametrize(
    ("name", "score", "options", "least_found", "least_held"),
    [
        ("break at 14, slope 0.7, noise 1", broken(0), {}, 0.80, 0.92),
        ("the same, scored in whole points from 1", broken(1), {"as_scored": True}, 0.80, 0.90),
        ("the same, scored in whole points from 0", broken(0), {"as_scored": True}, 0.80, 0.80),
        ("five settings only", broken(0), {"setbacks": np.repeat(np.arange(8.0, 21.0, 3.0), 3)}, 0.0, 0.90),
    ],
)
def test_breaks_found(name, score, options, least_found, least_held):
    found, held, bias = rates(score, **options)
    print(f"\n{name}: found {found:.1%}, interval holds the break {held:.1%}, bias {bias:+.2f} mm")
    assert found >= least_found
    assert held >= least_held


@pytest.mark.parametrize(
    ("name", "score", "options"),
    [
        ("no relation", lambda x: 0 * x, {}),
        ("no relation, scored in whole points from 1", lambda x: 1 + 0 * x, {"as_scored": True}),
        ("straight line, 0.1 a mm", lambda x: 0.1 * (22 - x), {}),
        ("straight line, 0.35 a mm", lambda x: 0.35 * (22 - x), {}),
        ("straight line, 0.7 a mm", lambda x: 0.7 * (22 - x), {}),
    ],
)
def test_breaks_claimed_where_there_is_none(name, score, options):
    claimed, _, _ = rates(score, **options)
    print(f"\n{name}: claimed {claimed:.1%}")
    assert claimed <= 0.05
