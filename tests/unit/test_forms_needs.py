"""What a form says a field is needed for, and what still lacks, against which results really move with the field."""

import copy
import re
from dataclasses import replace

import pytest

from fitkit import session
from fitkit.assessment import RESULTS, assess, inputs, load_visit
from fitkit.forms.lead import still_lacks
from fitkit.forms.sections import layout, needed_for
from fitkit.session.models import Session
from fitkit.session.paths import get, pruned, put, steps_of
from fitkit.session.reading import plain
from tests.conftest import ROOT

VISIT = load_visit(ROOT / "tests/unit/data/rider-042_2026-03-04_road.json")
# What the shipped example leaves blank, so that every result has something to go by.
MORE = {
    "wish.left.half_stance_change_mm": 4,
    "bike.pedal_family": "A",
    "bike.bar_room_down_mm": 2,
    "bike.left.unthreaded_tip_mm": 1,
    "bike.left.heel_gap_heel_in_mm": 4,
    "bike.left.heel_gap_heel_out_mm": 4,
    "bike.left.ankle_gap_mm": 4,
    "bike.left.forefoot_gap_mm": 4,
    "rider.pelvic_depth_mm": [120],
    "rider.foot_hang_mm": [180],
    "rider.age_years": 20,
    "rider.left.leg_length_mm": [900],
    "rider.right.leg_length_mm": [900],
    "rider.left.heel_to_mtp1_mm": [190],
    "as_found.left.extender_mm": 2,
    "as_found.left.shim_mm": 2,
    "as_found.left.adapter_stack_mm": 3,
    "as_found.left.cleat_bolt_torque_nm": 5,
    "as_left.left.cleat_bolt_torque_nm": 5,
    "as_left.left.shim_mm": 3,
    "as_left.left.adapter_stack_mm": 4,
    "as_found.left.wedge_deg": 1,
    "shoes.left.fit": "right",
    "shoes.left.cleat_wear": "new",
    "shoes.left.bolts": 3,
    "shoes.left.bolt_length_mm": 10,
    "seen_asked": True,
    "trials.1.complaints": [{"region": "knee_front", "side": "left", "severity": 8}],
}
# Bases in which other inputs are in force: alternatives that stand behind what the first base has.
WITHOUT = (
    (),
    ("decided", "as_left"),
    ("decided", "as_left", "trials", "seen"),
    ("rider.left.thigh_mm", "ride.left.least_knee_flexion_deg", "shoes.left.size", "shoes.left.size_system"),
    ("bike.left.crank_face_to_centreline_mm", "bike.right.crank_face_to_centreline_mm", "decided"),
)
# The word a fitter has for each part of the record.
WORDS = {
    "cleats": {"cleat"},
    "starting_band": {"cleat"},
    "forward_limit": {"cleat"},
    "advice": {"cleat", "advice"},
    "rotation": {"float"},
    "saddle": {"saddle"},
    "saddle_choices": {"saddle"},
    "widths": {"width"},
    "stance": {"width"},
    "hips": {"width"},
    "parts": {"width"},
    "clearances": {"clearance", "thread"},
    "unsafe": {"clearance", "thread"},
}
NO_RESULT = {"sheet", "bolts"}
LATER = ("spindle_id", "extender_id", "base_adapter_id", "half_stance_change_mm", "same_both_sides")


def tree_without(paths):
    tree = plain(VISIT.session)
    for path, value in MORE.items():
        put(tree, steps_of(path), value)
    for path in paths:
        put(tree, steps_of(path), None)
    return pruned(tree)


def found_in(tree):
    """Return every result by name, the advice, the parts and what is not safe of a plain session."""
    made = assess(replace(VISIT, session=Session.model_validate(tree)))
    document = made.as_document()
    results = {one["name"]: one for one in document.pop("results")}
    return results | {name: document[name] for name in ("advice", "parts", "unsafe")}


def part_of(name):
    row = RESULTS.get(re.sub(r"^(left|right)\.", "", name))
    return row.section if row else name


def others(value, info):
    """Yield nothing, and other values that this field may have."""
    yield None
    if isinstance(value, bool):
        yield not value
    elif info.choices:
        yield from [choice for choice in info.choices if choice != value][:3]
    elif isinstance(value, list) and isinstance(value[0], float | int):
        yield [each + 4 for each in value]
    elif isinstance(value, float | int):
        yield from (value - 6, 0)


def leaves(tree, above=()):
    for name, value in tree.items() if isinstance(tree, dict) else enumerate(tree):
        if isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
            yield from leaves(value, (*above, name))
        else:
            yield ".".join(map(str, (*above, name)))


@pytest.fixture(scope="module")
def moved():
    """Return the parts of the record that move with a field, by its path without side and place."""
    found = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(inputs, "COUNT", 20)  # whether a number moves shows in a few draws too
        for base in WITHOUT:
            tree = tree_without(base)
            before, seen = found_in(tree), set()
            for path in leaves(tree):
                info = session.describe(path)
                kind = needs_name(path)
                if kind in seen or path.split(".")[0] in ("struck", "sign_off", "visit_date", "version", "format"):
                    continue
                if base and not words_of(info.dotted) - words_moved(all_places(found, info.dotted)):
                    continue  # an earlier base has shown all that is said of it
                seen.add(kind)
                for value in others(get(tree, steps_of(path)), info):
                    changed = copy.deepcopy(tree)
                    put(changed, steps_of(path), value)
                    try:
                        after = found_in(pruned(changed))
                    except ValueError:
                        continue  # a field that cannot be taken away alone
                    names = [name for name in after if after[name] != before[name]]
                    found.setdefault(info.dotted, set()).update(map(part_of, names))
    return found


def needs_name(path):
    """Return one name for a field on either side: one of them is enough."""
    return re.sub(r"\b(left|right)\b|\d+", "*", path)


def words_of(pattern):
    return set(filter(None, needed_for(pattern).split(", "))) - NO_RESULT


def words_moved(parts):
    return set().union(*(WORDS.get(part, set()) for part in parts))


def test_what_a_field_is_needed_for_is_what_moves_with_it(moved):
    wrong = {}
    for pattern in {*moved}:
        said, really = words_of(pattern), words_moved(all_places(moved, pattern))
        if said - really or (really and not said):
            wrong[pattern] = f"{pattern}: said {sorted(said)}, moves {sorted(really)}"
    assert not wrong, "\n".join(wrong.values())


def all_places(moved, pattern):
    """Return what moves with a field in any position or list that it stands in: its word is the same in all."""
    bare = re.sub(r"^(as_found|decided|as_left|trials\.\*\.position|since_last|trials\.\*)\.", "", pattern)
    return set().union(*(parts for other, parts in moved.items() if other == bare or other.endswith(f".{bare}")))


def test_what_still_lacks_ends_when_it_is_filled_in():
    full, tree = plain(VISIT.session), tree_without(())
    for root in ("rider", "shoes", "bike", "as_found", "ride", "decided", "as_left", "trials"):
        tree.pop(root, None)
    for _ in range(12):
        lacking = still_lacks(assess(replace(VISIT, session=Session.model_validate(tree))))
        if not lacking:
            break
        for path in {path for fields in lacking.values() for paths in fields for path in paths}:
            assert get(tree, steps_of(path)) is None, path  # what is there does not lack
            put(tree, steps_of(path), get(full, steps_of(path)))
    assert lacking == {}
    assert get(tree, steps_of("as_found.left.cleat_setback_mm"))
    assert {"cleat", "saddle", "width"} == set(layout().lacks)
