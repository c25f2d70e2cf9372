"""Runs the command line with a small notebook in place of the record's, and plain pages.

Called as ``driver.py NOTEBOOK CELL_SECONDS NOTEBOOK_SECONDS WORDS…``. Workers import this file again, as every worker
imports the file that began the run, so that they have the plain pages too.
"""

import errno
import functools
import json
import os
import sys
import types
from pathlib import Path

from fitkit import files, places
from fitkit.batch import run
from fitkit.batch.job import Limits

pages = types.ModuleType("fitkit.report.pages")
pages.record_html = lambda notebook, *, title: f"<title>{title}</title>{len(notebook.cells)} cells"
pages.sheet_html = lambda sheet: json.dumps(sheet)
report = types.ModuleType("fitkit.report")
report.pages = pages
report.__path__ = []


def full_disk_for(name: str) -> None:
    """Refuse files of this visit, or of this name, as a full disk does."""
    wrote, replaced = files.Access.write, files.replace_durably

    def refuse(path):
        if name in (path.name, path.parent.name):
            raise OSError(errno.ENOSPC, "No space left on device", str(path))

    def write(access, path, data):
        refuse(path)
        wrote(access, path, data)

    def replace(path, data, *, mode):
        refuse(path)
        replaced(path, data, mode=mode)

    files.Access.write, files.replace_durably = write, replace


if "FULL_DISK_FOR" in os.environ:
    full_disk_for(os.environ["FULL_DISK_FOR"])
sys.modules |= {"fitkit.report": report, "fitkit.report.pages": pages}


def main() -> int:
    """Put the notebook and the limits in place and carry out the command."""
    from fitkit.__main__ import main as command_line

    notebook, cell_s, notebook_s, *words = sys.argv[1:]
    shipped = places.template
    places.template = lambda name: Path(notebook) if name == "client_report.ipynb" else shipped(name)
    memory_mb = int(os.environ.get("KERNEL_MEMORY_MB", Limits.kernel_memory_mb))
    limits = Limits(cell_s=int(cell_s), notebook_s=float(notebook_s), kernel_memory_mb=memory_mb)
    run.Options = functools.partial(run.Options, limits=limits)
    return command_line(words)


if __name__ == "__main__":
    sys.exit(main())
