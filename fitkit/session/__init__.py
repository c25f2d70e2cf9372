"""The session file: what it holds, how it is read and saved, and everything that can be wrong with it."""

from __future__ import annotations

from fitkit.session.catalogue import FieldInfo, describe, fields, kept, unusual
from fitkit.session.models import Session
from fitkit.session.problems import Problem, SessionProblems
from fitkit.session.reading import dump, key, load, parse
from fitkit.session.vocabulary import REGIONS, SEEN, SIGNS

__all__ = [
    "REGIONS",
    "SEEN",
    "SIGNS",
    "FieldInfo",
    "Problem",
    "Session",
    "SessionProblems",
    "describe",
    "dump",
    "fields",
    "kept",
    "key",
    "load",
    "parse",
    "unusual",
]
