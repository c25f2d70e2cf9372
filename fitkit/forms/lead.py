"""What keeps in sight beside the forms: first words of either foot, what is not safe, what still lacks, the soles."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit import session as sessions
from fitkit.assessment import Assessment
from fitkit.forms.controls import Box, html, same_widget
from fitkit.forms.draft import Draft, draft_of
from fitkit.forms.rows import side_of
from fitkit.forms.sections import layout, notebook_of, paths_of
from fitkit.forms.views import live
from fitkit.session.paths import value_at


def lead(session: str | Path, draw: Callable[[Path], Any], here: str) -> widgets.Widget:
    """Return what is to be kept in sight in the notebook called `here`; `draw` makes the record of a session file."""
    return same_widget(_Lead, draft_of(session), draw, here)


class _Lead:
    def __init__(self, draft: Draft, draw: Callable[[Path], Any], here: str) -> None:
        self.draft, self.draw, self.here = draft, draw, here
        self._lacks = html("", "fit-lacks")
        self.box = Box([], "fit", "fit-leads")
        draft.listen("draw", self.refresh)

    def refresh(self) -> None:
        """Show what lacks; the soles once there is a cleat on one of them."""
        words = live(self.draft.path, self.draw, "signs", "complaints_then_and_now", "first_numbers")
        try:
            assessment = self.draft.worked_out(self.draw).assessment
        except Exception:  # the words say what is wrong
            self.box.show(words, self._lacks)
            return
        self._lacks.value = "".join(
            f"<p>Still lacks for the {escape(purpose)}: {'; '.join(self._by_notebook(fields))}.</p>"
            for purpose, fields in still_lacks(assessment).items()
        )
        is_marked = any(foot.found is not None for foot in assessment.feet.values())
        soles = [live(self.draft.path, self.draw, "soles")] if is_marked else []
        self.box.show(words, self._lacks, *soles)

    def _by_notebook(self, fields: list[tuple[str, ...]]) -> Iterator[str]:
        """Yield what lacks: links into the fields of this notebook, then the names of those in others."""
        places: dict[str, list[str]] = {self.here: []}
        for paths in fields:
            title, side = sessions.describe(paths[0]).title, side_of(paths[0]) if len(paths) == 1 else ""
            words = escape(f"{title[:1].lower()}{title[1:]} {side}".strip())
            place = notebook_of(paths[0])
            link = f'<a href="#" data-fit-go="{paths[0].replace(".", "--")}">{words}</a>'
            places.setdefault(place, []).append(link if place == self.here else words)
        for place, found in places.items():
            if found:
                yield f"{'' if place == self.here else f'in {escape(place)}: '}{', '.join(found)}"


def still_lacks(assessment: Assessment) -> dict[str, list[tuple[str, ...]]]:
    """Return the fields that the results of each purpose still need, both feet's together, by purpose."""
    found = {}
    for purpose, names in layout().lacks.items():
        pairs: dict[str, list[str]] = {}
        for path in dict.fromkeys(path for name in names for path in _lacking(assessment, name)):
            pairs.setdefault(re.sub(r"\.(left|right)\.", ".", path), []).append(path)
        if pairs:
            found[purpose] = [tuple(paths) for paths in pairs.values()]
    return found


def _lacking(assessment: Assessment, name: str) -> Iterator[str]:
    """Yield the blank fields behind what a result, of either foot where it has two, says that it needs."""
    session = assessment.visit.session
    for result in paths_of(name):
        side = result.partition(".")[0]
        for words in (assessment[result].needs or "").split("; "):
            for pattern in layout().behind.get(words, ()):
                for path in paths_of(pattern):
                    if (f".{side}." in path or "{side}" not in pattern) and value_at(session, path) in (None, ()):
                        yield path
