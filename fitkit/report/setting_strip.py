"""A setting strip at true size, one for each foot: joint at 0, the line to set the cleat to, the old line.

Cut it out, lay its zero on the first-MTP mark along the shoe's long axis, and set the cleat's centreline to the line.
A bar of exactly 100 mm comes first: where a ruler disagrees with it, the printer has scaled the page.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import jinja2

from fitkit import cautions, places, session
from fitkit.assessment import Assessment
from fitkit.report.soles import instruction
from fitkit.words import day, plain

__all__ = ["Strip", "setting_strip_html", "strips"]

SIDES = ("left", "right")
_REACH_MM = (-20, 60)  # of the ruler: ahead of the joint, and behind it
_NO_MOVE_MM = 0.05
_FURTHEST_MM = 150  # possible setbacks; a strip grows to hold its lines


@dataclass(frozen=True)
class Strip:
    """One foot's strip."""

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
    old = assessment[f"{side}.cleat_setback.as_found"].value
    foot = assessment.foot(side)
    stopped = cautions.stops_advice(assessment.visit.session)
    set_to = foot.set_to
    if None not in (set_to, old) and abs(set_to - old) < _NO_MOVE_MM:
        set_to = None  # one line is enough where nothing moves
    words = "no line to set: see a clinician first" if stopped else instruction(assessment, side)
    known = [value for value in (old, set_to) if value is not None]
    low = int(min([_REACH_MM[0], *(value - 5 for value in known)]) // 10 * 10)
    high = int(-(-max([_REACH_MM[1], *(value + 5 for value in known)]) // 10) * 10)
    return Strip(side, set_to, old, words, low, min(high, _FURTHEST_MM))


def setting_strip_html(assessment: Assessment) -> str:
    """Return the page with both strips, to be printed at 100 %."""
    told = assessment.visit.session
    page = _environment().get_template("setting_strip.html.j2")
    return page.render(
        strips=strips(assessment),
        plain=plain,
        key=session.key(told),
        visit=day(told.visit_date),
        demonstration=bool(told.demonstration),
        style=places.template("paper.css").read_text(encoding="utf-8").strip(),
    )


@cache
def _environment() -> jinja2.Environment:
    loader = jinja2.FileSystemLoader(places.template("setting_strip.html.j2").parent)
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
