"""The visit before: what may be offered for confirmation, and what an exchange of sides is asked against."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from fitkit import session as sessions
from fitkit.session import Session, SessionProblems
from fitkit.session.paths import get, steps_of
from fitkit.session.positions import counting, value_at
from fitkit.session.reading import plain

__all__ = ["last_value", "last_visit"]


def last_visit(path: Path, session: Session) -> Session | None:
    """Return the latest earlier visit of the same client and set-up in this folder or its year folders, if any."""
    root = path.parent.parent if path.parent.name.isdigit() else path.parent
    pattern = f"{session.client_id}_*_{session.setup}.json"
    folders = [path.parent, *(folder for folder in root.glob("[0-9]*") if folder.is_dir() and folder != path.parent)]
    found = {file.name: file for folder in folders for file in folder.glob(pattern)}
    for name in sorted(found, reverse=True):
        if name < f"{sessions.key(session)}.json":
            with suppress(SessionProblems):
                return sessions.load(found[name])
    return None


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
