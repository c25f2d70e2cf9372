"""Papers made in the room: the rider's sheet, the setting strips, a blank measuring sheet; ready to print."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path

import ipywidgets as widgets

from fitkit.files import make_folder, replace_durably
from fitkit.forms.controls import Box, button, html, same_widget
from fitkit.report import Record, rider_sheet
from fitkit.report.pages import blank_sheet_html, setting_strip_html, sheet_html

__all__ = ["papers"]

_PAPERS = (
    ("Make the rider's sheet", "rider_sheet", lambda path: sheet_html(rider_sheet(Record(path).assessment))),
    ("Make the setting strips", "setting_strip", lambda path: setting_strip_html(Record(path).assessment)),
    ("Blank measuring sheet", "blank_sheet", lambda _: blank_sheet_html()),
)


def papers(session: str | Path) -> widgets.Widget:
    """Return buttons that make a visit's papers and links to them."""
    return same_widget(_Papers, Path(session).resolve())


class _Papers:
    def __init__(self, path: Path) -> None:
        self.path = path
        self._status = html("", "fit-said")
        self._done: dict[str, str] = {}
        made = [button(paper[0], partial(self._make, *paper), f"fit-make-{paper[1]}") for paper in _PAPERS]
        self.box = Box([Box([*made, self._status], "fit-bar")], "fit")

    def _make(self, words: str, name: str, make: Callable[[Path], str]) -> None:
        root = self.path.parent.parent
        target = root / "papers" / self.path.stem / f"{name}.html"
        try:
            page = make(self.path)
            make_folder(target.parent)
            replace_durably(target, page.encode(), lasting=False)
        except (ValueError, OSError) as error:
            self._status.value = escape(f"Not made: {error}")
            return
        where = target.relative_to(root).as_posix()
        link = f'<a href="/files/{where}" target="_blank" rel="noopener">Open the page</a>'
        self._done[name] = f"{link} and print it with Ctrl+P ({escape(words.lower())}: done)."
        self._status.value = "<br>".join(self._done.values())
