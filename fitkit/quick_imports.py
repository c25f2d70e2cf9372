"""What makes a process of ours ready sooner: libraries imported without what they could use and never need here.

Import this before altair, nbformat or nbclient. All three import jsonschema, which compiles a grammar of web
addresses (its formats `iri` and `iri-reference`) where Lab has brought one, and that takes a second.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["hidden"]


@contextmanager
def hidden(name: str) -> Iterator[None]:
    """Let imports within find no package of this name, unless it is imported already."""
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # what the import system takes for "not installed"
    try:
        yield
    finally:
        del sys.modules[name]


with hidden("rfc3987_syntax"):
    import jsonschema  # noqa: F401 - imported here so that it is found by those who import it later
