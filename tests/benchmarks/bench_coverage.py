"""How many riders held out lie inside the learned 95 % interval, in invented clinics whose true answer is known.

Run by name: ``python -m pytest -s tests/benchmarks/bench_coverage.py``. The figure the overview prints is the mean
over these clinics.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.calculations.learned_band import SIMULATED_COVERAGE
from tests.invented_clinic import Truth, coverage, invent

CLINICS = 60
KINDS = {
    "200 riders, slots often too short": Truth(),
    "200 riders, long slots": Truth(slot_mm=26.0),
    "60 riders": Truth(riders=60),
    "60 riders, two fitters": Truth(riders=60, fitters=2),
    "400 riders, ten fitters far apart": Truth(riders=400, fitters=10, fitter_sd_mm=2.0),
    "fitters alike": Truth(fitter_sd_mm=0.05),
    "slots wide at both ends": Truth(slot_mm=60.0, front_mm=-40.0),
    "far from the rule": Truth(level_mm=20.0, slope_mm=0.8, slot_mm=24.0),
}
_MEANS: dict[str, float] = {}


@pytest.mark.parametrize("kind", KINDS)
def test_the_interval_holds_93_to_97_percent_of_riders_held_out(kind):
    ours, plain = np.array([coverage(invent(KINDS[kind], seed)) for seed in range(CLINICS)]).T
    _MEANS[kind] = ours.mean()
    print(f"\n{kind}: ours {ours.mean():.3f} (se {ours.std() / CLINICS**0.5:.3f}), plain {plain.mean():.3f}")
    assert 0.93 <= ours.mean() <= 0.97


def test_the_page_states_what_was_found():
    found = np.mean(list(_MEANS.values()))
    print(f"\nmean of all kinds {found:.3f}")
    assert len(_MEANS) == len(KINDS)
    assert abs(found - SIMULATED_COVERAGE) < 0.005
