"""A table or sentences that stand still, in the look of the forms around them."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets

from fitkit.forms.look import STYLE, WordedBox, html

__all__ = ["still"]


def still(*blocks: Any) -> widgets.Widget:
    """Return blocks that show themselves as HTML, one below the other."""
    box = WordedBox([html(STYLE + "".join(block._repr_html_() for block in blocks))], "fit", "fit-live")
    box.words = "\n\n".join(getattr(block, "alt", None) or repr(block) for block in blocks)
    return box
