"""Which parts reach a wished change of half-stance: an exact search over one pedal family, both sides together.

Changes are of half-stance against as found, outward positive [mm]. A side has one spindle, at most one washer and
one extender, and, where the slots fall short, at most one base adapter; a crank is a workshop's job and moves both
sides. Play is an adjustment, half each way, always used, and no part.
"""

from fitkit.calculations.parts.answer import choose
from fitkit.calculations.parts.table import (
    CHANGE_OF_FAMILY,
    NEEDS_MAKERS_WORD,
    Bicycle,
    Choice,
    Pair,
    Part,
    Refused,
    Side,
)

__all__ = ["CHANGE_OF_FAMILY", "NEEDS_MAKERS_WORD", "Bicycle", "Choice", "Pair", "Part", "Refused", "Side", "choose"]
