"""A view that is worked out again after each save."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit.forms.desk import Desk, desk_of
from fitkit.forms.look import WordedBox, html

__all__ = ["live"]

_VIEWS: dict[tuple, _View] = {}
_WORKED_OUT: dict[tuple[Path, Any], tuple[dict, Any]] = {}


def live(session: str | Path, draw: Callable[[Path], Any], *parts: str) -> widgets.Widget:
    """Return a view of a session that follows each save in this notebook.

    Parameters
    ----------
    session : str or Path
        The session file.
    draw : callable
        Takes the file and returns what to show, or an object whose `parts` are shown.
    *parts : str
        Names of methods of that object, shown one below the other.

    Returns
    -------
    widget
        The view, the same one each time.
    """
    desk = desk_of(session)
    key = (desk.path, draw, parts)
    if key not in _VIEWS:
        _VIEWS[key] = _View(desk, draw, parts)
    _VIEWS[key].follow()
    return _VIEWS[key].box


class _View:
    def __init__(self, desk: Desk, draw: Callable[[Path], Any], parts: tuple[str, ...]) -> None:
        self.desk, self.draw, self.parts = desk, draw, parts
        self._shown = html("")
        self.box = WordedBox([self._shown], "fit", "fit-live")
        self._of: dict | None = None
        desk.draw_after(f"view {draw!r} {parts}", self.follow)

    def follow(self) -> None:
        if self._of is not self.desk.tree or self.desk.trouble:
            self._of = self.desk.tree
            self._shown.value, self.box.words = self._drawn()

    def _drawn(self) -> tuple[str, str]:
        """Return what is shown, and the same in plain words."""
        if self.desk.trouble:
            return f'<p class="fit-stop">{escape(self.desk.trouble)}</p>', self.desk.trouble
        try:
            found = _worked_out(self.desk, self.draw)
            shown = [getattr(found, part)() for part in self.parts] or [found]
        except Exception as error:  # the form beside it must live on, whatever cannot be drawn
            words = f"Not drawn: {str(error) or type(error).__name__}"
            return f"<p>{escape(words)}</p>", words
        drawn = "".join(one if isinstance(one, str) else one._repr_html_() for one in shown)
        return drawn, "\n\n".join(getattr(one, "alt", None) or repr(one) for one in shown)


def _worked_out(desk: Desk, draw: Callable[[Path], Any]) -> Any:
    """Return what `draw` makes of the file; once for each state of it, however many views show it."""
    tree, found = _WORKED_OUT.get((desk.path, draw), (None, None))
    if tree is not desk.tree:
        found = draw(desk.path)
        _WORKED_OUT[desk.path, draw] = (desk.tree, found)
    return found
