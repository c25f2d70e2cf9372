"""Where each foot stands sideways, how far apart the hips are, and how the leg leans between them.

Half-stance runs from the frame's centreline to the shoe's long axis at the cleat, outward positive [mm]. No
publication gives a stance width as a formula of the pelvis: nothing here chooses or ranks a width.
"""

from fitkit.calculations.stance.hips import (
    MODELS_SHARE_INPUTS,
    HipSpacing,
    SpacingRow,
    half_spacing_bell,
    half_spacing_hara,
    half_spacing_harrington,
    half_spacing_harrington_width_only,
    hip_spacing,
    spacing_ct_line,
    spacing_draws,
    trouser_size_words,
)
from fitkit.calculations.stance.width import (
    LEAN_DESCRIBES,
    Candidate,
    HalfStance,
    SideLengths,
    Stance,
    candidates,
    frontal_lean_deg,
    hip_height_mm,
    lean_per_mm_deg,
    stance,
)

__all__ = [
    "LEAN_DESCRIBES",
    "MODELS_SHARE_INPUTS",
    "Candidate",
    "HalfStance",
    "HipSpacing",
    "SideLengths",
    "SpacingRow",
    "Stance",
    "candidates",
    "frontal_lean_deg",
    "half_spacing_bell",
    "half_spacing_hara",
    "half_spacing_harrington",
    "half_spacing_harrington_width_only",
    "hip_height_mm",
    "hip_spacing",
    "lean_per_mm_deg",
    "spacing_ct_line",
    "spacing_draws",
    "stance",
    "trouser_size_words",
]
