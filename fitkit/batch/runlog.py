"""The run log, a line for each visit each time it was worked on, and what the screen says of a run as it goes."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TextIO

from fitkit.files import Access
from fitkit.words import one_line

__all__ = ["NAME", "Entry", "Progress", "RunLog"]

NAME = "runlog.jsonl"


@dataclass(frozen=True)
class Entry:
    """What happened to one visit, or to one file that is none."""

    run: str  # when the run began; the same for all its visits
    at: str  # when this visit was done
    key: str | None  # the visit; None where a file's name tells none
    file: str  # name of the session file
    status: str  # "made", "unchanged", "failed" or "consent withdrawn"
    reason: str = ""  # why it failed, in words
    seconds: float = 0.0  # how long it took
    exit: int = 0  # 0 made or unchanged, 1 failed, else the exit of the run that was stopped
    # what ran the notebook: a "forked" copy of a warm process or a "plain" kernel; empty where none did
    engine: str = ""
    fingerprint: str = ""  # digest of all inputs of the record made
    record: str = ""  # digest of the record's files
    demonstration: bool = False  # whether the rider is invented


class RunLog:
    """The run log of one report folder."""

    def __init__(self, folder: Path, access: Access) -> None:
        self.path = folder / NAME
        self.access = access

    def add(self, entry: Entry) -> None:
        """Add a line."""
        line = json.dumps(asdict(entry)).encode() + b"\n"
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(descriptor, "r+b") as file:
            length = file.seek(0, os.SEEK_END)
            if length == 0:
                self.path.chmod(self.access.file_mode)
            elif self._is_cut_off(file, length):
                line = b"\n" + line
            file.write(line)

    @staticmethod
    def _is_cut_off(file, length: int) -> bool:
        """Whether the last line has no end: its run was killed, or the disk was full."""
        file.seek(length - 1)
        return file.read(1) != b"\n"

    def entries(self) -> list[Entry]:
        """Return all lines that are whole; a line cut off by a killed run does not count."""
        if not self.path.is_file():
            return []
        read = (_entry(line) for line in self.path.read_bytes().splitlines())
        return [entry for entry in read if entry is not None]

    def rewrite(self, entries: Iterable[Entry]) -> None:
        """Keep only these lines; used where a client is to be forgotten."""
        lines = "".join(json.dumps(asdict(entry)) + "\n" for entry in entries)
        self.access.replace(self.path, lines.encode())


def _entry(line: bytes) -> Entry | None:
    try:
        return Entry(**json.loads(line))
    except (ValueError, TypeError):
        return None


class Progress:
    """Tells of each record as it is done: one line kept current on a terminal, else one line for each."""

    def __init__(self, stream: TextIO, total: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.stream = stream
        self.total = total
        self.clock = clock
        self.begun = clock()
        self.made = 0
        self.failed = 0
        self._on_terminal = stream.isatty()
        self._shown = 0

    def record(self, key: str, *, reason: str | None = None) -> None:
        """Count a record; with a reason it failed, and that is said on a line of its own."""
        if reason is None:
            self.made += 1
        else:
            self.failed += 1
            self.say(f"{key}: not made: {one_line(reason, longest=4000)}")
        self._show(self.line())

    def line(self) -> str:
        """Return how far the run is, with rate and time left."""
        done = self.made + self.failed
        seconds = max(self.clock() - self.begun, 1e-6)
        rate = done / seconds
        left = (self.total - done) / rate if rate else 0.0
        return f"{self.made} of {self.total} made, {self.failed} failed, {_rate(rate)}, {left:.0f} s left"

    def say(self, message: str) -> None:
        """Say something on a line of its own."""
        self.end()
        self.stream.write(message + "\n")
        self.stream.flush()

    def end(self) -> None:
        """Take the current line off the terminal."""
        if self._shown:
            self.stream.write("\r" + " " * self._shown + "\r")
            self._shown = 0

    def _show(self, line: str) -> None:
        if self._on_terminal:
            self.end()
            self.stream.write(line)
            self._shown = len(line)
        else:
            self.stream.write(line + "\n")
        self.stream.flush()


def _rate(rate: float) -> str:
    return f"{rate:.1f} a second"
