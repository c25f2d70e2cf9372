"""One visit at a glance: what it lacks, and which of the parts found for it are not in stock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from fitkit import cautions
from fitkit.assessment import Assessment
from fitkit.report import Record
from fitkit.session import Session
from fitkit.workbench.folder import load_or_none

__all__ = ["Look", "look_at"]

_FIRST = 3


@dataclass(frozen=True)
class Look:
    """A visit at a glance.

    Parameters
    ----------
    path : Path
        The session file.
    session : Session or None
        None where it cannot be read.
    lacks : str
        What is missing, or why it cannot be read.
    orders : tuple of str
        Parts to order.
    """

    path: Path
    session: Session | None
    lacks: str
    orders: tuple[str, ...] = ()


def look_at(path: Path) -> Look:
    """Return a visit at a glance; worked out once for each state of its file."""
    try:
        return _look(path, path.stat().st_mtime_ns)
    except OSError as error:
        return Look(path, None, f"cannot be read: {error.strerror or error}")


@lru_cache(maxsize=200)
def _look(path: Path, _: int) -> Look:
    found, problem = load_or_none(path)
    if found is None:
        return Look(path, None, f"cannot be read: {problem}")
    try:
        assessment = Record(path).assessment
    except (ValueError, OSError) as error:
        return Look(path, found, f"cannot be worked out: {error}")
    return Look(path, found, _lacks(assessment), tuple(_orders(assessment)))


def _lacks(assessment: Assessment) -> str:
    missing = (one.needs for one in assessment.results.values() if not one.is_known)
    needs = list(dict.fromkeys(need for need in missing if need and not need.startswith(("not ", "no move "))))
    signs = [f"{sign.urgency}: {sign.words}" for sign in cautions.signs_open(assessment.visit.session)]
    needs = [need for need in needs if not need.startswith("clinician")]
    more = f"; and {len(needs) - _FIRST} more" if len(needs) > _FIRST else ""
    lacks = "; ".join(needs[:_FIRST]) + more if needs else "nothing"
    # What must not be overlooked comes first.
    first = [*(f"Not safe as fitted: {each.words}" for each in assessment.unsafe), *signs]
    return ". ".join([*(f"{line[:1].upper()}{line[1:]}" for line in first), lacks])


def _orders(assessment: Assessment) -> Iterator[str]:
    visit = assessment.visit
    stock = {part.id: part.in_stock for part in visit.house.parts}
    for side, found in (assessment.parts or {}).items():
        for part in found["chosen"]:
            if stock.get(part) == 0:  # pieces; not known is not the same as none
                yield f"{visit.session.client_id}, {side}: {part}"
