"""The session file: what it holds, how it is read and saved, and everything that can be wrong with it."""

from __future__ import annotations

from fitkit.session.catalogue import FieldInfo, describe, fields, json_schema, kept, unusual
from fitkit.session.files import Change, forget, history, replay
from fitkit.session.models import Session
from fitkit.session.problems import Problem, SessionProblems
from fitkit.session.reading import dump, key, load, parse
from fitkit.session.store import Saved, new, sign_off, strike, update
from fitkit.session.vocabulary import REGIONS, SEEN, SIGNS

__all__ = [
    "REGIONS",
    "SEEN",
    "SIGNS",
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
    "load",
    "new",
    "parse",
    "replay",
    "sign_off",
    "strike",
    "unusual",
    "update",
]
