"""What the visit before says of a field: what may be offered for confirmation."""

from __future__ import annotations

from fitkit import session as sessions
from fitkit.session import Session
from fitkit.session.paths import counting, get, steps_of, value_at
from fitkit.session.reading import plain

__all__ = ["last_value"]


def last_value(last: Session, dotted: str):
    """Return what the visit before says of a field, as plain JSON: as found is what was last left; None for nothing."""
    if dotted.startswith("as_found."):
        field = dotted.removeprefix("as_found.")
        for path in reversed(counting(last)):
            if value_at(last, f"{path}.{field}") not in (None, ()):
                return _kept(last, f"{path}.{field}")
        return None
    return _kept(last, dotted)


def _kept(last: Session, dotted: str):
    info = sessions.describe(dotted)
    if info.unit is not None:
        values = list(sessions.kept(last, dotted))
        return (values or None) if info.many else (values[0] if values else None)
    return get(plain(last), steps_of(dotted))
