"""A visit to start from: small changes of one full session."""

import copy
import json
from pathlib import Path

import pytest

from fitkit import house, session
from fitkit.assessment import Visit, assess

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="session")
def example() -> dict:
    """Return the kept session of version 1 as a plain document."""
    return json.loads((DATA / "rider-042_2026-03-04_road.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def assessed(example):
    """Return a function that changes the example by dotted paths and assesses it; None takes a field out."""
    known = {}

    def run(changes=None, *, study=None, start_from=None):
        # An assessment never changes, so the same question is worked out once.
        asked = json.dumps([changes, start_from, str(study)], sort_keys=True)
        if asked not in known:
            known[asked] = work_out(changes, study, start_from)
        return known[asked]

    def work_out(changes, study, start_from):
        document = copy.deepcopy(example if start_from is None else start_from)
        for dotted, value in (changes or {}).items():
            *path, last = dotted.split(".")
            place = document
            for step in path:
                place = place[int(step)] if step.isdigit() else place.setdefault(step, {})
            place[int(last) if last.isdigit() else last] = value
        loaded = session.parse(json.dumps(document).encode())
        return assess(Visit(session.key(loaded), loaded, house.load(), None, study))

    return run
