"""Records per second of the night job, as ratios in one run, and its memory.

Run: python tests/benchmarks/bench_batch.py [ratios|linear|memory] [records] [--before TREE] [--shell VISITS]

ratios: the same visits, start included, four ways, with the processor's seconds beside those of the clock:
- a shell user's: `papermill` and then `jupyter nbconvert`, one visit after the other (some demonstrations, half of them
  before the others' turns and half after);
- the kit on two workers, by copies of a warm process and by plain kernels (a sample), with the greatest memory of all
  its processes; with --before, by another checkout of the kit as well;
- the floor: the notebook's cells as a plain function in a warm process, the record's files written; one process,
  and two side by side.
Goals: at least 25 times the shell user's rate, aim 30; at least .7 of the floor of as many processes; at most 850 MB;
200 visits in a minute and a half.
linear: seconds a record over 25 to 1000 records. memory: the curve over 1000 records, for each kind of process.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import ctypes
import json
import multiprocessing
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

from fitkit import files
from fitkit.batch.processes import kernel_environment

ROOT = Path(__file__).resolve().parents[2]
WORKERS = 2
DEMONSTRATIONS = len(list((ROOT / "demo_sessions").glob("*.json")))
PLAIN_SAMPLE = 6
LOOK_S = 1.0
_BECOME_SUBREAPER = 36  # Linux's prctl: what a run leaves behind, as the fork server, is waited for and counted here


@dataclass(frozen=True)
class Cost:
    """What records cost."""

    seconds: float  # by the clock, a record
    processor: float  # by the processor, a record
    memory_mb: float = 0.0  # greatest of all processes together, shared pages counted once

    def __str__(self) -> str:
        memory = f", {self.memory_mb:.0f} MB at most" if self.memory_mb else ""
        return f"{self.seconds:.3f} s, {self.processor:.3f} s of processor{memory}"


def mean(first: Cost, second: Cost) -> Cost:
    """Return the mean of two measurements of the same."""
    return Cost((first.seconds + second.seconds) / 2, (first.processor + second.processor) / 2)


def visits(count: int, folder: Path, tree: Path = ROOT) -> Path:
    """Write so many invented visits, those of a checkout's demonstration with other clients' ids."""
    folder.mkdir()
    demonstrations = sorted((tree / "demo_sessions").glob("*.json"))
    for number in range(count):
        document = json.loads(demonstrations[number % len(demonstrations)].read_bytes())
        document |= {"client_id": f"rider-{number:05d}", "demonstration": True}
        document.pop("fitter_id", None)
        name = f"{document['client_id']}_{document['visit_date']}_{document['setup']}.json"
        (folder / name).write_text(json.dumps(document), encoding="utf-8")
    return folder


def by_shell(sessions: list[Path], out: Path) -> Cost:
    """Return what a shell user's records cost, one command after the other."""
    out.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    programs = Path(sys.executable).parent
    begun, used = time.perf_counter(), processor_s()
    for session in sessions:
        notebook = out / f"{session.stem}.ipynb"
        template = files.template("client_report.ipynb")
        run = [programs / "papermill", template, notebook, "-p", "session", session, "--no-progress-bar"]
        page = [programs / "jupyter-nbconvert", "--to", "html", "--no-input", notebook]
        for words in (run, page):
            subprocess.run([str(word) for word in words], env=environment, check=True, capture_output=True)
    return Cost((time.perf_counter() - begun) / len(sessions), (processor_s() - used) / len(sessions))


def by_kit(sessions: Path, out: Path, *words: str, tree: Path = ROOT) -> Cost:
    """Return what the kit's records cost, start included."""
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    begun, used, most = time.perf_counter(), processor_s(), 0.0
    with (out.parent / f"{out.name}.txt").open("wb") as said:
        running = psutil.Popen(command(sessions, out, *words), cwd=tree, env=environment, stderr=said)
        while True:
            try:
                running.wait(LOOK_S)
                break
            except psutil.TimeoutExpired:
                most = max(most, sum(sizes(running).values()))
    seconds = time.perf_counter() - begun
    if running.returncode:
        raise SystemExit((out.parent / f"{out.name}.txt").read_text(encoding="utf-8"))
    for left in psutil.Process().children():
        with contextlib.suppress(psutil.Error):
            if "forkserver" in " ".join(
                left.cmdline()
            ):  # it ends on its own, and its time counts once it is waited for
                left.wait()
    count = len(list(out.glob("rider-*")))
    return Cost(seconds / count, (processor_s() - used) / count, most)


def processor_s() -> float:
    """Return the processor's seconds of all processes that have been waited for."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


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


def floor_work(sessions: list[Path], out: Path, start, done, used) -> None:
    """Warm up, wait for the start, make all, say so."""
    floor = Floor()
    floor.make(sessions[0], out / "warm")
    done.wait()
    start.wait()
    begun = time.process_time()
    for session in sessions:
        floor.make(session, out)
    with used:
        used.value += time.process_time() - begun
    done.wait()


def by_floor(sessions: Path, out: Path, processes: int, count: int) -> Cost:
    """Return what the floor's records cost, start left out."""
    spawn = multiprocessing.get_context("spawn")
    start, done, used = spawn.Event(), spawn.Barrier(processes + 1), spawn.Value("d")
    paths = sorted(sessions.glob("*.json"))[:count]
    shares = [paths[number::processes] for number in range(processes)]
    workers = [
        spawn.Process(target=floor_work, args=(share, out / str(number), start, done, used))
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
    return Cost(seconds, used.value / count)


def reported(what: str, cost: Cost) -> Cost:
    """Print what was measured at once, since the whole takes minutes, and return it."""
    print(f"[load {os.getloadavg()[0]:.1f}] {what}: {cost}", flush=True)
    return cost


def ratios(count: int, folder: Path, by_hand: int, before: Path | None) -> None:
    """Print how the kit stands between the shell user and the floor."""
    sessions = visits(count, folder / "sessions")
    few = visits(PLAIN_SAMPLE, folder / "few")
    once, sample = sorted(sessions.glob("*.json"))[:by_hand], min(count, DEMONSTRATIONS)
    # The shell user and the floor before and after the kit, so that a machine with other work to do is seen.
    shell = [reported("shell user, first half", by_shell(once[0::2], folder / "shell1"))]
    floors = {n: [by_floor(sessions, folder / f"floor{n}a", n, sample)] for n in (1, WORKERS)}
    kits = {"copies of a warm process": reported("the kit", by_kit(sessions, folder / "kit"))}
    if before:
        # An older kit does not know what newer sessions hold: it has its own demonstrations.
        earlier = visits(count, folder / "earlier", before)
        kits["the same, before"] = reported("the kit, before", by_kit(earlier, folder / "before", tree=before))
    for n in floors:
        floors[n].append(reported(f"floor of {n}", by_floor(sessions, folder / f"floor{n}b", n, sample)))
    shell.append(reported("shell user, second half", by_shell(once[1::2], folder / "shell2")))
    kits["plain kernels"] = by_kit(few, folder / "plain", "--plain-kernels")
    shell_mean = mean(*shell)
    print(f"{count} records, {by_hand} of them by the shell user too; {WORKERS} workers, load {os.getloadavg()[0]:.1f}")
    print("a record, start included:")
    print(f"shell, one after the other: {shell_mean} (first half {shell[0]}; second half {shell[1]})")
    for n, found in floors.items():
        print(f"floor of {n} process(es): {mean(*found)} (before {found[0]}; after {found[1]})")
    for name, kit in kits.items():
        print(f"{name}: {kit}")
        print(f"  against the shell user: {shell_mean.seconds / kit.seconds:.1f} times (goal 25, aim 30)")
        for n, found in floors.items():
            floor = mean(*found)
            by_clock, by_processor = floor.seconds / kit.seconds, floor.processor / kit.processor
            print(f"  of the floor of {n}: {by_clock:.2f} by the clock, {by_processor:.2f} by the processor")
        print(f"  200 visits: {200 * kit.seconds:.0f} s (goal 90)")
    print("goals: .7 of the floor of as many processes, at most 850 MB")


def linear(most: int, folder: Path) -> None:
    """Print seconds a record for growing numbers of records."""
    for count in (25, 100, 250, 1000):
        if count <= most:
            sessions = visits(count, folder / f"sessions{count}")
            print(f"{count:5d} records: {by_kit(sessions, folder / f'out{count}')} a record", flush=True)


def memory(count: int, folder: Path) -> None:
    """Print the memory of each kind of process over one long run [MB]."""
    sessions = visits(count, folder / "sessions")
    out = folder / "out"
    running = psutil.Popen(command(sessions, out), cwd=ROOT, stderr=subprocess.DEVNULL)
    print("records made; memory of each kind of process [MB], shared pages in shares")
    begun, shown = time.perf_counter(), -1
    while running.poll() is None:
        time.sleep(LOOK_S)
        made = len(list(out.glob("rider-*"))) if out.is_dir() else 0
        if made // max(1, count // 20) > shown:
            shown = made // max(1, count // 20)
            found = sizes(running)
            said = "  ".join(f"{kind} {size:.0f}" for kind, size in sorted(found.items()))
            print(f"{made:5d}  {time.perf_counter() - begun:6.0f} s  {said}  all {sum(found.values()):.0f}", flush=True)


def sizes(running: psutil.Popen) -> dict[str, float]:
    """Return the memory of a run's processes by kind, shared pages in shares [MB]."""
    found: dict[str, float] = {}
    for process in [running, *running.children(recursive=True)]:
        with contextlib.suppress(psutil.Error):
            kind = kind_of(process, running)
            found[kind] = found.get(kind, 0.0) + process.memory_full_info().pss / 1e6
    return found


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
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="?", default="ratios", choices=["ratios", "linear", "memory"])
    parser.add_argument("records", nargs="?", type=int)
    parser.add_argument("--before", type=Path, help="another checkout of the kit to compare with")
    parser.add_argument("--shell", type=int, default=12, help="visits that the shell user makes")
    asked = parser.parse_args()
    ctypes.CDLL(None).prctl(_BECOME_SUBREAPER, 1)
    count = asked.records or {"ratios": 150, "linear": 1000, "memory": 1000}[asked.what]
    folder = Path(tempfile.mkdtemp(prefix="bench-"))
    try:
        if asked.what == "ratios":
            ratios(count, folder, asked.shell, asked.before)
        else:
            {"linear": linear, "memory": memory}[asked.what](count, folder)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
