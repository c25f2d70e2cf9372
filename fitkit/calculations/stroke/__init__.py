r"""The leg on the crank, seen from its right side: hip, thigh, shank, foot and cleat as a closed chain.

Conventions, for everything in this module and in `knock_on` (drawn at crank angle 90, pitch 0)::

       hip o-._                       x forward, y up, crank centre 0 [mm]
            \  `-._  thigh            hip on the seat-tube line through the crank centre
             \     `-._               thigh 0 hanging straight down, knee forward positive [deg]
              \        `o knee        knee flexion 0 straight, the knee pointing forward [deg]
     seat tube \       /              crank angle 0 at the top, 90 forward, 180 at the bottom [deg]
                \     / shank         foot pitch: sole from horizontal, heel up positive [deg]
                 \   o ankle          behind = ankle to MTP1 - cleat setback, along the sole [mm]
                  \  | above          above = ankle height + axle to foot sole + shim + adapter stack,
     crank centre  o-'---behind---o axle      square to the sole [mm]

The axle is at (crank sin, crank cos) of the crank angle, and the ankle at
    x = axle x - behind cos(pitch) + above sin(pitch)
    y = axle y + behind sin(pitch) + above cos(pitch).
A cleat moved back makes `behind` smaller: the ankle goes forward and, heel up, down. Everything is closed form;
fields are numbers, or arrays with one entry a draw. Results then have the crank angle as their last axis.
"""

from fitkit.calculations.stroke.inputs import Array, Bike, Chain, Cleat, Hip, Leg, Numbers, Pitch
from fitkit.calculations.stroke.solve import (
    ROUNDING_MM,
    STEPS,
    OutOfReach,
    Pose,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    hip_to_ankle,
    least_knee_flexion,
    require_reach,
    solve_pose,
)

__all__ = [
    "ROUNDING_MM",
    "STEPS",
    "Array",
    "Bike",
    "Chain",
    "Cleat",
    "Hip",
    "Leg",
    "Numbers",
    "OutOfReach",
    "Pitch",
    "Pose",
    "ankle_path",
    "crank_angles",
    "greatest_hip_distance",
    "hip_on_tube",
    "hip_to_ankle",
    "least_knee_flexion",
    "require_reach",
    "solve_pose",
]
