"""One visit at a glance: what it lacks, and which of the parts found for it are not in stock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.forms.soon import file_state
from fitkit.report import Record
from fitkit.session import Session
from fitkit.workbench.folder import load_or_none

__all__ = ["Look", "look_at"]

_FIRST = 3


@dataclass(frozen=True)
class Look:
    """A visit at a glance."""

    path: Path  # the session file
    session: Session | None  # none where it cannot be read
    lacks: str  # what is missing, or why it cannot be read
    # what must not be overlooked: open signs with their urgency, what is not safe as fitted
    first: tuple[str, ...] = ()
    orders: tuple[str, ...] = ()  # parts to order


def look_at(path: Path) -> Look:
    """Return a visit at a glance; worked out once for each state of its file."""
    return _look(path, file_state(path))


@lru_cache(maxsize=200)
def _look(path: Path, _: tuple | None) -> Look:
    found, problem = load_or_none(path)
    if found is None:
        return Look(path, None, f"cannot be read: {problem}")
    signs = tuple(f"{sign.urgency}: {sign.words}" for sign in cautions.signs_open(found))
    try:
        assessment = Record(path).assessment
    except (ValueError, OSError) as error:
        return Look(path, found, f"cannot be worked out: {error}", signs)
    unsafe = tuple(f"not safe as fitted: {each.words}" for each in assessment.unsafe)
    return Look(path, found, _lacks(assessment), (*signs, *unsafe), tuple(_orders(assessment)))


def _lacks(assessment: Assessment) -> str:
    missing = (one.needs for one in assessment.results.values() if not one.is_known)
    needs = list(dict.fromkeys(need for need in missing if need and not need.startswith(("not ", "no move "))))
    needs = [need for need in needs if not need.startswith("clinician")]
    more = f"; and {len(needs) - _FIRST} more" if len(needs) > _FIRST else ""
    return "; ".join(needs[:_FIRST]) + more if needs else "nothing"


def _orders(assessment: Assessment) -> Iterator[str]:
    visit = assessment.visit
    stock = {part.id: part.in_stock for part in visit.house.parts}
    for side, found in (assessment.parts or {}).items():
        for part in found["chosen"]:
            if stock.get(part) == 0:  # pieces; not known is not the same as none
                yield f"{visit.session.client_id}, {side}: {part}"
