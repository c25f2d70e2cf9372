"""How forms look: ink, grey and one blue; a row like one on a measuring sheet, stacked where there is little room."""

from __future__ import annotations

from html import escape
from typing import Any

import ipywidgets as widgets

__all__ = ["STYLE", "Box", "WordedBox", "button", "choose", "control", "html", "paragraph"]

STYLE = """<style>
.fit { --ink:#1a1a1a; --grey:#595959; --line:#cfcfcf; --pale:#f1f1f1; --blue:#0072b2;
  color:var(--ink); font:15px/1.4 Georgia,"Liberation Serif",serif; container-type:inline-size; padding:0 2px 6px;
  width:100%; max-width:76rem }
.fit.widget-box { display:block }
.fit .fit-nothing { display:none }
.fit, .fit .widget-box, .fit .lm-Widget { overflow:visible !important; height:auto !important; min-width:0 }
.fit .widget-html, .fit .widget-html > .widget-html-content { margin:0; line-height:inherit; font:inherit;
  color:inherit; height:auto; min-height:0 }
.fit .widget-html > .widget-label { display:none !important }
.fit .widget-html-content { align-self:stretch; width:100% }
.fit p, .fit ul { margin:0 0 .25em } .fit ul { padding-left:1.2em }
.fit .fit-rows, .fit .fit-stack { display:flex; flex-direction:column; width:100%; margin:0 }
.fit .fit-row { display:grid; grid-template-columns:minmax(9em,15em) 8.2em 8.2em minmax(0,1fr);
  column-gap:10px; row-gap:2px; align-items:center; padding:3px 0; border-bottom:1px solid var(--line);
  width:100%; margin:0 }
.fit .fit-row > * { margin:0 !important; width:auto !important }
.fit .fit-one > .fit-in { grid-column:2/span 1 } .fit .fit-wide > .fit-in { grid-column:2/span 2 }
.fit .fit-row > .fit-note { grid-column:4/-1 }
.fit .fit-row > .fit-do { grid-column:1/-1; display:flex; flex-flow:row wrap; gap:8px; padding:2px 0 4px }
.fit-unit { color:var(--grey); font-size:13px; margin-left:.4em; white-space:nowrap }
.fit-head { color:var(--grey); font-size:13px; border-bottom:1.5px solid var(--ink); padding:0 0 2px }
.fit .widget-inline-hbox { display:block; width:auto; height:auto; margin:0; min-height:0 }
.fit .fit-in > .widget-label { position:absolute; width:1px !important; height:1px; overflow:hidden;
  clip-path:inset(50%); white-space:nowrap; padding:0; margin:0 }
.fit .fit-in { position:relative }
.fit .fit-in input[type=text], .fit .fit-in select, .fit .fit-in textarea { width:100%; box-sizing:border-box;
  height:34px; font:16px/1.3 Georgia,"Liberation Serif",serif; font-variant-numeric:tabular-nums lining-nums;
  color:var(--ink); background:#fff; border:1px solid #767676; border-radius:0; padding:3px 6px; margin:0;
  text-overflow:ellipsis }
.fit .fit-in select { appearance:auto; background-image:none; padding-right:2px }
.fit .fit-in textarea { height:52px; min-height:52px }
.fit .fit-in .widget-label-basic > span { position:absolute; width:1px; height:1px; overflow:hidden;
  clip-path:inset(50%) }
.fit .fit-in input[type=checkbox] { width:22px; height:22px; margin:4px 0 }
.fit .fit-held-in input[type=text], .fit .fit-held-in select, .fit .fit-held-in textarea {
  border:2px dashed var(--ink) }
.fit .fit-in :focus-visible, .fit button:focus-visible, .fit a:focus-visible, .fit .wide:focus-visible {
  outline:3px solid var(--blue); outline-offset:1px }
.fit .fit-words { font-size:14px; line-height:1.3 }
.fit .fit-words b { font-weight:bold }
.fit .fit-how { color:var(--grey); display:none }
.fit-row:focus-within .fit-how { display:block }
.fit button.jupyter-button { font:15px/1.2 Georgia,"Liberation Serif",serif; color:var(--ink); background:#fff;
  border:1px solid var(--ink); border-radius:0; box-shadow:none; height:auto; min-height:34px; width:auto;
  padding:5px 14px;
  margin:0; overflow:visible; white-space:normal }
.fit button.fit-first { background:var(--blue); border-color:var(--blue); color:#fff }
.fit button.jupyter-button:hover { background:var(--pale); color:var(--ink); box-shadow:none }
.fit .fit-bar { display:flex; flex-flow:row wrap; gap:8px 10px; align-items:center; padding:8px 0 2px;
  margin:0; width:100% }
.fit-said { font-size:14px }
.fit-stop, .fit .stop { border:2px solid var(--ink); padding:6px 10px; margin:4px 0; font-weight:bold }
.fit h3 { font-size:16px; margin:10px 0 2px }
.fit .lead { font-size:19px; line-height:1.35; border-left:3px solid var(--ink); padding-left:12px;
  margin:2px 0 6px }
.fit .lead p { margin:0 0 .3em } .fit .demo, .fit .about { color:var(--grey) }
.fit table { border-collapse:collapse; font-size:14px; font-variant-numeric:tabular-nums lining-nums;
  margin:2px 0 8px; width:100%;
  table-layout:auto }
.fit caption { text-align:left; color:var(--grey); font-size:13px; padding-bottom:3px; caption-side:top }
.fit th, .fit td { text-align:left !important; vertical-align:top; padding:3px 12px 3px 0;
  border-bottom:1px solid var(--line);
  font-weight:normal; white-space:normal; background:none }
.fit thead :is(th, td) { color:var(--grey); font-size:13px; border-bottom:1.5px solid var(--ink) }
.fit tbody tr, .fit tbody tr:hover, .fit tbody tr:nth-child(odd) { background:none }
.fit .wide { overflow-x:auto; max-width:100% }
.fit figure { margin:0 } .fit img { max-width:100%; height:auto }
.fit a { color:var(--blue); text-decoration:underline }
.fit .fit-beside { display:grid; grid-template-columns:minmax(0,1.25fr) minmax(0,1fr); gap:22px; width:100%;
  align-items:start }
.fit .fit-tick { margin:2px 0 } .fit .fit-tick label { display:flex; gap:8px; align-items:center; white-space:normal }
.fit .fit-tick input { width:20px; height:20px; flex:none }
.fit-entry { border-left:3px solid var(--line); padding-left:12px; margin:6px 0 !important }
@container (max-width: 1000px) { .fit .fit-beside { grid-template-columns:minmax(0,1fr) } }
@container (max-width: 620px) {
  .fit .fit-row { grid-template-columns:1fr 1fr }
  .fit .fit-row > .fit-name, .fit .fit-row > .fit-note { grid-column:1/-1 }
  .fit .fit-one > .fit-in, .fit .fit-wide > .fit-in { grid-column:1/-1 }
  .fit .fit-headrow > .fit-name, .fit .fit-headrow > .fit-note { display:none }
  .fit .lead { font-size:17px }
}
</style>"""

# One of each for all: every layout or style of its own is one more thing to send to the screen.
_LAYOUT = widgets.Layout()
_HTML_STYLE, _BUTTON_STYLE = widgets.widget_string.HTMLStyle(), widgets.ButtonStyle()
_STYLES = {
    widgets.Text: widgets.widget_string.TextStyle(),
    widgets.Textarea: widgets.widget_string.TextStyle(),
    widgets.Dropdown: widgets.widget_description.DescriptionStyle(),
    widgets.Checkbox: widgets.widget_bool.CheckboxStyle(),
}


class Box(widgets.Box):
    """A box with our own classes."""

    def __init__(self, children: list, *classes: str) -> None:
        super().__init__(children, layout=_LAYOUT)
        self._dom_classes = classes


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


class WordedBox(Box):
    """A box that says in plain words what it shows, where no widget can be shown."""

    words = ""

    def _repr_mimebundle_(self, **options: Any) -> Any:
        data = super()._repr_mimebundle_(**options)
        bundle = data[0] if isinstance(data, tuple) else data
        bundle["text/plain"] = self.words
        return data


def control(kind: type, description: str, *classes: str, **told: Any) -> Any:
    """Return an input; `description` is what is read aloud, and the style sheet hides it from the eye."""
    shared = {"layout": _LAYOUT, "style": _STYLES[kind], "_dom_classes": ("fit-in", *classes)}
    if kind is widgets.Dropdown:
        shared["index"] = 0  # else none of the choices is shown, not even the first, which says nothing
    return kind(description=description, **shared, **told)


def html(words: str = "", *classes: str) -> widgets.HTML:
    """Return a piece of HTML; `words` must be escaped already."""
    return widgets.HTML(words, layout=_LAYOUT, style=_HTML_STYLE, _dom_classes=classes)


def button(words: str, *classes: str) -> widgets.Button:
    """Return a button."""
    return widgets.Button(description=words, layout=_LAYOUT, style=_BUTTON_STYLE, _dom_classes=classes)


def paragraph(words: str, kind: str = "") -> str:
    """Return a paragraph of plain words."""
    return f'<p class="{kind}">{escape(words)}</p>' if words else ""
