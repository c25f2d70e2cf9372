"""What Lab writes into a notebook of the work folder: never an output, so that no rider's page is left for the next."""

from __future__ import annotations

__all__ = ["strip_outputs"]


def strip_outputs(model: dict, **_: object) -> None:
    """Take outputs, counts and widget values out of a notebook about to be saved; the screen keeps them."""
    if model.get("type") != "notebook" or not isinstance(model.get("content"), dict):
        return
    notebook = model["content"]
    notebook.get("metadata", {}).pop("widgets", None)
    for cell in notebook.get("cells", ()):
        if cell.get("cell_type") == "code":
            cell["outputs"], cell["execution_count"] = [], None
        cell.get("metadata", {}).pop("execution", None)
