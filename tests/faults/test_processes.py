"""Killed, stopped and hanging: one visit's end is not another's, and nothing is left running or half done."""

import os
import signal

import pytest

# A cell with a child of its own, as a tool that it starts; both are noted with the process they came from.
CHILD = """
import os, subprocess, time
from pathlib import Path
child = subprocess.Popen(["sleep", "600"])
note = Path(os.environ["NOTES"], f"pids-{session.split('_')[0]}")
"""
HANG = (
    CHILD
    + """
if session.startswith("bad"):
    note.write_text(f"{os.getppid()} {os.getpid()} {child.pid}.")
    time.sleep(600)
child.kill()
"""
)


PLAIN = ("--plain-kernels",)
KILLED = "the record's process ended (signal 9) at cell 3 (The fault)"


@pytest.mark.parametrize(
    ("victim", "words", "said"),
    [
        ("os.getpid()", (), KILLED),
        ("os.getpid()", PLAIN, "the kernel ended by itself or was killed at cell 3 (The fault)"),
        ("os.getppid()", PLAIN, KILLED),
    ],
    ids=["record", "kernel", "record with a kernel"],
)
def test_kill_9_fails_its_own_visit_alone(clinic, victim, words, said):
    fault = f'note.write_text(f"{{os.getpid()}} {{child.pid}}.")\n    os.kill({victim}, 9)\n    time.sleep(600)'
    clinic.notebook(f"{CHILD}\nif session.startswith('bad'):\n    {fault}\nchild.kill()")
    good, bad = [clinic.visit(f"good-{number}") for number in (1, 2, 3)], clinic.visit("bad")
    done = clinic.report(*words)
    assert done.returncode == 1, done.stderr
    assert clinic.statuses() == {**dict.fromkeys(good, "made"), bad: "failed"}
    assert clinic.summary()[bad]["reason"] == said
    assert all(clinic.whole(key) for key in good)
    assert not (clinic.out / bad).exists()
    clinic.ended()
    clinic.nothing_left_over()


def test_kill_9_of_the_warm_process_fails_no_visit(clinic):
    clinic.notebook("import os\nif session.startswith('bad'):\n    os.kill(os.getppid(), 9)")
    keys = [clinic.visit(name) for name in ("bad", "good-1", "good-2", "good-3")]
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert all(clinic.whole(key) for key in keys)
    assert {line["engine"] for line in clinic.log()} == {"forked"}
    clinic.nothing_left_over()


def test_kill_9_of_the_whole_run_and_the_next_run_completes_it(clinic):
    clinic.notebook(HANG)
    good, bad = clinic.visit("a-good"), clinic.visit("bad")
    running = clinic.start("--workers", "1")
    clinic.note("pids-bad")
    os.killpg(running.pid, signal.SIGKILL)
    running.communicate()
    clinic.ended()
    assert clinic.whole(good)
    assert not (clinic.out / bad).exists()
    assert "A run has begun and not ended" in clinic.index()
    assert clinic.statuses()[bad] == "waiting"
    clinic.notebook()
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert clinic.whole(bad)
    assert set(clinic.statuses().values()) == {"made"}
    assert "not ended" not in clinic.index()
    clinic.nothing_left_over()


def test_a_run_after_a_kill_leaves_finished_records_alone(clinic):
    clinic.notebook(HANG)
    good, bad = clinic.visit("a-good"), clinic.visit("bad")
    running = clinic.start("--workers", "1")
    clinic.note("pids-bad")
    running.kill()
    running.communicate()
    clinic.ended()
    (clinic.sessions / f"{bad}.json").unlink()
    done = clinic.report()
    assert done.returncode == 0, done.stderr
    assert clinic.statuses() == {good: "unchanged"}


@pytest.mark.parametrize(
    ("number", "exit_code"), [(signal.SIGTERM, 143), (signal.SIGINT, 130), (signal.SIGHUP, 129)], ids=lambda n: str(n)
)
def test_a_stopped_run_says_so_and_the_next_completes_it(clinic, number, exit_code):
    clinic.notebook(HANG)
    good, bad, last = clinic.visit("a-good"), clinic.visit("bad"), clinic.visit("z-last")
    running = clinic.start("--workers", "1")
    clinic.note("pids-bad")
    # A terminal sends it to all of its group.
    os.killpg(running.pid, number)
    _, said = running.communicate()
    assert running.returncode == exit_code, said
    assert "Traceback" not in said
    clinic.ended()
    assert clinic.whole(good)
    assert clinic.statuses() == {good: "made", bad: "failed", last: "failed"}
    assert clinic.summary()[last]["reason"] == "the run was stopped before this record was made"
    assert [line["exit"] for line in clinic.log()] == [0, exit_code, exit_code]
    assert "the run was stopped" in clinic.index()
    clinic.nothing_left_over()
    clinic.notebook()
    assert clinic.report().returncode == 0
    assert all(clinic.whole(key) for key in (good, bad, last))


def test_a_cell_and_a_notebook_that_take_too_long(clinic):
    # Cells of the second are short enough, all of them together are not.
    clinic.notebook(f"{HANG}\nif session.startswith('slow'):\n    time.sleep(600)")
    clinic.cell_s = 3
    good, bad = clinic.visit("good"), clinic.visit("bad")
    done = clinic.report()
    assert done.returncode == 1, done.stderr
    assert clinic.summary()[bad]["reason"] == "cell 3 (The fault) took longer than 3 s"
    assert clinic.whole(good)
    clinic.ended()
    clinic.cell_s, clinic.notebook_s = 60, 8
    slow = clinic.visit("slow")
    clinic.report()
    assert clinic.summary()[slow]["reason"] == "the notebook took longer than 8 s; stopped at cell 3 (The fault)"
    clinic.ended()
    clinic.nothing_left_over()


def test_two_runs_on_one_folder(clinic):
    clinic.notebook(HANG)
    good, bad = clinic.visit("a-good"), clinic.visit("bad")
    running = clinic.start("--workers", "1")
    clinic.note("pids-bad")
    second = clinic.report()
    assert second.returncode == 2
    assert "is being written by another run" in second.stderr
    running.terminate()
    running.communicate()
    assert clinic.statuses() == {good: "made", bad: "failed"}


@pytest.mark.parametrize("words", [(), PLAIN], ids=["forked", "plain"])
def test_a_notebook_that_quits_or_shows_no_results_has_failed(clinic, words):
    fault = """
import os, sys
if session.startswith("quits"):
    sys.exit(0)
if session.startswith("gone"):
    os._exit(0)
if session.startswith("raises"):
    raise ValueError("foot_length_mm is 26.3; expected 150 to 350 \\x1b[2J")
"""
    clinic.notebook(fault, results=CHOICE)
    visits = {name: clinic.visit(name) for name in ("quits", "gone", "raises", "silent", "twice", "other", "good")}
    done = clinic.report(*words)
    assert done.returncode == 1, done.stderr
    reasons = {name: clinic.summary()[key]["reason"] for name, key in visits.items()}
    assert reasons["quits"] == "cell 3 (The fault) stopped: SystemExit: 0"
    ended = "the kernel ended by itself or was killed" if words else "the record's process ended (exit 0)"
    assert reasons["gone"].startswith(f"{ended} at cell 3 (The fault)")
    assert reasons["raises"].startswith(
        "cell 3 (The fault) stopped: ValueError: foot_length_mm is 26.3; expected 150 to"
    )
    assert reasons["silent"] == "the notebook shows 0 outputs with results; expected exactly one"
    assert reasons["twice"] == "the notebook shows 2 outputs with results; expected exactly one"
    assert reasons["other"].startswith("session of the notebook's results is other_2026-03-04_road-not")
    assert reasons["good"] == ""
    assert sorted(path.name for path in clinic.out.iterdir() if path.is_dir()) == [visits["good"]]
    assert "\x1b" not in done.stderr + clinic.index()


CHOICE = """
# Results
from pathlib import Path
from IPython.display import display
key = Path(session).stem
name = key.split("_")[0]
results = {"format": "cleat-stance-results", "version": 1, "session": key + "-not" * (name == "other"), "results": []}
for _ in range({"silent": 0, "twice": 2}.get(name, 1)):
    display({"application/vnd.cleat-stance-results+json": results,
             "application/vnd.cleat-stance-sheet+json": {}, "text/plain": "results"}, raw=True)
"""


# At once, bit by bit, and by NumPy; the last keeps what it has got while the error is told.
GREEDY = """
if session.startswith("once"):
    bytearray(3_000_000_000)
if session.startswith("numpy"):
    import numpy
    numpy.ones(400_000_000)
if session.startswith("bits"):
    kept = []
    while True:
        kept.append(bytearray(1_000_000))
"""


@pytest.mark.parametrize("words", [(), PLAIN], ids=["forked", "plain"])
def test_a_notebook_out_of_memory_fails_its_own_visit_in_words(clinic, words):
    clinic.environment["NOTEBOOK_MEMORY_MB"] = "700"
    clinic.notebook(GREEDY)
    bad, good = [clinic.visit(name) for name in ("once", "numpy", "bits")], clinic.visit("good")
    done = clinic.report(*words)
    assert done.returncode == 1, done.stderr
    reasons = [clinic.summary()[key]["reason"] for key in bad]
    said = "out of memory at cell 3 (The fault); a notebook may take 700 MB"
    assert reasons[:2] == [said, said]
    # One that has filled itself to the brim may have no room left for its error.
    assert reasons[2].replace(", it seems,", "") == said
    assert clinic.whole(good)
    clinic.nothing_left_over()
