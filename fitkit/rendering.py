"""How a chart's specification becomes an SVG: in this process, or in a warm one that the environment names.

The library that draws takes up to a second at its first call and milliseconds afterwards. A batch keeps one process
that has made its first call, and names its socket in the environment of the processes that need charts.
"""

from __future__ import annotations

import json
import os
import socket

import vl_convert

__all__ = ["RENDERER", "draw", "receive", "send", "svg"]

RENDERER = "FITKIT_RENDERER"
_DRAWN = b"S"
_LENGTH_BYTES = 8
_CHUNK_BYTES = 1 << 20


def svg(specification: dict) -> str:
    """Return a Vega-Lite specification as an SVG; the same bytes whoever draws it."""
    address = os.environ.get(RENDERER)
    if address:
        try:
            return _asked(address, specification)
        except OSError:
            pass  # the warm process is not there or has ended: drawn here, later and the same
    return draw(specification)


def draw(specification: dict) -> str:
    """Return a specification as an SVG, drawn in this process; raises ValueError as `svg` does."""
    # The empty list forbids every address: a chart carries its data.
    return vl_convert.vegalite_to_svg(specification, allowed_base_urls=[])


def _asked(address: str, specification: dict) -> str:
    with socket.socket(socket.AF_UNIX) as link:
        link.connect(address)
        send(link, json.dumps(specification).encode())
        answer = receive(link)
    kind, text = answer[:1], answer[1:].decode()
    if kind != _DRAWN:
        raise ValueError(text)
    return text


def send(link: socket.socket, data: bytes) -> None:
    """Send one message."""
    link.sendall(len(data).to_bytes(_LENGTH_BYTES, "little") + data)


def receive(link: socket.socket) -> bytes:
    """Return the next message; raises ConnectionError where the other end has closed."""
    return _exactly(link, int.from_bytes(_exactly(link, _LENGTH_BYTES), "little"))


def _exactly(link: socket.socket, count: int) -> bytes:
    data = bytearray()
    while len(data) < count:
        piece = link.recv(min(_CHUNK_BYTES, count - len(data)))
        if not piece:
            raise ConnectionError("the other end has closed")
        data += piece
    return bytes(data)
