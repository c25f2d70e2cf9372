"""What no single field can tell: rules between the fields of a session, and what should be asked again.

The rules look at the plain JSON tree, and only at values that are what they should be, so that they run beside the
checks of single fields and all problems come at once. What is asked again is possible, but hardly so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from fitkit.problems import Problem, joined, said, slip
from fitkit.session.bike import RIDE_FILES
from fitkit.session.models import Session
from fitkit.session.paths import counting, find, get, holds_any, kept, steps_of, value_at
from fitkit.vocabulary import SIDES, SIGNS, SIZE_SYSTEMS
from fitkit.words import printable

_READINGS = "the dotted path of a list of readings, like as_found.left.cleat_setback_mm"


def problems_between(tree: dict) -> Iterator[Problem]:
    """Yield every problem between fields of the tree."""
    yield from _shoes(tree)
    yield from _signs(tree)
    yield from _pitch_tables(tree)
    yield from _named_files(tree)
    yield from _struck(tree)
    yield from _taken(tree)


def _number(tree: Any, *steps: str | int) -> float | None:
    value = get(tree, steps)
    return value if isinstance(value, (int, float)) and not isinstance(value, bool) else None


def _items(tree: Any, *steps: str | int) -> list[Any]:
    value = get(tree, steps)
    return value if isinstance(value, list) else []


def _shoes(tree: dict) -> Iterator[Problem]:
    for side in SIDES:
        shoe = f"shoes.{side}"
        least = _number(tree, "shoes", side, "least_cleat_setback_mm")
        greatest = _number(tree, "shoes", side, "greatest_cleat_setback_mm")
        if least is not None and greatest is not None and least > greatest:
            yield Problem(
                f"{shoe}.least_cleat_setback_mm",
                said(least),
                f"at most greatest_cleat_setback_mm, {said(greatest)}",
                "Least is toward the toes: are the two exchanged?",
            )
        size, system = _number(tree, "shoes", side, "size"), get(tree, ("shoes", side, "size_system"))
        if size is None or not isinstance(system, str) or system not in SIZE_SYSTEMS:
            continue
        _, (low, high), _ = SIZE_SYSTEMS[system]
        if not low <= size <= high:
            yield Problem(f"{shoe}.size", said(size), f"{low} to {high} in the system {system}", "Another size system?")


def _signs(tree: dict) -> Iterator[Problem]:
    for place, item in enumerate(_items(tree, "signs")):
        name = get(item, ("sign",))
        if isinstance(name, str) and SIGNS.get(name) == "this hour" and get(item, ("cleared",)) is not None:
            yield Problem(
                f"signs.{place}.cleared",
                f"filled in for {name}",
                "nothing: a sign of this hour cannot be cleared here",
                "Send the rider to care now and leave the sign open.",
            )


def _pitch_tables(tree: dict) -> Iterator[Problem]:
    for side in SIDES:
        known: dict[float, tuple[float, float | None]] = {}
        for place, row in enumerate(_items(tree, "ride", side, "foot_pitch_table")):
            angle, pitch = _number(row, "crank_angle_deg"), _number(row, "pitch_deg")
            if angle is None:
                continue
            where = f"ride.{side}.foot_pitch_table.{place}.crank_angle_deg"
            earlier = known.get(angle % 360)
            known[angle % 360] = (angle, pitch)
            # 0 and 360 are one place of the crank: both may stand when they say the same.
            if earlier and earlier[0] == angle:
                yield Problem(where, f"{said(angle)} again", "each crank angle once", "Take one of the two rows out.")
            elif earlier and earlier[1] != pitch:
                yield Problem(where, said(angle), "the same pitch at 0 and at 360", "They are one place of the crank.")


def _named_files(tree: dict) -> Iterator[Problem]:
    count = len(_items(tree, "trials"))
    for name in RIDE_FILES:
        for place, item in enumerate(_items(tree, "ride", name)):
            trial = get(item, ("trial",))
            if isinstance(trial, int) and not isinstance(trial, bool) and not 0 <= trial < count:
                expected = f"0 to {count - 1}, or null for as found" if count else "null: the session has no trials"
                yield Problem(f"ride.{name}.{place}.trial", said(trial), expected)


def _struck(tree: dict) -> Iterator[Problem]:
    known: set[tuple[str, int]] = set()
    for place, item in enumerate(_items(tree, "struck")):
        field, index = get(item, ("field",)), get(item, ("index",))
        if not isinstance(field, str):
            continue
        if not is_readings(field):
            yield Problem(f"struck.{place}.field", said(field), _READINGS)
        elif isinstance(index, int) and not isinstance(index, bool):
            yield from _struck_index(tree, place, field, index)
            if (field, index) in known:
                again = f"reading {index} of {printable(field)} again"
                yield Problem(f"struck.{place}", again, "each reading struck once", "Take one of the two out.")
            known.add((field, index))


def _struck_index(tree: dict, place: int, field: str, index: int) -> Iterator[Problem]:
    count = len(_items(tree, *steps_of(field)))
    if not 0 <= index < count:
        expected = f"0 to {count - 1}" if count else f"a field with readings; {printable(field)} has none"
        yield Problem(f"struck.{place}.index", said(index), expected)


def _taken(tree: dict) -> Iterator[Problem]:
    taken = get(tree, ("taken",))
    for field in taken if isinstance(taken, dict) else ():
        if not is_readings(field):
            yield Problem(f"taken.{printable(field)}", "an unknown field", _READINGS)


def is_readings(dotted: str) -> bool:
    """Whether the dotted path, with places in lists as numbers, leads to a list of raw readings."""
    info = find(dotted)
    # As many steps as the list itself has: a single reading of it is no list.
    is_list = info is not None and info.many and info.dotted.count(".") == dotted.count(".")
    return is_list and info.sort == "number" and "*" not in dotted


def unusual(session: Session) -> tuple[Problem, ...]:
    """Return the values outside their usual limits, to be asked again; struck readings are left out."""
    struck = {(item.field, item.index) for item in session.struck}
    found = []
    for steps, value in _numbers(session.model_dump(exclude_defaults=True), ()):
        info = find(joined(steps))
        usual = info.usual
        if steps[-1] == "size":
            system = getattr(session.shoes, steps[1]).size_system
            usual = None if system is None else SIZE_SYSTEMS[system][2]
        if usual is None or usual[0] <= value <= usual[1] or (joined(steps[:-1]), steps[-1]) in struck:
            continue
        shown = said(int(value) if float(value).is_integer() else value)
        hint = slip(value, info.unit, usual)[0]
        found.append(Problem(joined(steps), shown, f"usually {usual[0]:g} to {usual[1]:g}", hint))
    return tuple(found)


def _numbers(tree: Any, steps: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], float]]:
    """Yield the steps to every number, and the number."""
    if isinstance(tree, dict):
        inside = tree.items()
    elif isinstance(tree, tuple):
        inside = enumerate(tree)
    else:
        inside = ()
        if isinstance(tree, (int, float)) and not isinstance(tree, bool):
            yield steps, tree
    for step, value in inside:
        yield from _numbers(value, (*steps, step))


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
        found += _cleat(session, side)
        found += _turned_with_small_gap(session, side)
    return tuple(found)


def _mean(session: Session, dotted: str) -> float | None:
    readings = kept(session, dotted)
    return math.fsum(readings) / len(readings) if readings else None


def _apart(where: str, value: float | None, other: float | None, limit: float, *words: str) -> Iterator[Problem]:
    """Ask about a value further than the limit from another; the words say what the other is, and ask."""
    if None not in (value, other) and abs(value - other) > limit:
        yield Problem(where, said(round(value, 1)), f"{said(round(other, 1))}, {words[0]}", words[1])


def _feet_apart(session: Session) -> Iterator[Problem]:
    """Ask about feet that hardly belong to one rider."""
    left, right = (f"rider.{side}.foot_length_mm" for side in SIDES)
    words = f"as the right one, within {FEET_APART_MM:g} mm", "Were both measured alike?"
    yield from _apart(left, _mean(session, left), _mean(session, right), FEET_APART_MM, *words)


def _follow_up_before(session: Session) -> Iterator[Problem]:
    """Ask about a follow-up that is due before the visit."""
    due = session.follow_up_due
    if due is not None and due < session.visit_date:
        yield Problem("follow_up_due", said(due), f"a day after {session.visit_date}, the visit's", "Another year?")


def _cleat(session: Session, side: str) -> Iterator[Problem]:
    """Ask about a cleat where its slots do not reach, and about one that stands elsewhere than decided."""
    where = [f"{at}.{side}.cleat_setback_mm" for at in ("as_found", "as_left", "decided")]
    found, left, decided = (_mean(session, path) for path in where)
    moved, moved_at = getattr(session.decided.moved_mm, side), f"decided.moved_mm.{side}"
    aimed = None if None in (found, moved) else found + moved
    yield from _outside_slots(session, side, dict(zip((*where, moved_at), (found, left, decided, aimed), strict=True)))
    if None not in (aimed, decided) and abs(aimed - decided) >= APART_MM:
        expected = f"{said(round(decided - found, 1))}, from as found to the place decided"
        yield Problem(moved_at, said(moved), expected, "Which of them is right?")
    wanted = aimed if decided is None else decided
    words = f"as decided, within {LEFT_APART_MM:g} mm", "Did it slip on tightening? Measure again."
    yield from _apart(where[1], left, wanted, LEFT_APART_MM, *words)


def _outside_slots(session: Session, side: str, places: dict[str, float | None]) -> Iterator[Problem]:
    shoe = getattr(session.shoes, side)
    least, greatest = shoe.least_cleat_setback_mm, shoe.greatest_cleat_setback_mm
    # An adapter moves the slots' rear end, and how far is the parts table's to say.
    fitted = (getattr(position, side) for position in (session.decided, session.as_left))
    if any(each.base_adapter_id or each.adapter_stack_mm for each in fitted):
        greatest = None
    for where, place in places.items():
        if None not in (place, least) and place < least - APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{least:g} or more, where the slots begin", "Entered in cm?")
        if None not in (place, greatest) and place > greatest + APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{greatest:g} or less, where the slots end", "Another shoe?")


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
    faces = [_mean(session, f"bike.{side}.crank_face_to_centreline_mm") for side in SIDES]
    both = None if None in faces else sum(faces)
    words = "left and right crank face together", "Which of them was read wrong?"
    yield from _apart("bike.q_factor_mm", _mean(session, "bike.q_factor_mm"), both, Q_APART_MM, *words)


def _complaints(session: Session) -> Iterator[Problem]:
    """Ask how bad a complaint is."""
    hint = "Without it nobody can tell later whether it got worse."
    for base in ("complaints", "since_last.complaints"):
        for place, complaint in enumerate(value_at(session, base)):
            if complaint.severity is None:
                yield Problem(f"{base}.{place}.severity", "not said", "the rider's own score, 0 to 10", hint)


def _kept_without_readings(session: Session) -> Iterator[Problem]:
    """Ask where the cleats stood in a trial that was kept: without it the sheet cannot say what the rider leaves on."""
    for place, trial in enumerate(session.trials):
        position = trial.position
        if trial.kept and not holds_any(position):
            yield Problem(
                f"trials.{place}.kept", "kept, without a reading", "what stood where in it", "Measure it now."
            )
