"""Tables and sentences of the record and of the rider's sheet.

``Record`` is what a notebook uses; ``rider_sheet`` and ``pages`` make the papers.
"""

from __future__ import annotations

import importlib

__all__ = ["Record", "rider_sheet"]

# The types of a notebook's structured output; the batch takes its files from there.
RESULTS_TYPE = "application/vnd.cleat-stance-results+json"
SHEET_TYPE = "application/vnd.cleat-stance-sheet+json"
_HOMES = {"Record": "record", "rider_sheet": "sheet"}


def __getattr__(name: str) -> object:
    """Import what is asked for when it is: the pages alone need neither drawings nor numerical packages."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
