"""What the process that each record is a copy of has behind it: all imports, and an invented rider's record made once.

`multiprocessing`'s fork server imports this before its first copy. There must be one thread at a copy, since locks
that other threads hold would stay locked for ever: draw nothing here that starts any, and make no ZMQ object.
"""

from __future__ import annotations

import atexit
import gc
import importlib
import json
import os
import shutil
import signal
import tempfile
from pathlib import Path

__all__ = ["PROBLEM"]

# The fork server would wait for ever for a warm-up that hangs.
_LONGEST_S = 120

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


def _warm_up() -> str:
    """Get ready; return why copies of this process cannot run notebooks, nothing where they can."""
    # The fork server outlives a run that is killed, and then ends in order.
    atexit.register(shutil.rmtree, os.environ["FITKIT_PRIVATE"], ignore_errors=True)
    signal.alarm(_LONGEST_S)
    try:
        _make_once()
    except Exception as error:  # the fork server keeps an import that failed to itself, and ends at anything else
        return f"{type(error).__name__}: {error}"
    finally:
        signal.alarm(0)
    threads = len(os.listdir("/proc/self/task"))
    if threads != 1:
        return f"{threads} threads run in the process to be copied; expected 1"
    gc.collect()
    # What is here stays: the collector of a copy need not look at it, and its pages remain shared.
    gc.freeze()
    return ""


def _make_once() -> None:
    """Make the invented rider's record and throw it away; where the notebook is the clinic's own, import only."""
    from fitkit import files
    from fitkit.batch import engine, record
    from fitkit.batch.job import TEMPLATE, Limits

    # Altair and pandas come with the plots, which few records need.
    for name in ("fitkit.report.pages", "fitkit.charts.plots"):
        importlib.import_module(name)
    template = engine.load_template(files.template(TEMPLATE))
    if not engine.is_shipped(template):
        return
    key = "nobody_2000-01-01_road"
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, f"{key}.json").write_text(json.dumps(_VISIT), encoding="utf-8")
        told = {"limits": Limits(), "in_shell": True, "tell": lambda *said: None}
        executed = engine.run(template, f"{key}.json", Path(folder), **told)
        record.texts_of(record.cleaned(executed, template), key)


PROBLEM = _warm_up()
