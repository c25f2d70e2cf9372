"""What is wrong with a session: where, what was found, what was expected, what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitkit.words import printable

__all__ = ["Problem", "SessionProblems", "joined", "said", "slip_hint"]

_MOST_SAID = 100  # problems written out in one message; all are in the error's own list


@dataclass(frozen=True)
class Problem:
    """One thing wrong, in words; `str()` makes it a sentence."""

    where: str  # dotted path of the field, a list's index as a number from 0
    found: str  # what stands there, shortened
    expected: str  # what should stand there
    hint: str = ""  # what to do

    def __str__(self) -> str:
        sentence = f"{self.where} is {self.found}; expected {self.expected}."
        return f"{sentence} {self.hint}" if self.hint else sentence


class SessionProblems(ValueError):  # noqa: N818 - it names what it carries
    """Everything wrong with one session at once; nothing was saved."""

    def __init__(self, path: Path | None, problems: Iterable[Problem]) -> None:
        self.path = path
        self.problems = tuple(problems)
        super().__init__(path, self.problems)

    def __str__(self) -> str:
        count = len(self.problems)
        head = f"{self.path.name if self.path else 'session'}: {count} problem{'' if count == 1 else 's'}"
        lines = [f"- {problem}" for problem in self.problems[:_MOST_SAID]]
        if count > _MOST_SAID:
            lines.append(f"- and {count - _MOST_SAID} more")
        return "\n".join([head, *lines])


def joined(steps: Iterable[str | int]) -> str:
    """Return the dotted path of the steps."""
    return ".".join(printable(str(step)) for step in steps)


def said(value: Any) -> str:
    """Return a value as a message shows it: as in JSON, cut to 60 characters, lists and groups by their size."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, float) and not math.isfinite(value):
        return "not a finite number (NaN)" if math.isnan(value) else f"not a finite number ({value:+})"
    if isinstance(value, (int, float)):
        return printable(f"{value}")
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    return f"a group of {len(value)} fields" if isinstance(value, dict) else f"a {type(value).__name__}"


def slip_hint(value: float, unit: str, usual: tuple[float, float]) -> str:
    """Return the likely slip of the unit or the decimal point behind an unlikely value [unit], or nothing."""
    low, high = usual
    slips = [(10, "Entered in cm?"), (1000, "Entered in m?")] if unit == "mm" else []
    slips += [(10, "A decimal point in the wrong place?"), (0.1, "A decimal point in the wrong place?")]
    fitting = (hint for factor, hint in slips if value and low / factor <= value <= high / factor)
    return "" if low <= value <= high else next(fitting, "")
