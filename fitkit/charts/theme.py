"""Ink, grey and one blue; patterns and words for the rest."""

from __future__ import annotations

__all__ = [
    "BEFORE",
    "BLUE",
    "CONFIG",
    "FONT",
    "GREY",
    "INK",
    "PALE",
    "PATTERNS",
    "text_width_px",
    "wrapped",
]

INK = "#1a1a1a"
GREY = "#5f5f5f"
PALE = "#dcdcdc"
BLUE = "#0072B2"
FONT = "Helvetica, Arial, sans-serif"

# Dashes and gaps [px]. A line is told by its pattern; its colour only helps.
PATTERNS: dict[str, list[float]] = {
    "solid": [1, 0],
    "dashed": [8, 4],
    "dotted": [2, 3],
    "dash_dot": [11, 3, 2, 3],
}
BEFORE = {"stroke": GREY, "pattern": "dashed"}  # how what was there before is drawn

_AXIS = {
    "domainColor": GREY,
    "gridColor": PALE,
    "labelColor": GREY,
    "labelFontSize": 12,
    "tickColor": GREY,
    "titleColor": INK,
    "titleFontSize": 12,
    "titleFontWeight": "normal",
}
CONFIG: dict[str, object] = {
    "font": FONT,
    "background": "white",
    "aria": False,
    "view": {"stroke": None},
    "axis": _AXIS,
    "legend": {"labelColor": INK, "labelFontSize": 12, "titleColor": GREY, "titleFontSize": 12, "symbolSize": 400},
    "header": {"labelColor": INK, "labelFontSize": 12, "titleColor": GREY, "titleFontSize": 12},
    "title": {"color": INK, "fontSize": 15, "anchor": "start"},
    "line": {"color": INK},
    "point": {"color": INK, "filled": True},
    "rule": {"color": GREY},
    "text": {"color": INK, "fontSize": 12},
    "area": {"color": PALE},
    "bar": {"color": PALE, "stroke": GREY},
    "range": {"category": [INK, BLUE, GREY]},
}

# Widths of groups of characters in parts of the letter size, for the font named first and its usual stand-ins.
_WIDTHS = (("ijl'’|", 0.26), ("ftrI!,./:;[]() ·-`", 0.33), ("cksvxyzJ°", 0.53), ("wCDHNRUGOQm", 0.80), ("MW%@", 0.95))
_OTHER_SMALL, _OTHER_CAPITAL, _BOLD = 0.58, 0.68, 1.06


def text_width_px(words: str, *, size_px: float, bold: bool = False) -> float:
    """Return about how wide a text will be [px]; rather too wide than too narrow."""
    return sum(map(_character_width, words)) * size_px * (_BOLD if bold else 1)


def _character_width(character: str) -> float:
    for members, width in _WIDTHS:
        if character in members:
            return width
    return _OTHER_CAPITAL if character.isupper() else _OTHER_SMALL


def wrapped(words: str, *, width_px: float, size_px: float, bold: bool = False) -> list[str]:
    """Return `words` broken at spaces into lines no wider than `width_px` [px]; a longer word stands alone."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_px(longer, size_px=size_px, bold=bold) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
