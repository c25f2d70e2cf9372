"""What hardly agrees in a session, asked again: between its fields, and against the clinic's parts table."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fitkit.house import House, Part
from fitkit.session import Problem, Session, kept
from fitkit.session.doubts import APART_MM, doubts
from fitkit.session.positions import value_at

__all__ = ["questions", "unknown_parts"]

SIDES = ("left", "right")
_KINDS = {"spindle_id": "spindle", "extender_id": "extender", "base_adapter_id": "base_adapter"}


def questions(session: Session, house: House) -> tuple[Problem, ...]:
    """Return what should be asked again since it hardly agrees with something else."""
    found = [*doubts(session), *_other_family(session, house)]
    for side in SIDES:
        found += _outside_slots(session, house, side)
    return tuple(found)


def unknown_parts(session: Session, house: House) -> list[Problem]:
    """Return the pedal family and the parts recorded that the parts table does not have."""
    found, family = [], session.bike.pedal_family
    if family is not None and family not in house.families:
        expected = f"one of {', '.join(house.families)}, as in the {house.parts_source}"
        found.append(Problem("bike.pedal_family", f'"{family}"', expected))
    for path, part_id, kind in _recorded(session):
        if _part(house, part_id, kind) is None:
            article = "an" if kind == "extender" else "a"
            expected = f"{article} {kind.replace('_', ' ')} of the {house.parts_source}"
            found.append(Problem(path, f'"{part_id}"', expected, "Choose from its rows."))
    return found


def _positions(session: Session) -> list[str]:
    return ["as_found", *(f"trials.{n}.position" for n in range(len(session.trials))), "decided", "as_left"]


def _recorded(session: Session) -> Iterator[tuple[str, str, str]]:
    """Yield path, id and kind of every part recorded by its id."""
    for position in _positions(session):
        for path in (f"{position}.{side}.{name}" for side in SIDES for name in _KINDS):
            part_id = value_at(session, path)
            if part_id is not None:
                yield path, part_id, _KINDS[path.rpartition(".")[2]]


def _part(house: House, part_id: str | None, kind: str) -> Part | None:
    return next((part for part in house.parts if part.id == part_id and part.kind == kind), None)


def _other_family(session: Session, house: House) -> Iterator[Problem]:
    """Ask about a part of another family than the pedals'."""
    family = session.bike.pedal_family
    for path, part_id, kind in _recorded(session):
        part = _part(house, part_id, kind)
        if family in house.families and part is not None and part.family != family:
            expected = f"one of family {family}, as the pedals found on the bicycle"
            yield Problem(path, f'"{part_id}", of family {part.family}', expected, "Were the pedals changed?")


def _outside_slots(session: Session, house: House, side: str) -> Iterator[Problem]:
    """Ask about a cleat that stands, or is to stand, where its slots do not reach."""
    shoe = getattr(session.shoes, side)
    least, greatest = shoe.least_cleat_setback_mm, shoe.greatest_cleat_setback_mm
    found = _place(session, "as_found", side)
    for position in _positions(session):
        place, where = _place(session, position, side), f"{position}.{side}.cleat_setback_mm"
        moved = getattr(value_at(session, position).moved_mm, side)
        if place is None and position != "as_found" and None not in (found, moved):
            place, where = found + moved, f"{position}.moved_mm.{side}"
        if place is None:
            continue
        gain = _gain(session, house, position, side)
        if least is not None and place < least + min(gain or 0.0, 0.0) - APART_MM:
            yield Problem(where, f"at {place:.0f} mm", f"{least:g} or more, where the slots begin", "Entered in cm?")
        if greatest is not None and gain is not None and place > greatest + gain + APART_MM:
            adapter = f", the adapter's {gain:g} mm counted" if gain else ""
            expected = f"{greatest + gain:g} or less, where the slots end{adapter}"
            yield Problem(where, f"at {place:.0f} mm", expected, "Another shoe?")


def _place(session: Session, position: str, side: str) -> float | None:
    readings = kept(session, f"{position}.{side}.cleat_setback_mm")
    return math.fsum(readings) / len(readings) if readings else None


def _gain(session: Session, house: House, position: str, side: str) -> float | None:
    """Return how far an adapter fitted since as found moves the slots toward the heel [mm], None where not known."""
    positions = _positions(session)
    until = positions[: positions.index(position) + 1]
    there = [getattr(value_at(session, each), side) for each in until if each == position or _holds(session, each)]
    fitted = [each for each in there if each.base_adapter_id is not None or each.adapter_stack_mm is not None]
    if not fitted or fitted[-1] is there[0]:
        return 0.0
    if fitted[-1].base_adapter_id is None:
        return None if fitted[-1].adapter_stack_mm else 0.0
    now, then = (_part(house, each.base_adapter_id, "base_adapter") for each in (fitted[-1], there[0]))
    if now is None or now.setback_gain_mm is None:
        return None
    return now.setback_gain_mm - ((then.setback_gain_mm or 0.0) if then else 0.0)


def _holds(session: Session, position: str) -> bool:
    """Whether what was fitted there stays on: in a trial only where it was kept."""
    return not position.startswith("trials") or bool(session.trials[int(position.split(".")[1])].kept)
