"""The process that draws a worker's charts, its first and slow drawing behind it.

Called as ``python -m fitkit.batch.renderer SOCKET``, with the number of a listening socket. It ends when its
standard input does, that is with the run.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import threading

from fitkit import rendering

__all__ = ["main", "start"]

_FIRST = {"data": {"values": [{"a": 1}]}, "mark": "point", "encoding": {"x": {"field": "a", "type": "quantitative"}}}


def start(address: str) -> subprocess.Popen:
    """Start one that listens at an address: whoever comes before it is warm waits for it."""
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(address)
        listening.listen(16)
        command = [sys.executable, "-m", "fitkit.batch.renderer", str(listening.fileno())]
        return subprocess.Popen(command, stdin=subprocess.PIPE, pass_fds=[listening.fileno()], start_new_session=True)


def main() -> None:
    """Draw whatever is asked for on the socket."""
    threading.Thread(target=_end_with_input, daemon=True).start()
    listening = socket.socket(fileno=int(sys.argv[1]))
    rendering.draw(_FIRST)
    while True:
        link, _ = listening.accept()
        with link, contextlib.suppress(OSError):
            rendering.send(link, _answer(rendering.receive(link)))


def _answer(asked: bytes) -> bytes:
    try:
        return b"S" + rendering.draw(json.loads(asked)).encode()
    except ValueError as error:
        return b"E" + str(error).encode()


def _end_with_input() -> None:
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    main()
