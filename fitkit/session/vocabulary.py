"""The fixed words of a session file."""

from __future__ import annotations

from typing import Literal, get_args

__all__ = [
    "BOLTS",
    "FORMAT",
    "REGIONS",
    "RIDING",
    "SEEN",
    "SIDES",
    "SIGNS",
    "SIZE_SYSTEMS",
    "TAKEN",
    "VERSION",
    "CleatWear",
    "Format",
    "Population",
    "Region",
    "Riding",
    "SeenFrom",
    "SeenWhat",
    "ShoeFit",
    "Side",
    "SignName",
    "SizeSystem",
    "TakenHow",
    "Urgency",
]

Format = Literal["cleat-stance-session"]
FORMAT: str = get_args(Format)[0]
VERSION = 1

Population = Literal["men", "women"]
Riding = Literal["everyday", "long_steady", "time_trial", "mixed_racing", "short_maximal"]
Side = Literal["left", "right", "both"]
CleatWear = Literal["new", "used", "worn"]
ShoeFit = Literal["tight", "right", "loose"]
BOLTS = (2, 3, 4)  # how many bolts hold a cleat
SeenFrom = Literal["behind", "front", "left", "right"]
SizeSystem = Literal["eu", "uk", "us_men", "us_women", "mondopoint"]
TakenHow = Literal["mark_found_anew", "tape_left_on"]
Urgency = Literal["this hour", "today", "before the next change"]
SeenWhat = Literal[
    "heel_drops",
    "toes_point",
    "ankling",
    "unsteady",
    "hip_drop",
    "pelvis_rocks",
    "heel_swing",
    "knee_inward_travel",
    "knee_outward",
    "thigh_meets_trunk",
    "weight_on_hands",
    "uneven_left_right",
]
Region = Literal[
    "low_back",
    "neck",
    "shoulder",
    "hand",
    "hip",
    "groin",
    "buttock",
    "thigh_front",
    "thigh_back",
    "knee_front",
    "knee_inner",
    "knee_outer",
    "knee_back",
    "calf",
    "achilles",
    "ankle",
    "heel",
    "forefoot",
    "toes",
    "saddle_area",
]
SignName = Literal[
    "chest_pain",
    "fainting",
    "breathless_out_of_proportion",
    "bladder_or_bowel_change",
    "leg_weakness",
    "hot_swollen_calf",
    "saddle_numbness_persisting",
    "foot_drop",
    "cold_or_pale_foot",
    "fever",
    "concussion",
    "suspected_stress_fracture",
    "exertional_leg_pain",
    "night_or_rest_pain",
    "knee_locks_or_gives_way",
    "knee_swollen",
    "hip_or_groin_locks",
    "sudden_leg_length_change",
    "sudden_foot_shape_change",
    "recent_fracture_or_surgery",
    "foot_numbness_persisting",
    "insensate_or_diabetic_foot",
    "genital_numbness_or_swelling",
    "hand_weakness",
    "growing_under_18",
]

_THIS_HOUR, _TODAY = 6, 7  # how many of the signs above, in their order, have these urgencies


def _urgencies() -> dict[str, Urgency]:
    signs = get_args(SignName)
    later = len(signs) - _THIS_HOUR - _TODAY
    ranks = ("this hour",) * _THIS_HOUR + ("today",) * _TODAY + ("before the next change",) * later
    return dict(zip(signs, ranks, strict=True))


SIGNS: dict[str, Urgency] = _urgencies()  # the most urgent first
SEEN: tuple[str, ...] = get_args(SeenWhat)
REGIONS: tuple[str, ...] = get_args(Region)
RIDING: tuple[str, ...] = get_args(Riding)
SIDES: tuple[str, ...] = get_args(Side)
SIZE_SYSTEMS: tuple[str, ...] = get_args(SizeSystem)
TAKEN: tuple[str, ...] = get_args(TakenHow)
