"""What stands in a report folder: index.html for people, summary.csv for spreadsheets; worked out again at need."""

from __future__ import annotations

import contextlib
import json
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from html import escape
from pathlib import Path

import jinja2
from markupsafe import Markup

from fitkit.batch.folder import (
    OVERVIEW_PAGES,
    PAGES,
    PDF_PAGES,
    Entry,
    ReportFolder,
    RunLog,
    is_report_folder,
    opened,
)
from fitkit.files import Access, template
from fitkit.problems import WrongCallError
from fitkit.words import one_line

INDEX = "index.html"
SUMMARY = "summary.csv"
_OUT_OF_DATE = "the record here is an earlier one and out of date"
_SAID = {
    "made": "made",
    "unchanged": "unchanged since it was made",
    "failed": "not made",
    "earlier": "from an earlier run",
    "waiting": "not made yet",
    "consent withdrawn": "consent withdrawn",
}
_BRACKETS = ("left.forward_limit", "right.forward_limit")  # they have ends and no value
_LINKS = {
    "record.html": "record",
    "rider_sheet.html": "sheet",
    "record.pdf": "record's PDF",
    "rider_sheet.pdf": "sheet's PDF",
    "record.ipynb": "notebook",
    "results.json": "data",
}
# The most urgent on top: how what is to be known of a visit begins, and what stands over all of which that is so.
_TABLES = {
    "see a clinician first": "Must see a clinician first",
    "not safe as fitted": "Not safe as fitted",
    "not made": "Not made",
    "got worse": "Got worse since the last change",
    "": "All others",
}


@dataclass(frozen=True)
class Row:
    """One visit, or one file that could not be worked on."""

    name: str  # the visit's key, or the file's name where it tells none
    is_visit: bool  # whether `name` is a key
    status: str  # "made", "unchanged", "failed", "earlier", "waiting" or "consent withdrawn"
    reason: str = ""  # why, in words
    demonstration: bool = False  # whether the rider is invented
    files: tuple[str, ...] = ()  # files of the record that stand in its place
    document: dict = field(default_factory=dict, repr=False)  # the record's results file, nothing where there is none

    @property
    def results(self) -> tuple[dict, ...]:
        """The record's results."""
        return tuple(self.document.get("results", ()))

    def advice(self, side: str) -> dict:
        """Return the record's advice for one foot, nothing where there is none."""
        return (self.document.get("advice") or {}).get(side) or {}

    @property
    def unsafe(self) -> tuple[str, ...]:
        """What is not safe as fitted, in words."""
        return tuple(f"{each.get('side')}: {each.get('why')}" for each in self.document.get("unsafe") or ())

    @property
    def attention(self) -> tuple[str, ...]:
        """What must be looked at before anything else, the most urgent first."""
        signs = {str(r.get("needs")) for r in self.results if str(r.get("needs")).startswith("clinician: ")}
        worse = any("worse" in (self.advice(side).get("why") or ()) for side in ("left", "right"))
        said = ["see a clinician first"] if signs else []
        said += [f"not safe as fitted: {'; '.join(self.unsafe)}"] if self.unsafe else []
        return (*said, *(["got worse since the last change"] if worse else []))

    @property
    def client(self) -> str:
        """The client's id, nothing where the name is none of ours."""
        return self.name.split("_")[0] if self.is_visit else ""

    @property
    def visit_date(self) -> str:
        """The day of the visit."""
        return self.name.split("_")[1] if self.is_visit else ""

    @property
    def setup(self) -> str:
        """The set-up of the bicycle."""
        return self.name.split("_", 2)[2] if self.is_visit else ""

    @property
    def told(self) -> str:
        """What became of the visit, what must be looked at first, and why."""
        known = [*self.attention, f"{_SAID[self.status]}: {self.said}" if self.said else _SAID[self.status]]
        if self.status == "failed":
            known.reverse()
        return "; ".join([*known, *_toe_words(self.results), *(["demonstration"] if self.demonstration else [])])

    @property
    def table(self) -> str:
        """The heading it stands under."""
        known = (*self.attention, *(["not made"] if self.status == "failed" else []))
        return next(words for begun, words in _TABLES.items() if not begun or any(k.startswith(begun) for k in known))

    @property
    def said(self) -> str:
        """The reason, with what is to be known of an earlier record that still stands there."""
        out_of_date = self.files and self.status in ("failed", "waiting")
        return "; ".join(filter(None, [self.reason, _OUT_OF_DATE if out_of_date else ""]))


def read_record(folder: Path) -> tuple[tuple[str, ...], dict]:
    """Return the files of a record that are there and its results file, nothing where there is no record."""
    files = tuple(name for name in PAGES + PDF_PAGES if (folder / name).is_file())
    try:
        document = json.loads((folder / "results.json").read_bytes())
    except (OSError, ValueError):
        return files, {}
    return files, document if isinstance(document, dict) else {}


def summary_csv(rows: Iterable[Row], names: Sequence[str]) -> str:
    """Return the table of all rows: advice, what is not safe, one column for each result and two for a bracket.

    A spreadsheet takes a text that begins like a formula for one, so that such a text gets an apostrophe.
    """
    import pandas  # where a frame is asked for, never on the way to a form

    columns = ["key", "status", "reason", "left.advice", "right.advice", "unsafe"]
    columns += [name for name in names if name not in _BRACKETS]
    columns += [f"{name}.{end}" for name in names if name in _BRACKETS for end in ("low", "high")]
    table = pandas.DataFrame([_cells(row) for row in rows], columns=columns, dtype=object)
    return table.map(safe_cell, na_action="ignore").to_csv(index=False, lineterminator="\r\n")


def _cells(row: Row) -> dict[str, object]:
    cells = {"key": row.name, "status": row.status, "reason": row.said}
    if row.status in ("failed", "waiting"):
        return cells  # no values of a record that is out of date
    cells |= {f"{side}.advice": row.advice(side).get("kind") for side in ("left", "right")}
    cells["unsafe"] = "; ".join(row.unsafe) or None
    cells |= {str(each.get("name")): each.get("value") for each in row.results}
    brackets = [each for each in row.results if each.get("name") in _BRACKETS]
    return cells | {f"{each['name']}.{end}": each.get(end) for each in brackets for end in ("low", "high")}


def safe_cell(value: object) -> object:
    """Return a value as a spreadsheet may have it: a text never as a formula."""
    if isinstance(value, str):
        text = one_line(value, longest=4000)  # tabs and line ends are gone with it
        return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
    return value


def index_html(rows: Sequence[Row], *, headline: str) -> str:
    """Return the page of a report folder: what needs attention first, then all others; one line a visit, with links."""
    files = [row for row in rows if not row.is_visit]
    tables: dict[str, list[Row]] = {words: [] for words in _TABLES.values()}
    # By client, newest first; sorted by name before, so that set-ups of one day stay in order.
    newest = sorted(sorted(rows, key=lambda row: row.name), key=lambda row: row.visit_date, reverse=True)
    for row in sorted(newest, key=lambda row: row.client):
        if row.is_visit:
            tables[row.table].append(row)
    style = Markup(template("paper.css").read_text(encoding="utf-8"))  # noqa: S704 - the kit's own
    return _page().render(headline=headline, files=files, tables=tables, links=_LINKS, style=style) + "\n"


@cache
def _page() -> jinja2.Template:
    source = template("index.html.j2")
    kept = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    kept.filters["text"] = lambda text: Markup(escape(one_line(text, longest=4000)))  # noqa: S704
    return kept.from_string(source.read_text(encoding="utf-8"))


def _toe_words(results: Iterable[dict]) -> list[str]:
    """Return that a toe meets, or within its error may meet, the tyre; as found where nothing is moved."""
    after = {each["name"]: each for each in results if ".toe.gap" in str(each.get("name"))}
    gaps = [after.get(f"{side}.toe.gap_after", {}) for side in ("left", "right")]
    found = [after.get(f"{side}.toe.gap", {}) for side in ("left", "right")]
    pairs = zip(gaps, found, strict=True)
    known = [gap for pair in pairs if (gap := next((each for each in pair if each.get("value") is not None), None))]
    if any(gap["value"] < 0 for gap in known):
        return ["toe meets tyre"]
    return ["toe may meet tyre"] if any(gap["low"] <= 0 for gap in known) else []


_NOT_GIVEN = "its session file was not among those given this time"
NOT_ENDED = (
    "A run has begun and not ended. What is not made yet waits for it; if the run was stopped or killed, "
    "run it again to complete it."
)


def rows_of(folder: ReportFolder, entries: Sequence[Entry], *, waiting: Iterable[str] = ()) -> list[Row]:
    """Return one row for each visit of the latest run, each one waiting, and each record left by an earlier run."""
    latest_run = entries[-1].run if entries else ""
    last = {entry.key or entry.file: entry for entry in entries}
    said = {name: (entry.status, entry.reason) for name, entry in last.items() if entry.run == latest_run}
    said |= dict.fromkeys(waiting, ("waiting", ""))
    said = dict.fromkeys(folder.records(), ("earlier", _NOT_GIVEN)) | said
    rows = []
    for name, (status, reason) in sorted(said.items()):
        entry = last.get(name)
        is_visit = entry is None or entry.key is not None
        files, document = read_record(folder.path / name) if is_visit else ((), {})
        rows.append(Row(name, is_visit, status, reason, bool(entry and entry.demonstration), files, document))
    return rows


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


def opened_to_forget(out: Path, access: Access) -> contextlib.AbstractContextManager[ReportFolder]:
    """Hold a report folder that is there, so that nothing is removed while a run writes in it."""
    out = Path(os.path.abspath(out))
    if not is_report_folder(out):
        raise WrongCallError(f"{one_line(out)} is not a folder of reports; expected one made by 'report'")
    return opened(out, access)


def forget_reports(folder: ReportFolder, client_id: str, *, key: str | None = None) -> tuple[Path, ...]:
    """Remove whatever a report folder holds of a client, or of one visit, and return what was removed.

    Log, index and summary are written anew in any case, so that a removal that was killed is completed by the next.
    """
    removed = [folder.forget(name) for name in folder.records() if _is_of(name, client_id, key)]
    # The clinic's overview counts the client, and may name whom to call.
    overviews = [path for name in OVERVIEW_PAGES if (path := folder.path / name).is_file()]
    for path in overviews:
        path.unlink()
    log = RunLog(folder.path, folder.access)
    before = log.entries()
    kept = [e for e in before if not any(_is_of(n, client_id, key) for n in (e.key or "", Path(e.file).stem))]
    # A line cut off by a killed run may hold the client too.
    log.rewrite(kept)
    rows = rows_of(folder, kept)
    write_contents(folder, rows, said=headline(rows))
    return (*removed, *([log.path] if len(kept) < len(before) else []), *overviews)


def _is_of(name: str, client_id: str, key: str | None) -> bool:
    """Whether a visit's key, or the name of its file without the ending, is the client's, and of that visit."""
    return name == key if key else name.startswith(f"{client_id}_")
