"""The demonstration visits show what a clinic meets: each case is there, invented, and told as a fitter would."""

import json
from pathlib import Path

import pytest

from fitkit import house, session
from fitkit.assessment.visit import unknown_parts

FOLDER = Path(__file__).parents[2] / "demo_sessions"
VISITS = {path.stem: session.load(path) for path in sorted(FOLDER.glob("*.json"))}


def test_there_are_14_to_18_invented_visits_over_some_months_most_of_them_signed_off():
    assert 14 <= len(VISITS) <= 18
    assert all(visit.demonstration for visit in VISITS.values())
    signed = [visit for visit in VISITS.values() if visit.sign_off]
    assert len(signed) > len(VISITS) / 2
    assert all(visit.as_left.left.cleat_setback_mm for visit in signed)
    assert len({visit.visit_date[:7] for visit in VISITS.values()}) >= 5


@pytest.mark.parametrize("key", VISITS)
def test_each_file_is_as_the_kit_writes_it_and_names_only_parts_of_the_table(key):
    visit = VISITS[key]
    assert (FOLDER / f"{key}.json").read_bytes() == session.dump(visit)
    assert unknown_parts(visit, house.load()) == []
    assert session.unusual(visit) == ()


def some(fits):
    return [key for key, visit in VISITS.items() if fits(visit)]


def feet(visit):
    return (visit.shoes.left.size or 0, visit.shoes.right.size or 0)


def pairs():
    seen = {}
    for visit in VISITS.values():
        seen.setdefault((visit.client_id, visit.setup), []).append(visit)
    return [visits for visits in seen.values() if len(visits) == 2]


def worst(visit):
    return max((complaint.severity for complaint in visit.complaints), default=0)


def test_each_case_is_there():
    assert some(lambda v: feet(v)[0] != feet(v)[1]), "feet of different size"
    assert some(lambda v: v.as_left.left.base_adapter_id and v.as_left.left.bolt_length_mm), "slots too short, adapter"
    assert some(lambda v: v.wish.left.half_stance_change_mm and not v.as_left.left.spindle_id), "a width still wished"
    assert some(lambda v: v.wish.left.half_stance_change_mm and v.as_left.left.spindle_to_cleat_centre_mm), "width done"
    assert some(lambda v: any(e.what == "unsteady" for e in v.seen) and len(v.trials) >= 3), "unsteady, with trials"
    assert some(lambda v: v.rider.riding == "short_maximal" and v.ride.power_files), "a sprinter"
    assert some(lambda v: v.signs), "a sign that needs a clinician"
    assert some(lambda v: not v.rider.mass_kg), "half filled"
    assert some(lambda v: 0 < min(feet(v)) < 40), "below EU 40"
    assert some(lambda v: v.as_left.right.shim_mm and v.as_left.right.bolt_length_mm), "a shim with longer bolts"
    assert some(lambda v: v.as_left.left.washer_mm == 3 and not v.sign_off), "washers that leave too little thread"
    assert some(lambda v: v.as_left.left.cleat_toe_out_deg != v.as_found.left.cleat_toe_out_deg), "cleats turned"
    assert some(lambda v: sum(v.as_found.left.cleat_setback_mm) > 20 * 3 and not v.complaints), (
        "behind the band, content"
    )
    assert len(pairs()) == 2
    assert [worst(later) > worst(first) for first, later in pairs()].count(True) == 1, "one got worse, one better"


def test_films_and_power_files_lie_beside_their_visit():
    for visit in VISITS.values():
        for entry in (*visit.ride.films, *visit.ride.power_files):
            assert (FOLDER / entry.file).is_file()


def test_no_name_of_a_person_has_a_place():
    assert not any("name" in json.loads((FOLDER / f"{key}.json").read_bytes()) for key in VISITS)
