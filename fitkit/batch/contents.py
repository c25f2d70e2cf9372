"""The index and the summary of a report folder, from its run log and the records that stand in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from fitkit.batch.folder import ReportFolder
from fitkit.batch.index import INDEX, SUMMARY, Row, index_html, read_record, summary_csv
from fitkit.batch.runlog import Entry

__all__ = ["NOT_ENDED", "headline", "rows_of", "write_contents"]

_NOT_GIVEN = "its session file was not among those given this time"
NOT_ENDED = (
    "A run has begun and not ended. What is not made yet waits for it; if the run was stopped or killed, "
    "run it again to complete it."
)


def rows_of(folder: ReportFolder, entries: Sequence[Entry], *, waiting: Iterable[str] = ()) -> list[Row]:
    """Return one row for each visit of the latest run, each one waiting, and each record left by an earlier run."""
    latest_run = entries[-1].run if entries else ""
    names = {entry.key or entry.file: entry for entry in entries}
    rows = {
        name: _row(folder, name, entry.key is not None, entry.status, entry.reason, entry.demonstration)
        for name, entry in names.items()
        if entry.run == latest_run
    }
    for key in waiting:
        rows[key] = _row(folder, key, True, "waiting", "", _is_demonstration(names, key))
    for key in folder.records():
        if key not in rows:
            rows[key] = _row(folder, key, True, "earlier", _NOT_GIVEN, _is_demonstration(names, key))
    return sorted(rows.values(), key=lambda row: row.name)


def _is_demonstration(names: dict[str, Entry], key: str) -> bool:
    return key in names and names[key].demonstration


def _row(folder: ReportFolder, name: str, is_visit: bool, status: str, reason: str, demonstration: bool) -> Row:
    files, document = read_record(folder.path / name) if is_visit else ((), {})
    return Row(name, is_visit, status, reason, demonstration, files, document)


def headline(rows: Iterable[Row]) -> str:
    """Return what happened in all, in a sentence."""
    counted = Counter(row.status for row in rows)
    said = [f"{counted['made']} made", f"{counted['unchanged']} unchanged", f"{counted['failed']} not made"]
    if counted["consent withdrawn"]:
        said.append(f"{counted['consent withdrawn']} with consent withdrawn")
    if counted["earlier"]:
        said.append(f"{counted['earlier']} from earlier runs")
    return ", ".join(said) + "."


def write_contents(folder: ReportFolder, rows: Sequence[Row], *, said: str) -> None:
    """Write index.html and summary.csv, each in one step."""
    # The names of the results come from the numerical side, which is slow to import.
    from fitkit.assessment import RESULT_NAMES

    folder.access.replace(folder.path / INDEX, index_html(rows, headline=said).encode())
    folder.access.replace(folder.path / SUMMARY, summary_csv(rows, RESULT_NAMES).encode())
