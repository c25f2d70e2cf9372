"""The session file: what it holds, how it is read and saved, and everything that can be wrong with it."""

from __future__ import annotations

from fitkit.problems import Problem
from fitkit.session.checks import unusual
from fitkit.session.history import Change, forget, history, keys_of, replay
from fitkit.session.models import Session
from fitkit.session.paths import FieldInfo, describe, fields, json_schema, kept
from fitkit.session.reading import SessionProblems, dump, key, load, parse
from fitkit.session.store import Saved, new, sign_off, strike, update

__all__ = [
    "Change",
    "FieldInfo",
    "Problem",
    "Saved",
    "Session",
    "SessionProblems",
    "describe",
    "dump",
    "fields",
    "forget",
    "history",
    "json_schema",
    "kept",
    "key",
    "keys_of",
    "load",
    "new",
    "parse",
    "replay",
    "sign_off",
    "strike",
    "unusual",
    "update",
]
