"""A copy of the warm process gives what a kernel gives, and kernels run what it may not or cannot run."""

import os
import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]


def made(out):
    return {path.relative_to(out): path.read_bytes() for path in out.glob("rider-*/*")}


def test_both_ways_give_the_same_record_of_every_demonstration(demo_reports, tmp_path):
    command = [sys.executable, "-W", "error", "-m", "fitkit", "report", "demo_sessions", "--out", tmp_path / "plain"]
    done = subprocess.run([*command, "--plain-kernels"], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    for way, out in (("forked", demo_reports), ("plain", tmp_path / "plain")):
        log = (out / "runlog.jsonl").read_text(encoding="utf-8")
        assert log.count(f'"engine": "{way}"') == log.count("\n")
    demonstrations = list((CHECKOUT / "demo_sessions").glob("*.json"))
    assert len(made(demo_reports)) == 4 * len(demonstrations) > 0
    assert made(demo_reports) == made(tmp_path / "plain")


def test_both_ways_show_what_is_printed_and_displayed(clinic):
    clinic.notebook(SHOWS)
    clinic.visit("rider-1"), clinic.visit("rider-2")
    shown = []
    for words in ((), ("--plain-kernels",)):
        clinic.out = clinic.folder / f"out{len(words)}"
        done = clinic.report(*words)
        assert done.returncode == 0, done.stderr
        shown.append(made(clinic.out))
    assert len(shown[0]) == 8
    assert shown[0] == shown[1]


SHOWS = """
import sys
from IPython.display import HTML, display
print("one")
print("two", file=sys.stderr)
display(HTML("<b>three</b>"))
HTML("<i>four</i>")
"""


def test_nothing_of_one_client_is_left_for_the_next(clinic):
    clinic.notebook("import builtins\nassert not hasattr(builtins, 'left')\nbuiltins.left = session")
    keys = [clinic.visit(f"rider-{number}") for number in range(3)]
    done = clinic.report("--workers", "1")
    assert done.returncode == 0, done.stderr
    assert clinic.statuses() == dict.fromkeys(keys, "made")


def test_a_notebook_that_was_edited_gets_kernels_and_that_is_said(clinic):
    clinic.environment["EDITED"] = "yes"
    # An in-process shell is no kernel: it keeps nothing that a child prints.
    clinic.notebook("import subprocess\n_ = subprocess.run(['echo', 'from a child'])")
    key, _ = clinic.visit("rider-1"), clinic.visit("rider-2")
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert {line["engine"] for line in clinic.log()} == {"plain"}
    assert done.stderr.count("client_report.ipynb is not as it came with the kit: a kernel of its own") == 1
    assert "from a child" in (clinic.out / key / "record.ipynb").read_text(encoding="utf-8")


def test_a_warm_process_that_cannot_get_ready_means_kernels_and_that_is_said(clinic):
    broken = clinic.folder / "broken"
    broken.mkdir()
    # A second thread, whose locks a copy would inherit and never see released.
    (broken / "sitecustomize.py").write_text(
        "import sys, threading, time\nif any('forkserver' in word for word in sys.orig_argv):\n"
        "    threading.Thread(target=time.sleep, args=(600,), daemon=True).start()\n",
        encoding="utf-8",
    )
    clinic.environment["PYTHONPATH"] = os.pathsep.join([str(broken), clinic.environment["PYTHONPATH"]])
    clinic.visit("rider-1"), clinic.visit("rider-2")
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert {line["engine"] for line in clinic.log()} == {"plain"}
    assert done.stderr.count("could not get ready (2 threads run in the process to be copied; expected 1)") == 1
