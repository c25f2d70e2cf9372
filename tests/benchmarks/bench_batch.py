"""Records per second of the night job, as ratios in one run, and its memory.

Run: python tests/benchmarks/bench_batch.py [ratios|linear|memory] [records]

ratios: the same visits, start included, four ways:
- a shell user's: `papermill` and then `jupyter nbconvert`, one visit after the other (a sample, scaled);
- the kit on two workers, by copies of a warm process and by plain kernels (a sample);
- the floor: the notebook's cells as a plain function in a warm process, the record's files written; one process,
  and two side by side.
Goals: at least 25 times the shell user's rate, aim 30; at least .7 of the floor of as many processes.
linear: seconds a record over 25 to 1000 records. memory: the curve over 1000 records, for each kind of process.
"""

from __future__ import annotations

import ast
import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

from fitkit import files
from fitkit.batch.processes import kernel_environment

ROOT = Path(__file__).resolve().parents[2]
WORKERS = 2
SHELL_SAMPLE, PLAIN_SAMPLE = 14, 14  # each demonstration once, as in the whole
LOOK_S = 2.0


def visits(count: int, folder: Path) -> Path:
    """Write so many invented visits, those of the demonstration with other clients' ids."""
    folder.mkdir()
    demonstration = sorted((ROOT / "demo_sessions").glob("*.json"))
    for number in range(count):
        document = json.loads(demonstration[number % len(demonstration)].read_bytes())
        document |= {"client_id": f"rider-{number:05d}", "demonstration": True}
        document.pop("fitter_id", None)
        name = f"{document['client_id']}_{document['visit_date']}_{document['setup']}.json"
        (folder / name).write_text(json.dumps(document), encoding="utf-8")
    return folder


def by_shell(sessions: Path, out: Path, count: int) -> float:
    """Seconds a record of a shell user, one command after the other."""
    out.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    programs = Path(sys.executable).parent
    begun = time.perf_counter()
    for session in sorted(sessions.glob("*.json"))[:count]:
        notebook = out / f"{session.stem}.ipynb"
        template = files.template("client_report.ipynb")
        run = [programs / "papermill", template, notebook, "-p", "session", session, "--no-progress-bar"]
        page = [programs / "jupyter-nbconvert", "--to", "html", "--no-input", notebook]
        for command in (run, page):
            subprocess.run([str(word) for word in command], env=environment, check=True, capture_output=True)
    return (time.perf_counter() - begun) / count


def by_kit(sessions: Path, out: Path, *words: str) -> float:
    """Seconds of the kit for all, start included."""
    begun = time.perf_counter()
    subprocess.run(command(sessions, out, *words), cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - begun


def command(sessions: Path, out: Path, *words: str) -> list[str]:
    """Return the kit's command."""
    shared = ["report", str(sessions), "--out", str(out), "--workers", str(WORKERS)]
    return [sys.executable, "-m", "fitkit", *shared, *words]


class Floor:
    """The notebook's cells as a plain function, warm, and the files of the record."""

    def __init__(self) -> None:
        import nbformat

        from fitkit.report import pages

        self.pages = pages
        self.notebook = nbformat.read(files.template("client_report.ipynb"), as_version=4)
        self.cells = [c for c in self.notebook.cells if c.cell_type == "code" and "session =" not in c.source]

    def make(self, session: Path, out: Path) -> None:
        """Run the cells for one visit and write notebook, page, sheet and results."""
        import nbformat

        names = {"session": str(session)}
        for cell in self.cells:
            body = ast.parse(cell.source).body
            exec(compile(ast.Module(body[:-1], []), "cell", "exec"), names)  # noqa: S102
            shown = eval(compile(ast.Expression(body[-1].value), "cell", "eval"), names)  # noqa: S307
            cell.outputs = [nbformat.v4.new_output("execute_result", data_of(shown))]
        folder = out / session.stem
        folder.mkdir(parents=True)
        shared = "application/vnd.cleat-stance"
        found = self.cells[-1].outputs[0].data
        (folder / "record.ipynb").write_text(nbformat.writes(self.notebook), encoding="utf-8")
        (folder / "record.html").write_text(self.pages.record_html(self.notebook, title="record"), encoding="utf-8")
        sheet = self.pages.sheet_html(found[f"{shared}-sheet+json"])
        (folder / "rider_sheet.html").write_text(sheet, encoding="utf-8")
        (folder / "results.json").write_text(json.dumps(found[f"{shared}-results+json"], indent=1), encoding="utf-8")


def data_of(shown: object) -> dict:
    """Return what a notebook would show of an object."""
    if hasattr(shown, "_repr_mimebundle_"):
        return shown._repr_mimebundle_()
    return {"text/plain": repr(shown), "text/html": shown._repr_html_()}


def floor_work(sessions: list[Path], out: Path, start, done) -> None:
    """Warm up, wait for the start, make all, say so."""
    floor = Floor()
    floor.make(sessions[0], out / "warm")
    done.wait()
    start.wait()
    for session in sessions:
        floor.make(session, out)
    done.wait()


def by_floor(sessions: Path, out: Path, processes: int, count: int) -> float:
    """Seconds a record of the floor, start left out."""
    spawn = multiprocessing.get_context("spawn")
    start, done = spawn.Event(), spawn.Barrier(processes + 1)
    paths = sorted(sessions.glob("*.json"))[:count]
    shares = [paths[number::processes] for number in range(processes)]
    workers = [
        spawn.Process(target=floor_work, args=(share, out / str(number), start, done))
        for number, share in enumerate(shares)
    ]
    before = dict(os.environ)
    os.environ.update(kernel_environment(str(out)))
    for worker in workers:
        worker.start()
    os.environ.clear()
    os.environ.update(before)
    done.wait()
    begun = time.perf_counter()
    start.set()
    done.wait()
    seconds = (time.perf_counter() - begun) / count
    for worker in workers:
        worker.join()
    return seconds


def ratios(count: int, folder: Path) -> None:
    """Print how the kit stands between the shell user and the floor."""
    sessions = visits(count, folder / "sessions")
    few = visits(PLAIN_SAMPLE, folder / "few")
    sample = min(count, 30)
    # The shell user before and after the kit, so that a machine with other work to do is seen.
    shell = [by_shell(sessions, folder / "shell1", SHELL_SAMPLE)]
    floors = {n: [by_floor(sessions, folder / f"floor{n}a", n, sample)] for n in (1, WORKERS)}
    kit = by_kit(sessions, folder / "kit") / count
    for n in floors:
        floors[n].append(by_floor(sessions, folder / f"floor{n}b", n, sample))
    shell.append(by_shell(sessions, folder / "shell2", SHELL_SAMPLE))
    plain = by_kit(few, folder / "plain", "--plain-kernels") / PLAIN_SAMPLE
    means = {n: sum(seconds) / 2 for n, seconds in floors.items()}
    mean_shell = sum(shell) / 2
    print(f"{count} records, {WORKERS} workers, load {os.getloadavg()[0]:.1f}; seconds a record, start included:")
    print(f"shell, one after the other: {mean_shell:.2f} (before {shell[0]:.2f}, after {shell[1]:.2f})")
    print(f"plain kernels: {plain:.2f}; copies of a warm process: {kit:.3f}")
    print(f"copies against the shell user: {mean_shell / kit:.1f} times (goal 25, aim 30)")
    for n, seconds in means.items():
        print(f"floor of {n} process(es): {seconds:.3f}; the kit runs at {seconds / kit:.2f} of it")
    print("goal .7 of the floor of as many processes")


def linear(most: int, folder: Path) -> None:
    """Print seconds a record for growing numbers of records."""
    for count in (25, 100, 250, 1000):
        if count <= most:
            sessions = visits(count, folder / f"sessions{count}")
            seconds = by_kit(sessions, folder / f"out{count}")
            print(f"{count:5d} records: {seconds:.1f} s, {seconds / count:.3f} s a record", flush=True)


def memory(count: int, folder: Path) -> None:
    """Print the memory of each kind of process over one long run (private and shared pages alike) [MB]."""
    sessions = visits(count, folder / "sessions")
    out = folder / "out"
    running = psutil.Popen(command(sessions, out), cwd=ROOT, stderr=subprocess.DEVNULL)
    print("records made; greatest of each kind of process [MB], and all proportionally")
    begun, shown = time.perf_counter(), -1
    while running.poll() is None:
        time.sleep(LOOK_S)
        made = len(list(out.glob("rider-*"))) if out.is_dir() else 0
        if made // max(1, count // 20) > shown:
            shown = made // max(1, count // 20)
            print(f"{made:5d}  {time.perf_counter() - begun:6.0f} s  {sizes(running)}", flush=True)


def sizes(running: psutil.Popen) -> str:
    """Return the memory of the processes of a run in words."""
    greatest: dict[str, float] = {}
    total = 0.0
    for process in [running, *running.children(recursive=True)]:
        try:
            kind, full = kind_of(process, running), process.memory_full_info()
        except psutil.Error:
            continue
        greatest[kind] = max(greatest.get(kind, 0), full.rss / 1e6)
        total += full.pss / 1e6
    return "  ".join(f"{kind} {size:.0f}" for kind, size in sorted(greatest.items())) + f"  all {total:.0f}"


def kind_of(process: psutil.Process, running: psutil.Process) -> str:
    """Return what a process of a run is."""
    words = " ".join(process.cmdline())
    if process.pid == running.pid:
        return "run"
    if "forkserver" in words:
        return "record" if "forkserver" in " ".join(process.parent().cmdline()) else "warm"
    return "other"


def main() -> None:
    """Carry out one of the measurements."""
    what = sys.argv[1] if len(sys.argv) > 1 else "ratios"
    default = {"ratios": 100, "linear": 1000, "memory": 1000}
    count = int(sys.argv[2]) if len(sys.argv) > 2 else default[what]
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    try:
        {"ratios": ratios, "linear": linear, "memory": memory}[what](count, folder)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
