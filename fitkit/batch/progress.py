"""How far a run is, said while it runs."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TextIO

from fitkit.batch.messages import plain

__all__ = ["Progress"]


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
            self.say(f"{key}: not made: {plain(reason, longest=4000)}")
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
