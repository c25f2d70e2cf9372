"""The start page: which visits there are, what each lacks, who is due, what to order, a new visit; papers to print."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache, partial
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import cautions, house, session
from fitkit.assessment import Assessment
from fitkit.files import make_folder, replace_durably
from fitkit.forms.controls import STYLE, Box, WordedBox, button, control, explained_row, html, same_widget, say
from fitkit.forms.entry import read
from fitkit.forms.watching import call_later, file_state, watch
from fitkit.report import Record, rider_sheet
from fitkit.report.blocks import page_template
from fitkit.session import Session, SessionProblems, history
from fitkit.session.reading import is_empty
from fitkit.words import count
from fitkit.words import day as day_words
from fitkit.workbench.folder import LEARNING, NOTEBOOKS, WorkFolder, load_or_none

_RECENT = 12
_AFTER_S = 0.1
_MOST_LACKING = 3  # named of what a visit lacks
_DUE_SOON = timedelta(days=14)


def start(work: str | Path) -> widgets.Widget:
    """Return the start page of a work folder."""
    return same_widget(_Page, WorkFolder(Path(work).resolve()))


class _Page:
    def __init__(self, folder: WorkFolder) -> None:
        self.folder = folder
        self._visits, self._status = html(""), html("", "fit-said")
        self._seen: dict[Path, Glance] = {}
        self._asked: tuple[tuple[str, ...], set[str]] = ((), set())
        self._client = control(widgets.Text, "Client's id", "fit-new-client")
        self._setup = control(widgets.Text, "Set-up", "fit-new-setup", value="road")
        self._date = control(widgets.Text, "Day of the visit", "fit-new-date", value=date.today().isoformat())
        begin = button("Begin the visit", self._begun, "fit-first", "fit-begin", is_delayed=True)
        again = button("Look again", self._look_again, "fit-again")
        new = [
            html("<h3>New visit</h3>"),
            explained_row("Client's id", self._client, "1 to 40 of a-z, 0-9 and -; an id, never a name"),
            explained_row("Set-up", self._setup, "which bicycle and shoes, in a word"),
            explained_row("Day of the visit", self._date, "written 2026-03-04"),
            Box([begin, again, self._status], "fit-bar"),
        ]
        away = TakingAway(self.folder, self._look_again)
        self.box = WordedBox([html(STYLE), *new, self._visits, away.box], "fit", "fit-start")

    def refresh(self) -> None:
        """Look at the folder again, once the form of a new visit is on the screen."""
        self.box.words = "\n".join(path.stem for path in self.folder.sessions()[:_RECENT]) or "No visit yet."
        call_later(self._look_again, _AFTER_S)
        watch(str(self.folder.root), self._state, self._show)

    def _state(self) -> tuple:
        """Return what changes with a file of the folder: a save puts another file in the place of the old one."""
        years = sorted(self.folder.root.glob("[0-9]*"))
        return tuple((path, file_state(path)) for path in (*years, *self._seen))

    def _look_again(self) -> None:
        """Look at the folder again; what is seen now is no longer news."""
        self._seen = {}
        self._show()

    def _show(self) -> None:
        paths = self.folder.sessions()
        visits = [at_a_glance(path) for path in paths[:_RECENT]]
        self._visits.value = page_template("start_page.html.j2").render(
            due=list(_due(paths)),
            orders=[line for visit in visits for line in visit.orders],
            visits=visits,
            news={visit.path for visit in visits if self._seen.setdefault(visit.path, visit) != visit},
            older=len(paths) - len(visits),
            links={visit.path: self._links_to(visit.path) for visit in visits if visit.session},
            today=date.today().isoformat(),
            learning=_links("", LEARNING),
        )

    def _links_to(self, path: Path) -> str:
        """Return links to a visit's notebooks, which are written now."""
        return _links(f"{self.folder.open_visit(path).relative_to(self.folder.root).as_posix()}/", NOTEBOOKS)

    def _begun(self) -> None:
        client, setup, day = (one.value.strip() for one in (self._client, self._setup, self._date))
        known = sorted({path.stem.split("_")[0] for path in self.folder.sessions()})
        wrong = _wrong_id(client) or read(day, session.describe("visit_date")).problem
        if wrong:
            self._status.value = escape(wrong)
            return
        if self._asked[0] != (client, setup, day):  # an answer is to what stands there now
            self._asked = (client, setup, day), set()
        if day > date.today().isoformat() and self._asks(f"{day} is still to come. If that is the day, press again."):
            return
        near = [name for name in known if client in name or name in client]
        like = f" Known and alike: {', '.join(near[:5])}." if near else ""
        unknown = f"No earlier visit has the id {client}.{like} If it is a new rider, press again."
        if client not in known and self._asks(unknown):
            return
        self._asked = (), set()
        self._status.value = self._made(client, setup, day, client in known)

    def _asks(self, question: str) -> bool:
        """Ask, and say whether it was asked for the first time: pressing again is the answer."""
        if question in self._asked[1]:
            return False
        self._asked[1].add(question)
        self._status.value = escape(question)
        return True

    def _made(self, client: str, setup: str, day: str, is_known: bool) -> str:
        try:
            path = self.folder.new_visit(client, day, setup, access=house.load().rules.access)
        except SessionProblems as error:
            return " ".join(escape(_problem(problem)) for problem in error.problems)
        except FileExistsError:
            path = self.folder.root / day[:4] / f"{client}_{day}_{setup}.json"
            return f"There is such a visit already. {self._links_to(path)}"
        except OSError as error:
            return escape(f"Not begun: {error.strerror or error}. Nothing was written.")
        self._client.value = ""  # an Enter too many begins nothing twice
        self._look_again()
        offered = " What was left last time is offered in the notebooks, to be confirmed." if is_known else ""
        return f"Begun: {escape(path.stem)}.{offered} {self._links_to(path)}"


def _wrong_id(client: str) -> str:
    """Return what is wrong with a client's id; a name is never turned into one."""
    if not client:
        return "Type the client's id first."
    entry = read(client, session.describe("client_id"))
    if entry.problem and not any(letter.isdigit() for letter in client):
        return f"“{client}” cannot be an id: 1 to 40 of a-z, 0-9 and -, and never a name."
    return entry.problem


def _problem(problem) -> str:
    words = {"client_id": "The client's id", "visit_date": "The day", "setup": "The set-up"}
    return f"{words.get(problem.where, problem.where)} is {problem.found}; expected {problem.expected}."


def _links(folder: str, names: dict[str, str]) -> str:
    where = {f"{folder}{notebook}.ipynb": name for notebook, name in names.items()}
    return " · ".join(
        f'<a href="/doc/workspaces/fit/tree/{notebook}" data-fit-open="{notebook}">{name}</a>'
        for notebook, name in where.items()
    )


def _due(paths: list[Path]) -> Iterator[str]:
    seen: set[tuple[str, str]] = set()
    for path in paths:
        found: Session | None = load_or_none(path)[0]
        if found is None or is_empty(found) or (found.client_id, found.setup) in seen:
            continue  # only the latest visit of a client on a set-up counts, and it holds something
        seen.add((found.client_id, found.setup))
        if found.follow_up_due and date.fromisoformat(found.follow_up_due) <= date.today() + _DUE_SOON:
            late = " (overdue)" if found.follow_up_due < date.today().isoformat() else ""
            yield f"{found.client_id}, {found.setup}: {found.follow_up_due}{late}"


@dataclass(frozen=True)
class Glance:
    """A visit at a glance."""

    path: Path  # the session file
    session: Session | None  # none where it cannot be read
    lacks: str  # what is missing, or why it cannot be read
    # what must not be overlooked: open signs with their urgency, what is not safe as fitted
    first: tuple[str, ...] = ()
    orders: tuple[str, ...] = ()  # parts to order


def at_a_glance(path: Path) -> Glance:
    """Return a visit at a glance; worked out once for each state of its file."""
    return _glance(path, file_state(path))


@lru_cache(maxsize=200)
def _glance(path: Path, _: tuple | None) -> Glance:
    found, problem = load_or_none(path)
    if found is None:
        return Glance(path, None, f"cannot be read: {problem}")
    signs = tuple(f"{sign.urgency}: {sign.words}" for sign in cautions.signs_open(found))
    try:
        assessment = Record(path).assessment
    except (ValueError, OSError) as error:
        return Glance(path, found, f"cannot be worked out: {error}", signs)
    unsafe = tuple(f"not safe as fitted: {each.words}" for each in assessment.unsafe)
    return Glance(path, found, _lacks(assessment), (*signs, *unsafe), tuple(_orders(assessment)))


def _lacks(assessment: Assessment) -> str:
    missing = (one.needs for one in assessment.results.values() if not one.is_known)
    needs = list(dict.fromkeys(need for need in missing if need and not need.startswith(("not ", "no move "))))
    needs = [need for need in needs if not need.startswith("clinician")]
    more = f"; and {len(needs) - _MOST_LACKING} more" if len(needs) > _MOST_LACKING else ""
    return "; ".join(needs[:_MOST_LACKING]) + more if needs else "nothing"


def _orders(assessment: Assessment) -> Iterator[str]:
    visit = assessment.visit
    stock = {part.id: part.in_stock for part in visit.house.parts}
    for side, found in (assessment.parts or {}).items():
        for part in found["chosen"]:
            if stock.get(part) == 0:  # pieces; not known is not the same as none
                yield f"{visit.session.client_id}, {side}: {part}"


_PAPERS = {
    "rider_sheet": "Make the rider's sheet (2 s)",
    "setting_strip": "Make the setting strips (2 s)",
    "workshop_slip": "Make the workshop slip (2 s)",
    "room_sheet": "Make the sheet for the room (1 s)",
}
_RECORD = "Make the record (about 10 s; go on meanwhile)"


def _paper(name: str, path: Path) -> str:
    from fitkit.report import pages, papers  # only where a paper is made: it brings nbconvert

    if name == "room_sheet":
        return papers.room_sheet_html(session.load(path))
    assessment = Record(path).assessment
    if name == "rider_sheet":
        return pages.sheet_html(rider_sheet(assessment))
    return {"setting_strip": papers.setting_strip_html, "workshop_slip": papers.workshop_slip_html}[name](assessment)


def papers(session: str | Path) -> widgets.Widget:
    """Return buttons that make a visit's papers and links to them."""
    return same_widget(_Papers, Path(session).resolve())


class _Papers:
    def __init__(self, path: Path) -> None:
        self.path = path
        self._status = html("", "fit-said")
        self._done: dict[str, str] = {}
        self._making: subprocess.Popen | None = None
        made = [button(words, partial(self._make, name, words), f"fit-make-{name}") for name, words in _PAPERS.items()]
        record = button(_RECORD, self._make_record, "fit-make-record")
        self.box = Box([Box([record, *made, self._status], "fit-bar")], "fit")

    def _make_record(self) -> None:
        """Let a process of its own make the record, so that the forms take keys meanwhile."""
        if self._making and self._making.poll() is None:
            return
        # With the client's other visits of the set-up: the record compares with the last one.
        client, _, setup = self.path.stem.split("_", 2)
        visits = sorted(map(str, self.path.parent.parent.glob(f"*/{client}_*_{setup}.json")))
        command = [sys.executable, "-m", "fitkit", "report", *visits, "--out", str(self._folder() / "record")]
        make_folder(self._folder())
        self._making = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        self._show("record", "The record is being made …")
        watch(f"record {self.path}", self._making.poll, self._look_at_record)

    def _look_at_record(self) -> None:
        if self._making.poll() is None:
            return
        told = self._making.communicate()[0].replace(str(self.path.parent.parent), "").strip()
        page = self._folder() / "record" / self.path.stem / "record.html"
        if self._making.returncode or not page.is_file():  # a rider who does not agree to a record is no failure
            self._show("record", escape(f"The record is not made: {told}"))
        else:
            self._show("record", self._link(page, _RECORD))

    def _folder(self) -> Path:
        return self.path.parent.parent / "papers" / self.path.stem

    def _link(self, page: Path, words: str) -> str:
        where = page.relative_to(self.path.parent.parent).as_posix()
        link = f'<a href="/files/{where}" target="_blank" rel="noopener">Open the page</a>'
        return f"{link} and print it with Ctrl+P ({escape(words.partition(' (')[0].lower())}: done)."

    def _show(self, name: str, words: str) -> None:
        self._done[name] = words
        self._status.value = "<br>".join(self._done.values())

    def _make(self, name: str, words: str) -> None:
        target = self._folder() / f"{name}.html"
        try:
            page = _paper(name, self.path)
            make_folder(target.parent)
            replace_durably(target, page.encode(), lasting=False)
        except (ValueError, OSError) as error:
            self._status.value = escape(f"Not made: {error}")
            return
        self._show(name, self._link(target, words))


# --- A visit entered wrongly: named by the person, said back in words, asked twice ------------------------------------

_MOST_NAMED = 5


class TakingAway:
    """A field for the visit and a button that asks twice before it takes the visit away."""

    def __init__(self, folder: WorkFolder, then: Callable[[], None]) -> None:
        self.folder, self._then = folder, then
        self._asked: tuple[Path | None, int] = (None, 0)  # which visit, and how often it was asked about
        self._which = control(widgets.Text, "Visit to take away", "fit-away-which")
        self._status = html("", "fit-said")
        press = button("Take the visit away", self._pressed, "fit-away", is_delayed=True)
        how = "the client's id and the day, like rider-042 2026-03-04; the set-up too where that day had two"
        named = explained_row("Visit", self._which, how)
        self.box = Box([html("<h3>A visit entered wrongly</h3>"), named, Box([press, self._status], "fit-bar")], "fit")

    def _pressed(self) -> None:
        words = set(self._which.value.split())
        fitting = [path for path in self.folder.sessions() if words and words <= set(path.stem.split("_"))]
        if len(fitting) != 1:
            self._asked = None, 0
            say(self._status, _none_or_many(fitting, bool(words)))
            return
        path = fitting[0]
        times = self._asked[1] + 1 if self._asked[0] == path else 1  # an answer is to what stands there now
        self._asked = path, times
        if times == 1:
            say(self._status, self._first_question(path))
        elif times == 2:
            say(self._status, f"Nothing brings it back. Press once more to take away: {_named(path)}.")
        else:
            self._asked = None, 0
            self._take(path)

    def _first_question(self, path: Path) -> str:
        changes = len(history(path)) - 1 if path.exists() else 0
        left = sum(each.stem.split("_")[0] == path.stem.split("_")[0] for each in self.folder.sessions()) - 1
        stay = f"The client's {count(left, 'other visit')} would stay." if left else "The client has no other visit."
        saved = f"{count(changes, 'change')} saved in it" if changes > 0 else "nothing saved in it since it was begun"
        return (
            f"{_named(path)}; {saved}. Its file, its history, its notebooks and papers would go; close them "
            f"first. {stay} If that is the visit, press again."
        )

    def _take(self, path: Path) -> None:
        try:
            self.folder.take_away(path.stem)
        except OSError as error:
            say(self._status, f"Not all of it could be removed: {error.strerror or error}.")
            return
        self._which.value = ""
        say(self._status, f"Taken away: {_named(path)}.")
        self._then()


def _none_or_many(fitting: list[Path], was_typed: bool) -> str:
    if not was_typed:
        return "Type which visit first."
    if not fitting:
        return "There is no such visit here. Nothing was taken away."
    more = f"; and {len(fitting) - _MOST_NAMED} more" if len(fitting) > _MOST_NAMED else ""
    return f"{len(fitting)} visits fit: {'; '.join(map(_named, fitting[:_MOST_NAMED]))}{more}. Say which one."


def _named(path: Path) -> str:
    client, when, setup = path.stem.split("_", 2)
    return f"{client}, visit of {day_words(when)}, {setup} set-up"
