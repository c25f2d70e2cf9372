"""House rules and parts table: the clinic's own choices and stock, read together, refused together."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

from fitkit import files
from fitkit.house.parts import Part, parse_parts
from fitkit.house.rules import Rules, Shift, StartingBand, parse_rules
from fitkit.problems import Problem, Problems

__all__ = ["House", "HouseProblems", "Part", "Rules", "Shift", "StartingBand", "load"]

GREATEST_FILE_BYTES = 1_000_000


class HouseProblems(Problems):
    """Everything wrong with the house rules and the parts table, at once; each problem names its file."""

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


@dataclass(frozen=True)
class House:
    """The house rules and the parts table in force."""

    rules: Rules  # the house rules
    parts: tuple[Part, ...]  # the parts, in the table's order
    rules_source: str  # where they come from, in words that may be printed: no folder names
    parts_source: str  # where they come from, in words that may be printed: no folder names
    # SHA-256 over the bytes of both files: as long as it stays, nothing here has changed. Empty when made by hand
    fingerprint: str = ""

    @property
    def families(self) -> tuple[str, ...]:
        """Names of the families, in the table's order."""
        return tuple(dict.fromkeys(part.family for part in self.parts))

    def family(self, name: str) -> tuple[Part, ...]:
        """Return the parts of one family, none where the table has no such family."""
        return tuple(part for part in self.parts if part.family == name)


def load(rules: str | Path | None = None, parts: str | Path | None = None) -> House:
    """Return the house rules and the parts table."""
    rules_path, rules_source = _chosen(rules, "FITKIT_RULES", "house_rules.json", "house rules as shipped")
    parts_path, parts_source = _chosen(parts, "FITKIT_PARTS", "parts.csv", "parts table as shipped")
    found, problems, digests = [], [], b""
    for path, parse in ((rules_path, parse_rules), (parts_path, parse_parts)):
        try:
            data, text = _readable(path)
        except HouseProblems as error:
            problems += error.problems
            continue
        content, wrong = parse(text, file=path.name)
        found.append(content)
        problems += wrong
        # Each file's own digest first, so that bytes cannot wander from one file to the other unseen.
        digests += hashlib.sha256(data).digest()
    if problems:
        raise HouseProblems(None, problems)
    return House(*found, rules_source, parts_source, hashlib.sha256(digests).hexdigest())


def _chosen(given: str | Path | None, variable: str, shipped: str, words: str) -> tuple[Path, str]:
    asked = given or os.environ.get(variable)
    if asked:
        return Path(asked), Path(asked).name
    return files.template(shipped), words


def _readable(path: Path) -> tuple[bytes, str]:
    """Return a file's bytes and its text; a byte order mark is let pass."""

    def unusable(found: str, expected: str, hint: str = "") -> HouseProblems:
        return HouseProblems(path, [Problem("the file", found, expected, hint, path.name)])

    try:
        with path.open("rb") as stream:
            data = stream.read(GREATEST_FILE_BYTES + 1)
    except OSError as error:
        found = f"unreadable ({error.strerror})"
        raise unusable(found, "a file that can be read", f"Asked for: {path}") from None
    if len(data) > GREATEST_FILE_BYTES:
        raise unusable("too large", f"at most {GREATEST_FILE_BYTES} bytes")
    if not data.strip():
        raise unusable("empty", "the content of the shipped file or one like it")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"byte 0x{data[error.start]:02x} at position {error.start}"
        raise unusable(found, "text in UTF-8", "Save it again with that encoding.") from None
    if "\0" in text:
        raise unusable("text with zero bytes", "text in UTF-8")
    return data, text
