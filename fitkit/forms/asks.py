"""Questions about readings: one more where they disagree, and a likely exchange of left and right.

References
----------
ISO 5725-6: the range of n results is compared with f(n) times their standard deviation, f(n) being the 95 % point of
the range of n draws from a normal distribution with SD 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from fitkit.forms.entry import shown
from fitkit.house import Rules
from fitkit.session import FieldInfo

__all__ = ["disagreement", "exchange"]

# 95 % points of the range of n standard normal draws, n from 2 (studentized range, infinite degrees of freedom).
_RANGE_95 = (2.772, 3.314, 3.633, 3.858, 4.030, 4.170, 4.286, 4.387, 4.474)


def disagreement(readings: Sequence[float], info: FieldInfo, rules: Rules) -> str:
    """Ask for one more reading where two neighbours in size are further apart than chance would bring them."""
    count = len(readings)
    if count < 2 or info.kind is None:
        return ""
    house_sd = rules.reading_sd(info.dotted, info.kind, max(readings, key=abs))
    allowed = _RANGE_95[min(count, len(_RANGE_95) + 1) - 2] * house_sd
    ordered = sorted(readings)
    if ordered[-1] - ordered[0] <= allowed:
        return ""
    apart = f"{shown(ordered[0])} and {shown(ordered[-1])} differ by {ordered[-1] - ordered[0]:.3g}"
    if count >= 3 and _close_majority(ordered, _RANGE_95[0] * house_sd):
        return f"{apart}, more than {allowed:.2g}: strike the one that is wrong, with a reason."
    return f"{apart}, more than {allowed:.2g}: please take one more."


def _close_majority(ordered: Sequence[float], allowed: float) -> bool:
    longest = run = 1
    for low, high in pairwise(ordered):
        run = run + 1 if high - low <= allowed else 1
        longest = max(longest, run)
    return longest > len(ordered) / 2


def exchange(
    now: tuple[Sequence[float], Sequence[float]],
    last: tuple[Sequence[float], Sequence[float]],
    info: FieldInfo,
    rules: Rules,
) -> str:
    """Ask whether left and right were exchanged, against the last visit."""
    if not all((*now, *last)) or info.kind is None:
        return ""
    left, right, last_left, last_right = (math.fsum(side) / len(side) for side in (*now, *last))
    house_sd = rules.reading_sd(info.dotted, info.kind, max(left, right, key=abs))
    # Only where the legs really differ, both times, by more than reading error brings.
    if min(abs(last_left - last_right), abs(left - right)) <= _RANGE_95[0] * house_sd:
        return ""
    straight = abs(left - last_left) + abs(right - last_right)
    crossed = abs(left - last_right) + abs(right - last_left)
    if crossed >= straight / 2:
        return ""
    return (
        f"Left {shown(round(left, 1))}, right {shown(round(right, 1))}; last visit left {shown(round(last_left, 1))}, "
        f"right {shown(round(last_right, 1))}. Are left and right exchanged?"
    )
