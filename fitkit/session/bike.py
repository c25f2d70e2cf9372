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

from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt

from fitkit.session.fields import (
    Measured,
    Number,
    Part,
    PhotographedAt,
    Readings,
    RelativeFile,
    SaidText,
    Text,
    degrees,
    mm,
    score,
)
from fitkit.session.rider import Complaint, Seen

__all__ = [
    "Bike",
    "BikeSide",
    "Film",
    "KneeTravel",
    "Moved",
    "NamedFile",
    "Photograph",
    "PitchPoint",
    "Position",
    "PositionSide",
    "Ride",
    "RideSide",
    "Trial",
    "Unsteadiness",
    "Wish",
    "WishSide",
]

_SPINDLE = mm(
    "Spindle to cleat centre",
    "Crank face to the cleat's centre, from the maker or by ruler",
    (20, 150),
    (40, 85),
    kind="calliper",
)
_UNSTEADINESS = score("Unsteadiness", "Seen on the pedal at the bottom of the stroke, 0 calm, 10 cannot ride")
_KNEE_TRAVEL = mm(
    "Knee's sideways travel", "From the film, between its outermost and innermost place", (0, 200), (0, 30)
)
_MOVED = mm("Cleat moved", "Between the scribed lines; toward the heel positive", (-100, 100), (-40, 40), kind=None)


_HEEL_IN = mm(
    "Heel gap, heel in", "Heel to crank or frame, foot at the inner end of the float", (0, 200), (0, 60), kind="gap"
)
_HEEL_OUT = mm(
    "Heel gap, heel out", "Heel to crank or frame, foot at the outer end of the float", (0, 200), (0, 80), kind="gap"
)
_ANKLE = mm("Anklebone gap", "Inner ankle bone to the crank where they come nearest", (0, 200), (0, 60), kind="gap")
_FOREFOOT = mm("Forefoot gap", "Shoe's ball to the crank where they come nearest", (0, 200), (0, 60), kind="gap")
_BOLT = mm("Bolt length", "Thread of a cleat bolt", (3, 80), (6, 30), kind=None)


class BikeSide(Part):
    """One side of the bicycle."""

    crank_face_to_centreline_mm: Annotated[
        Readings, mm("Crank face to centreline", "Frame's centreline to the crank's outer face", (20, 200), (45, 95))
    ] = ()
    spindle_to_cleat_centre_mm: Annotated[Number, _SPINDLE] = None
    spindle_thread_mm: Annotated[
        Number, mm("Spindle thread", "Length of the pedal spindle's thread", (3, 50), (8, 22), kind="calliper")
    ] = None
    unthreaded_tip_mm: Annotated[
        Number, mm("Unthreaded tip", "Length without thread at the spindle's tip", (0, 20), (0, 5), kind="calliper")
    ] = None
    pedal_outer_edge_mm: Annotated[
        Number,
        mm("Pedal's outer edge", "Frame's centreline to the outer lower edge of the pedal", (60, 350), (120, 230)),
    ] = None
    pedal_below_axle_mm: Annotated[
        Number, mm("Pedal below axle", "Axle down to the lowest part of the level pedal", (0, 100), (4, 35))
    ] = None
    axle_to_tyre_mm: Annotated[
        Number, mm("Axle to tyre", "Crank forward, pedal axle to the tyre turned toward it", (0, 400), (60, 200))
    ] = None
    axle_to_toe_mm: Annotated[
        Number, mm("Axle to toe", "Pedal axle to the tip of the shoe, along it", (10, 250), (70, 140))
    ] = None
    heel_gap_heel_in_mm: Annotated[Number, _HEEL_IN] = None
    heel_gap_heel_out_mm: Annotated[Number, _HEEL_OUT] = None
    ankle_gap_mm: Annotated[Number, _ANKLE] = None
    forefoot_gap_mm: Annotated[Number, _FOREFOOT] = None


class Bike(Part):
    """The bicycle."""

    crank_length_mm: Annotated[Number, mm("Crank length", "Stamped on the crank", (80, 250), (150, 190), kind=None)] = (
        None
    )
    q_factor_mm: Annotated[
        Readings, mm("Q factor", "Between the outer faces of the crank arms at the pedal threads", (60, 350), (90, 180))
    ] = ()
    seat_tube_angle_deg: Annotated[
        Number, degrees("Seat-tube angle", "From the level, at the back of the tube", (50, 100), (68, 82))
    ] = None
    bottom_bracket_height_mm: Annotated[
        Number, mm("Bottom-bracket height", "Floor to the crank centre, bicycle upright", (100, 500), (220, 350))
    ] = None
    bar_room_down_mm: Annotated[
        Number, mm("Room to lower the bars", "Spacers under the stem", (0, 300), (0, 60), kind=None)
    ] = None
    pedal_family: SaidText | None = Field(None, title="Pedal family", description="As in the parts table")
    float_deg: Annotated[
        Number, degrees("Float", "Free rotation in the pedal, end to end, from the maker", (0, 60), (0, 20), kind=None)
    ] = None
    crank_thread_depth_mm: Annotated[
        Number, mm("Crank thread depth", "Depth of the thread in the crank", (3, 50), (8, 22), kind="calliper")
    ] = None
    left: BikeSide = BikeSide()
    right: BikeSide = BikeSide()


class PitchPoint(Part):
    """Foot pitch at one crank angle."""

    crank_angle_deg: Annotated[
        float, degrees("Crank angle", "From the top, in the direction of riding", (0, 360), kind=None)
    ]
    pitch_deg: Annotated[
        float, degrees("Foot pitch", "Sole from the level, heel up positive", (-90, 90), (-30, 60), kind=None)
    ]


class RideSide(Part):
    """One leg while riding, as found."""

    foot_pitch_mean_deg: Annotated[
        Number,
        degrees("Mean foot pitch", "Sole from the level over the stroke, heel up positive", (-60, 90), (-10, 40)),
    ] = None
    foot_pitch_amplitude_deg: Annotated[
        Number, degrees("Foot pitch amplitude", "Half of its range over the stroke", (0, 90), (0, 35))
    ] = None
    foot_pitch_phase_deg: Annotated[
        Number, degrees("Foot pitch phase", "In mean + amplitude sin(crank angle from top + phase)", (-360, 360))
    ] = None
    foot_pitch_table: tuple[PitchPoint, ...] = Field((), title="Foot pitch table", strict=False)
    least_knee_flexion_deg: Annotated[
        Readings, degrees("Least knee flexion", "While riding, straight knee is 0", (-20, 150), (20, 50))
    ] = ()


class PictureValue(Part):
    """A value measured in a picture, with the picture's own standard uncertainty, without the mark's."""

    value: Annotated[float, Measured("Value in the picture", "In the field's own unit", (-500, 1500))]
    u: Annotated[float, Measured("Its standard uncertainty", "The picture's own, in the same unit", (0, 100))]


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

    file: RelativeFile = Field(title="File", description="Name relative to the session file")
    trial: StrictInt | None = Field(
        None, title="Trial", description="Number of the trial, the first is 0; open: as found"
    )


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

    points: RelativeFile = Field(title="Points", description="File of the points, relative to the session file")
    picture: RelativeFile | None = Field(None, title="Picture", description="The picture, where it is kept")
    side: Literal["left", "right"] = Field(title="Side", description="Which shoe")
    position: PhotographedAt = Field(title="Position", description="as_found, decided, as_left, or trials.0 and so on")
    measured: PhotographMeasured = PhotographMeasured()


class Ride(Part):
    """What was measured while riding."""

    left: RideSide = RideSide()
    right: RideSide = RideSide()
    hip_above_saddle_mm: Annotated[
        Number,
        mm("Hip above saddle", "Saddle top to the greater trochanter, along the seat tube", (-50, 300), (25, 125)),
    ] = None
    exertion_screen: StrictBool | None = Field(
        None, title="Exertion screen", description="Whether hard efforts were asked about and nothing spoke against"
    )
    films: tuple[Film, ...] = Field((), title="Films", strict=False)
    power_files: tuple[NamedFile, ...] = Field((), title="Power files", strict=False)


class PositionSide(Part):
    """One side of a position."""

    cleat_setback_mm: Annotated[
        Readings,
        mm(
            "Cleat setback",
            "First-MTP mark to the cleat's centreline along the shoe's long axis, toward the heel positive",
            (-60, 150),
            (-24, 40),
            kind="cleat_setback",
        ),
    ] = ()
    cleat_toe_out_deg: Annotated[
        Readings, degrees("Cleat toe-out", "Shoe's toe-out with the float in its middle", (-45, 60), (-10, 25))
    ] = ()
    shoe_outward_mm: Annotated[
        Readings,
        mm("Shoe outward", "Shoe's long axis outside the cleat's centre, play in its middle", (-60, 60), (-12, 12)),
    ] = ()
    washer_mm: Annotated[Number, mm("Washer", "Thickness of all pedal washers", (0, 40), (0, 6), kind="calliper")] = (
        None
    )
    extender_mm: Annotated[Number, mm("Extender", "Length it adds", (0, 120), (0, 40), kind=None)] = None
    shim_mm: Annotated[Number, mm("Shim", "Thickness under the cleat", (0, 80), (0, 20), kind="calliper")] = None
    wedge_deg: Annotated[
        Number, degrees("Wedge", "Thick at the big-toe side positive", (-30, 30), (-6, 6), kind=None)
    ] = None
    spindle_to_cleat_centre_mm: Annotated[Number, _SPINDLE] = None
    spindle_id: SaidText | None = Field(None, title="Spindle", description="As in the parts table")
    extender_id: SaidText | None = Field(None, title="Extender's name", description="As in the parts table")
    base_adapter_id: SaidText | None = Field(None, title="Base adapter", description="As in the parts table")
    adapter_stack_mm: Annotated[
        Number, mm("Adapter stack", "Height a base adapter adds", (0, 80), (0, 20), kind=None)
    ] = None
    bolt_length_mm: Annotated[Number, _BOLT] = None
    cleat_bolt_torque_nm: Annotated[
        Number,
        Measured("Cleat bolts tightened to", "By torque wrench, to the maker's figure", (0, 30), (3, 8), unit="N m"),
    ] = None
    pedal_torque_nm: Annotated[
        Number,
        Measured("Pedal tightened to", "By torque wrench, to the maker's figure", (0, 100), (25, 45), unit="N m"),
    ] = None
    heel_gap_heel_in_mm: Annotated[Number, _HEEL_IN] = None
    heel_gap_heel_out_mm: Annotated[Number, _HEEL_OUT] = None
    ankle_gap_mm: Annotated[Number, _ANKLE] = None
    forefoot_gap_mm: Annotated[Number, _FOREFOOT] = None


class Moved(Part):
    """How far each cleat was moved."""

    left: Annotated[Number, _MOVED] = None
    right: Annotated[Number, _MOVED] = None


class Position(Part):
    """Cleats, saddle and bars at one moment of the visit."""

    left: PositionSide = PositionSide()
    right: PositionSide = PositionSide()
    moved_mm: Moved = Moved()
    saddle_height_mm: Annotated[
        Readings, mm("Saddle height", "Crank centre to saddle top along the seat tube", (300, 1200), (550, 900))
    ] = ()
    saddle_setback_mm: Annotated[
        Readings, mm("Saddle setback", "Saddle's nose behind the crank centre, level", (-300, 500), (-30, 160))
    ] = ()
    bar_height_mm: Annotated[
        Readings, mm("Bar height", "Crank centre up to the middle of the bar", (-200, 1500), (350, 1000))
    ] = ()
    bar_reach_mm: Annotated[
        Readings, mm("Bar reach", "Saddle's nose to the middle of the bar, level", (0, 1500), (350, 750))
    ] = ()
    note: Text | None = Field(None, title="Remark", description="In words, of what is decided the reason; no names")


class Unsteadiness(Part):
    """Scores of unsteadiness, one for each time looked."""

    left: Annotated[Readings, _UNSTEADINESS] = ()
    right: Annotated[Readings, _UNSTEADINESS] = ()


class KneeTravel(Part):
    """Sideways travel of each knee."""

    left: Annotated[Readings, _KNEE_TRAVEL] = ()
    right: Annotated[Readings, _KNEE_TRAVEL] = ()


class Trial(Part):
    """One position tried, what was seen, and whether it was kept."""

    position: Position = Position()
    unsteadiness: Unsteadiness = Unsteadiness()
    smooth_at_bottom: Annotated[Number, score("Smooth at the bottom", "0 not at all, 10 perfectly")] = None
    knee_travel_mm: KneeTravel = KneeTravel()
    saddle_corrected: StrictBool | None = Field(
        None, title="Saddle corrected", description="Whether the saddle followed the cleat"
    )
    seen: tuple[Seen, ...] = Field((), title="Seen in the trial", strict=False)
    complaints: tuple[Complaint, ...] = Field((), title="Complaints in the trial", strict=False)
    kept: StrictBool | None = Field(None, title="Kept", description="Whether the trial was kept")
    note: Text | None = Field(None, title="Note", description="In words; no names")


class WishSide(Part):
    """Change of half-stance wished for on one side."""

    half_stance_change_mm: Annotated[
        Number,
        mm("Wished change of half-stance", "Against as found, outward positive", (-100, 100), (-40, 40), kind=None),
    ] = None


class Wish(Part):
    """Change of stance width to look for among the parts."""

    same_both_sides: StrictBool = Field(
        True, title="Same parts on both sides", description="Prefer the same parts left and right"
    )
    left: WishSide = WishSide()
    right: WishSide = WishSide()
