"""Many visits at once: each session file becomes an executed notebook, its pages and its results.

``inputs`` finds the session files, ``fingerprint`` tells which are unchanged, ``pool`` hands them to worker
processes, ``record`` is what a worker does for one visit, ``folder`` puts finished records in place, ``index`` and
``runlog`` say what happened, and ``run`` joins them. Import the module you need.
"""

from fitkit import quick_imports  # noqa: F401 - before nbformat and papermill
