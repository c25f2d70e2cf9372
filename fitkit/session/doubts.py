"""Questions between fields: what is possible in each alone, but hardly together."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fitkit.session.catalogue import kept
from fitkit.session.models import Session
from fitkit.session.paths import counting, value_at
from fitkit.session.problems import Problem, said

__all__ = ["doubts"]

SIDES = ("left", "right")
FEET_APART_MM = 10.0  # feet of one rider seldom differ more (common practice, no source): asked, never refused
APART_MM = 3.0  # readings of one place agree better than this, see the repeat studies of a mark
LEFT_APART_MM = 2.0  # house choice: decided and as left further apart than this are asked about
Q_APART_MM = 3.4  # 95 % of the difference of Q factor and both crank faces, each read with an SD of 1.0 mm
TURNED_DEG = 0.5 + 1e-6  # house choices: a cleat turned by more, while a gap is under the next, is asked about
SMALL_GAP_MM = 10.0
_GAPS = ("heel_gap_heel_in_mm", "heel_gap_heel_out_mm", "ankle_gap_mm", "forefoot_gap_mm")


def doubts(session: Session) -> tuple[Problem, ...]:
    """Return what should be asked again since it hardly agrees with something else in the session."""
    found = [*_feet_apart(session), *_follow_up_before(session), *_q_against_faces(session)]
    found += [*_complaints(session), *_kept_without_readings(session)]
    for side in SIDES:
        found += _outside_slots(session, side)
        found += _moved_against_decided(session, side)
        found += _decided_against_left(session, side)
        found += _turned_with_small_gap(session, side)
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
    places[f"decided.{side}.cleat_setback_mm"] = _mean(session, f"decided.{side}.cleat_setback_mm")
    moved = getattr(session.decided.moved_mm, side)
    if found is not None and moved is not None:
        places[f"decided.moved_mm.{side}"] = found + moved
    # An adapter moves the slots' rear end, and how far is the parts table's to say.
    fitted = (getattr(position, side) for position in (session.decided, session.as_left))
    has_adapter = any(each.base_adapter_id or each.adapter_stack_mm for each in fitted)
    for where, place in places.items():
        least, greatest = shoe.least_cleat_setback_mm, shoe.greatest_cleat_setback_mm
        if place is None:
            continue
        if least is not None and place < least - APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{least:g} or more, where the slots begin", "Entered in cm?")
        if greatest is not None and place > greatest + APART_MM and not has_adapter:
            yield Problem(where, f"at {place:.0f} mm", f"{greatest:g} or less, where the slots end", "Another shoe?")


def _moved_against_decided(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a distance moved that does not lead to the place decided."""
    found, decided = (_mean(session, f"{at}.{side}.cleat_setback_mm") for at in ("as_found", "decided"))
    moved = getattr(session.decided.moved_mm, side)
    if None in (found, decided, moved) or abs(found + moved - decided) < APART_MM:
        return
    expected = f"{said(round(decided - found, 1))}, from as found to the place decided"
    yield Problem(f"decided.moved_mm.{side}", said(moved), expected, "Which of them is right?")


def _decided_against_left(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a cleat that was measured elsewhere than it was decided to be."""
    found, left, decided = (
        _mean(session, f"{at}.{side}.cleat_setback_mm") for at in ("as_found", "as_left", "decided")
    )
    moved = getattr(session.decided.moved_mm, side)
    if decided is None and None not in (found, moved):
        decided = found + moved
    if None in (left, decided) or abs(left - decided) <= LEFT_APART_MM:
        return
    expected = f"{said(round(decided, 1))}, as decided, within {LEFT_APART_MM:g} mm"
    hint = "Did it slip on tightening? Measure again."
    yield Problem(f"as_left.{side}.cleat_setback_mm", said(round(left, 1)), expected, hint)


def _turned_with_small_gap(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a cleat turned while a gap to the crank was small and was not measured again there."""
    toe_out = f"{side}.cleat_toe_out_deg"
    found, positions = _mean(session, f"as_found.{toe_out}"), counting(session)
    last = [at for at, position in enumerate(positions) if _mean(session, f"{position}.{toe_out}") is not None][-1:]
    still_open = [f"trials.{n}.position" for n, trial in enumerate(session.trials) if trial.kept is None]
    # A gap measured anywhere from the last turn on is measured again.
    for there in (*(positions[at:] for at in last), *([position] for position in still_open)):
        now = _mean(session, f"{there[0]}.{toe_out}")
        if None in (found, now) or abs(now - found) <= TURNED_DEG:
            continue
        for name in _GAPS:
            gap = value_at(session, f"as_found.{side}.{name}")
            gap = value_at(session, f"bike.{side}.{name}") if gap is None else gap
            is_again = any(value_at(session, f"{position}.{side}.{name}") is not None for position in there)
            if gap is not None and gap < SMALL_GAP_MM and not is_again:
                where, hint = f"{there[0]}.{side}.{name}", "Does the foot clear the crank now?"
                expected = (
                    f"measured again: it was {said(gap)} mm before the cleat was turned by {abs(now - found):.1f}°"
                )
                yield Problem(where, "not measured", expected, hint)


def _q_against_faces(session: Session) -> Iterator[Problem]:
    """Ask about a Q factor that is not the sum of both crank faces."""
    q, *faces = (
        _mean(session, path)
        for path in ("bike.q_factor_mm", *(f"bike.{side}.crank_face_to_centreline_mm" for side in SIDES))
    )
    if q is not None and None not in faces and abs(sum(faces) - q) > Q_APART_MM:
        expected = f"{said(round(sum(faces), 1))}, left and right crank face together"
        yield Problem("bike.q_factor_mm", said(round(q, 1)), expected, "Which of them was read wrong?")


def _complaints(session: Session) -> Iterator[Problem]:
    """Ask how bad a complaint is: without it nobody can tell later whether it got worse."""
    for base, complaints in (
        ("complaints", session.complaints),
        ("since_last.complaints", session.since_last.complaints),
    ):
        for place, complaint in enumerate(complaints):
            if complaint.severity is None:
                where, expected = f"{base}.{place}.severity", "the rider's own score, 0 to 10"
                yield Problem(where, "not said", expected, "Without it nobody can tell later whether it got worse.")


def _kept_without_readings(session: Session) -> Iterator[Problem]:
    """Ask where the cleats stood in a trial that was kept: without it the sheet cannot say what the rider leaves on."""
    for place, trial in enumerate(session.trials):
        position = trial.position
        if trial.kept and position == type(position)():
            yield Problem(
                f"trials.{place}.kept", "kept, without a reading", "what stood where in it", "Measure it now."
            )
