"""What makes a process of ours ready sooner: libraries imported without what they could use and never need here.

Import this before altair, nbformat or nbclient. All three import jsonschema, which compiles a grammar of web
addresses (its formats `iri` and `iri-reference`) where Lab has brought one, and that takes a second.
"""

from __future__ import annotations

import sys

__all__: list[str] = []

_GRAMMAR = "rfc3987_syntax"

if _GRAMMAR not in sys.modules:
    sys.modules[_GRAMMAR] = None  # what the import system takes for "not installed"
    import jsonschema  # noqa: F401 - imported here so that it is found by those who import it later

    del sys.modules[_GRAMMAR]
