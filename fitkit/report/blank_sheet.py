"""A blank measuring sheet in floor order, for greasy hands: print it, write on it, type it in afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import jinja2

from fitkit import places
from fitkit import session as sessions

__all__ = ["FLOOR_ORDER", "blank_sheet_html"]

_UNITS = {"mm": "mm", "deg": "°", "kg": "kg", "N m": "N m"}

# The order in which things are measured on the floor: the rider standing, sitting, lying, then the shoe, the bicycle
# as it came, riding, and the cleats before anything moves. {side} makes a left and a right box.
FLOOR_ORDER: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Rider, standing without shoes",
        (
            *(
                "rider.age_years",
                "rider.stature_mm",
                "rider.mass_kg",
                "rider.inseam_mm",
                "rider.inter_asis_mm",
                "rider.pelvic_depth_mm",
            ),
            *("rider.{side}.foot_length_mm", "rider.{side}.heel_to_mtp1_mm", "rider.{side}.ankle_height_mm"),
            *("rider.{side}.ankle_to_mtp1_mm", "rider.{side}.thigh_mm", "rider.{side}.shank_mm"),
            *("rider.{side}.calf_girth_mm", "rider.{side}.ankle_dorsiflexion_deg"),
        ),
    ),
    ("Rider, sitting high", ("rider.foot_hang_mm", "rider.{side}.natural_toe_out_deg")),
    (
        "Rider, lying",
        ("rider.{side}.leg_length_mm", "rider.{side}.hip_flexion_deg", "rider.{side}.hip_internal_rotation_deg"),
    ),
    (
        "Bicycle, as it came",
        (
            *("as_found.saddle_height_mm", "as_found.saddle_setback_mm", "as_found.bar_height_mm"),
            *("as_found.bar_reach_mm", "bike.bar_room_down_mm", "bike.seat_tube_angle_deg"),
            *("bike.bottom_bracket_height_mm", "bike.crank_length_mm", "bike.q_factor_mm"),
            *("bike.{side}.crank_face_to_centreline_mm", "bike.{side}.pedal_outer_edge_mm"),
            *("bike.{side}.pedal_below_axle_mm", "bike.{side}.axle_to_tyre_mm"),
        ),
    ),
    (
        "Riding, as found",
        ("ride.hip_above_saddle_mm", "ride.{side}.least_knee_flexion_deg", "ride.{side}.foot_pitch_mean_deg"),
    ),
    (
        "Shoe in the pedal",
        (
            *("bike.{side}.axle_to_toe_mm", "bike.{side}.heel_gap_heel_in_mm", "bike.{side}.heel_gap_heel_out_mm"),
            *("bike.{side}.ankle_gap_mm", "bike.{side}.forefoot_gap_mm", "as_found.{side}.cleat_toe_out_deg"),
        ),
    ),
    (
        "Shoe on the bench: scribe round the cleat first",
        (
            *("shoes.{side}.size", "rider.{side}.mtp1_big_toe_side_mm", "as_found.{side}.cleat_setback_mm"),
            *("shoes.{side}.least_cleat_setback_mm", "shoes.{side}.greatest_cleat_setback_mm"),
            *("as_found.{side}.shoe_outward_mm", "shoes.{side}.axle_to_foot_sole_mm", "as_found.{side}.shim_mm"),
            *("as_found.{side}.wedge_deg", "shoes.{side}.bolt_length_mm"),
        ),
    ),
    (
        "Pedal out",
        (
            *("bike.crank_thread_depth_mm", "bike.{side}.spindle_thread_mm", "bike.{side}.unthreaded_tip_mm"),
            *("bike.{side}.spindle_to_cleat_centre_mm", "as_found.{side}.washer_mm", "as_found.{side}.extender_mm"),
        ),
    ),
)


@dataclass(frozen=True)
class _Line:
    title: str
    unit: str
    how: str
    is_sided: bool
    boxes: int


def blank_sheet_html() -> str:
    """Return the blank measuring sheet as one page, printable on A4."""
    groups = [(title, [_line(path) for path in paths]) for title, paths in FLOOR_ORDER]
    page = _environment().get_template("blank_sheet.html.j2")
    return page.render(groups=groups, style=places.template("paper.css").read_text(encoding="utf-8").strip())


def _line(path: str) -> _Line:
    info = sessions.describe(path.replace("{side}", "left"))
    return _Line(info.title, _UNITS.get(info.unit or "", ""), info.how, "{side}" in path, 3 if info.many else 1)


@cache
def _environment() -> jinja2.Environment:
    loader = jinja2.FileSystemLoader(places.template("blank_sheet.html.j2").parent)
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
