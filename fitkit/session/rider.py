"""The rider in a session: body, shoes, complaints and signs.

Usual limits with a published source are its mean minus and plus three standard deviations, from the lower mean of
women to the higher of men; the others are sensible limits of our own, without a source.

References
----------
Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II): foot length, ball-of-foot length, lateral malleolus height.
Skeletal Radiology, doi 10.1007/s00256-009-0791-x: inter-ASIS distance 227 (16) mm.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictInt

from fitkit.session.fields import (
    SCORE,
    Day,
    Number,
    Part,
    PartialDay,
    Readings,
    SaidText,
    Text,
    Worded,
    asked,
    mm,
    needed,
    number,
    readings_deg,
    readings_mm,
)
from fitkit.vocabulary import (
    BOLTS,
    CleatWear,
    Population,
    Region,
    Riding,
    SeenFrom,
    SeenWhat,
    ShoeFit,
    Side,
    SignName,
    SizeSystem,
)


class RiderSide(Part):
    """One leg of the rider."""

    foot_length_mm: Readings = readings_mm(
        "Foot length", "Standing, back of the heel to the tip of the longest toe", (150, 350), (209, 310)
    )
    heel_to_mtp1_mm: Readings = readings_mm(
        "Heel to first MTP joint", "Standing, back of the heel to the inner side of the joint", (100, 280), (153, 232)
    )
    mtp1_big_toe_side_mm: Readings = readings_mm(
        "First MTP joint to the big-toe side",
        "From the shoe's long axis (middle of the sole at heel and at ball) to the joint",
        (0, 90),
        (20, 50),
    )
    leg_length_mm: Readings = readings_mm("Leg length", "Lying, ASIS to the inner ankle bone", (500, 1300), (700, 1080))
    thigh_mm: Readings = readings_mm(
        "Thigh", "Greater trochanter to the knee's outer joint line", (200, 700), (340, 510)
    )
    shank_mm: Readings = readings_mm("Shank", "Knee's outer joint line to the outer ankle bone", (200, 700), (340, 510))
    ankle_height_mm: Readings = readings_mm(
        "Ankle height", "Barefoot sole to the outer ankle bone", (20, 150), (47, 90)
    )
    ankle_to_mtp1_mm: Readings = readings_mm(
        "Ankle to first MTP joint", "Outer ankle bone to the joint, along the sole", (60, 280), (135, 215)
    )
    natural_toe_out_deg: Readings = readings_deg(
        "Natural toe-out", "Foot hanging free, from straight ahead; toes outward positive", (-60, 90), (-10, 30)
    )
    ankle_dorsiflexion_deg: Readings = readings_deg(
        "Ankle dorsiflexion", "Knee bent, shank leaning over the flat foot, from upright", (-30, 70), (5, 50)
    )
    calf_girth_mm: Readings = readings_mm(
        "Calf girth", "Standing, tape level at the widest place", (150, 700), (280, 480)
    )
    hip_flexion_deg: Readings = readings_deg(
        "Hip flexion", "Lying, thigh from the couch, pelvis still", (0, 170), (90, 140)
    )
    hip_internal_rotation_deg: Readings = readings_deg(
        "Hip internal rotation", "Hip and knee at 90 degrees, shank outward", (-30, 100), (10, 60)
    )


class Rider(Part):
    """The rider's body and riding."""

    reference_population: Population | None = asked(
        "Reference population", "Whose published measures to compare with; may be left open"
    )
    age_years: Number = number("Age", "In full years; under 18 the advice stops", (3, 110), (18, 85))
    riding: Riding | None = asked("Riding", "What the rider mostly does")
    stature_mm: Number = mm(
        "Stature", "Standing without shoes, floor to the top of the head", (900, 2500), (1450, 2050)
    )
    mass_kg: Number = number("Body mass", "On scales, in cycling clothes", (20, 300), (40, 130), unit="kg")
    inseam_mm: Readings = readings_mm(
        "Inseam", "Standing without shoes, floor to the crotch, book pressed up level", (400, 1200), (650, 1010)
    )
    inter_asis_mm: Readings = readings_mm(
        "Inter-ASIS distance", "Between the two front upper spines of the pelvis", (100, 450), (179, 275), kind="pelvis"
    )
    pelvic_depth_mm: Readings = readings_mm(
        "Pelvic depth", "Middle of the ASIS to middle of the PSIS", (50, 300), (90, 220), kind="pelvis"
    )
    foot_hang_mm: Readings = readings_mm(
        "Feet as they hang",
        "Sitting high, shanks hanging free, between the middles of the two feet",
        (0, 800),
        (80, 350),
    )
    left: RiderSide = RiderSide()
    right: RiderSide = RiderSide()


class Complaint(Part):
    """Where it hurts, how much, and since when."""

    region: Region = needed("Region", "Where the rider feels it")
    side: Side | None = asked("Side", "Which side")
    severity: Number = number("Severity", "The rider's own score, 0 nothing, 10 the worst there is", SCORE)
    since: PartialDay | None = asked("Since", "Year, month or day it began")


class Cleared(Part):
    """Who looked at a sign, what was found, and when."""

    role: SaidText = needed("Cleared by", "The licensed profession, in words")
    finding: SaidText = needed("Finding", "What the clinician found")
    date: Day = needed("Date", "Day of the finding")


class Sign(Part):
    """A sign that needs a clinician before any adjustment."""

    sign: SignName = needed("Sign", "What was told or seen")
    side: Side | None = asked("Side", "Which side")
    cleared: Cleared | None = None


class Seen(Part):
    """Something seen while the rider rode."""

    what: SeenWhat = needed("Seen", "What was seen")
    side: Side | None = asked("Side", "Which side")
    seen_from: SeenFrom | None = asked("Seen from", "Where the fitter stood")


Bolts = Annotated[StrictInt, Field(ge=min(BOLTS), le=max(BOLTS)), Worded("whole number", "2, 3 or 4")]


class Shoe(Part):
    """One shoe."""

    size: Number = number("Shoe size", "From the label", (0, 400))
    size_system: SizeSystem | None = asked("Size system", "From the label")
    least_cleat_setback_mm: Number = mm(
        "Slots' front end",
        "First-MTP mark to the cleat's centreline, cleat as far to the toes as the slots let it",
        (-60, 150),
        (-24, 60),
        kind="cleat_setback",
    )
    greatest_cleat_setback_mm: Number = mm(
        "Slots' rear end",
        "First-MTP mark to the cleat's centreline, cleat as far to the heel as the slots let it",
        (-60, 150),
        (-24, 60),
        kind="cleat_setback",
    )
    axle_to_foot_sole_mm: Number = mm(
        "Axle to foot sole", "Pedal axle to the sole of the foot, square to it", (0, 100), (8, 45)
    )
    bolt_length_mm: Number = mm("Bolt length", "Thread of a cleat bolt", (3, 80), (6, 30), kind=None)
    bolts: Bolts | None = asked("Bolts", "How many bolts hold the cleat: 2, 3 or 4")
    cleat_wear: CleatWear | None = asked("Cleat's wear", "How worn the cleat is")
    fit: ShoeFit | None = asked("Shoe's fit", "How the shoe holds the foot")
    insole: Text | None = asked("Insole", "Which insole lies in the shoe, in words; no names")


class Shoes(Part):
    """Both shoes."""

    left: Shoe = Shoe()
    right: Shoe = Shoe()
