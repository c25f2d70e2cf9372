"""Run every notebook and keep the outputs of the cells tagged for comparison; all others are taken out.

Run it as ``python tests/notebooks/refresh.py`` after a change that is meant to alter those outputs, and read the
difference before you commit it.
"""

from pathlib import Path

import nbclient
import nbformat

ROOT = Path(__file__).resolve().parents[2]
TAG = "nbval-check-output"


def notebooks() -> list[Path]:
    """Return every notebook of the kit."""
    return sorted([*ROOT.glob("templates/*.ipynb"), *ROOT.glob("notebooks/*.ipynb")])


def is_compared(cell) -> bool:
    """Whether a cell's output is committed and compared."""
    return TAG in cell.metadata.get("tags", [])


def refresh(path: Path) -> None:
    """Run one notebook in its own folder and write it back with the compared outputs only."""
    notebook = nbformat.read(path, as_version=4)
    nbclient.NotebookClient(notebook, resources={"metadata": {"path": str(path.parent)}}, record_timing=False).execute()
    kept = {name: notebook.metadata[name] for name in ("kernelspec", "start_on_open") if name in notebook.metadata}
    notebook.metadata = {**kept, "language_info": {"name": "python"}}
    for count, cell in enumerate((cell for cell in notebook.cells if cell.cell_type == "code"), start=1):
        cell.execution_count = count if is_compared(cell) else None
        cell.outputs = cell.outputs if is_compared(cell) else []
        for output in cell.outputs:
            output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)  # another name each time
            if "execution_count" in output:
                output.execution_count = count
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for each in notebooks():
        refresh(each)
