"""The demonstration visits show what a clinic meets: each case is there, invented, and told as a fitter would."""

import json
from pathlib import Path

import pytest

from fitkit import house, session
from fitkit.assessment.inputs import unknown_parts
from fitkit.session.checks import doubts

FOLDER = Path(__file__).parents[2] / "demo_sessions"
VISITS = {path.stem: session.load(path) for path in sorted(FOLDER.glob("*.json"))}


def test_there_are_14_to_18_invented_visits_over_some_months_most_of_them_signed_off():
    assert 14 <= len(VISITS) <= 18
    assert all(visit.demonstration for visit in VISITS.values())
    signed = [visit for visit in VISITS.values() if visit.sign_off]
    assert len(signed) > len(VISITS) / 2
    assert all(visit.as_left.left.cleat_setback_mm for visit in signed)
    assert all(None not in (visit.sign_off.starts_mm.left, visit.sign_off.starts_mm.right) for visit in signed)
    assert len({visit.visit_date[:7] for visit in VISITS.values()}) >= 5


@pytest.mark.parametrize("key", VISITS)
def test_each_file_is_as_the_kit_writes_it_and_names_only_parts_of_the_table(key):
    visit = VISITS[key]
    assert (FOLDER / f"{key}.json").read_bytes() == session.dump(visit)
    assert unknown_parts(visit, house.load()) == []
    asked = [problem.where for problem in (*session.unusual(visit), *doubts(visit))]
    assert asked == (["rider.age_years"] if is_minor(visit) else [])


@pytest.mark.parametrize("key", VISITS)
def test_dates_of_a_visit_stand_in_their_order(key):
    visit = VISITS[key]
    assert all(sign.cleared.date <= visit.visit_date for sign in visit.signs if sign.cleared)
    assert all((each.since or "") <= visit.visit_date for each in visit.complaints)
    assert visit.sign_off is None or visit.sign_off.at.startswith(visit.visit_date)
    assert visit.follow_up_due is None or visit.follow_up_due > visit.visit_date


def is_minor(visit):
    return visit.rider.age_years is not None and visit.rider.age_years < 18


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
    assert some(
        lambda v: (
            v.wish.left.half_stance_change_mm
            and v.as_found.left.spindle_id
            and v.as_found.left.spindle_id != v.decided.left.spindle_id == v.as_left.left.spindle_id
            and v.as_left.left.spindle_to_cleat_centre_mm
            and v.sign_off
        )
    ), "a finished width: parts as found, chosen and fitted by id, measured as left"
    assert some(lambda v: any(e.what == "unsteady" for e in v.seen) and len(v.trials) >= 3), "unsteady, with trials"
    assert some(lambda v: v.rider.riding == "short_maximal" and v.ride.power_files), "a sprinter"
    assert some(lambda v: v.signs), "a sign that needs a clinician"
    assert some(lambda v: not v.rider.mass_kg and not v.sign_off), "half filled"
    assert some(is_minor), "under 18"
    assert some(lambda v: 0 < min(feet(v)) < 40), "below EU 40"
    assert some(lambda v: v.as_left.right.shim_mm and v.as_left.right.bolt_length_mm), "a shim with longer bolts"
    assert some(lambda v: v.as_left.left.washer_mm == 3 and not v.sign_off), "washers that leave too little thread"
    assert some(
        lambda v: (
            v.as_left.left.cleat_toe_out_deg not in ((), v.as_found.left.cleat_toe_out_deg)
            and v.as_left.left.heel_gap_heel_in_mm
        )
    ), "cleats turned, gaps measured again"
    assert some(lambda v: sum(v.as_found.left.cleat_setback_mm) > 20 * 3 and not v.complaints), (
        "behind the band, content"
    )
    assert 1 <= len(some(lambda v: v.note)) <= 6, "a remark here and there"
    assert len(some(lambda v: v.as_left.left.cleat_bolt_torque_nm)) > len(VISITS) / 2, "torques"
    assert len(some(lambda v: v.rider.age_years and v.signs_asked and v.seen_asked)) > len(VISITS) / 2, "asked"
    assert len(pairs()) == 2
    (worse,) = [pair for pair in pairs() if worst(pair[1]) > worst(pair[0])]
    assert (worst(worse[0]), worst(worse[1])) == (3, 6), "a follow-up that got worse"
    there, back = (visit.decided.moved_mm.left for visit in worse)
    assert there > 0 > back == -there, "and is put back"


def test_films_and_power_files_lie_beside_their_visit():
    for visit in VISITS.values():
        for entry in (*visit.ride.films, *visit.ride.power_files):
            assert (FOLDER / entry.file).is_file()


def test_no_name_of_a_person_has_a_place():
    assert not any("name" in json.loads((FOLDER / f"{key}.json").read_bytes()) for key in VISITS)
