"""What stands in a report folder: index.html for people, summary.csv for spreadsheets; worked out again at need."""

from __future__ import annotations

import csv
import io
import json
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

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
from fitkit.files import Access
from fitkit.problems import WrongCallError
from fitkit.words import count, one_line

__all__ = [
    "INDEX",
    "NOT_ENDED",
    "SUMMARY",
    "Row",
    "forget_reports",
    "headline",
    "index_html",
    "read_record",
    "rows_of",
    "safe_cell",
    "summary_csv",
    "write_contents",
]

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
    "rider_sheet.html": "rider's sheet",
    "record.pdf": "record as PDF",
    "rider_sheet.pdf": "rider's sheet as PDF",
    "record.ipynb": "notebook",
    "results.json": "results as data",
}
_STYLE = """
body { font: 16px/1.45 sans-serif; color: #1a1a1a; background: #fff; margin: 0 auto; padding: 1rem; max-width: 52rem; }
h1 { font-size: 1.4rem; } h2 { font-size: 1.15rem; margin: 2rem 0 .25rem; border-bottom: 2px solid #1a1a1a; }
article { padding: .6rem 0; border-bottom: 1px solid #dcdcdc; overflow-wrap: anywhere; }
h3 { font-size: 1rem; margin: 0; } p, ul { margin: .25rem 0; } ul.links { padding: 0; list-style: none; }
ul.links li { display: inline-block; margin: 0 1.2rem .2rem 0; }
a { color: #0072B2; } a:focus, summary:focus { outline: 3px solid #0072B2; outline-offset: 2px; }
.small { color: #5f5f5f; }
.mark { border: 1px solid #1a1a1a; padding: 0 .35rem; font-weight: normal; font-size: .85rem; }
"""


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
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    ends = [(name, "value") for name in names if name not in _BRACKETS]
    ends += [(name, end) for name in names if name in _BRACKETS for end in ("low", "high")]
    titles = [name if end == "value" else f"{name}.{end}" for name, end in ends]
    writer.writerow(["key", "status", "reason", "left.advice", "right.advice", "unsafe", *titles])
    for row in rows:
        is_made = row.status not in ("failed", "waiting")
        values = {r.get("name"): r for r in row.results} if is_made else {}
        advice = [row.advice(side).get("kind") if is_made else None for side in ("left", "right")]
        unsafe = "; ".join(row.unsafe) if is_made else None
        cells = [row.name, row.status, row.said, *advice, unsafe or None]
        writer.writerow([safe_cell(cell) for cell in (*cells, *(values.get(name, {}).get(end) for name, end in ends))])
    return out.getvalue()


def safe_cell(value: object) -> object:
    """Return a value as a spreadsheet may have it: a text never as a formula, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, str):
        text = one_line(value, longest=4000)  # tabs and line ends are gone with it
        return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
    return value


def index_html(rows: Sequence[Row], *, headline: str) -> str:
    """Return the page of a report folder: clients, their visits newest first, what became of each, and links."""
    clients: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda row: row.name):
        clients.setdefault(row.client, []).append(row)
    files = clients.pop("", [])
    sections = [_client(client, visits) for client, visits in clients.items()]
    if first := [row for row in rows if row.attention or row.status == "failed"]:
        sections.insert(0, _attention(first))
    if files:
        sections.insert(0, _section("Files that are no visits", [_article(row, latest=False) for row in files]))
    return _page(headline, sections)


def _page(headline: str, sections: list[str]) -> str:
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Cleat and stance notebooks: records</title>
<style>{_STYLE}</style>
</head>
<body>
<header>
<h1>Cleat and stance notebooks: records</h1>
<p>{_text(headline)}</p>
</header>
<main>
{"".join(sections)}</main>
</body>
</html>
"""


def _section(heading: str, articles: list[str]) -> str:
    return f"<section>\n<h2>{_text(heading)}</h2>\n{''.join(articles)}</section>\n"


def _attention(rows: Sequence[Row]) -> str:
    """Return what needs attention first, the most urgent on top, with the way to it."""
    order = ("see a clinician", "not safe", "got worse")

    def rank(row: Row) -> tuple:
        first = next(iter(row.attention), "")
        return next((n for n, word in enumerate(order) if first.startswith(word)), len(order)), row.name

    items = []
    for row in sorted(rows, key=rank):
        said = "; ".join([*row.attention, *([f"not made: {row.said}"] if row.status == "failed" else [])])
        named = _text(row.name)
        if "record.html" in row.files:
            named = f'<a href="{escape(row.name)}/record.html">{named}</a>'
        items.append(f"<li>{named}: {_text(said)}</li>")
    return f"<section>\n<h2>Needs attention first</h2>\n<ul>{''.join(items)}</ul>\n</section>\n"


def _client(client: str, visits: list[Row]) -> str:
    newest = max(row.visit_date for row in visits)
    # Sorted by name already, so that set-ups of one day stay in order.
    by_date = sorted(visits, key=lambda row: row.visit_date, reverse=True)
    return _section(client, [_article(row, latest=row.visit_date == newest) for row in by_date])


def _toe_words(results: Iterable[dict]) -> str:
    """Return that a toe meets, or within its error may meet, the tyre; as found where nothing is moved."""
    after = {each["name"]: each for each in results if ".toe.gap" in str(each.get("name"))}
    gaps = [after.get(f"{side}.toe.gap_after", {}) for side in ("left", "right")]
    found = [after.get(f"{side}.toe.gap", {}) for side in ("left", "right")]
    pairs = zip(gaps, found, strict=True)
    known = [gap for pair in pairs if (gap := next((each for each in pair if each.get("value") is not None), None))]
    if any(gap["value"] < 0 for gap in known):
        return "toe meets tyre"
    return "toe may meet tyre" if any(gap["low"] <= 0 for gap in known) else ""


def _article(row: Row, *, latest: bool) -> str:
    title = " · ".join(row.name.split("_")[1:]) if row.is_visit else row.name
    told = (
        ("latest", latest),
        ("demonstration", row.demonstration),
        ("see a clinician first", "see a clinician first" in row.attention),
        ("not safe as fitted", bool(row.unsafe)),
    )
    marks = [*(word for word, wanted in told if wanted), *filter(None, [_toe_words(row.results)])]
    marked = "".join(f' <span class="mark">{word}</span>' for word in marks)
    said = f"{_SAID[row.status]}: {row.said}" if row.said else _SAID[row.status]
    return f"<article>\n<h3>{_text(title)}{marked}</h3>\n<p>{_text(said)}</p>\n{_links(row)}{_lacking(row)}</article>\n"


def _links(row: Row) -> str:
    if not row.files:
        return ""
    # Every link names its visit for those who hear one link after the other.
    items = [
        f'<li><a href="{escape(row.name)}/{name}" aria-label="{words}, {_text(row.name)}">{words}</a></li>'
        for name, words in _LINKS.items()
        if name in row.files
    ]
    return f'<ul class="links">{"".join(items)}</ul>\n'


def _lacking(row: Row) -> str:
    lacking = [result for result in row.results if result.get("value") is None]
    if not lacking:
        return ""
    needs = sorted({str(result.get("needs")) for result in lacking if result.get("needs")})
    said = f"{count(len(lacking), 'result')} of {len(row.results)} not assessed"
    listed = "".join(f"<li>{_text(need)}</li>" for need in needs)
    return f'<details class="small"><summary>{said}</summary>\n<p>Needed:</p>\n<ul>{listed}</ul>\n</details>\n'


def _text(text: object) -> str:
    return escape(one_line(text, longest=4000))


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
    found = [path for name in OVERVIEW_PAGES if (path := folder / name).is_file()]
    for path in found:
        path.unlink()
    return found


def _is_of(entry: Entry, client_id: str) -> bool:
    """Whether a line names the client, by its key or by the file's name."""
    names = (entry.key or "", Path(entry.file).name)
    return any(name.startswith(f"{client_id}_") for name in names)
