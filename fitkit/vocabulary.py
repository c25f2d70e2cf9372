"""The fixed words of a session file and of the parts table, once: each with what it means, a sign with its urgency."""

from __future__ import annotations

from typing import Literal, get_args

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
TakenHow = Literal["mark_found_anew", "tape_left_on"]
TAKEN_BRIEFLY = {"mark_found_anew": "marked anew", "tape_left_on": "tape left on"}

# Systems of shoe sizes: as a label is written; the sizes there are (no source; generous); and the usual ones, those of
# feet between the usual foot lengths. Published: ISO 19407 conversion EU = 0.15 foot + 2 and UK = 3 foot (in) - 23; US
# from UK + 1 and + 2 (from memory); Mondopoint is the foot's length. What a size is of a foot: `footwear`.
SIZE_SYSTEMS: dict[str, tuple[str, tuple[int, int], tuple[int, int]]] = {
    "eu": ("EU", (15, 60), (33, 49)),
    "uk": ("UK", (0, 25), (1, 14)),
    "us_men": ("US men's", (0, 26), (2, 15)),
    "us_women": ("US women's", (0, 27), (3, 16)),
    "mondopoint": ("Mondopoint", (100, 400), (209, 310)),
}
SizeSystem = Literal[tuple(SIZE_SYSTEMS)]

# The kinds of part; those that always widen, those that must say by how much; and which kinds may fill a column of the
# parts table that not all have: a value where nothing reads it is a slip that would go unseen.
PartKind = Literal["spindle", "washer", "extender", "cleat", "base_adapter", "crank"]
PART_KINDS: tuple[str, ...] = get_args(PartKind)
WIDENING_KINDS = ("washer", "extender")
KINDS_BY_WIDTH = ("spindle", *WIDENING_KINDS)
KINDS_OF_COLUMN = {
    "adds_mm": (*KINDS_BY_WIDTH, "crank"),
    "play_mm": ("cleat",),
    "setback_gain_mm": ("base_adapter",),
    "stack_mm": ("base_adapter",),
}

# What is seen while the rider rides, in a sentence.
SEEN_WORDS = {
    "heel_drops": "the heel drops",
    "toes_point": "the toes point",
    "ankling": "the ankle works up and down",
    "unsteady": "unsteady",
    "hip_drop": "a hip drops",
    "pelvis_rocks": "the pelvis rocks",
    "heel_swing": "the heel swings",
    "knee_inward_travel": "the knee travels inward",
    "knee_outward": "the knee stands outward",
    "thigh_meets_trunk": "the thigh meets the trunk",
    "weight_on_hands": "weight on the hands",
    "uneven_left_right": "left and right uneven",
}
SEEN = tuple(SEEN_WORDS)
# The scale of unsteadiness, seen on the pedal at the bottom of the stroke; the words between its ends are ours.
UNSTEADINESS_WORDS = {
    0: "calm, the foot stands still",
    2: "moves now and then",
    4: "moves at most strokes",
    6: "moves at every stroke",
    8: "the rider fights it",
    10: "cannot ride",
}
SeenWhat = Literal[SEEN]
Cause = Literal[Riding, SeenWhat]  # what a shift of the starting point may follow from

# Where it hurts, in a sentence.
PLACES = {
    "low_back": "low back",
    "neck": "neck",
    "shoulder": "shoulder",
    "hand": "hand",
    "hip": "hip",
    "groin": "groin",
    "buttock": "buttock",
    "thigh_front": "front of the thigh",
    "thigh_back": "back of the thigh",
    "knee_front": "front of the knee",
    "knee_inner": "inner side of the knee",
    "knee_outer": "outer side of the knee",
    "knee_back": "back of the knee",
    "calf": "calf",
    "achilles": "Achilles tendon",
    "ankle": "ankle",
    "heel": "heel",
    "forefoot": "forefoot",
    "toes": "toes",
    "saddle_area": "where the saddle touches",
}
REGIONS = tuple(PLACES)
Region = Literal[REGIONS]

Urgency = Literal["this hour", "today", "before the next change"]
URGENCIES: tuple[str, ...] = get_args(Urgency)

# Signs that need a clinician, the most urgent first; standard medicine (from memory).
_THIS_HOUR = {
    "chest_pain": "chest pain",
    "fainting": "fainting or near fainting",
    "breathless_out_of_proportion": "breathlessness out of proportion to the effort",
    "bladder_or_bowel_change": "a change in bladder or bowel control",
    "leg_weakness": "weakness of a leg",
    "hot_swollen_calf": "a hot, swollen calf",
}
_TODAY = {
    "saddle_numbness_persisting": "numbness where the saddle touches that stays off the bike",
    "foot_drop": "a foot that drops or slaps",
    "cold_or_pale_foot": "a cold, pale or blue foot",
    "fever": "fever",
    "concussion": "a blow to the head or concussion",
    "suspected_stress_fracture": "a suspected stress fracture",
    "exertional_leg_pain": "thigh, buttock or leg pain at hard effort that stops at once on easing off",
}
_BEFORE_THE_NEXT_CHANGE = {
    "night_or_rest_pain": "pain at night or at rest",
    "knee_locks_or_gives_way": "a knee that locks or gives way",
    "knee_swollen": "a swollen knee",
    "hip_or_groin_locks": "a hip or groin that locks",
    "sudden_leg_length_change": "a sudden change of leg length on one side",
    "sudden_foot_shape_change": "a sudden change of a foot's shape",
    "recent_fracture_or_surgery": "a recent fracture or operation",
    "foot_numbness_persisting": "foot numbness that stays off the bike",
    "insensate_or_diabetic_foot": "a foot without full feeling, or diabetes",
    "genital_numbness_or_swelling": "genital numbness or swelling",
    "hand_weakness": "weakness of a hand",
    "growing_under_18": "under 18 and still growing",
}
SIGN_WORDS = _THIS_HOUR | _TODAY | _BEFORE_THE_NEXT_CHANGE
SIGNS: dict[str, Urgency] = {
    sign: urgency
    for urgency, signs in zip(URGENCIES, (_THIS_HOUR, _TODAY, _BEFORE_THE_NEXT_CHANGE), strict=True)
    for sign in signs
}
SignName = Literal[tuple(SIGNS)]

# As they stand alone, in a list of choices; the others are read as they are written.
_TITLES = {name: words for name, (words, _, _) in SIZE_SYSTEMS.items()} | {
    "mark_found_anew": "mark found anew each time",
    "uneven_left_right": "uneven left to right",
}


def choice_words(word: str) -> str:
    """Return a fixed word as it stands alone on screens and papers."""
    return _TITLES.get(word, word.replace("_", " "))
