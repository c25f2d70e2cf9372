"""Signs that need a clinician, whom to see and how soon, and what stops the advice.

Urgencies are standard medicine (from memory); local rules and licensed practice come first. Nothing here is a
diagnosis, and nothing in a complaint picks a setting.
"""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.session import Session
from fitkit.session.paths import holds_any
from fitkit.session.rider import Sign
from fitkit.vocabulary import SIGN_WORDS, SIGNS, URGENCIES, WHO_TO_SEE

ADULT_YEARS = 18


@dataclass(frozen=True)
class SignFound:
    """One sign of the session in words, with how soon and by whom it must be seen."""

    sign: str
    side: str | None
    words: str
    urgency: str
    who: str
    clearance: str | None


def _found(entry) -> SignFound:
    urgency = SIGNS[entry.sign]
    side = f", {entry.side}" if entry.side else ""
    cleared = entry.cleared
    clearance = f"cleared by {cleared.role} on {cleared.date}: {cleared.finding}" if cleared else None
    return SignFound(entry.sign, entry.side, SIGN_WORDS[entry.sign] + side, urgency, WHO_TO_SEE[entry.sign], clearance)


def signs_open(session: Session) -> tuple[SignFound, ...]:
    """Return the signs that nobody has cleared, the most urgent first; an age under 18 is one of them."""
    entries = [entry for entry in session.signs if entry.cleared is None]
    age = session.rider.age_years
    if age is not None and age < ADULT_YEARS and not any(entry.sign == "growing_under_18" for entry in session.signs):
        entries.append(Sign(sign="growing_under_18"))
    found = [_found(entry) for entry in entries]
    return tuple(sorted(found, key=lambda sign: URGENCIES.index(sign.urgency)))


def signs_cleared(session: Session) -> tuple[SignFound, ...]:
    """Return the signs a licensed role has cleared, with finding and date."""
    return tuple(_found(entry) for entry in session.signs if entry.cleared is not None)


def most_urgent(session: Session) -> SignFound | None:
    """Return the open sign to be seen first, None where there is none."""
    return next(iter(signs_open(session)), None)


def stops_advice(session: Session) -> bool:
    """Whether an open sign stops the adjustment advice; measurements stay."""
    return bool(signs_open(session))


def put_back(session: Session) -> str | None:
    """Return the instruction to put everything back, for an open sign in a visit whose trials have begun."""
    begun = session.trials or holds_any(session.decided) or holds_any(session.as_left)
    if not (stops_advice(session) and begun):
        return None
    return "Everything must be put back as found: what was tried was tried before this was acted on."
