"""The workbench: Lab on a private work folder, the start page, and the papers made in the room."""

from __future__ import annotations

from typing import Any

__all__ = ["ask", "beliefs", "beside", "lesson", "measure", "open_command", "papers", "ruler", "start"]

_MODULES = {
    "guided": ("ask", "beliefs", "beside", "lesson"),
    "lab": ("open_command",),
    "measuring": ("measure", "ruler"),
    "start_page": ("papers", "start"),
}


def __getattr__(name: str) -> Any:
    # Each on first use: the command need not load drawings, nor Lab's saving hook the widgets.
    from importlib import import_module

    module = next((module for module, names in _MODULES.items() if name in names), None)
    if module is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{module}"), name)


def strip_outputs(model: dict, **_: object) -> None:
    """Take outputs, counts and widget values out of a notebook that Lab is about to save; the screen keeps them.

    No rider's page is left for the next.
    """
    if model.get("type") != "notebook" or not isinstance(model.get("content"), dict):
        return
    notebook = model["content"]
    notebook.get("metadata", {}).pop("widgets", None)
    for cell in notebook.get("cells", ()):
        if cell.get("cell_type") == "code":
            cell["outputs"], cell["execution_count"] = [], None
        cell.get("metadata", {}).pop("execution", None)
