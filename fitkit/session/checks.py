"""What no single field can tell: rules between the fields of a session, on its plain JSON tree.

They look only at values that are what they should be, so that they run beside the checks of single fields and all
problems come at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fitkit.session.catalogue import find
from fitkit.session.paths import get, steps_of
from fitkit.session.problems import Problem, said
from fitkit.session.vocabulary import SIGNS
from fitkit.words import printable

__all__ = ["is_readings", "problems_between"]

_READINGS = "the dotted path of a list of readings, like as_found.left.cleat_setback_mm"

# Sizes outside these exist on no adult's or child's shoe (no source; generous).
_POSSIBLE_SIZES = {"eu": (15, 60), "uk": (0, 25), "us_men": (0, 26), "us_women": (0, 27), "mondopoint": (100, 400)}


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
    for side in ("left", "right"):
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
        limits = _POSSIBLE_SIZES.get(system) if isinstance(system, str) else None
        if size is not None and limits and not limits[0] <= size <= limits[1]:
            low, high = limits
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
    for side in ("left", "right"):
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
    for name in ("films", "power_files"):
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
