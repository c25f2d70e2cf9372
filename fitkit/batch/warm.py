"""What the process that each record is a copy of has behind it: all imports, and an invented rider's record made once.

`multiprocessing`'s fork server imports this before its first copy. There must be one thread at a copy, since locks
that other threads hold would stay locked for ever: make no ZMQ object here. Of charts on axes, whose renderer starts
threads, all is done but the picture.
"""

from __future__ import annotations

import atexit
import gc
import importlib
import json
import os
import shutil
import signal
import tempfile
from pathlib import Path

# The fork server would wait for ever for a warm-up that hangs.
_LONGEST_S = 120

# An invented rider's, with a wish, which needs more.
_VISIT = "worked_example/worked-example_2026-03-02_road.json"
_IN_PLACE = {"wish": {side: {"half_stance_change_mm": 5} for side in ("left", "right")}}
_NO_PICTURE = '<svg xmlns="http://www.w3.org/2000/svg" width="1" height="1"></svg>'


def _warm_up() -> str:
    """Get ready; return why copies of this process cannot run notebooks, nothing where they can."""
    # The fork server outlives a run that is killed, and then ends in order.
    atexit.register(shutil.rmtree, os.environ["FITKIT_PRIVATE"], ignore_errors=True)
    signal.alarm(_LONGEST_S)
    try:
        _make_once()
    except Exception as error:  # the fork server keeps an import that failed to itself, and ends at anything else
        return f"{type(error).__name__}: {error}"
    finally:
        signal.alarm(0)
    threads = len(os.listdir("/proc/self/task"))
    if threads != 1:
        return f"{threads} threads run in the process to be copied; expected 1"
    gc.collect()
    # What is here stays: the collector of a copy need not look at it, and its pages remain shared.
    gc.freeze()
    return ""


def _make_once() -> None:
    """Make the invented rider's record and throw it away; where the notebook is the clinic's own, import only."""
    from IPython.core.interactiveshell import InteractiveShell

    from fitkit import files
    from fitkit.batch import engine, record
    from fitkit.batch.job import TEMPLATE, Limits
    from fitkit.charts import plots

    importlib.import_module("fitkit.report.pages")
    template = engine.load_template(files.template(TEMPLATE))
    if not engine.is_shipped(template):
        return
    visit = files.template(_VISIT)
    with tempfile.TemporaryDirectory() as folder:
        content = json.dumps(json.loads(visit.read_bytes()) | _IN_PLACE)
        Path(folder, visit.name).write_text(content, encoding="utf-8")
        options = {"limits": Limits(), "in_shell": True, "tell": lambda *message: None}
        draw, plots.vl_convert.vegalite_to_svg = plots.vl_convert.vegalite_to_svg, lambda *_, **__: _NO_PICTURE
        executed = engine.run(template, visit.name, Path(folder), **options)
        plots.vl_convert.vegalite_to_svg = draw
        record.texts_of(record.cleaned(executed, template), visit.stem)
    InteractiveShell.instance().reset()  # nothing of this rider's is left for the copies


PROBLEM = _warm_up()
