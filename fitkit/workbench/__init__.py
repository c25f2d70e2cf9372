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
    "papers": "papers",
    "ruler": "knee_ruler",
    "start": "start",
}


def __getattr__(name: str) -> Any:
    # Each on first use: the command need not load drawings, nor Lab's saving hook the widgets.
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(f"{__name__}.{_PLACES[name]}"), name)
    # A module of the same name would stand in its place from now on, and a cell that is run again would call that.
    globals()[name] = found
    return found
