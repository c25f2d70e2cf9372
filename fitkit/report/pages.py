"""The pages: record and rider's sheet of a visit, setting strips at true size, and a blank measuring sheet.

One file each, no script, no network: a content security policy in the page forbids both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import jinja2
from nbconvert import HTMLExporter, TemplateExporter
from nbformat import NotebookNode

from fitkit import cautions, places
from fitkit import session as sessions
from fitkit.words import Catalogue, catalogue, day, plain

if TYPE_CHECKING:
    from fitkit.assessment import Assessment

__all__ = ["FLOOR_ORDER", "Strip", "blank_sheet_html", "record_html", "setting_strip_html", "sheet_html", "strips"]

SIDES = ("left", "right")


def record_html(notebook: NotebookNode, *, title: str) -> str:
    """Return the record's page: prose, tables and pictures of an executed notebook, without its code."""
    resources = {"title": title, "style": _style("paper.css", "record.css")}
    body, _ = _exporter().from_notebook_node(notebook, resources)
    return body


class _PageExporter(HTMLExporter):
    """Leaves out the second reading of the finished page: all it adds is there already or nowhere used."""

    def from_notebook_node(self, nb: NotebookNode, resources: dict | None = None, **more: object) -> tuple[str, dict]:
        return TemplateExporter.from_notebook_node(self, nb, self._init_resources(resources), **more)


@cache
def _exporter() -> HTMLExporter:
    # One for the whole process: the first export costs ten times a later one.
    return _PageExporter(
        template_name="record",
        optimistic_validation=True,  # once instead of after each of ten steps
        extra_template_basedirs=[str(places.template("record").parent)],
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )


@cache
def _template(name: str) -> jinja2.Template:
    loader = jinja2.FileSystemLoader(places.template(name).parent)
    kept = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return kept.get_template(name)


@cache
def _style(*names: str) -> str:
    return "\n".join(places.template(name).read_text(encoding="utf-8").strip() for name in names)


def sheet_html(sheet: dict, say: Catalogue | None = None) -> str:
    """Return the rider's page from the content that `fitkit.report.sheet.rider_sheet` makes of the same catalogue."""
    words = say or catalogue(places.template("rider_sheet_words.toml"))
    style = _style("paper.css", "rider_sheet.css")
    return _template("rider_sheet.html.j2").render(sheet=sheet, say=words, style=style)


# --- Setting strips: joint at 0, the line to set the cleat to, the old line -------------------------------------------

_REACH_MM = (-20, 60)  # of the ruler: ahead of the joint, and behind it
_NO_MOVE_MM = 0.05
_FURTHEST_MM = 150  # possible setbacks; a strip grows to hold its lines


@dataclass(frozen=True)
class Strip:
    """One foot's strip, to be cut out and laid on the first-MTP mark along the shoe's long axis."""

    side: str  # "left" or "right"
    set_to_mm: float | None  # where to set the cleat's centreline, behind the joint [mm]
    old_mm: float | None  # where it was found [mm]
    words: str  # what is to be done
    low_mm: int  # the ends of its ruler, behind the joint positive [mm]
    high_mm: int  # the ends of its ruler, behind the joint positive [mm]


def strips(assessment: Assessment) -> tuple[Strip, Strip]:
    """Return both feet's strips."""
    left, right = (_strip(assessment, side) for side in SIDES)
    return left, right


def _strip(assessment: Assessment, side: str) -> Strip:
    from fitkit.report.cleat_advice import instruction  # the batch makes pages without any of the sums

    old, set_to = assessment[f"{side}.cleat_setback.as_found"].value, assessment.foot(side).set_to
    if None not in (set_to, old) and abs(set_to - old) < _NO_MOVE_MM:
        set_to = None  # one line is enough where nothing moves
    stopped = cautions.stops_advice(assessment.visit.session)
    words = "no line to set: see a clinician first" if stopped else instruction(assessment, side)
    known = [value for value in (old, set_to) if value is not None]
    low = int(min([_REACH_MM[0], *(value - 5 for value in known)]) // 10 * 10)
    high = int(-(-max([_REACH_MM[1], *(value + 5 for value in known)]) // 10) * 10)
    return Strip(side, set_to, old, words, low, min(high, _FURTHEST_MM))


def setting_strip_html(assessment: Assessment) -> str:
    """Return the page with both strips, printed at 100 %: its bar of 100 mm tells a page that was scaled."""
    session = assessment.visit.session
    return _template("setting_strip.html.j2").render(
        strips=strips(assessment),
        plain=plain,
        key=sessions.key(session),
        visit=day(session.visit_date),
        demonstration=bool(session.demonstration),
        style=_style("paper.css"),
    )


# --- The blank measuring sheet, for greasy hands: print it, write on it, type it in afterwards ------------------------

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
    return _template("blank_sheet.html.j2").render(groups=groups, style=_style("paper.css"))


def _line(path: str) -> _Line:
    info = sessions.describe(path.replace("{side}", "left"))
    return _Line(info.title, _UNITS.get(info.unit or "", ""), info.how, "{side}" in path, 3 if info.many else 1)
