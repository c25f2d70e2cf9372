"""A kernel copied from a warm one behaves as a plain one does, cell by cell, and Linux gets the copied ones."""

import contextlib
import json
import os
import re
import shutil
import tempfile
from pathlib import Path

import nbformat
import papermill
import pytest
from jupyter_client.manager import AsyncKernelManager
from nbformat.v4 import new_code_cell, new_notebook
from traitlets.config import Config

from fitkit.batch.forked.helpers import Helpers
from fitkit.batch.forked.provisioner import manager_of

# Each is a cell at which ways to run notebooks are known to differ.
CELLS = {
    "both streams in order": "import sys\nprint('a'); print('b', file=sys.stderr); print('c')",
    "output of a child": "import subprocess; _ = subprocess.run(['echo', 'from child'])",
    "output on a descriptor": "import os; _ = os.write(1, b'raw\\n')",
    "shell line": "!echo hi",
    "line magic": "%precision 3\n1/3",
    "cell magic": "%%capture caught\nprint('x')",
    "await at the top": "import asyncio\nawait asyncio.sleep(0.01)\nprint('ok')",
    "running loop": "import asyncio\nprint(asyncio.get_event_loop().is_running())",
    "late thread": "import threading, time\n"
    "t = threading.Thread(target=lambda: (time.sleep(.1), print('late'))); t.start(); t.join()",
    "updated display": "from IPython.display import display, HTML\n"
    "h = display(HTML('1'), display_id='same'); h.update(HTML('2'))",
    "cleared output": "from IPython.display import clear_output\nprint(1); clear_output(); print(2)",
    "widget state": "import ipywidgets as w\nw.IntSlider(value=3)",
    "output widget": "import ipywidgets as w\no = w.Output()\nwith o: print('in')\no",
    "logging": "import logging; logging.warning('w')",
    "warnings": "import warnings; warnings.warn('ww')",
    "input": "input('?')",
    "error": "1/0",
    "exit 3": "import sys; sys.exit(3)",
    "exit 0": "raise SystemExit(0)",
    "syntax error": "x = = 1",
    "pickle of main": "import pickle\nclass K: pass\nprint(type(pickle.loads(pickle.dumps(K()))).__name__, __name__)",
    "own processes": "import multiprocessing as mp\ndef f(x): return x+1\n"
    "with mp.get_context('fork').Pool(2) as p: print(p.map(f, [1, 2]))",
    "kind of kernel": "print(type(get_ipython().kernel).__name__)",
    "hard exit": "import os; os._exit(7)",
    "crash": "import ctypes; ctypes.string_at(0)",
    "numpy's random numbers": "import numpy as np\nnp.random.rand()",
    "python's random numbers": "import random\nrandom.random()",
    "linear algebra": "import numpy as np\nfloat((np.ones((300, 300)) @ np.ones((300, 300))).sum())",
}
KERNEL = {"name": "python3", "language": "python", "display_name": "Python 3"}
RANDOM = {"numpy's random numbers", "python's random numbers"}


@pytest.fixture(scope="module")
def private():
    # Sockets need a short path.
    folder = Path(tempfile.mkdtemp(prefix="ck-"))
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {
            "JUPYTER_RUNTIME_DIR": str(folder / "run"),
            "IPYTHONDIR": str(folder / "ipython"),
            "OPENBLAS_NUM_THREADS": "1",
            "PYTHONPATH": str(Path(__file__).parents[2]),
        }.items():
            patch.setenv(name, value)
        for name in ("run", "ipython"):
            (folder / name).mkdir()
        yield folder
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def helpers(private):
    helpers = Helpers(private)
    helpers.start()
    yield helpers
    helpers.stop()


def outputs_of(cell, manager, private):
    """Run one cell in a kernel and return its outputs without what no two runs share, and how the run ended."""
    notebook = new_notebook(cells=[new_code_cell(cell)], metadata={"kernelspec": KERNEL})
    target, ended = private / "out.ipynb", ""
    target.unlink(missing_ok=True)
    config = Config({"KernelManager": {"transport": "ipc", "ip": str(private / "run" / os.urandom(3).hex())}})
    with contextlib.chdir(private):
        try:
            papermill.execute_notebook(
                notebook,
                target,
                progress_bar=False,
                kernel_manager_class=manager,
                config=config,
                shutdown_kernel="immediate",
            )
        except Exception as error:
            ended = type(error).__name__
    executed = nbformat.read(target, 4)
    return comparable(executed), ended


def comparable(notebook) -> str:
    """Return what a cell showed; names of widgets, numbers of processes and places in memory do not count."""
    shown = [dict(output) for output in notebook.cells[-1].outputs]
    widgets = [state for kind in notebook.metadata.get("widgets", {}).values() for state in kind["state"].values()]
    texts = [json.dumps(item, sort_keys=True) for item in [shown, *widgets]]
    texts = [re.sub(r"[0-9a-f]{32}", "ID", text) for text in texts]
    return json.dumps(sorted(re.sub(r"ipykernel_\d+|0x[0-9a-f]+", "N", text) for text in texts))


@pytest.mark.parametrize("name", CELLS)
def test_a_copied_kernel_gives_what_a_plain_one_gives(helpers, private, name):
    plain = outputs_of(CELLS[name], AsyncKernelManager, private)
    copied = outputs_of(CELLS[name], manager_of(helpers.ready()), private)
    if name in RANDOM:
        # Numbers nobody should guess: each copy draws its own.
        again = outputs_of(CELLS[name], manager_of(helpers.ready()), private)
        assert copied != again
        assert copied[1] == plain[1] == ""
    else:
        assert copied == plain


def test_both_kinds_of_kernel_give_the_same_record_and_the_log_names_them(clinic):
    keys = [clinic.visit("rider-1"), clinic.visit("rider-2")]
    made = {}
    for kind, words in {"forked": (), "plain": ("--plain-kernels",)}.items():
        clinic.out = clinic.folder / kind
        done = clinic.report(*words)
        assert done.returncode == 0, done.stderr
        assert [line["engine"] for line in clinic.log()] == [kind, kind]
        made[kind] = {path.relative_to(clinic.out): path.read_bytes() for path in clinic.out.glob("rider-*/*")}
    assert len(made["forked"]) == 4 * len(keys)
    assert made["forked"] == made["plain"]


def test_nothing_of_one_client_is_left_for_the_next(clinic):
    clinic.notebook("import builtins\nassert not hasattr(builtins, 'left')\nbuiltins.left = session")
    keys = [clinic.visit(f"rider-{number}") for number in range(3)]
    done = clinic.report("--workers", "1")
    assert done.returncode == 0, done.stderr
    assert clinic.statuses() == dict.fromkeys(keys, "made")
