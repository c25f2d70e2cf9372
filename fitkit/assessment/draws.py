"""Random draws for what is not linear: one generator per visit, a fixed row for each input.

Each input keeps its own row of the table whether the others are measured or not, so that one input more changes
only the results that depend on it.
"""

from __future__ import annotations

import numpy as np

from fitkit.calculations.readings import Quantity
from fitkit.estimate import Estimate, Grade, Unit, known

__all__ = ["COUNT", "Draws"]

COUNT = 4000
# New names go to the end: a row never changes its place.
_SIDED = (
    "cleat_setback",
    "joint_to_big_toe_side",
    "shoe_outward",
    "toe_out",
    "half_stance",
    "pedal_below_axle",
    "pedal_outer_edge",
    "move",
    "thigh",
    "shank",
    "ankle_to_mtp1",
    "ankle_height",
    "axle_to_foot_sole",
    "pitch_mean",
    "pitch_amplitude",
    "pitch_phase",
    "least_knee_flexion",
)
_WHOLE = ("hip_spacing", "hip_distance", "seat_tube_angle", "bottom_bracket_height")
_LATER = ("spindle_thread", "unthreaded_tip", "washer", "shim", "shim_since")
ROWS = (
    *(f"{side}.{name}" for name in _SIDED for side in ("left", "right")),
    *_WHOLE,
    *(f"{side}.{name}" for name in _LATER for side in ("left", "right")),
    "crank_thread_depth",
)


class Draws:
    """Normal draws of a visit's inputs, each with its own standard uncertainty."""

    def __init__(self) -> None:
        self._table = np.random.default_rng(0).standard_normal((len(ROWS), COUNT))

    def of(self, row: str, quantity: Quantity) -> np.ndarray:
        """Return the draws of one input, shape (COUNT,) [the quantity's unit]."""
        return quantity.value + quantity.u * self.standard(row)

    def standard(self, row: str) -> np.ndarray:
        """Return the standard normal draws of one input, shape (COUNT,) [1]."""
        return self._table[ROWS.index(row)]


def estimate_from(
    value: float, draws: np.ndarray, *, unit: Unit, grade: Grade, source: str, notes: tuple[str, ...] = ()
) -> Estimate:
    """Return an estimate: nominal value, 2.5 and 97.5 percentiles of `draws`, widened to hold the value."""
    low, high = np.percentile(draws, [2.5, 97.5])
    return known(value, unit=unit, grade=grade, source=source, low=min(low, value), high=max(high, value), notes=notes)
