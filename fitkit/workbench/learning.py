"""Where a trainee's own work lies: in the work folder, or for a look from the kit's own folder in a passing one."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

__all__ = ["AFTER_S", "LEARNING", "is_kept", "learning_folder"]

AFTER_S = 0.3  # a press may overtake what was typed before it
LEARNING = ("worked_example", "measuring_error")


def is_kept(work: str | Path) -> bool:
    """Whether what is typed stays: never in the kit's own folder, so that nothing is published with the kit."""
    kit = Path(__file__).resolve().parents[2]
    return not ((kit / "pyproject.toml").is_file() and Path(work).resolve().is_relative_to(kit))


def learning_folder(work: str | Path) -> Path:
    """Return the work folder, or a private one that goes with this process where the work folder is the kit's own."""
    return Path(work).resolve() if is_kept(work) else _passing()


@cache
def _passing() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="learning-"))  # 0700 by itself
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
