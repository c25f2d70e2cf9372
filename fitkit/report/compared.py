"""A trainee's own record beside the reference: the same numbers, both with their intervals."""

from __future__ import annotations

from pathlib import Path

from fitkit.assessment import assess, load_visit
from fitkit.report.blocks import Table
from fitkit.report.names import RESULT_WORDS, in_words, printed
from fitkit.words import capital

__all__ = ["beside_reference", "where_it_stands"]

_NAMES = (
    "cleat_setback.as_found",
    "cleat_setback.start",
    "cleat_setback.slot_greatest",
    "cleat_setback.move",
    "cleat_setback.as_left",
    "forward_limit",
    "half_stance",
)


def beside_reference(own: str | Path, reference: str | Path) -> Table:
    """Return the main results of two session files side by side."""
    mine, theirs = assess(load_visit(own)), assess(load_visit(reference))
    rows = []
    for side in ("left", "right"):
        for name in _NAMES:
            full = f"{side}.{name}"
            rows.append((capital(in_words([full])), printed(mine, full), printed(theirs, full)))
    return Table("Your record beside the reference", ("", "Yours", "Reference"), tuple(rows))


def where_it_stands(own: str | Path) -> Table:
    """Return only where each cleat stands as found, with its interval: nothing of where it should go."""
    found = assess(load_visit(own))
    names = ("cleat_setback.as_found", "mtp1.expected")
    rows = tuple(
        (capital(RESULT_WORDS[name]), *(printed(found, f"{side}.{name}") for side in ("left", "right")))
        for name in names
    )
    return Table("Where the cleat stands, with 95 % intervals", ("", "Left", "Right"), rows)
