"""Questions between fields: what is possible in each alone, but hardly together."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fitkit.session.catalogue import kept
from fitkit.session.models import Session
from fitkit.session.problems import Problem, said

__all__ = ["doubts"]

SIDES = ("left", "right")
FEET_APART_MM = 10.0  # feet of one rider seldom differ more (common practice, no source): asked, never refused
APART_MM = 3.0  # readings of one place agree better than this, see the repeat studies of a mark


def doubts(session: Session) -> tuple[Problem, ...]:
    """Return what should be asked again since it hardly agrees with something else in the session."""
    found = [*_feet_apart(session), *_follow_up_before(session)]
    for side in SIDES:
        found += _outside_slots(session, side)
        found += _decided_against_left(session, side)
    return tuple(found)


def _mean(session: Session, dotted: str) -> float | None:
    readings = kept(session, dotted)
    return math.fsum(readings) / len(readings) if readings else None


def _feet_apart(session: Session) -> Iterator[Problem]:
    """Ask about feet that hardly belong to one rider."""
    left, right = (_mean(session, f"rider.{side}.foot_length_mm") for side in SIDES)
    if None not in (left, right) and abs(left - right) > FEET_APART_MM:
        expected = f"{said(round(right, 1))}, as the right one, within {FEET_APART_MM:g} mm"
        yield Problem("rider.left.foot_length_mm", said(round(left, 1)), expected, "Were both measured alike?")


def _follow_up_before(session: Session) -> Iterator[Problem]:
    """Ask about a follow-up that is due before the visit."""
    due = session.follow_up_due
    if due is not None and due < session.visit_date:
        yield Problem("follow_up_due", said(due), f"a day after {session.visit_date}, the visit's", "Another year?")


def _outside_slots(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a cleat that stands, or is to stand, where its slots do not reach."""
    shoe = getattr(session.shoes, side)
    found = _mean(session, f"as_found.{side}.cleat_setback_mm")
    places = {
        f"as_found.{side}.cleat_setback_mm": found,
        f"as_left.{side}.cleat_setback_mm": _mean(session, f"as_left.{side}.cleat_setback_mm"),
    }
    moved = getattr(session.decided.moved_mm, side)
    if found is not None and moved is not None:
        places[f"decided.moved_mm.{side}"] = found + moved
    for where, place in places.items():
        least, greatest = shoe.least_cleat_setback_mm, shoe.greatest_cleat_setback_mm
        if place is None:
            continue
        if least is not None and place < least - APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{least:g} or more, where the slots begin", "Entered in cm?")
        if greatest is not None and place > greatest + APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{greatest:g} or less, where the slots end", "Another shoe?")


def _decided_against_left(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a cleat that was measured elsewhere than it was decided to be."""
    found, left = (_mean(session, f"{at}.{side}.cleat_setback_mm") for at in ("as_found", "as_left"))
    moved = getattr(session.decided.moved_mm, side)
    if None in (found, left, moved):
        return
    if abs(left - found - moved) >= APART_MM:
        yield Problem(
            f"as_left.{side}.cleat_setback_mm",
            f"{left - found:g} mm from as found",
            f"{said(moved)}, as decided",
            "Which of them is right?",
        )
