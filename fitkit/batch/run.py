"""The batch: from session files to a report folder."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from fitkit import files
from fitkit.batch import inputs, processes
from fitkit.batch.folder import Entry, ReportFolder, RunLog, opened, record_files
from fitkit.batch.index import INDEX, NOT_ENDED, headline, rows_of, write_contents
from fitkit.batch.inputs import Found, Refused, Visit, load_house, staged_house
from fitkit.batch.job import TEMPLATE, Job, Limits, digest_of_files, digest_of_kit, digests_of_inputs, fingerprint
from fitkit.batch.pool import Pool
from fitkit.batch.processes import Interruption
from fitkit.files import Access, os_reason
from fitkit.house import House
from fitkit.problems import WrongCallError
from fitkit.words import one_line

if TYPE_CHECKING:
    from distributed import Client

    from fitkit.batch.cluster import ClusterPool

_STOPPED = "the run was stopped before this record was made"


@dataclass(frozen=True)
class Options:
    """How a batch is to run."""

    out: Path  # the report folder
    workers: int = 2  # records made side by side
    pdf: bool = False  # whether the pages are made as PDF as well
    full: bool = False  # whether the folded parts of a record are open, so that they are printed
    again: bool = False  # whether unchanged visits are made again
    # whether copies of a warm process run the notebook, where that can be; the records are the same
    forked: bool = True
    cluster: str | None = None  # address of a running cluster that makes the records in place of this machine
    rules: Path | None = None  # house rules and parts table in place of those shipped
    parts: Path | None = None  # house rules and parts table in place of those shipped
    limits: Limits = field(default_factory=Limits)  # limits of a record


def report(session_places: Sequence[Path | str], options: Options, *, screen: TextIO | None = None) -> int:
    """Make the records of all visits and return the exit code."""
    browser = processes.find_browser() if options.pdf else None
    if options.pdf and browser is None:
        raise WrongCallError(
            "--pdf needs Chromium, and none was found; install the package 'chromium', or leave out --pdf"
        )
    rules = load_house(options.rules, options.parts).rules
    access = Access(group=rules.access == "group")
    out = Path(os.path.abspath(options.out))
    with Interruption() as interruption, _cluster(options.cluster) as cluster:
        found = inputs.find(session_places, apart=out)
        with opened(out, access) as folder:
            return _Batch(options, folder, found, browser, screen or sys.stderr, cluster).run(interruption)


def _cluster(address: str | None) -> contextlib.AbstractContextManager[Client | None]:
    if address is None:
        return contextlib.nullcontext()
    from fitkit.batch.cluster import connected

    return connected(address)


@dataclass
class _Batch:
    """One run over one report folder."""

    options: Options
    folder: ReportFolder
    found: Found
    browser: str | None
    screen: TextIO
    cluster: Client | None
    unwritten: str = ""  # what could not be written of log and index

    def __post_init__(self) -> None:
        self.visits = {visit.key: visit for visit in self.found.visits}
        self.log = RunLog(self.folder.path, self.folder.access)
        self.entries = self.log.entries()
        self.run_name = _now()

    def run(self, interruption: Interruption) -> int:
        """Make what has to be made; return the exit code."""
        house, environment = self._house()
        self.found.say_beside(self.screen)
        kit = digest_of_kit(house, pdf=self.options.pdf, full=self.options.full)
        for refused in self.found.refused:
            self._refuse(refused)
        jobs = {visit.key: self._job(visit, kit) for visit in self._to_make(kit, interruption)}
        progress = Progress(self.screen, len(jobs))
        with self._pool(environment, interruption, progress) as pool:
            if jobs:
                pool.warm_up()
            self._write_contents(waiting=jobs)
            for job, outcome in pool.run(jobs.values()):
                del jobs[job.key]
                self._finish(job, outcome, progress)
        if interruption.signal is not None:
            for key in jobs:
                self._note(key, "failed", reason=_STOPPED, exit=interruption.exit_code)
        self._write_contents()
        progress.end()
        return self._conclude(interruption)

    def _pool(self, environment: dict[str, str], interruption: Interruption, progress: Progress) -> Pool | ClusterPool:
        kind = {"forked": self.options.forked, "wake": interruption.wake, "say": progress.say}
        if self.cluster is None:
            return Pool(self.options.workers, environment, **kind)
        from fitkit.batch.cluster import ClusterPool

        return ClusterPool(self.cluster, environment, **kind)

    def _house(self) -> tuple[House, dict[str, str]]:
        try:
            return staged_house(self.options.rules, self.options.parts, self.folder.making)
        except OSError as error:
            raise WrongCallError(f"{one_line(self.folder.path)} cannot be written: {os_reason(error)}") from None

    def _to_make(self, kit: str, interruption: Interruption) -> Iterator[Visit]:
        """Give the visits whose record is not there or no longer what their files give; note the others."""
        made = {entry.key: entry for entry in self.entries if entry.status == "made"}
        for visit in self.found.visits:
            if interruption.signal is None and self._is_unchanged(visit, made.get(visit.key), kit):
                self._note(visit.key, "unchanged")
            else:
                yield visit

    def _is_unchanged(self, visit: Visit, entry: Entry | None, kit: str) -> bool:
        if entry is None or self.options.again:
            return False
        try:
            if fingerprint(kit, digests_of_inputs(visit.inputs)) != entry.fingerprint:
                return False
            names = record_files(pdf=self.options.pdf)
            return digest_of_files(self.folder.path / visit.key, names) == entry.record
        except OSError:
            return False  # a file of the record is gone, or an input: the worker will say which

    def _job(self, visit: Visit, kit: str) -> Job:
        return Job(
            key=visit.key,
            inputs=visit.inputs,
            template=str(files.template(TEMPLATE)),
            making=str(self.folder.making),
            kit=kit,
            access=self.folder.access,
            limits=self.options.limits,
            browser=self.browser,
            full=self.options.full,
        )

    def _refuse(self, refused: Refused) -> None:
        self.screen.write(f"{one_line(refused.path)}: not made: {one_line(refused.reason, longest=4000)}\n")
        if refused.is_withdrawn and refused.key is not None:
            self.folder.forget(refused.key)  # an earlier record is taken away
        self._add(
            Entry(
                run=self.run_name,
                at=_now(),
                key=refused.key,
                file=one_line(refused.path, longest=4000),
                status="consent withdrawn" if refused.is_withdrawn else "failed",
                reason=refused.reason,
                exit=0 if refused.is_withdrawn else 1,
            )
        )

    def _finish(self, job: Job, outcome: dict, progress: Progress) -> None:
        if outcome["status"] == "made":
            try:
                self.folder.put_in_place(job.key)
            except OSError as error:
                reason = f"the record could not be put in place: {os_reason(error)}"
                outcome = {**outcome, "status": "failed", "reason": reason}
        reason = None if outcome["status"] == "made" else outcome["reason"]
        if reason is not None:
            self.folder.drop_unfinished(job.key)
        self._note(job.key, exit=0 if reason is None else 1, **outcome)
        progress.record(job.key, reason=reason)

    def _note(self, key: str, status: str, **more: object) -> None:
        visit = self.visits[key]
        demonstration = bool(visit.session.demonstration)
        file = one_line(visit.path, longest=4000)
        self._add(
            Entry(run=self.run_name, at=_now(), key=key, file=file, status=status, demonstration=demonstration, **more)
        )

    def _add(self, entry: Entry) -> None:
        self.entries.append(entry)
        try:
            self.log.add(entry)
        except OSError as error:
            self.unwritten = f"the run log could not be written: {os_reason(error)}"

    def _write_contents(self, waiting: Sequence[str] | None = None) -> None:
        rows = rows_of(self.folder, self.entries, waiting=waiting or ())
        said = NOT_ENDED if waiting else headline(rows)
        try:
            write_contents(self.folder, rows, said=said)
        except OSError as error:
            self.unwritten = f"the index could not be written: {os_reason(error)}"

    def _conclude(self, interruption: Interruption) -> int:
        ours = [entry for entry in self.entries if entry.run == self.run_name]
        failed = sum(entry.status == "failed" for entry in ours)
        made, unchanged = (sum(entry.status == status for entry in ours) for status in ("made", "unchanged"))
        said = f"{made} made, {unchanged} unchanged, {failed} not made: {one_line(self.folder.path / INDEX)}\n"
        self.screen.write(said if not self.unwritten else f"{said}{self.unwritten}\n")
        self.screen.flush()
        if interruption.signal is not None:
            return interruption.exit_code
        return 1 if failed or self.unwritten else 0


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


class Progress:
    """Shows each record as it is done: one line kept current on a terminal, else one line for each."""

    def __init__(self, screen: TextIO, total: int) -> None:
        self.screen = screen
        self.total = total
        self.begun = time.monotonic()
        self.first = self.begun  # when the first was done: getting ready takes its time once
        self.made = self.failed = 0
        self._shown = 0  # characters on the terminal's current line

    def record(self, key: str, *, reason: str | None = None) -> None:
        """Count a record; with a reason it failed, and that is said on a line of its own."""
        if reason is None:
            self.made += 1
        else:
            self.failed += 1
            self.say(f"{key}: not made: {one_line(reason, longest=4000)}")
        done, now = self.made + self.failed, time.monotonic()
        if done == 1:
            self.first = now
        rate = done / max(now - self.begun, 1e-6)
        each = (now - self.first) / (done - 1) if done > 1 else now - self.begun
        left = (self.total - done) * each
        line = f"{self.made} of {self.total} made, {self.failed} failed, {rate:.1f} a second, {left:.0f} s left"
        if self.screen.isatty():
            self.end()
            self.screen.write(line)
            self.screen.flush()
            self._shown = len(line)
        else:
            self.say(line)

    def say(self, message: str) -> None:
        """Say something on a line of its own."""
        self.end()
        self.screen.write(message + "\n")
        self.screen.flush()

    def end(self) -> None:
        """Take the current line off the terminal."""
        if self._shown:
            self.screen.write("\r" + " " * self._shown + "\r")
            self._shown = 0
