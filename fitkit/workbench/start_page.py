"""The start page: which visits there are, what each lacks, who is due, what to order, and a new visit."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit import house, session
from fitkit.forms.entry import read
from fitkit.forms.look import STYLE, Box, WordedBox, button, control, html
from fitkit.forms.soon import file_state, soon, watch
from fitkit.session import Session, SessionProblems
from fitkit.workbench.folder import LEARNING, NOTEBOOKS, WorkFolder, load_or_none
from fitkit.workbench.look import Look, look_at

__all__ = ["start"]

_RECENT = 12
_AFTER_S = 0.1
_AFTER_PRESS_S = 0.3
_DUE_SOON = timedelta(days=14)
_NAMES = {
    "1_intake": "Intake",
    "2_cleat_marking": "Cleat marking",
    "3_stance_width": "Stance width",
    "4_ride_check": "Ride check",
    "5_review": "Review",
    "worked_example": "A worked example",
    "measuring_error": "Your own measuring error",
}
_PAGES: dict[Path, _Page] = {}


def start(work: str | Path) -> widgets.Widget:
    """Return the start page of a work folder."""
    folder = WorkFolder(Path(work).resolve())
    if folder.root not in _PAGES:
        _PAGES[folder.root] = _Page(folder)
    _PAGES[folder.root].refresh_soon()
    return _PAGES[folder.root].box


class _Page:
    def __init__(self, folder: WorkFolder) -> None:
        self.folder = folder
        self._visits = html("")
        self._looks: dict[Path, Look] = {}
        self._said = html("", "fit-said")
        self._client = control(widgets.Text, "Client's id", "fit-new-client", continuous_update=False)
        self._setup = control(widgets.Text, "Set-up", "fit-new-setup", value="road", continuous_update=False)
        self._date = control(
            widgets.Text, "Day of the visit", "fit-new-date", value=date.today().isoformat(), continuous_update=False
        )
        self._begin = button("Begin the visit", "fit-first", "fit-begin")
        # A press may overtake what was typed just before it: the screen holds that back until it has an answer.
        self._begin.on_click(lambda _: soon(self._begun, _AFTER_PRESS_S))
        self._asked: tuple[tuple[str, ...], set[str]] = ((), set())
        again = button("Look again", "fit-again")
        again.on_click(lambda _: self.refresh())
        new = [
            html("<h3>New visit</h3>"),
            _row("Client's id", self._client, "1 to 40 of a-z, 0-9 and -; an id, never a name"),
            _row("Set-up", self._setup, "which bicycle and shoes, in a word"),
            _row("Day of the visit", self._date, "written 2026-03-04"),
            Box([self._begin, again, self._said], "fit-bar"),
        ]
        self.box = WordedBox([html(STYLE), *new, self._visits], "fit", "fit-start")

    def refresh_soon(self) -> None:
        """Look at the folder again, once the form of a new visit is on the screen."""
        self.box.words = "\n".join(path.stem for path in self.folder.sessions()[:_RECENT]) or "No visit yet."
        soon(self.refresh, _AFTER_S)
        watch(str(self.folder.root), self._state, self._show)

    def _state(self) -> tuple:
        """Return what changes with a file of the folder: a save puts another file in the place of the old one."""
        years = sorted(self.folder.root.glob("[0-9]*"))
        return tuple((path, file_state(path)) for path in (*years, *self._looks))

    def refresh(self) -> None:
        """Look at the folder again; what is seen now is no longer news."""
        self._looks = {}
        self._show()

    def _show(self) -> None:
        paths = self.folder.sessions()
        seen = [look_at(path) for path in paths[:_RECENT]]
        news = {look.path for look in seen if self._looks.setdefault(look.path, look) != look}
        rows = "".join(_visit_row(self.folder, look, look.path in news) for look in seen)
        table = _table(rows, len(paths) - len(seen))
        self._visits.value = "".join([_due(paths), _orders(seen), table, _to_learn()])

    def _begun(self) -> None:
        client, setup, day = (one.value.strip() for one in (self._client, self._setup, self._date))
        known = sorted({path.stem.split("_")[0] for path in self.folder.sessions()})
        wrong = _wrong_id(client) or read(day, session.describe("visit_date")).problem
        if wrong:
            self._said.value = escape(wrong)
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
        self._said.value = self._made(client, setup, day, client in known)

    def _asks(self, question: str) -> bool:
        """Ask, and say whether it was asked for the first time: pressing again is the answer."""
        if question in self._asked[1]:
            return False
        self._asked[1].add(question)
        self._said.value = escape(question)
        return True

    def _made(self, client: str, setup: str, day: str, is_known: bool) -> str:
        try:
            path = self.folder.new_visit(client, day, setup, access=house.load().rules.access)
        except SessionProblems as error:
            return " ".join(escape(_problem(problem)) for problem in error.problems)
        except FileExistsError:
            path = self.folder.root / day[:4] / f"{client}_{day}_{setup}.json"
            return f"There is such a visit already. {_links(self.folder, path)}"
        except OSError as error:
            return escape(f"Not begun: {error.strerror or error}. Nothing was written.")
        self.refresh()
        offered = " What was left last time is offered in the notebooks, to be confirmed." if is_known else ""
        return f"Begun: {escape(path.stem)}.{offered} {_links(self.folder, path)}"


def _wrong_id(client: str) -> str:
    """Return what is wrong with a client's id; a name is never turned into one."""
    if not client:
        return "Type the client's id first."
    entry = read(client, session.describe("client_id"))
    if entry.problem and not any(letter.isdigit() for letter in client):
        return f"“{client}” cannot be an id: 1 to 40 of a-z, 0-9 and -, and never a name."
    return entry.problem


def _row(title: str, field: widgets.Widget, how: str) -> Box:
    said = html(f'<span class="fit-words">{escape(how)}</span>', "fit-note")
    return Box([html(escape(title), "fit-name"), field, said], "fit-row", "fit-wide")


def _problem(problem) -> str:
    words = {"client_id": "The client's id", "visit_date": "The day", "setup": "The set-up"}
    return f"{words.get(problem.where, problem.where)} is {problem.found}; expected {problem.expected}."


def _links(folder: WorkFolder, path: Path) -> str:
    """Return links to a visit's notebooks, which are written now."""
    where = folder.open_visit(path).relative_to(folder.root)
    links = (
        f'<a href="/doc/workspaces/fit/tree/{where}/{n}.ipynb" data-fit-open="{where}/{n}.ipynb">{_NAMES[n]}</a>'
        for n in NOTEBOOKS
    )
    return " · ".join(links)


def _to_learn() -> str:
    links = " · ".join(
        f'<a href="/doc/workspaces/fit/tree/{name}.ipynb" data-fit-open="{name}.ipynb">{_NAMES[name]}</a>'
        for name in LEARNING
    )
    return f"<h3>To learn</h3><p>{links}</p>"


def _table(rows: str, older: int) -> str:
    if not rows:
        return "<h3>Visits</h3><p>No visit yet.</p>"
    more = f"<p>And {older} older ones in the year folders.</p>" if older else ""
    head = "<tr><th scope=col>Visit</th><th scope=col>Open</th><th scope=col>Still lacks</th></tr>"
    return (
        '<h3>Visits, the latest first</h3><div class="wide" tabindex="0" role="region" aria-label="Visits">'
        f"<table><thead>{head}</thead><tbody>{rows}</tbody></table></div>{more}"
    )


def _visit_row(folder: WorkFolder, look: Look, is_news: bool) -> str:
    found = look.session
    news = "<br><b>Changed in another window.</b>" if is_news else ""
    if found is None:
        return f"<tr><th scope=row>{escape(look.path.stem)}{news}</th><td></td><td>{escape(look.lacks)}</td></tr>"
    day = "today" if found.visit_date == date.today().isoformat() else found.visit_date
    demo = ", demonstration" if found.demonstration else ""
    signed = ", signed off" if found.sign_off else ""
    name = f"{escape(found.client_id)}<br>{day}, {escape(found.setup)}{demo}{signed}{news}"
    first = "".join(f"<p><b>{escape(line[:1].upper() + line[1:])}</b></p>" for line in look.first)
    lacks = f"{first}{escape(look.lacks)}"
    return f"<tr><th scope=row>{name}</th><td>{_links(folder, look.path)}</td><td>{lacks}</td></tr>"


def _orders(seen: list[Look]) -> str:
    lines = [line for look in seen for line in look.orders]
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<h3>Parts to order</h3><ul>{items}</ul>" if lines else ""


def _due(paths: list[Path]) -> str:
    lines = list(_due_lines(paths))
    return f"<h3>Follow-ups due</h3><ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""


def _due_lines(paths: list[Path]) -> Iterator[str]:
    seen: set[tuple[str, str]] = set()
    for path in paths:
        found: Session | None = load_or_none(path)[0]
        if found is None or (found.client_id, found.setup) in seen:
            continue  # only the latest visit of a client on a set-up counts
        seen.add((found.client_id, found.setup))
        if found.follow_up_due and date.fromisoformat(found.follow_up_due) <= date.today() + _DUE_SOON:
            late = " (overdue)" if found.follow_up_due < date.today().isoformat() else ""
            yield f"{found.client_id}, {found.setup}: {found.follow_up_due}{late}"
