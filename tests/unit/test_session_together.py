"""Saving holds what it promises for any order of saves, and for two programs at once."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit import session
from fitkit.session.paths import get, steps_of
from fitkit.vocabulary import REGIONS


@pytest.fixture(autouse=True, scope="module")
def _no_waiting_for_the_disk():
    # What outlasts a power cut is another matter; here only what programs see of each other counts.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda descriptor: None)
        yield


AT = "2026-03-04T15:10:00+00:00"
EXAMPLE = Path(__file__).parent / "data" / "rider-042_2026-03-04_road.json"

number = st.integers(400, 500) | st.floats(400, 500)
readings = st.lists(number, max_size=3) | st.none()
complaints = st.lists(st.fixed_dictionaries({"region": st.sampled_from(REGIONS)}), max_size=2)
VALUES = {
    "rider.left.thigh_mm": readings,
    "rider.right.thigh_mm": readings,
    "rider.left": st.fixed_dictionaries({"shank_mm": readings, "thigh_mm": readings}),
    "rider.mass_kg": st.integers(40, 90) | st.none(),
    "rider.riding": st.sampled_from(["everyday", "time_trial", None]),
    "wish.same_both_sides": st.booleans() | st.none(),
    "wish": st.just({}) | st.just({"same_both_sides": False}) | st.none(),
    "complaints": complaints,
    "since_last.complaints": complaints,
    "trials.0.note": st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=4) | st.none(),
    "taken.rider.left.thigh_mm": st.sampled_from(["mark_found_anew", "tape_left_on", None]),
    "consent": st.fixed_dictionaries({"record": st.booleans() | st.none(), "film": st.booleans()}),
}
saves = st.dictionaries(st.sampled_from(sorted(VALUES)), st.none(), min_size=1, max_size=3).flatmap(
    lambda names: st.fixed_dictionaries({name: VALUES[name] for name in names})
)
NONE_DROPPED = "Strike a reading out with a reason; none is dropped."


def save(path, changes):
    return session.update(path, changes, fitter="f2", at=AT)


@settings(max_examples=40, deadline=None)
@given(st.lists(saves, max_size=5))
def test_the_replayed_history_is_the_file_and_a_save_that_saw_the_current_value_is_never_refused(sequence):
    with tempfile.TemporaryDirectory() as folder:
        path = session.new("rider-7", "2026-05-01", "road", folder)
        for wanted in sequence:
            before, hints = path.read_bytes(), set()
            seen = {name: get(json.loads(before), steps_of(name)) for name in wanted}
            try:
                saved = save(path, {name: (seen[name], value) for name, value in wanted.items()})
            except session.SessionProblems as caught:
                hints = {problem.hint for problem in caught.problems}
            if hints:
                assert hints == {NONE_DROPPED}
                assert path.read_bytes() == before
            else:
                assert saved.refused == {}
                assert saved.session == session.load(path)
            assert session.replay(session.history(path)) == json.loads(path.read_bytes())


MINE = {
    "rider.mass_kg": (74, 75),
    "bike.float_deg": (6, None),
    "trials.0.note": ("calmer at the bottom", "calm"),
    "wish.same_both_sides": (True, False),
    "as_left.saddle_height_mm": ([736], [736, 737]),
}


@settings(max_examples=20, deadline=None)
@given(
    st.permutations(
        ["rider.mass_kg", "bike.float_deg", "trials.0.note", "wish.same_both_sides", "as_left.saddle_height_mm"]
    )
)
def test_the_order_of_independent_saves_does_not_matter(order):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / EXAMPLE.name
        path.write_bytes(EXAMPLE.read_bytes())
        for name in order:
            assert save(path, {name: MINE[name]}).refused == {}
        one_by_one = path.read_bytes()
        path.write_bytes(EXAMPLE.read_bytes())
        assert save(path, MINE).refused == {}
        assert path.read_bytes() == one_by_one


WRITER = f"""
import os, sys
from fitkit import session
os.fsync = lambda descriptor: None
path, field, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
for number in range(count):
    saved = session.update(path, {{field: (50 + number, 51 + number)}}, fitter="f2", at="{AT}")
    assert not saved.refused, saved.refused
"""


def test_two_programs_that_save_different_fields_lose_nothing(tmp_path):
    path = session.new("rider-7", "2026-05-01", "road", tmp_path)
    start = {"bike.left.axle_to_tyre_mm": (None, 50), "bike.right.axle_to_tyre_mm": (None, 50)}
    save(path, start)
    programs = [subprocess.Popen([sys.executable, "-c", WRITER, path, field, "250"]) for field in start]
    assert [program.wait(60) for program in programs] == [0, 0]
    changes = session.history(path)
    for field in start:
        assert [change.new for change in changes if change.field == field] == list(range(50, 301))
    assert len(changes) == 503
    assert session.replay(changes) == json.loads(path.read_bytes())
    bike = session.load(path).bike
    assert (bike.left.axle_to_tyre_mm, bike.right.axle_to_tyre_mm) == (300, 300)
