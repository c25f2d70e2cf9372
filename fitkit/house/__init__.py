"""House rules and parts table: the clinic's own choices and stock, read together, refused together."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

from fitkit import places
from fitkit.house.parts import COLUMNS, KINDS, Part, parse_parts
from fitkit.house.problems import HouseProblems, Problem, readable_text
from fitkit.house.rules import CAUSES, Clinic, Rules, Shift, Spread, StartingBand, parse_rules

__all__ = [
    "CAUSES",
    "COLUMNS",
    "KINDS",
    "Clinic",
    "House",
    "HouseProblems",
    "Part",
    "Problem",
    "Rules",
    "Shift",
    "Spread",
    "StartingBand",
    "load",
]


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
    rules_bytes, rules_text, problems = readable_text(rules_path)
    found_rules, found_parts = None, ()
    if not problems:
        found_rules, problems = parse_rules(rules_text, file=rules_path.name)
    parts_bytes, parts_text, unreadable = readable_text(parts_path)
    problems += unreadable
    if not unreadable:
        found_parts, wrong = parse_parts(parts_text, file=parts_path.name)
        problems += wrong
    if problems:
        raise HouseProblems(problems)
    # Each file's own digest first, so that bytes cannot wander from one file to the other unseen.
    digests = hashlib.sha256(rules_bytes).digest() + hashlib.sha256(parts_bytes).digest()
    return House(found_rules, found_parts, rules_source, parts_source, hashlib.sha256(digests).hexdigest())


def _chosen(given: str | Path | None, variable: str, shipped: str, words: str) -> tuple[Path, str]:
    asked = given or os.environ.get(variable)
    if asked:
        return Path(asked), Path(asked).name
    return places.template(shipped), words
