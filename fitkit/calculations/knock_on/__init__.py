"""What a moved cleat does up the leg: untouched, height only, or the whole ankle path followed.

Signs as drawn in `stroke`. A change is after minus before; down and forward are positive. A cleat moved back makes
the leg reach further, the knee straighter and the saddle's answer down. No result here says that a rider goes
faster: what is known of that is too little for a number.
"""

from fitkit.calculations.knock_on.choices import (
    Remaining,
    SaddleMove,
    calf_lever_ratio,
    down_the_tube,
    full_saddle_move,
    height_only_saddle_down,
    hip_distance_as_found,
    remaining,
    untouched_knee_change,
)
from fitkit.calculations.knock_on.draws import Draws, over_draws
from fitkit.calculations.knock_on.height_rules import (
    IGNORED,
    KNEE_RANGES,
    HeightRule,
    disagreement_mm,
    height_rules,
    hip_distance_from_saddle,
)

__all__ = [
    "IGNORED",
    "KNEE_RANGES",
    "Draws",
    "HeightRule",
    "Remaining",
    "SaddleMove",
    "calf_lever_ratio",
    "disagreement_mm",
    "down_the_tube",
    "full_saddle_move",
    "height_only_saddle_down",
    "height_rules",
    "hip_distance_as_found",
    "hip_distance_from_saddle",
    "over_draws",
    "remaining",
    "untouched_knee_change",
]
