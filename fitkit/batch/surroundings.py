"""The variables under which kernels run, the same on every machine."""

from __future__ import annotations

import os
from pathlib import Path

import fitkit

__all__ = ["kernel_environment"]


def kernel_environment() -> dict[str, str]:
    """Return the variables that make a kernel find this very kit, and give the same bytes each time."""
    ours = str(Path(fitkit.__file__).resolve().parent.parent)
    others = os.environ.get("PYTHONPATH")
    return {
        "PYTHONPATH": os.pathsep.join([ours, others]) if others else ours,
        "PYTHONSAFEPATH": "1",
        "PYTHONSTARTUP": "",  # a person's own start-up file is none of a record's business
        "PYTHONHASHSEED": "0",
        "OPENBLAS_NUM_THREADS": "1",
        "JUPYTER_PREFER_ENV_PATH": "1",
    }
