"""Signs stop the advice, nothing clears "this hour", and every paper carries the cautions."""

import json

import pytest

from fitkit import cautions, session
from fitkit.vocabulary import SIGN_WORDS, SIGNS, WHO_TO_SEE

BASE = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-001",
    "visit_date": "2026-03-02",
    "setup": "road",
}
CLEARED = {"role": "physiotherapist", "finding": "settled", "date": "2026-03-01"}


def visit(**fields):
    return session.parse(json.dumps({**BASE, **fields}).encode())


def test_every_sign_has_words_and_somebody_to_see():
    assert set(SIGN_WORDS) == set(SIGNS)
    assert set(WHO_TO_SEE) == set(SIGNS)


@pytest.mark.parametrize("sign", list(SIGNS))
def test_a_sign_says_how_soon_and_whom_to_see(sign):
    found = cautions.most_urgent(visit(signs=[{"sign": sign, "side": "left"}]))
    assert found.urgency == SIGNS[sign]
    assert SIGN_WORDS[sign] in found.words
    assert found.who


@pytest.mark.parametrize("sign", [name for name, urgency in SIGNS.items() if urgency != "this hour"])
def test_a_licensed_role_clears_what_is_not_for_this_hour(sign):
    seen = visit(signs=[{"sign": sign, "side": "left", "cleared": CLEARED}])
    assert not cautions.stops_advice(seen)
    assert "physiotherapist" in cautions.signs_cleared(seen)[0].clearance


@pytest.mark.parametrize("sign", [name for name, urgency in SIGNS.items() if urgency == "this hour"])
def test_nothing_clears_a_sign_of_this_hour(sign):
    with pytest.raises(session.SessionProblems, match=sign):
        visit(signs=[{"sign": sign, "side": "left", "cleared": CLEARED}])


@pytest.mark.parametrize("missing", list(CLEARED))
def test_a_clearance_needs_role_finding_and_date(missing):
    cleared = {name: value for name, value in CLEARED.items() if name != missing}
    with pytest.raises(session.SessionProblems, match=missing):
        visit(signs=[{"sign": "fever", "side": "both", "cleared": cleared}])


# Standard medicine, from memory; typed here as the definition has it.
THIS_HOUR = (
    *("chest_pain", "fainting", "breathless_out_of_proportion"),
    *("bladder_or_bowel_change", "leg_weakness", "hot_swollen_calf"),
)
TODAY = (
    *("saddle_numbness_persisting", "foot_drop", "cold_or_pale_foot", "fever", "concussion"),
    *("suspected_stress_fracture", "exertional_leg_pain"),
)


@pytest.mark.parametrize("sign", list(SIGNS))
def test_each_urgency_has_its_instruction_by_its_words(sign):
    who = cautions.most_urgent(visit(signs=[{"sign": sign}])).who
    if sign in THIS_HOUR:
        assert who == "emergency care, this hour: call the local emergency number; do not ride or drive yourself"
    elif sign in TODAY:
        assert who == "a doctor, today"
    elif sign == "growing_under_18":
        assert who == "a clinician, together with a parent or guardian, before anything is changed"
    else:
        assert who == "a doctor or licensed clinician, before anything is changed on shoe or bicycle"


@pytest.mark.parametrize(("age", "stopped"), [(17, True), (18, False), (None, False)])
def test_an_age_under_18_stops_the_advice(age, stopped):
    assert cautions.stops_advice(visit(rider={"age_years": age})) is stopped


def test_the_most_urgent_sign_comes_first():
    signs = [{"sign": name, "side": "both"} for name in ("knee_swollen", "fever", "fainting")]
    assert [sign.sign for sign in cautions.signs_open(visit(signs=signs))] == ["fainting", "fever", "knee_swollen"]


def test_put_back_is_said_once_trials_began():
    sign = [{"sign": "fever", "side": "both"}]
    assert cautions.put_back(visit(signs=sign)) is None
    tried = visit(signs=sign, trials=[{"position": {"left": {"cleat_setback_mm": [14]}}}])
    assert "put back as found" in cautions.put_back(tried)
    decided = visit(signs=sign, decided={"moved_mm": {"left": 3}})
    assert "put back as found" in cautions.put_back(decided)
    left = visit(signs=sign, as_left={"saddle_height_mm": [735]})
    assert "put back as found" in cautions.put_back(left)
    assert cautions.put_back(visit(decided={"moved_mm": {"left": 3}})) is None
