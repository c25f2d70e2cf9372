"""The words of the rider's sheet: one catalogue holds every one of them, so that a second language can stand by."""

import base64
import copy
import dataclasses
import html
import json
import re
import string

import pytest

from fitkit import files, house, session
from fitkit.assessment import Visit, assess
from fitkit.assessment.clearances import Unsafe
from fitkit.report import rider_sheet
from fitkit.report.changes import ENGLISH
from fitkit.report.pages import sheet_html
from fitkit.vocabulary import SIGNS, URGENCIES
from fitkit.words import Catalogue, catalogue

SIDES = ("left", "right")
BOTH = {
    "cleat_setback_mm": ([12], [16], [9]),
    "cleat_toe_out_deg": ([5], [8], [-2]),
    "shoe_outward_mm": ([1], [4], [-3]),
    "washer_mm": (None, 2, 0),
    "extender_mm": (None, 20, 0),
    "shim_mm": (None, 3, 0),
    "wedge_deg": (None, 1.5, -2),
    "spindle_to_cleat_centre_mm": (53, 57, 60),
    "spindle_id": (None, "A-spindle-6", "A-spindle-10"),
    "extender_id": (None, "A-extender-25", "A-extender-25"),
    "base_adapter_id": (None, "A-base-10", "A-base-10"),
    "adapter_stack_mm": (None, 3, 0),
    "bolt_length_mm": (10, 13, 16),
}
WHOLE = {
    "saddle_height_mm": ([740], [743], [735]),
    "saddle_setback_mm": ([70], [75], [-20]),
    "bar_height_mm": ([660], [670], [-10]),
    "bar_reach_mm": ([545], [550], [540]),
}


def position(left, right=None, whole=None):
    """Return a position: 0 as found, 1 more, 2 less, None nothing."""
    found = {}
    for side, which in zip(SIDES, (left, right), strict=True):
        if which is not None:
            found[side] = {name: values[which] for name, values in BOTH.items() if values[which] is not None}
    return found | ({} if whole is None else {name: values[whole] for name, values in WHOLE.items()})


def cleats(left, right=None):
    right = left if right is None else right
    return {"left": {"cleat_setback_mm": left}, "right": {"cleat_setback_mm": right}}


def visit(changes):
    return {
        "format": "cleat-stance-session",
        "version": 1,
        "client_id": "rider-1",
        "visit_date": "2026-03-02",
        "setup": "road",
        "follow_up_due": "2026-04-02",
        "demonstration": True,
        "rider": {"mass_kg": 70},
        "bike": {"pedal_family": "A"},
        "as_found": position(0, 0, 0),
        **changes,
    }


def gap(**toe):
    return {"pedal_family": "A", **{side: {"axle_to_tyre_mm": 100, "axle_to_toe_mm": mm} for side, mm in toe.items()}}


MOVED = {"moved_mm": {"left": 4, "right": 4}}
BACK = {"moved_mm": {"left": -4, "right": -4}}
NOWHERE = position(0, 0, 0) | cleats([])
TORQUE = {"cleat_bolt_torque_nm": 5, "pedal_torque_nm": 35}
VISITS = {
    "more": {"as_left": position(1, 2, 1), "bike": gap(left=110, right=110)},
    "less": {"as_left": position(2, 1, 2), "bike": gap(left=110)},
    "alike": {"decided": position(1, 1, 1), "bike": gap(right=110)},
    "taken off": {"as_found": position(1, 1, 0), "as_left": position(2, 2, 0)},
    "ahead": {"as_left": cleats([-2])},
    "same": {"as_left": position(0, 0, 0)},
    "some": {"as_left": position(0)},
    "nothing known": {"as_found": {}, "bike": {}},
    "typed": {"decided": {"moved_mm": {"left": 5, "right": 5}}, "as_left": cleats([16])},
    "typed toes": {"decided": {"moved_mm": {"left": -5, "right": -5}}, "as_left": cleats([8])},
    "typed other way": {"decided": {"moved_mm": {"left": -3, "right": -3}}, "as_left": cleats([15])},
    "typed other way toes": {"decided": {"moved_mm": {"left": 3, "right": 3}}, "as_left": cleats([9])},
    "kept": {"decided": {"moved_mm": {"left": 0, "right": 0}}, "as_left": cleats([13])},
    "kept toes": {"decided": {"moved_mm": {"left": 0, "right": 0}}, "as_left": cleats([11])},
    "scribed": {"as_found": NOWHERE, "as_left": MOVED},
    "scribed toes": {"as_found": NOWHERE, "as_left": BACK},
    "torque": {"as_left": {side: {"washer_mm": 2, **TORQUE} for side in SIDES}},
    "torque left": {"as_left": {"left": {"washer_mm": 2, **TORQUE}}},
    "torque right": {"as_left": {"right": {"washer_mm": 2, **TORQUE}}},
    "to do": {"decided": position(None, None, 1), "as_left": position(None, None, 0)},
    "to do less": {"decided": position(None, None, 2), "as_left": position(None, None, 0)},
    "signs": {
        "signs": [
            {"sign": sign, "side": side} for sign, side in zip(SIGNS, ("left", "right", "both", None) * 9, strict=False)
        ],
        "decided": MOVED,
    },
    "growing": {"rider": {"age_years": 15}},
}


def follow_ups(example):
    """Return two visits of one rider each: a saddle that owes, and settings to go back to."""
    bare = {**example, "trials": [], "decided": {}, "as_left": {}, "complaints": [], "seen": []}
    no_saddle = {**example["as_found"], "saddle_height_mm": []}
    for found in (example["as_found"], no_saddle):
        for moved in (5, -5):
            decided = {"moved_mm": {"left": moved, "right": moved}}
            yield {**bare, "as_found": found, "decided": decided}, {**bare, "as_found": found}
    worse = [{"region": "knee_front", "side": side, "severity": 6} for side in SIDES]
    washers = {side: {"washer_mm": 2, "spindle_id": "A-spindle-6"} for side in SIDES}
    bike = {**example["bike"], "pedal_family": "A"}
    for moved in (5, -5):
        decided = {"moved_mm": {"left": moved, "right": moved}, "saddle_height_mm": [700], **washers}
        stands = {**example["as_found"], **cleats([11.5 + moved], [13.5 + moved])}
        after = {**bare, "bike": bike, "as_found": stands, "complaints": worse}
        yield {**bare, "bike": bike, "decided": decided}, after


@pytest.fixture(scope="module")
def assessments(example):
    """Return visits that between them say everything a sheet can say."""

    def assessed(document, before=None):
        loaded, previous = (each and session.parse(json.dumps(each).encode()) for each in (document, before))
        return assess(Visit(session.key(loaded), loaded, house.load(), previous))

    made = [assessed(visit(copy.deepcopy(changes))) for changes in VISITS.values()]
    for before, after in follow_ups(example):
        made += [assessed(before), assessed({**after, "visit_date": "2026-05-04"}, before)]
    whats = ENGLISH["unsafe"]
    all_unsafe = tuple(Unsafe(what, side, 1.0, 1.0, "mm", "why") for what in whats for side in SIDES)
    return [*made, dataclasses.replace(made[0], unsafe=all_unsafe)]


def leaves(tree, way=""):
    for key, value in tree.items():
        yield from leaves(value, f"{way}{key}.") if isinstance(value, dict) else [(f"{way}{key}", value)]


def blanks(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


class Watched(Catalogue):
    """Keeps which keys were asked for, and takes no place that a sentence does not have."""

    def __init__(self, tree):
        super().__init__(tree)
        self.used = set()

    def __getitem__(self, key):
        self.used.add(key)
        return super().__getitem__(key)

    def __call__(self, key, **filled):
        assert set(filled) == blanks(self[key]), key
        return super().__call__(key, **filled)


def test_every_sentence_is_said_somewhere_and_every_place_is_filled(assessments):
    watched = Watched(ENGLISH.tree)
    for found in assessments:
        sheet_html({**rider_sheet(found, watched), "clinic": "Clinic", "telephone": None}, watched)
    assert sorted({key for key, _ in leaves(ENGLISH.tree)} ^ watched.used) == []


def test_every_sign_has_its_words_and_whom_to_see():
    assert set(ENGLISH["sign"]) == set(SIGNS)
    assert {urgency.replace(" ", "_") for urgency in URGENCIES} <= set(ENGLISH["who"])


def test_whatever_is_not_safe_has_its_sentence():
    source = (files.template("paper.css").parents[1] / "fitkit/assessment/clearances.py").read_text(encoding="utf-8")
    assert set(re.findall(r'Unsafe\(\s*"(\w+)"', source)) == set(ENGLISH["unsafe"])


def bracketed(tree):
    if isinstance(tree, dict):
        return {key: bracketed(value) for key, value in tree.items()}
    return [bracketed(each) for each in tree] if isinstance(tree, list) else f"⟦{tree}⟧"


def shown(page):
    """Return all that a person reads or hears of a page, its picture included."""
    pictures = [base64.b64decode(each).decode() for each in re.findall(r'base64,([^"]*)"', page)]
    page = re.sub(r"<style>.*?</style>", "", " ".join([page, *pictures]), flags=re.DOTALL)
    spoken = re.findall(r'(?:alt|aria-label|title)="([^"]*)"', page)
    return html.unescape(" ".join([re.sub(r"<[^>]*>", " ", page), *spoken]))


def test_a_second_catalogue_leaves_no_word_of_the_first(assessments):
    other = Catalogue(bracketed(ENGLISH.tree))
    for found in assessments:
        text = shown(sheet_html({**rider_sheet(found, other), "telephone": "0000 123"}, other))
        inner = None
        while inner != text:
            inner, text = text, re.sub(r"⟦[^⟦⟧]*⟧", "", text)
        assert not re.search(r"[^\W\d]", text), text


def test_every_other_language_has_the_same_keys_and_places():
    first = {key: blanks(str(text)) for key, text in leaves(ENGLISH.tree)}
    for path in files.template("rider_sheet_words.toml").parent.glob("rider_sheet_words_*.toml"):
        assert {key: blanks(str(text)) for key, text in leaves(catalogue(path).tree)} == first, path.name
