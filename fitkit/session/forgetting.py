"""Forgetting a client: every session file, history and lock of theirs in a folder and below."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import NoReturn

from fitkit.session.files import locked, sync_folder
from fitkit.session.problems import Problem, SessionProblems, said
from fitkit.session.reading import LIMIT_BYTES
from fitkit.session.vocabulary import FORMAT

__all__ = ["forget"]

_ID = r"[a-z0-9-]{1,40}"
_KEY = re.compile(rf"({_ID})_[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}_{_ID}")
_OF_A_SESSION = re.compile(r"(?:(.+?)(?:\.history\.jsonl|\.json)|\.(.+)\.(?:lock|tmp))", re.DOTALL)


def forget(client_id: str, folder: str | Path) -> tuple[Path, ...]:
    """Remove a client's session files, histories and locks from a folder and all folders below it."""
    if not re.fullmatch(_ID, client_id):
        raise SessionProblems(None, [Problem("client_id", said(client_id), "1 to 40 of the characters a-z, 0-9 and -")])
    removed: list[Path] = []
    for place, _, names in os.walk(folder, onerror=_stop):
        stems = sorted({found[1] or found[2] for name in names if (found := _OF_A_SESSION.fullmatch(name))})
        for stem in stems:
            if _owner(Path(place), stem) == client_id:
                removed += _remove(Path(place), stem)
    return tuple(removed)


def _stop(error: OSError) -> NoReturn:
    raise error


def _owner(folder: Path, stem: str) -> str | None:
    """Return whose the files of this stem are, None where nothing tells."""
    inside = _client_inside(folder / f"{stem}.json")
    if inside is not None:
        return inside
    named = _KEY.fullmatch(stem)
    return named[1] if named else None


def _client_inside(path: Path) -> str | None:
    """Return the client a readable session file names; None where the file cannot tell."""
    try:
        with path.open("rb") as file:
            data = file.read(LIMIT_BYTES + 1)
        tree = json.loads(data)
    except (OSError, ValueError, RecursionError):
        return None
    is_session = isinstance(tree, dict) and tree.get("format") == FORMAT
    return tree.get("client_id") if is_session and isinstance(tree.get("client_id"), str) else None


def _remove(folder: Path, stem: str) -> list[Path]:
    beside = (f"{stem}.json", f"{stem}.history.jsonl", f".{stem}.tmp", f".{stem}.lock")
    found = [folder / name for name in beside if (folder / name).exists()]
    with locked(folder / f"{stem}.json", mode=0o600):
        for path in found:
            path.unlink(missing_ok=True)
        (folder / f".{stem}.lock").unlink(missing_ok=True)
    sync_folder(folder)
    return found
