"""Removes a client from a report folder: records, lines of the run log, index and summary."""

from __future__ import annotations

import os
from pathlib import Path

from fitkit.batch.folder import is_report_folder, opened
from fitkit.batch.index import headline, rows_of, write_contents
from fitkit.batch.overview import NOTEBOOK, PAGE
from fitkit.batch.runlog import Entry, RunLog
from fitkit.files import Access
from fitkit.problems import WrongCallError
from fitkit.words import one_line

__all__ = ["forget_reports"]


def forget_reports(client_id: str, out: Path, access: Access) -> tuple[Path, ...]:
    """Remove whatever a report folder holds of a client and return what was removed."""
    out = Path(os.path.abspath(out))
    if not is_report_folder(out):
        raise WrongCallError(f"{one_line(out)} is not a folder of reports; expected one made by 'report'")
    with opened(out, access) as folder:
        removed = [folder.forget(key) for key in folder.records() if key.startswith(f"{client_id}_")]
        log = RunLog(folder.path, folder.access)
        before = log.entries()
        kept = [entry for entry in before if not _is_of(entry, client_id)]
        # Written anew in any case: a line cut off by a killed run may hold the client too.
        log.rewrite(kept)
        if len(kept) < len(before):
            removed.append(log.path)
        if removed:
            rows = rows_of(folder, kept)
            write_contents(folder, rows, said=headline(rows))
        removed += _overviews(folder.path, client_id)
        return tuple(removed)


def _overviews(folder: Path, client_id: str) -> list[Path]:
    """Remove the clinic's overview where it was made: it counts the client, and may name whom to call."""
    found = [path for name in (NOTEBOOK, PAGE) if (path := folder / name).is_file()]
    for path in found:
        path.unlink()
    return found


def _is_of(entry: Entry, client_id: str) -> bool:
    """Whether a line names the client, by its key or by the file's name."""
    names = (entry.key or "", Path(entry.file).name)
    return any(name.startswith(f"{client_id}_") for name in names)
