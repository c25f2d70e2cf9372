"""The visit before: the latest earlier file of the same client and set-up, in the folder or its year folders."""

from __future__ import annotations

from pathlib import Path

from fitkit.session.models import Session
from fitkit.session.problems import SessionProblems
from fitkit.session.reading import key, load

__all__ = ["earlier_path", "earlier_visit"]


def earlier_visit(path: Path, session: Session) -> Session | None:
    """Return the latest earlier visit of the same client and set-up, None where there is none that can be read."""
    found = earlier_path(path, session)
    try:
        return load(found) if found else None
    except SessionProblems:
        return None


def earlier_path(path: Path, session: Session) -> Path | None:
    """Return the file of the latest earlier visit of the same client and set-up."""
    root = path.parent.parent if path.parent.name.isdigit() else path.parent
    pattern = f"{session.client_id}_*_{session.setup}.json"
    folders = [path.parent, *(folder for folder in root.glob("[0-9]*") if folder.is_dir() and folder != path.parent)]
    found = {file.name: file for folder in folders for file in folder.glob(pattern)}
    return next((found[name] for name in sorted(found, reverse=True) if name < f"{key(session)}.json"), None)
