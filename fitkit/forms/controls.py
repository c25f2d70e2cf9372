"""The controls of all forms: inputs, rows, buttons, words beside them; and the same widget each time a cell is run."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from html import escape
from typing import Any

import ipywidgets as widgets

from fitkit.files import template
from fitkit.forms.watching import call_later

STYLE = f"<style>\n{template('forms.css').read_text(encoding='utf-8')}</style>"
_AFTER_PRESS_S = 0.3

# One of each for all: every layout or style of its own is one more thing to send to the screen.
_LAYOUT = widgets.Layout()
_HTML_STYLE, _BUTTON_STYLE = widgets.widget_string.HTMLStyle(), widgets.ButtonStyle()
_STYLES = {
    widgets.Text: widgets.widget_string.TextStyle(),
    widgets.Combobox: widgets.widget_string.TextStyle(),
    widgets.Textarea: widgets.widget_string.TextStyle(),
    widgets.Dropdown: widgets.widget_description.DescriptionStyle(),
    widgets.Checkbox: widgets.widget_bool.CheckboxStyle(),
}


@cache
def made_once(kind: Callable[..., Any], *given: Any) -> Any:
    """Return what `kind` makes of what is given: the same object each time."""
    return kind(*given)


def same_widget(kind: Callable[..., Any], *given: Any) -> widgets.Widget:
    """Return the widget that `kind` makes of what is given: the same each time its cell is run, brought up to date."""
    made = made_once(kind, *given)
    if hasattr(made, "refresh"):
        made.refresh()
    return made.box


class Box(widgets.Box):
    """A box with our own classes."""

    def __init__(self, children: list, *classes: str) -> None:
        super().__init__(children, layout=_LAYOUT)
        self._dom_classes = classes

    def show(self, *wanted: widgets.Widget) -> None:
        """Hold these; those that are there already are not drawn anew: they would lose the keyboard."""
        if self.children != wanted:
            self.children = wanted


class WordedBox(Box):
    """A box that says in plain words what it shows, where no widget can be shown."""

    def __init__(self, children: list, *classes: str, words: str = "") -> None:
        super().__init__(children, *classes)
        self.words = words

    def _repr_mimebundle_(self, **options: Any) -> Any:
        data = super()._repr_mimebundle_(**options)
        bundle = data[0] if isinstance(data, tuple) else data
        bundle["text/plain"] = self.words
        return data


def control(kind: type, description: str, *classes: str, **options: Any) -> Any:
    """Return an input; `description` is what is read aloud, and the style sheet hides it from the eye."""
    defaults = {"layout": _LAYOUT, "style": _STYLES[kind], "_dom_classes": ("fit-in", *classes)}
    if kind is widgets.Dropdown:
        defaults["index"] = 0  # else none of the choices is shown, not even the first, which says nothing
    elif kind is not widgets.Checkbox:
        defaults["continuous_update"] = False
    return kind(description=description, **{**defaults, **options})


def choose(control: widgets.Dropdown, options: list[tuple[str, Any]], value: Any) -> None:
    """Offer these choices and show the one with this value, else the first."""
    values = [each for _, each in options]
    place = values.index(value) if value in values else 0
    if tuple(control.options) == tuple(options) and control.index == place:
        return
    with control.hold_sync():
        if tuple(control.options) != tuple(options):
            control.options = options
        control.index = place  # setting a value of None would show none of the choices


def html(words: str = "", *classes: str) -> widgets.HTML:
    """Return a piece of HTML; `words` must be escaped already."""
    return widgets.HTML(words, layout=_LAYOUT, style=_HTML_STYLE, _dom_classes=classes)


def say(place: widgets.HTML, words: str) -> None:
    """Say words beside a button, read aloud too."""
    place.value = f'<span role="status">{escape(words)}</span>'


def button(words: str, act: Callable[[], None], *classes: str, is_delayed: bool = False) -> widgets.Button:
    """Return a button; delayed where its press may overtake what was typed: the screen holds that back meanwhile."""
    made = widgets.Button(description=words, layout=_LAYOUT, style=_BUTTON_STYLE, _dom_classes=classes)
    made.on_click(lambda _: call_later(act, _AFTER_PRESS_S) if is_delayed else act())
    return made


def row(name: str, *inputs: widgets.Widget, note: str | None = None, kind: str = "fit-wide") -> Box:
    """Return a row of a form; its name and its note are HTML."""
    beside = [] if note is None else [html(note, "fit-note")]
    return Box([html(name, "fit-name"), *inputs, *beside], "fit-row", kind)


def explained_row(name: str, field: widgets.Widget, how: str) -> Box:
    """Return a row of one input with plain words on what to type."""
    return row(escape(name), field, note=f'<span class="fit-words">{escape(how)}</span>')


def head_row() -> Box:
    """Return the heads of the left and the right column."""
    return row("", html("left", "fit-head"), html("right", "fit-head"), note="", kind="fit-headrow")


def paragraph(words: str, kind: str = "") -> str:
    """Return a paragraph of plain words."""
    return f'<p class="{kind}">{escape(words)}</p>' if words else ""
