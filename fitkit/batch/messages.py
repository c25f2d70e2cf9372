"""The one way a text from a file or from the system reaches a screen, a page or a log."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

__all__ = ["WrongCallError", "count", "join", "os_reason", "plain"]

# A longer text would bury the others; what a person needs to find the place is at its beginning.
_LONGEST = 600
_SHOWN_AS_CODE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def plain(text: object, *, longest: int = _LONGEST) -> str:
    """Return a text on one line, with nothing in it that a terminal or a page would act upon.

    Line ends and tabs become spaces; other control characters, marks that change the direction of writing and
    broken characters are shown as their code, as in ``\\x1b``.
    """
    words = " ".join(str(text)[: 4 * longest].split())
    shown = "".join(_shown(letter) for letter in words)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def _shown(letter: str) -> str:
    if unicodedata.category(letter) not in _SHOWN_AS_CODE:
        return letter
    return letter.encode("unicode_escape").decode("ascii")


def join(problems: Iterable[object]) -> str:
    """Return several problems as one reason, each made plain."""
    return "; ".join(plain(problem) for problem in problems)


def count(number: int, noun: str) -> str:
    """Return a number with its noun: ``1 record``, ``2 records``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def os_reason(error: OSError) -> str:
    """Return why the system refused, without the path of the file: the message that uses it names the file."""
    return plain(error.strerror or error)


class WrongCallError(Exception):
    """The command cannot be carried out as it was given; each argument says what was found and what was expected."""

    def __str__(self) -> str:
        return "\n".join(str(line) for line in self.args)
