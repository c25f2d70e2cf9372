"""Many visits as one table: what counts as kept, what is learned and refused, and what a page may show."""

import copy
import json
import re
from datetime import date
from pathlib import Path

import numpy as np
import pandas
import pytest

from fitkit import house, session
from fitkit.calculations.learned_band import SIMULATED_COVERAGE
from fitkit.clinic.learning import (
    NotLearnedError,
    band_of,
    feet_of,
    latest_of_each_rider,
    rule_from,
    settled_visits,
    write_rules,
)
from fitkit.clinic.overview import BAND_TYPE, Overview
from fitkit.clinic.visits import OUTCOMES, clinic_of, got_worse, load, outcomes
from fitkit.clinic.work import follow_ups, orders
from tests import invented_year

DAY = date(2026, 12, 31)
EVERY_PART = (
    "about",
    "first_lines",
    "months",
    "not_counted",
    "follow_ups",
    "orders",
    "told",
    "done",
    "changes",
    "outcomes",
    "left_out",
    "settled_chart",
    "settled_table",
    "learned",
    "learned_table",
    "fitters",
    "limits",
)


def clinic_from(documents, *, rules=None, day=DAY):
    """Return the clinic of these documents."""
    sessions = [session.parse(json.dumps(document).encode()) for document in documents]
    return clinic_of(sessions, rules or house.load(), day=day)


@pytest.fixture(scope="module")
def year():
    """Return the documents of a part of an invented year; few wishes, since each asks for an exact search."""
    documents = invented_year.documents(420)
    for document in documents[40:]:
        document.pop("wish", None)
    return documents


@pytest.fixture(scope="module")
def overview(year):
    """Return its overview."""
    return Overview(clinic_from(year))


@pytest.fixture
def pair(example):
    """Return a visit with both cleats measured as left, and the one after it, kept and dated."""
    first = copy.deepcopy(example)
    first["consent"] = {"record": True, "learning": True}
    first["signs"] = []
    for side, greatest in (("left", 25), ("right", 25)):
        first["shoes"][side] |= {"least_cleat_setback_mm": 3, "greatest_cleat_setback_mm": greatest}
        first["as_left"].setdefault(side, {})["cleat_setback_mm"] = [15, 15]
    later = copy.deepcopy(first)
    later["visit_date"] = "2026-05-04"
    later["since_last"] = {"kept": True, "date": "2026-05-04"}
    return first, later


def went(documents):
    """Return how the first of these visits went on."""
    return outcomes(clinic_from(documents))[0][1]


def shown(overview):
    """Return everything the page shows, as HTML."""
    return "\n".join(getattr(overview, part)()._repr_html_() for part in EVERY_PART)


def test_only_a_dated_yes_is_kept(pair):
    # Session format: kept true and a date, in the next visit of the same client and set-up; all else is unknown.
    first, later = pair
    assert went([first, later]) == "kept"
    assert went([first]) == "not seen again"
    for since, expected in [
        ({"kept": False, "date": "2026-05-04"}, "changed"),
        ({"kept": True}, "unknown"),
        ({"kept": None, "date": "2026-05-04"}, "unknown"),
        ({}, "unknown"),
        ({"kept": True, "date": "2020-01-01"}, "unknown"),
    ]:
        assert went([first, later | {"since_last": since}]) == expected
    assert went([first, later | {"setup": "time-trial"}]) == "not seen again"
    assert went([first, later | {"client_id": "rider-043"}]) == "not seen again"


@pytest.mark.parametrize("learning", [None, False])
def test_nothing_is_learned_without_consent(pair, learning):
    first, later = pair
    first["consent"]["learning"] = learning
    visits, left_out = settled_visits(clinic_from([first, later]))
    assert visits == []
    assert sum(left_out.values()) == 1


def test_a_visit_without_consent_to_a_record_is_not_counted(pair):
    first, later = pair
    first["consent"]["record"] = False
    assert len(clinic_from([first, later]).visits) == 1


def test_a_foot_at_a_slot_end_is_a_bound(pair):
    # House rule: within two reading errors of 1 mm of an end; the bound is the end less that.
    first, later = pair
    first["shoes"]["left"]["greatest_cleat_setback_mm"] = 16
    first["shoes"]["right"]["least_cleat_setback_mm"] = 14
    (left, right), why_not = feet_of(clinic_from([first, later]).visits[0])
    assert (left.bound, left.bound_mm, left.setback_mm) == (1, 14.0, 15.0)
    assert (right.bound, right.bound_mm) == (-1, 16.0)
    assert why_not == []


@pytest.mark.parametrize(
    ("dotted", "why"),
    [
        ("shoes.left.greatest_cleat_setback_mm", "slot ends not measured (feet)"),
        ("as_left.left", "cleat not measured as left (feet)"),
    ],
)
def test_a_foot_with_something_unmeasured_is_left_out_and_counted(pair, dotted, why):
    first, _ = pair
    *path, last = dotted.split(".")
    place = first
    for step in path:
        place = place[step]
    del place[last]
    feet, why_not = feet_of(clinic_from([first]).visits[0])
    assert len(feet) == 1
    assert why_not == [why]


def test_a_leg_that_got_worse_is_shown_and_never_learned_from(pair, year):
    # House choice: 2 of 10 more is worse; the settings were kept all the same.
    first, later = pair
    first["complaints"] = [{"region": "knee_front", "side": "left", "severity": 3}]
    later["complaints"] = [{"region": "knee_front", "side": "left", "severity": 5}]
    clinic = clinic_from([first, later])
    assert went([first, later]) == "kept"
    assert list(got_worse(clinic).values()) == [("left",)]
    visits, left_out = settled_visits(clinic)
    chosen = latest_of_each_rider(visits, left_out, worse=got_worse(clinic))
    assert chosen.left_out["a complaint of that leg got worse (feet)"] == 1
    assert len(chosen.feet) == 1
    later["complaints"][0]["severity"] = 4.9
    assert got_worse(clinic_from([first, later])) == {}


def test_a_count_of_one_rider_is_not_shown(pair):
    first, later = pair
    later["complaints"] = [{"region": "calf", "side": "left", "severity": 8}]
    rows = dict(Overview(clinic_from([first, later])).outcomes().rows)
    assert rows["Riders with a complaint that was worse at the next visit: never learned from"] == "under 5"


def test_the_start_in_force_at_sign_off_counts_before_todays_rule(pair):
    first, _ = pair
    first["trials"] = []
    first["sign_off"] = {"fitter_id": "f1", "at": "2026-03-04T10:00:00+00:00", "starts_mm": {"left": 15, "right": 9}}
    feet, _ = feet_of(clinic_from([first]).visits[0])
    assert [foot.left_the_start for foot in feet] == [False, True]


def test_an_open_sign_is_left_out(pair):
    first, _ = pair
    first["signs"] = [{"sign": "knee_swollen", "side": "left"}]
    feet, why_not = feet_of(clinic_from([first]).visits[0])
    assert feet == ()
    assert why_not == ["an open sign that needs a clinician (visits)"]


def test_a_trial_elsewhere_has_left_the_start(pair):
    first, _ = pair
    first["trials"] = []
    first["seen"], first["rider"]["riding"] = [], "everyday"
    for side in ("left", "right"):
        first["shoes"][side] |= {"size": 42, "size_system": "eu"}
    feet, _ = feet_of(clinic_from([first]).visits[0])
    assert [foot.left_the_start for foot in feet] == [False, False]
    first["trials"] = [{"position": {"left": {"cleat_setback_mm": [11]}}, "kept": False}]
    feet, _ = feet_of(clinic_from([first]).visits[0])
    assert [foot.left_the_start for foot in feet] == [True, False]


def test_a_rider_counts_once(year):
    clinic = clinic_from(year)
    visits, left_out = settled_visits(clinic)
    chosen = latest_of_each_rider([*visits, *visits], left_out)
    assert len(chosen.feet) == 2 * chosen.riders


def test_the_band_is_found_where_the_riders_are(overview):
    # The invented year's own line: 16.5 mm at EU 42 and 1.3 mm a size, against the rule's 15 and 1.5.
    band = overview.band.band(42.0)
    assert band.middle_half.low < invented_year.LINE_AT_42_MM < band.middle_half.high
    assert band.middle_half.value == pytest.approx(invented_year.LINE_AT_42_MM, abs=1.2)
    assert band.new_rider.low < band.middle_half.low < band.middle_half.high < band.new_rider.high


def test_200_visits_that_never_left_the_start_teach_nothing():
    # 200 riders, each visit followed by a dated kept one, cleats where the rule says up to the reading's error.
    documents = []
    for document in invented_year.documents(330, never_moved=True):
        document["follow_up_due"] = None
        if "since_last" not in document:
            documents.append(document)
    documents = documents[:200]
    later = []
    for document in documents:
        again = copy.deepcopy(document) | {"visit_date": "2027-02-01"}
        later.append(again | {"since_last": {"kept": True, "date": "2027-02-01"}})
        document["consent"]["learning"], document["signs"] = True, []
    band = band_of(clinic_from([*documents, *later]))
    assert band.chosen.riders == 200
    assert band.learned is None
    assert band.refused.startswith("cannot be separated from the starting rule")
    with pytest.raises(NotLearnedError, match="cannot be separated from the starting rule"):
        rule_from(band, house.load().rules.starting_band, by="m1", day=DAY)


def test_few_riders_teach_nothing(pair):
    band = band_of(clinic_from(pair))
    assert band.learned is None
    assert band.refused == "1 rider with settings that were kept; at least 30 are needed"


def test_a_learned_band_becomes_a_house_rule_only_by_a_person(overview, tmp_path):
    rules = house.load().rules
    rule = rule_from(overview.band, rules.starting_band, by="m1", day=DAY)
    path = tmp_path / "rules.json"
    write_rules(rules, rule, path)
    read = house.load(path).rules
    assert read.starting_band == rule
    assert read.model_copy(update={"starting_band": rules.starting_band}) == rules
    assert rule.grade == "this clinic"
    assert f"{overview.band.learned.riders} riders" in rule.source
    assert "decided by m1 on 2026-12-31" in rule.source
    middle = overview.band.band(43.0).middle_half
    assert rule.low_at_eu_40_mm + 3 * rule.per_size_mm == pytest.approx(middle.low, abs=0.2)
    assert rule.high_above_low_mm == pytest.approx(middle.high - middle.low, abs=0.2)
    assert oct(path.stat().st_mode)[-3:] == "600"
    with pytest.raises(FileExistsError, match=re.escape("rules.json")):
        write_rules(rules, rule, path)


def test_a_learned_rule_is_no_prior_of_itself(overview, year, tmp_path):
    rules = house.load().rules
    path = tmp_path / "rules.json"
    write_rules(rules, rule_from(overview.band, rules.starting_band, by="m1", day=DAY), path)
    again = band_of(clinic_from(year, rules=house.load(path)))
    assert again.prior_rule == rules.starting_band
    assert again.band(42.0).middle_half.value == pytest.approx(overview.band.band(42.0).middle_half.value, abs=0.6)


def test_fitters_with_few_riders_are_not_shown(year):
    # House rule: small numbers under 5.
    few = copy.deepcopy(year[:300])
    clients = sorted({document["client_id"] for document in few if document["fitter_id"] == "f5"})
    few = [d for d in few if d["fitter_id"] != "f5" or d["client_id"] in clients[:4]]
    overview = Overview(clinic_from(few))
    rows = {row[0]: row[1:] for row in overview.fitters().rows}
    assert rows["f5"] == ("under 5", "not shown: under 5 riders")
    assert all("(" in rows[name][1] for name in ("f1", "f2", "f3", "f4"))


def test_small_counts_of_health_are_not_shown(year):
    clinic = clinic_from([document | {"signs": []} for document in year])
    one = clinic_from([year[0] | {"signs": [{"sign": "fever"}]}])
    assert ("Sign for a clinician: fever", "under 5") in Overview(one).told().rows
    assert not any(row[0].startswith("Sign") for row in Overview(clinic).told().rows)


def test_client_ids_stand_only_where_somebody_must_call(overview):
    to_call = {row[0] for row in overview.follow_ups().rows}
    assert to_call
    rest = "\n".join(getattr(overview, part)()._repr_html_() for part in EVERY_PART if part != "follow_ups")
    assert not re.search(r"rider-\d", rest)


def test_follow_ups_are_counted_against_the_stated_day(pair):
    first, later = pair
    first["follow_up_due"], later["follow_up_due"] = "2026-04-01", "2026-07-01"
    for day, days_over in ((date(2026, 7, 11), [10]), (date(2026, 6, 2), []), (date(2026, 6, 3), [-28])):
        assert follow_ups(clinic_from([first, later], day=day))["days_over"].tolist() == days_over


def test_parts_of_open_wishes_that_are_not_in_stock(pair):
    # The shipped parts table: two spindles of 6 mm in stock; a rider needs two, three riders six.
    documents = []
    for number in range(3):
        one = copy.deepcopy(pair[0]) | {"client_id": f"rider-{number}"}
        one["wish"] = {side: {"half_stance_change_mm": 6} for side in ("left", "right")}
        for side in ("left", "right"):
            one["as_left"][side] = {"cleat_setback_mm": [15]}
        documents.append(one)
    assert orders(clinic_from(documents[:1])).empty
    (order,) = orders(clinic_from(documents)).itertuples()
    assert (order.Index, order.visits, order.pieces, order.in_stock, order.to_order) == ("A-spindle-6", 3, 6, 2, 4)
    documents[0]["as_left"]["left"]["spindle_id"] = "A-spindle-6"
    assert orders(clinic_from(documents))["to_order"].tolist() == [2]


def test_the_page_says_how_well_it_holds(overview):
    said = "\n".join(overview.learned().lines)
    assert f"held {SIMULATED_COVERAGE:.1%} of the riders held out" in said
    assert "--export-band" in said


def test_the_chart_says_everything_in_words(overview):
    figure = overview.settled_chart()
    for row in overview.settled_table().rows:
        assert f"{row[0]}: median {row[3]}" in figure.alt
    assert set(re.findall(r"#[0-9a-fA-F]{6}", figure.svg)) <= {"#1a1a1a", "#5f5f5f", "#dcdcdc", "#0072B2"}


def test_the_page_is_escaped_and_complete(year):
    clinic = clinic_of(
        [session.parse(json.dumps(document).encode()) for document in year[:40]],
        house.load(),
        day=DAY,
        not_counted=("<b>.json: broken",),
    )
    html = shown(Overview(clinic))
    assert "&lt;b&gt;.json: broken" in html
    assert "Demonstration: invented riders, invented clinic." in html


def test_the_band_as_data_is_the_band_shown(overview):
    document = overview.band_data()._repr_mimebundle_()[BAND_TYPE]
    assert [f"EU {one['size_eu']:g}" for one in document["bands"]] == [row[0] for row in overview.learned_table().rows]
    assert json.loads(json.dumps(document, allow_nan=False))["riders"] == overview.band.chosen.riders


def test_an_empty_clinic_says_so():
    assert "No visit was found." in shown(Overview(clinic_from([])))


def test_fitters_are_not_compared_alone(pair):
    ((_, _, bias),) = Overview(clinic_from(pair)).fitters().rows
    assert bias == "not compared: needs two fitters with 5 riders or more each"


def test_a_folder_is_read_with_its_note(tmp_path, year):
    for document in year[:3]:
        name = f"{document['client_id']}_{document['visit_date']}_{document['setup']}.json"
        (tmp_path / name).write_text(json.dumps(document), encoding="utf-8")
    (tmp_path / "rider-9_2026-01-01_road.json").write_text("{", encoding="utf-8")
    (tmp_path / "overview.json").write_text(json.dumps({"day": "2026-12-31", "not_counted": ["a.json: b"]}))
    clinic = load(tmp_path)
    assert (len(clinic.visits), clinic.day) == (3, DAY)
    assert clinic.not_counted[0] == "a.json: b"
    assert clinic.not_counted[1].startswith("rider-9_2026-01-01_road.json: ")


def test_the_clinic_comes_as_a_frame_to_analyse():
    clinic = load(Path(__file__).resolve().parents[2] / "demo_sessions")
    frame = clinic.frame()
    assert len(frame) == len(clinic.visits)
    row = frame[(frame["client_id"] == "rider-101")].iloc[0]
    assert row["left.cleat_setback.as_found"] == pytest.approx(34 / 3)
    assert frame["left.cleat_setback.as_found"].dtype == float
    assert set(frame["outcome"]) <= set(OUTCOMES)
    # What was not assessed is not a number, never 0: under a sign no place is advised.
    assert frame[frame["client_id"] == "rider-109"]["left.cleat_setback.move"].isna().all()


def test_each_foot_has_its_size_and_how_far_its_readings_lie_apart(pair):
    first, _ = copy.deepcopy(pair)
    first["as_found"]["left"]["cleat_setback_mm"] = [11, 13, 99]
    first["struck"] = [{"field": "as_found.left.cleat_setback_mm", "index": 2, "reason": "slip"}]
    first["as_found"]["right"]["cleat_setback_mm"] = [14]
    first["taken"] = {"as_found.left.cleat_setback_mm": "mark_found_anew"}
    first["shoes"]["left"] |= {"size": 9, "size_system": "uk"}
    row = clinic_from([first]).frame().iloc[0]
    # Two readings 2 mm apart have the standard deviation sqrt(2); the struck one does not count.
    assert row["left.cleat_setback.spread_mm"] == pytest.approx(2**0.5)
    assert (row["left.cleat_setback.readings"], row["left.cleat_setback.taken"]) == (2, "marked anew")
    assert 42 <= row["left.size_eu"] <= 44  # common practice: UK 9 is about EU 43
    assert np.isnan(row["right.cleat_setback.spread_mm"])
    empty = clinic_from([]).frame()
    assert empty.empty
    assert set(row.index) == set(empty.columns)


def test_a_complaint_stands_beside_the_same_place_at_the_next_visit(pair):
    first, later = copy.deepcopy(pair)
    first["complaints"] = [
        {"region": "knee_front", "side": "left", "severity": 6},
        {"region": "neck", "severity": 3},
        {"region": "hand", "side": "left"},
    ]
    later["complaints"] = [{"region": "knee_front", "side": "right", "severity": 1}]
    later["since_last"]["complaints"] = [{"region": "knee_front", "side": "left", "severity": 2}]
    found = clinic_from([first, later]).complaints_frame().set_index(["region", "side"])
    knee = found.loc[("front of the knee", "left")]
    assert (knee["then"], knee["now"]) == (6, 2)  # what is said of the time since comes before the day's own
    assert ("front of the knee", "right") not in found.index
    neck = found.reset_index().set_index("region").loc["neck"]
    assert neck["then"] == 3
    assert np.isnan(neck["now"])  # not named again is not 0
    assert (neck["is_named_then"], neck["is_named_now"]) == (True, False)
    assert found["is_named_then"].sum() == 3
    assert clinic_from([first]).complaints_frame().empty


def test_a_group_of_too_few_riders_is_named_and_not_shown(pair):
    # House rule: small numbers under 5; riders count, not rows.
    clinic = clinic_from(pair)
    frame = pandas.DataFrame(
        [(f"rider-{n}", "many") for n in range(5)] + [("rider-1", "few")] * 9 + [("rider-1", None)],
        columns=["client_id", "group"],
    )
    shown, said = clinic.enough(frame, "group")
    assert set(shown["group"]) == {"many"}
    assert said.lines == (
        "Not shown, under 5 riders (house rule): few.",
        "In no group, since something of it was not recorded: under 5 riders.",
    )
    shown, said = clinic.enough(frame[5:], "group")
    assert shown.empty
    assert said.lines[0] == "Nothing can be shown: no group has 5 riders or more."
    assert [clinic.few(number) for number in (0, 1, 4, 5)] == ["0", "under 5", "under 5", "5"]


def test_an_empty_visit_counts_as_none(pair):
    first, later = pair
    named = ("format", "version", "client_id", "setup", "fitter_id", "consent")
    empty = {name: first[name] for name in named if name in first} | {"visit_date": "2026-04-01"}
    clinic = clinic_from([first, empty, later])
    assert [visit.session.visit_date for visit in clinic.visits] == [first["visit_date"], later["visit_date"]]
    assert went([first, empty, later]) == "kept"
