"""Papers made in the room: the rider's sheet, the setting strips, a blank measuring sheet; ready to print."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit.files import make_folder, replace_durably
from fitkit.forms.look import Box, button, html
from fitkit.report import Record, rider_sheet
from fitkit.report.blank_sheet import blank_sheet_html
from fitkit.report.pages import sheet_html
from fitkit.report.setting_strip import setting_strip_html
from fitkit.session import SessionProblems

__all__ = ["papers"]

_MADE: dict[Path, _Papers] = {}


def papers(session: str | Path) -> widgets.Widget:
    """Return buttons that make a visit's papers and links to them."""
    path = Path(session).resolve()
    if path not in _MADE:
        _MADE[path] = _Papers(path)
    return _MADE[path].box


class _Papers:
    def __init__(self, path: Path) -> None:
        self.path = path
        self._said = html("", "fit-said")
        self._done: dict[str, str] = {}
        made = []
        for words, name, make in (
            ("Make the rider's sheet", "rider_sheet", lambda p: sheet_html(rider_sheet(Record(p).assessment))),
            ("Make the setting strips", "setting_strip", lambda p: setting_strip_html(Record(p).assessment)),
            ("Blank measuring sheet", "blank_sheet", lambda _: blank_sheet_html()),
        ):
            one = button(words, f"fit-make-{name}")
            one.on_click(lambda _, words=words, name=name, make=make: self._make(words, name, make))
            made.append(one)
        self.box = Box([Box([*made, self._said], "fit-bar")], "fit")

    def _make(self, words: str, name: str, make: Callable[[Path], str]) -> None:
        try:
            target = self._write(name, make(self.path))
        except (SessionProblems, ValueError, OSError) as error:
            self._said.value = escape(f"Not made: {error}")
            return
        where = target.relative_to(self.path.parent.parent).as_posix()
        link = f'<a href="/files/{where}" target="_blank" rel="noopener">Open the page</a>'
        self._done[name] = f"{link} and print it with Ctrl+P ({escape(words.lower())}: done)."
        self._said.value = "<br>".join(self._done.values())

    def _write(self, name: str, page: str) -> Path:
        folder = self.path.parent.parent / "papers" / self.path.stem
        make_folder(folder)
        target = folder / f"{name}.html"
        replace_durably(target, page.encode(), lasting=False)
        return target
