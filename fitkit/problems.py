"""What is wrong with a file or a call: where, what was found, what was expected, what to do; all of it at once."""

from __future__ import annotations

import csv
import difflib
import io
import json
import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitkit.words import count, printable

Steps = tuple[str | int, ...]


@dataclass(frozen=True)
class Problem:
    """One thing wrong, in words; `str()` makes it a sentence."""

    where: str = ""  # dotted path of the field, a list's index as a number from 0; empty where `found` says it all
    found: str = ""  # what stands there, shortened
    expected: str = ""  # what should stand there
    hint: str = ""  # what to do
    file: str = ""  # name of the file, where more than one is read
    line: int | None = None  # line of a table, the first is 1

    def __str__(self) -> str:
        sentence = f"{self.where} is {self.found}; expected {self.expected}." if self.where else self.found
        before = f"{self.file}: " if self.file else ""
        if self.line is not None:
            before += f"line {self.line}: "
        return f"{before}{sentence} {self.hint}".rstrip()


class Problems(ValueError):  # noqa: N818 - it names what it carries
    """Everything wrong with one file or call at once; nothing was saved."""

    LISTED = 100  # problems written out in one message; all are in the error's own list
    MORE = "more"

    def __init__(self, path: Path | None, problems: Iterable[Problem]) -> None:
        self.path = path
        self.problems = tuple(problems)
        super().__init__(path, self.problems)  # so that another process can hand it on

    def __str__(self) -> str:
        lines = [f"- {problem}" for problem in self.problems[: self.LISTED]]
        if len(self.problems) > self.LISTED:
            lines.append(f"- and {len(self.problems) - self.LISTED} {self.MORE}")
        return "\n".join([self._headline(), *lines])

    def _headline(self) -> str:
        return f"{self.path.name if self.path else 'session'}: {count(len(self.problems), 'problem')}"


class WrongCallError(Exception):
    """The command cannot be carried out as it was given; each argument says what was found and what was expected."""

    def __str__(self) -> str:
        return "\n".join(str(line) for line in self.args)


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


def near(name: str, names: Iterable[str], question: str = "Did you mean {}?") -> str:
    """Return the question whether a similar name was meant, or nothing where none is similar."""
    close = difflib.get_close_matches(name[:60], list(names), n=1)
    return question.format(close[0]) if close else ""


def slip(value: float, unit: str | None, usual: tuple[float, float], *, is_typed: bool = False) -> tuple[str, float]:
    """Return the likely slip of the unit or the decimal point behind an unlikely value [unit], and what was meant.

    No words where none is likely. What was typed by hand may be in inches too.
    """
    low, high = usual
    slips = [(10, "Entered in cm?"), (1000, "Entered in m?")] if unit == "mm" else []
    slips += [(25.4, "Entered in inches?")] if unit == "mm" and is_typed else []
    slips += [(10, "A decimal point in the wrong place?"), (0.1, "A decimal point in the wrong place?")]
    fitting = ((hint, value * factor) for factor, hint in slips if value and low / factor <= value <= high / factor)
    return ("", value) if low <= value <= high else next(fitting, ("", value))


def json_tree(text: str) -> tuple[Any, list[Steps]]:
    """Return what a JSON text holds, and the steps to each name that stands twice in its group.

    Raises json.JSONDecodeError where it is no JSON, RecursionError where it is nested too deeply, ValueError where it
    holds a number of thousands of digits.
    """
    twice: dict[int, tuple[dict, list[str]]] = {}

    def group(pairs: list[tuple[str, Any]]) -> dict:
        found = dict(pairs)
        if len(found) != len(pairs):
            # The group is kept beside its names, so that no other takes its identity.
            twice[id(found)] = found, [name for name, times in Counter(name for name, _ in pairs).items() if times > 1]
        return found

    tree = json.loads(text, object_pairs_hook=group)
    return tree, list(_repeated(tree, (), twice)) if twice else []


def _repeated(tree: Any, above: Steps, twice: dict[int, tuple[dict, list[str]]]) -> Iterator[Steps]:
    for name in twice.get(id(tree), (tree, ()))[1]:
        yield (*above, name)
    for step, value in tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ():
        yield from _repeated(value, (*above, step), twice)


def table_rows(text: str, mark: str = ",") -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield the rows of a table that are not blank: the line each begins on, and its cells without outer spaces.

    Raises csv.Error where the cells cannot be told apart.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    line = 1  # quoted cells may hold line ends
    for row in reader:
        cells = tuple(cell.strip() for cell in row)
        if any(cells):
            yield line, cells
        line = reader.line_num + 1
