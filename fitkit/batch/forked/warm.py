"""An invented rider gone through once, so that the first client's record need not pay for every first use."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

__all__ = ["up"]

_FOOT = {
    "foot_length_mm": [265],
    "heel_to_mtp1_mm": [193],
    "mtp1_big_toe_side_mm": [30],
    "leg_length_mm": [900],
    "thigh_mm": [430],
    "shank_mm": [430],
    "ankle_height_mm": [70],
    "ankle_to_mtp1_mm": [135],
    "natural_toe_out_deg": [8],
}
_SHOE = {
    "size": 42,
    "size_system": "eu",
    "least_cleat_setback_mm": 5,
    "greatest_cleat_setback_mm": 20,
    "axle_to_foot_sole_mm": 20,
}
_PEDAL = {
    "crank_face_to_centreline_mm": [74],
    "spindle_to_cleat_centre_mm": 53,
    "spindle_thread_mm": 15,
    "unthreaded_tip_mm": 1,
    "pedal_outer_edge_mm": 160,
    "pedal_below_axle_mm": 15,
    "axle_to_tyre_mm": 120,
    "axle_to_toe_mm": 100,
}
_RIDE = {
    "foot_pitch_mean_deg": 15,
    "foot_pitch_amplitude_deg": 10,
    "foot_pitch_phase_deg": 20,
    "least_knee_flexion_deg": [35],
}
_CLEAT = {"cleat_setback_mm": [10], "cleat_toe_out_deg": [5]}


def _both(side: dict) -> dict:
    return {"left": side, "right": side}


_VISIT = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "nobody",
    "visit_date": "2000-01-01",
    "setup": "road",
    "demonstration": True,
    "rider": {
        "reference_population": "men",
        "riding": "mixed_racing",
        "stature_mm": 1780,
        "mass_kg": 70,
        "inter_asis_mm": [240],
        "pelvic_depth_mm": [120],
        "foot_hang_mm": [250],
        **_both(_FOOT),
    },
    "shoes": _both(_SHOE),
    "bike": {
        "crank_length_mm": 170,
        "q_factor_mm": [148],
        "seat_tube_angle_deg": 73,
        "bottom_bracket_height_mm": 270,
        "pedal_family": "A",
        "float_deg": 6,
        "crank_thread_depth_mm": 15,
        **_both(_PEDAL),
    },
    "ride": {**_both(_RIDE), "hip_above_saddle_mm": 75},
    "as_found": {**_both(_CLEAT), "saddle_height_mm": [740]},
    "wish": {"same_both_sides": True, **_both({"half_stance_change_mm": 5})},
}


def up() -> None:
    """Make every section of the invented rider's record once and throw it away."""
    from fitkit.report import Record

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "nobody_2000-01-01_road.json")
        path.write_text(json.dumps(_VISIT), encoding="utf-8")
        record = Record(path)
        for name in sorted(vars(Record)):
            section = getattr(record, name)
            if not name.startswith("_") and callable(section):
                _show(section())


def _show(section: object) -> None:
    for way in ("_repr_html_", "_repr_mimebundle_"):
        if hasattr(section, way):
            getattr(section, way)()
