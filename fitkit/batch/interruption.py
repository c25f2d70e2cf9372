"""Ctrl-C and other requests to stop, turned into something a run can wait for and end in order."""

from __future__ import annotations

import os
import signal
import threading
from types import FrameType

from fitkit.batch.processes import STOPPING

__all__ = ["Interruption"]


class Interruption:
    """Notes the first stopping signal while its block runs.

    ``wake`` is a file descriptor that can be read from then on; ``signal`` is the number, None before.
    """

    def __init__(self) -> None:
        self.signal: int | None = None
        self.wake, self._note = os.pipe()
        self._before: dict[int, object] = {}

    @property
    def exit_code(self) -> int:
        """128 and the signal's number, as shells count."""
        return 128 + self.signal

    def __enter__(self) -> Interruption:
        if threading.current_thread() is threading.main_thread():
            for number in STOPPING:
                # A run started to outlive its terminal has these ignored already, and keeps them so.
                if signal.getsignal(number) is not signal.SIG_IGN:
                    self._before[number] = signal.signal(number, self._noted)
        return self

    def __exit__(self, *exception: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
        os.close(self.wake)
        os.close(self._note)

    def _noted(self, number: int, frame: FrameType | None) -> None:
        if self.signal is None:
            self.signal = number
            os.write(self._note, b"!")
