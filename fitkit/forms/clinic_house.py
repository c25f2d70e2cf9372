"""The clinic's house rules and parts table in a notebook, read once, and the names to choose from."""

from __future__ import annotations

from functools import cache

from fitkit import house
from fitkit.house import House

__all__ = ["clinic_house", "is_from_the_table", "part_choices"]

_PARTS = ("spindle_id", "extender_id", "base_adapter_id")


@cache
def clinic_house() -> House:
    """Return the house in force, read once for a notebook: forms ask for it at every key."""
    return house.load()


def is_from_the_table(dotted: str) -> bool:
    """Whether a field takes a name that stands in the parts table."""
    return dotted.rpartition(".")[2] in (*_PARTS, "pedal_family")


def part_choices(dotted: str, family: str | None, now: str | None) -> list[tuple[str, str | None]]:
    """Return the names to choose from: the pedal family's own first, then the others with their family said.

    Parameters
    ----------
    dotted : str
        The field.
    family : str or None
        The pedal family of the visit.
    now : str or None
        What stands in the field: offered too where the table lacks it.
    """
    kept, leaf = clinic_house(), dotted.rpartition(".")[2]
    if leaf == "pedal_family":
        found = [(name, name) for name in kept.families]
    else:
        rows = [part for part in kept.parts if part.kind == leaf.removesuffix("_id")]
        found = [(part.id, part.id) for part in rows if family in (None, part.family)]
        found += [(f"{part.id}, family {part.family}", part.id) for part in rows if family not in (None, part.family)]
    is_lacking = now is not None and now not in [name for _, name in found]
    return [("—", None), *found, *([(f"{now}, not in the parts table", now)] if is_lacking else [])]
