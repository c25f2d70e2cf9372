"""A view that is worked out again after each save, and the same widget each time its cell is run."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from fitkit.forms.desk import Desk, desk_of
from fitkit.forms.look import STYLE, WordedBox, html

__all__ = ["live", "still"]

_VIEWS: dict[tuple, _View] = {}
_WORKED_OUT: dict[tuple[Path, Any], tuple[dict, Any]] = {}


def live(session: str | Path, draw: Callable[[Path], Any], *parts: str) -> widgets.Widget:
    """Return a view of a session that follows each save in this notebook."""
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
        self._of: tuple[dict, str] | None = None
        self._last = ("", "")
        desk.draw_after(f"view {draw!r} {parts}", self.follow)

    def follow(self) -> None:
        """Show what the file holds now; while it cannot be read, what was read last, marked as old."""
        if self._of and self._of[0] is self.desk.tree and self._of[1] == self.desk.trouble:
            return
        self._of = self.desk.tree, self.desk.trouble
        if not self.desk.trouble:
            self._last = self._drawn()
            self._shown.value, self.box.words = self._last
            return
        old = f" What follows is as read at {self.desk.read_at} and may be wrong by now." if self._last[0] else ""
        words = f"{self.desk.trouble}{old}"
        self._shown.value = f'<p class="fit-stop">{escape(words)}</p>{self._last[0]}'
        self.box.words = f"{words}\n\n{self._last[1]}".strip()

    def _drawn(self) -> tuple[str, str]:
        """Return what is shown, and the same in plain words."""
        try:
            found = _worked_out(self.desk, self.draw)
            shown = [getattr(found, part)() for part in self.parts] or [found]
        except Exception as error:  # the form beside it must live on, whatever cannot be drawn
            self._of = None  # the next news may bring what was lacking
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


def still(*blocks: Any) -> widgets.Widget:
    """Return blocks that show themselves as HTML, one below the other."""
    box = WordedBox([html(STYLE + "".join(block._repr_html_() for block in blocks))], "fit", "fit-live")
    box.words = "\n\n".join(getattr(block, "alt", None) or repr(block) for block in blocks)
    return box
