"""Runs the command line with a small notebook in place of the record's, and plain pages.

Called as ``driver.py NOTEBOOK CELL_SECONDS NOTEBOOK_SECONDS WORDS…``. The process of each visit imports this file
again, as it does whatever file began the run, so that it has the plain pages too, and takes the notebook for the one
that comes with the kit unless ``EDITED`` is in the environment.
"""

import errno
import functools
import json
import os
import sys
import types
from pathlib import Path

from fitkit import files
from fitkit.batch import engine, run
from fitkit.batch.job import Limits

pages = types.ModuleType("fitkit.report.pages")
pages.record_html = lambda notebook, *, title, is_full=False: f"<title>{title}</title>{len(notebook.cells)} cells"
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
if "EDITED" not in os.environ:
    engine.is_shipped = lambda notebook: True
sys.modules |= {"fitkit.report": report, "fitkit.report.pages": pages}


def main() -> int:
    """Put the notebook and the limits in place and carry out the command."""
    from fitkit.__main__ import main as command_line

    notebook, cell_s, notebook_s, *words = sys.argv[1:]
    shipped = files.template
    files.template = lambda name: Path(notebook) if name == "client_report.ipynb" else shipped(name)
    memory_mb = int(os.environ.get("NOTEBOOK_MEMORY_MB", Limits.notebook_memory_mb))
    limits = Limits(cell_s=int(cell_s), notebook_s=float(notebook_s), notebook_memory_mb=memory_mb)
    run.Options = functools.partial(run.Options, limits=limits)
    return command_line(words)


if __name__ == "__main__":
    sys.exit(main())
