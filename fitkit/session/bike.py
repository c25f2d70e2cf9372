"""The bicycle, the ride and the positions in a session.

Usual limits without a named source are sensible limits of our own.

References
----------
Disley & Li 2014, Scand J Med Sci Sports 24:117: Q factors from 90 to 180 mm tested.
Barratt et al. 2011: crank lengths from 150 to 190 mm tested.
Swart & Holliday 2019, Curr Sports Med Rep 18:490: least knee flexion 30 to 43 degrees while riding.
Ramos-Ortega et al. 2012, Science & Sports 27:e55: cleat setback 0 (8) mm among riders as they came; up to about 35
is common practice.
"""

from __future__ import annotations

from functools import partial
from typing import Literal

from pydantic import StrictBool, StrictInt

from fitkit.session.fields import (
    SCORE,
    Number,
    Part,
    PhotographedAt,
    Readings,
    RelativeFile,
    SaidText,
    Text,
    asked,
    degrees,
    listed,
    mm,
    needed,
    number,
    readings,
    readings_deg,
    readings_mm,
)
from fitkit.session.rider import Complaint, Seen

_calliper = partial(mm, kind="calliper")
_gap = partial(mm, kind="gap")
_given = partial(mm, kind=None)  # a count, or as a maker or a table says it

# Fields that stand in more than one group.
_spindle = partial(
    _calliper,
    "Spindle to cleat centre",
    "Crank face to the cleat's centre, from the maker or by ruler",
    (20, 150),
    (40, 85),
)
_unsteadiness = partial(
    readings, "Unsteadiness", "Seen on the pedal at the bottom of the stroke, 0 calm, 10 cannot ride", SCORE
)
_knee_travel = partial(
    readings_mm, "Knee's sideways travel", "From the film, between its outermost and innermost place", (0, 200), (0, 30)
)
_moved = partial(_given, "Cleat moved", "Between the scribed lines; toward the heel positive", (-100, 100), (-40, 40))
_heel_in = partial(
    _gap, "Heel gap, heel in", "Heel to crank or frame, foot at the inner end of the float", (0, 200), (0, 60)
)
_heel_out = partial(
    _gap, "Heel gap, heel out", "Heel to crank or frame, foot at the outer end of the float", (0, 200), (0, 80)
)
_ankle = partial(_gap, "Anklebone gap", "Inner ankle bone to the crank where they come nearest", (0, 200), (0, 60))
_forefoot = partial(_gap, "Forefoot gap", "Shoe's ball to the crank where they come nearest", (0, 200), (0, 60))


class BikeSide(Part):
    """One side of the bicycle."""

    crank_face_to_centreline_mm: Readings = readings_mm(
        "Crank face to centreline", "Frame's centreline to the crank's outer face", (20, 200), (45, 95)
    )
    spindle_to_cleat_centre_mm: Number = _spindle()
    spindle_thread_mm: Number = _calliper("Spindle thread", "Length of the pedal spindle's thread", (3, 50), (8, 22))
    unthreaded_tip_mm: Number = _calliper(
        "Unthreaded tip", "Length without thread at the spindle's tip", (0, 20), (0, 5)
    )
    pedal_outer_edge_mm: Number = mm(
        "Pedal's outer edge", "Frame's centreline to the outer lower edge of the pedal", (60, 350), (120, 230)
    )
    pedal_below_axle_mm: Number = mm(
        "Pedal below axle", "Axle down to the lowest part of the level pedal", (0, 100), (4, 35)
    )
    axle_to_tyre_mm: Number = mm(
        "Axle to tyre", "Crank forward, pedal axle to the tyre turned toward it", (0, 400), (60, 200)
    )
    axle_to_toe_mm: Number = mm("Axle to toe", "Pedal axle to the tip of the shoe, along it", (10, 250), (70, 140))
    heel_gap_heel_in_mm: Number = _heel_in()
    heel_gap_heel_out_mm: Number = _heel_out()
    ankle_gap_mm: Number = _ankle()
    forefoot_gap_mm: Number = _forefoot()


class Bike(Part):
    """The bicycle."""

    crank_length_mm: Number = _given("Crank length", "Stamped on the crank", (80, 250), (150, 190))
    q_factor_mm: Readings = readings_mm(
        "Q factor", "Between the outer faces of the crank arms at the pedal threads", (60, 350), (90, 180)
    )
    seat_tube_angle_deg: Number = degrees(
        "Seat-tube angle", "From the level, at the back of the tube", (50, 100), (68, 82)
    )
    bottom_bracket_height_mm: Number = mm(
        "Bottom-bracket height", "Floor to the crank centre, bicycle upright", (100, 500), (220, 350)
    )
    bar_room_down_mm: Number = _given("Room to lower the bars", "Spacers under the stem", (0, 300), (0, 60))
    pedal_family: SaidText | None = asked("Pedal family", "As in the parts table")
    float_deg: Number = degrees(
        "Float", "Free rotation in the pedal, end to end, from the maker", (0, 60), (0, 20), kind=None
    )
    crank_thread_depth_mm: Number = _calliper(
        "Crank thread depth", "Depth of the thread in the crank", (3, 50), (8, 22)
    )
    left: BikeSide = BikeSide()
    right: BikeSide = BikeSide()


class PitchPoint(Part):
    """Foot pitch at one crank angle."""

    crank_angle_deg: float = degrees(
        "Crank angle", "From the top, in the direction of riding", (0, 360), kind=None, default=...
    )
    pitch_deg: float = degrees(
        "Foot pitch", "Sole from the level, heel up positive", (-90, 90), (-30, 60), kind=None, default=...
    )


class RideSide(Part):
    """One leg while riding, as found."""

    foot_pitch_mean_deg: Number = degrees(
        "Mean foot pitch", "Sole from the level over the stroke, heel up positive", (-60, 90), (-10, 40)
    )
    foot_pitch_amplitude_deg: Number = degrees(
        "Foot pitch amplitude", "Half of its range over the stroke", (0, 90), (0, 35)
    )
    foot_pitch_phase_deg: Number = degrees(
        "Foot pitch phase", "In mean + amplitude sin(crank angle from top + phase)", (-360, 360)
    )
    foot_pitch_table: tuple[PitchPoint, ...] = listed("Foot pitch table")
    least_knee_flexion_deg: Readings = readings_deg(
        "Least knee flexion", "While riding, straight knee is 0", (-20, 150), (20, 50)
    )


class PictureValue(Part):
    """A value measured in a picture, with the picture's own standard uncertainty, without the mark's."""

    value: float = number("Value in the picture", "In the field's own unit", (-500, 1500), default=...)
    u: float = number("Its standard uncertainty", "The picture's own, in the same unit", (0, 100), default=...)


class FilmSide(Part):
    """What a film says of one leg."""

    foot_pitch_mean_deg: PictureValue | None = None
    foot_pitch_amplitude_deg: PictureValue | None = None
    foot_pitch_phase_deg: PictureValue | None = None
    least_knee_flexion_deg: PictureValue | None = None


class FilmMeasured(Part):
    """What a film says of both legs."""

    left: FilmSide = FilmSide()
    right: FilmSide = FilmSide()


class NamedFile(Part):
    """A power file and the trial it belongs to."""

    file: RelativeFile = needed("File", "Name relative to the session file")
    trial: StrictInt | None = asked("Trial", "Number of the trial, the first is 0; open: as found")


class Film(NamedFile):
    """A film, the trial it belongs to, and what was measured in it."""

    measured: FilmMeasured = FilmMeasured()


class PhotographMeasured(Part):
    """What a photograph of one sole says."""

    cleat_setback_mm: PictureValue | None = None
    least_cleat_setback_mm: PictureValue | None = None
    greatest_cleat_setback_mm: PictureValue | None = None
    cleat_toe_out_deg: PictureValue | None = None
    shoe_outward_mm: PictureValue | None = None


class Photograph(Part):
    """A photograph of one sole: where its points are, what it shows, what was measured in it."""

    points: RelativeFile = needed("Points", "File of the points, relative to the session file")
    picture: RelativeFile | None = asked("Picture", "The picture, where it is kept")
    side: Literal["left", "right"] = needed("Side", "Which shoe")
    position: PhotographedAt = needed("Position", "as_found, decided, as_left, or trials.0 and so on")
    measured: PhotographMeasured = PhotographMeasured()


class Ride(Part):
    """What was measured while riding."""

    left: RideSide = RideSide()
    right: RideSide = RideSide()
    hip_above_saddle_mm: Number = mm(
        "Hip above saddle", "Saddle top to the greater trochanter, along the seat tube", (-50, 300), (25, 125)
    )
    exertion_screen: StrictBool | None = asked(
        "Exertion screen", "Whether hard efforts were asked about and nothing spoke against"
    )
    films: tuple[Film, ...] = listed("Films")
    power_files: tuple[NamedFile, ...] = listed("Power files")


RIDE_FILES = ("films", "power_files")  # the lists that name files beside the session


class PositionSide(Part):
    """One side of a position."""

    cleat_setback_mm: Readings = readings_mm(
        "Cleat setback",
        "First-MTP mark to the cleat's centreline along the shoe's long axis, toward the heel positive",
        (-60, 150),
        (-24, 40),
        kind="cleat_setback",
    )
    cleat_toe_out_deg: Readings = readings_deg(
        "Cleat toe-out", "Shoe's toe-out with the float in its middle", (-45, 60), (-10, 25)
    )
    shoe_outward_mm: Readings = readings_mm(
        "Side position of the cleat (shoe outward)",
        "Shoe's long axis outside the cleat's centre, play in its middle",
        (-60, 60),
        (-12, 12),
    )
    washer_mm: Number = _calliper("Washer", "Thickness of all pedal washers", (0, 40), (0, 6))
    extender_mm: Number = _given("Extender", "Length it adds", (0, 120), (0, 40))
    shim_mm: Number = _calliper("Shim", "Thickness under the cleat", (0, 80), (0, 20))
    wedge_deg: Number = degrees("Wedge", "Thick at the big-toe side positive", (-30, 30), (-6, 6), kind=None)
    spindle_to_cleat_centre_mm: Number = _spindle()
    spindle_id: SaidText | None = asked("Spindle", "As in the parts table")
    extender_id: SaidText | None = asked("Extender's name", "As in the parts table")
    base_adapter_id: SaidText | None = asked("Base adapter", "As in the parts table")
    adapter_stack_mm: Number = _given("Adapter stack", "Height a base adapter adds", (0, 80), (0, 20))
    bolt_length_mm: Number = _given("Bolt length", "Thread of a cleat bolt", (3, 80), (6, 30))
    cleat_bolt_torque_nm: Number = number(
        "Cleat bolts tightened to", "By torque wrench, to the maker's figure", (0, 30), (3, 8), unit="N m"
    )
    pedal_torque_nm: Number = number(
        "Pedal tightened to", "By torque wrench, to the maker's figure", (0, 100), (25, 45), unit="N m"
    )
    heel_gap_heel_in_mm: Number = _heel_in()
    heel_gap_heel_out_mm: Number = _heel_out()
    ankle_gap_mm: Number = _ankle()
    forefoot_gap_mm: Number = _forefoot()


class Moved(Part):
    """How far each cleat was moved."""

    left: Number = _moved()
    right: Number = _moved()


class Position(Part):
    """Cleats, saddle and bars at one moment of the visit."""

    left: PositionSide = PositionSide()
    right: PositionSide = PositionSide()
    moved_mm: Moved = Moved()
    saddle_height_mm: Readings = readings_mm(
        "Saddle height", "Crank centre to saddle top along the seat tube", (300, 1200), (550, 900)
    )
    saddle_setback_mm: Readings = readings_mm(
        "Saddle setback", "Saddle's nose behind the crank centre, level", (-300, 500), (-30, 160)
    )
    bar_height_mm: Readings = readings_mm(
        "Bar height", "Crank centre up to the middle of the bar", (-200, 1500), (350, 1000)
    )
    bar_reach_mm: Readings = readings_mm(
        "Bar reach", "Saddle's nose to the middle of the bar, level", (0, 1500), (350, 750)
    )
    note: Text | None = asked("Remark", "In words, of what is decided the reason; no names")


class Unsteadiness(Part):
    """Scores of unsteadiness, one for each time looked."""

    left: Readings = _unsteadiness()
    right: Readings = _unsteadiness()


class KneeTravel(Part):
    """Sideways travel of each knee."""

    left: Readings = _knee_travel()
    right: Readings = _knee_travel()


class Trial(Part):
    """One position tried, what was seen, and whether it was kept."""

    position: Position = Position()
    unsteadiness: Unsteadiness = Unsteadiness()
    smooth_at_bottom: Number = number("Smooth at the bottom", "0 not at all, 10 perfectly", SCORE)
    knee_travel_mm: KneeTravel = KneeTravel()
    saddle_corrected: StrictBool | None = asked("Saddle corrected", "Whether the saddle followed the cleat")
    seen: tuple[Seen, ...] = listed("Seen in the trial")
    complaints: tuple[Complaint, ...] = listed("Complaints in the trial")
    kept: StrictBool | None = asked("Kept", "Whether the trial was kept")
    note: Text | None = asked("Note", "In words; no names")


class WishSide(Part):
    """Change of half-stance wished for on one side."""

    half_stance_change_mm: Number = _given(
        "Wished change of half-stance", "Against as found, outward positive", (-100, 100), (-40, 40)
    )


class Wish(Part):
    """Change of stance width to look for among the parts."""

    same_both_sides: StrictBool = asked(
        "Same parts on both sides", "Prefer the same parts left and right", default=True
    )
    left: WishSide = WishSide()
    right: WishSide = WishSide()
