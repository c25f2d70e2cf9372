"""Drawings: what they show comes in, a figure with its rows and words goes out; knows no sessions."""

import sys

from fitkit.charts.figure import Figure

__all__ = ["Figure", "import_jsonschema"]

_GRAMMAR = "rfc3987_syntax"


def import_jsonschema() -> None:
    """Import jsonschema as Altair, nbformat and nbclient need it, a second sooner than they would; call it before them.

    Where Lab has brought a grammar of web addresses (its formats `iri` and `iri-reference`) it would compile that.
    """
    if _GRAMMAR not in sys.modules:
        sys.modules[_GRAMMAR] = None  # what the import system takes for "not installed"
        import jsonschema  # noqa: F401 - imported here so that it is found by those who import it later

        del sys.modules[_GRAMMAR]
