"""The workbench: Lab on a private work folder, the start page, and the papers made in the room."""

from __future__ import annotations

from typing import Any

__all__ = ["ask", "beliefs", "beside", "lesson", "measure", "open_command", "papers", "ruler", "start"]

_PLACES = {
    "ask": "guided",
    "beliefs": "guided",
    "beside": "guided",
    "lesson": "guided",
    "measure": "measuring",
    "open_command": "opening",
    "papers": "printing",
    "ruler": "knee_ruler",
    "start": "start_page",
}


def __getattr__(name: str) -> Any:
    # Each on first use: the command need not load drawings, nor Lab's saving hook the widgets.
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_PLACES[name]}"), name)
