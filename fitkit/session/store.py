"""Making, changing, signing and forgetting session files: field by field, under a lock, every change in the history."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel

from fitkit.session.checks import is_readings
from fitkit.session.files import locked, make_folder, replace_durably, sync_folder
from fitkit.session.history import Change, add, differences, history, replay
from fitkit.session.models import Session
from fitkit.session.paths import get, pruned, put, same, steps_of
from fitkit.session.problems import Problem, SessionProblems, joined, said
from fitkit.session.reading import LIMIT_BYTES, checked, dump, key, load, plain, read_bytes, tree_of
from fitkit.session.vocabulary import FORMAT, VERSION
