"""The fixed words of a session file and of the parts table, once; what each means is said in ``templates/``."""

from __future__ import annotations

from typing import Literal, get_args

from fitkit.files import template
from fitkit.words import catalogue

_WORDS, _SHEET = catalogue(template("vocabulary.toml")), catalogue(template("rider_sheet_words.toml"))

Format = Literal["cleat-stance-session"]
FORMAT: str = get_args(Format)[0]
VERSION = 1

Population = Literal["men", "women"]
Riding = Literal["everyday", "long_steady", "time_trial", "mixed_racing", "short_maximal"]
SIDES = ("left", "right")
Side = Literal["left", "right", "both"]
CleatWear = Literal["new", "used", "worn"]
ShoeFit = Literal["tight", "right", "loose"]
BOLTS = (2, 3, 4)  # how many bolts hold a cleat
SeenFrom = Literal["behind", "front", "left", "right"]
TakenHow = Literal["mark_found_anew", "tape_left_on"]

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

# What is seen while the rider rides and where it hurts, in a sentence; the scale of unsteadiness.
SEEN_WORDS, PLACES = _WORDS["seen"], _WORDS["places"]
UNSTEADINESS_WORDS = {int(score): words for score, words in _WORDS["unsteadiness"].items()}
SEEN, REGIONS = tuple(SEEN_WORDS), tuple(PLACES)
SeenWhat = Literal[SEEN]
Region = Literal[REGIONS]
Cause = Literal[Riding, SeenWhat]  # what a shift of the starting point may follow from

# Signs that need a clinician, the most urgent first, each in a sentence and with whom to see.
Urgency = Literal["this hour", "today", "before the next change"]
URGENCIES: tuple[str, ...] = get_args(Urgency)
SIGNS: dict[str, Urgency] = {sign: urgency for urgency in URGENCIES for sign in _WORDS["signs"][urgency]}
SIGN_WORDS = {sign: words[:1].lower() + words[1:] for sign, words in _SHEET["sign"].items()}
WHO_TO_SEE = {
    sign: _SHEET["who"].get(sign, _SHEET["who"][urgency.replace(" ", "_")]) for sign, urgency in SIGNS.items()
}
SignName = Literal[tuple(SIGNS)]

TAKEN_BRIEFLY, GRADE_WORDS, WIDE_KNEES = _WORDS["taken_briefly"], _WORDS["grades"], _WORDS["wide_knees"]
EXERTION_QUESTIONS: tuple[str, ...] = tuple(_WORDS["exertion.questions"])
_TITLES = {name: words for name, (words, _, _) in SIZE_SYSTEMS.items()} | _WORDS["titles"]


def choice_words(word: str) -> str:
    """Return a fixed word as it stands alone on screens and papers."""
    return _TITLES.get(word, word.replace("_", " "))
