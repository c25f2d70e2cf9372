"""Riders as a fitter meets them, each a small visit with what an expert would say first of the left foot.

All are invented. The words were typed by hand as a fitter would want them; each piece must stand in the first sentence
of the foot, and none of the words after it may.
"""

from dataclasses import dataclass, field

KNEE = {"region": "knee_front", "side": "left", "severity": 3}


@dataclass(frozen=True)
class Case:
    """Changes by dotted path to a bare visit of EU 42 with cleats at 15 and 16, and the words for the left foot."""

    changes: dict
    says: tuple[str, ...]
    never: tuple[str, ...] = ()
    before: dict | None = field(default=None)


def ridden(*places: tuple[float, float]) -> list:
    """Return trials of the left cleat: where it stood, and its score of unsteadiness."""
    return [
        {"position": {"left": {"cleat_setback_mm": [at]}}, "unsteadiness": {"left": [score]}} for at, score in places
    ]


def seen(what: str) -> list:
    return [{"what": what, "side": "left"}]


CASES = {
    "unsteady, and the cleat 26 mm back": Case(
        {"as_found.left.cleat_setback_mm": [26], "seen": seen("unsteady")},
        (
            "Left cleat 26 mm behind the joint",
            "look for another cause before moving it (saddle height, a worn cleat, a loose shoe, the float)",
            "the foot is unsteady",
        ),
        ("toward the toes", "to 18", "today"),
    ),
    "unsteady at every setting tried": Case(
        {
            "as_found.left.cleat_setback_mm": [9],
            "trials": ridden((9, 6), (14, 7), (20, 6)),
            "shoes.left.cleat_wear": "worn",
        },
        (
            "look for another cause before moving it",
            "unsteady wherever the cleat stood, so the cleat is hardly the cause",
            "the cleat is worn",
        ),
        ("today", "toward the"),
    ),
    "slots that end 8.5 mm before": Case(
        {
            "as_found.left.cleat_setback_mm": [6],
            "rider.riding": "long_steady",
            "shoes.left.least_cleat_setback_mm": 2,
            "shoes.left.greatest_cleat_setback_mm": 9.5,
            "bike.pedal_family": "A",
        },
        (
            "Slots end 8.5 mm short: base adapter A-base-10, or another shoe.",
            "today 3.5 mm toward the heel, to 9.5; long steady riding",
        ),
        ("leave it",),
    ),
    "slots that end where it stands": Case(
        {"seen": seen("unsteady"), "shoes.left.greatest_cleat_setback_mm": 15},
        ("Slots end 5 mm short:", "these slots let it go no further; the foot is unsteady"),
        ("today", "toward the toes"),
    ),
    "slots that begin too far toward the heel": Case(
        {
            "as_found.left.cleat_setback_mm": [28],
            "rider.riding": "short_maximal",
            "shoes.left.least_cleat_setback_mm": 25,
        },
        ("Slots begin 7 mm too far toward the heel: another shoe.", "today 3 mm toward the toes, to 25"),
    ),
    "knee pain doubled after the last change": Case(
        {
            "as_found.left.cleat_setback_mm": [19.5],
            "since_last.complaints": [{**KNEE, "severity": 6}],
        },
        (
            "left front of the knee from 3 to 6 of 10 since the last change",
            "put it back: 4 mm toward the toes, to 15.5",
            "it stood at 15 by the last visit's mark",
            "Send on if it does not settle.",
        ),
        before={"complaints": [KNEE], "as_left.left.cleat_setback_mm": [19]},
    ),
    "a new pain after the cleat went toward the toes": Case(
        {
            "as_found.left.cleat_setback_mm": [11],
            "since_last.complaints": [{"region": "achilles", "side": "left", "severity": 4}],
        },
        (
            "new: left Achilles tendon 4 of 10 since the last change",
            "put it back: 4 mm toward the heel, to 15",
        ),
        before={"as_left.left.cleat_setback_mm": [11]},
    ),
    "heel drops, well ahead of the band": Case(
        {"as_found.left.cleat_setback_mm": [8], "seen": seen("heel_drops")},
        (
            "today 5 mm toward the heel, to 13, after riding on to 18; the heel drops",
            "Too far toward the heel costs less than too far toward the toes.",
        ),
        ("toward the toes, to",),
    ),
    "content behind the band": Case(
        {"as_found.left.cleat_setback_mm": [24], "seen_asked": True},
        ("leave it; it stands behind the starting band", "and nothing seen speaks for moving it"),
        ("today", "toward the"),
    ),
    "inside the band, and nobody watched": Case(
        {},
        ("leave it; it stands inside the starting band", "whether the foot is steady was not noted"),
        ("nothing seen speaks",),
    ),
    "short maximal efforts from far back": Case(
        {"as_found.left.cleat_setback_mm": [28], "rider.riding": "short_maximal"},
        ("today 2 mm toward the toes, to 26, after riding on to 18; short maximal efforts",),
    ),
    "short maximal efforts from far back, and a hip that drops": Case(
        {"as_found.left.cleat_setback_mm": [28], "rider.riding": "short_maximal", "seen": seen("hip_drop")},
        ("leave it; what was seen or hurts speaks against going toward the toes",),
        ("today",),
    ),
    "a clear limit in the trials": Case(
        {"as_found.left.cleat_setback_mm": [9], "trials": ridden((9, 7), (12, 5), (16, 1), (20, 1))},
        (
            "today 7 mm toward the heel, to 16",
            "steady there in the trials, unsteady ahead of it (by the score)",
        ),
    ),
    "trials that contradict each other": Case(
        {"trials": ridden((12, 1), (18, 6))},
        ("ride 18 once more", "steady ahead of where it was unsteady"),
        ("today", "leave it"),
    ),
    "EU 39.5, ahead of the line": Case(
        {"shoes.left.size": 39.5, "as_found.left.cleat_setback_mm": [5]},
        ("today 6.5 mm toward the heel, to 11.5; it stands ahead of the starting band",),
    ),
    "the difference is smaller than the mark's error": Case(
        {"as_found.left.cleat_setback_mm": [12.5]},
        ("leave it; the difference is smaller than can be measured",),
        ("today",),
    ),
    "a swollen knee": Case(
        {"signs": [{"sign": "knee_swollen", "side": "right"}]},
        ("no advice before a clinician has seen to a swollen knee",),
        ("today", "leave it", "toward"),
    ),
    "fifteen years old": Case(
        {"rider.age_years": 15, "seen": seen("unsteady")},
        ("no advice before",),
        ("today", "toward"),
    ),
    "a trial kept 12 mm further back": Case(
        {
            "as_found.left.cleat_setback_mm": [10],
            "trials": [
                {
                    "position": {"left": {"cleat_setback_mm": [22]}},
                    "unsteadiness": {"left": [1]},
                    "kept": True,
                }
            ],
        },
        ("Left cleat found 10 mm behind the joint", "kept in a trial 12 mm toward the heel, to 22"),
    ),
    "decided beyond the slots": Case(
        {"decided.moved_mm": {"left": 6}, "shoes.left.greatest_cleat_setback_mm": 18},
        ("decided 6 mm toward the heel, to 21", "That is 3 mm outside the slots, past their rear end."),
    ),
    "no shoe size": Case({"shoes.left": {}}, ("no advice yet, needs shoe size",), ("today", "leave it")),
    "no cleat measured": Case(
        {"as_found.left.cleat_setback_mm": []},
        ("Left cleat not measured: no advice yet, needs cleat setback",),
        ("today",),
    ),
}
