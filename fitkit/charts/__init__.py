"""Drawings: what they show comes in, a figure with its rows and words goes out; knows no sessions."""

import sys

# What makes a process of ours ready sooner. Altair, nbformat and nbclient import jsonschema, which compiles a grammar
# of web addresses (its formats `iri` and `iri-reference`) where Lab has brought one, and that takes a second. So it is
# imported here, before them, without what it could use and never needs here.
_GRAMMAR = "rfc3987_syntax"

if _GRAMMAR not in sys.modules:
    sys.modules[_GRAMMAR] = None  # what the import system takes for "not installed"
    import jsonschema  # noqa: F401 - imported here so that it is found by those who import it later

    del sys.modules[_GRAMMAR]

from fitkit.charts.figure import Figure  # noqa: E402 - after that

__all__ = ["Figure"]
