"""Trials, films and power files of a whole session: the bracket, and what a file lacks, said while the rest is made."""

import copy
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from fitkit import house, session
from fitkit.assessment import Visit, assess, load_visit
from fitkit.assessment.inputs import Inputs
from fitkit.assessment.ride import assess_ride
from fitkit.report import Record
from fitkit.report.papers import room_sheet_html
from fitkit.report.visit import complaints_then_and_now, since_last
from fitkit.session import SessionProblems

DEMO = Path(__file__).resolve().parents[2] / "demo_sessions"
KEY = "rider-042_2026-03-04_road"
CRANK_MM = 170.0


def trial(setback_mm, score, *, right_score=None, saddle_corrected=True, kept=False, **more):
    """Return a trial with both cleats at one setback."""
    place = {"cleat_setback_mm": [setback_mm]}
    scores = {"left": [score], "right": [score if right_score is None else right_score]}
    position = {"left": place, "right": place}
    return {
        "position": position,
        "unsteadiness": scores,
        "saddle_corrected": saddle_corrected,
        "kept": kept,
        **more,
    }


def limit(assessed, trials, side="left", changes=None):
    """Return one side's forward limit."""
    return assessed({"trials": trials, **(changes or {})})[f"{side}.forward_limit"]


def test_a_bracket_has_both_ends_no_value_and_needs_nothing(assessed):
    # Common practice, no source: the rider's own point lies between the last unsteady and the first steady setting.
    found = limit(assessed, [trial(8, 7), trial(12, 5), trial(16, 2), trial(20, 1)])
    assert (found.value, found.low, found.high, found.needs) == (None, 12, 16, None)
    assert found.as_result("left.forward_limit")["unit"] == "mm"
    assert any("unsteady at 8 (1), 12 (1) mm; steady at 16 (1), 20 (1) mm" in note for note in found.notes)


@pytest.mark.parametrize(
    ("scores", "needs"),
    [
        ({12: 1, 16: 2}, "a trial further forward"),
        ({8: 7, 12: 5}, "a trial further back"),
        ({8: 2, 12: 6, 16: 1}, "return trial"),
        ({8: 2, 12: 6}, "return trial"),
    ],
)
def test_what_trials_lack_is_named(assessed, scores, needs):
    found = limit(assessed, [trial(at, score) for at, score in scores.items()])
    assert (found.value, found.needs) == (None, needs)


def test_scores_of_one_setback_count_by_their_mean(assessed):
    trials = [trial(12, 6), trial(16, 1), trial(12, 1.5)]  # mean 3.75 at 12: steady
    assert limit(assessed, trials).needs == "a trial further forward"
    assert limit(assessed, [*trials, trial(12, 4.5)]).low == 12  # mean 4


def test_a_struck_score_does_not_count(assessed):
    trials = [trial(12, 6), trial(16, 1)]
    struck = [{"field": "trials.0.unsteadiness.left", "index": 0, "reason": "wrong rider"}]
    assert limit(assessed, trials, changes={"struck": struck}).needs == "a trial further forward"


def test_each_side_has_its_own_bracket(assessed):
    trials = [trial(8, 7, right_score=2), trial(12, 5, right_score=1), trial(16, 2)]
    assert limit(assessed, trials, "left").low == 12
    assert limit(assessed, trials, "right").needs == "a trial further forward"


def test_a_trial_without_a_saddle_correction_counts_and_is_said(assessed):
    found = limit(assessed, [trial(12, 5, saddle_corrected=False), trial(16, 2)])
    assert (found.low, found.high) == (12, 16)
    assert any("trial 1 at 12 mm: without a saddle correction" in note for note in found.notes)


def test_a_distance_moved_places_a_trial_that_was_not_read_again(assessed):
    moved = {
        "position": {"moved_mm": {"left": 4, "right": 4}},
        "unsteadiness": {"left": [1], "right": [1]},
    }
    found = limit(assessed, [trial(10, 6), moved], changes={"as_found.left": {"cleat_setback_mm": [10, 12]}})
    assert (found.low, found.high) == (10, 15)  # as found 11, moved 4


def test_a_trial_without_a_place_stands_where_the_one_before_stood(assessed):
    unplaced = {"position": {"saddle_height_mm": [730]}, "unsteadiness": {"left": [6], "right": [6]}}
    found = limit(assessed, [trial(16, 1), trial(14, 2, kept=True), unplaced])
    assert any("trial 3: cleat setback as in the position before" in note for note in found.notes)
    assert found.low is None or found.low == 14  # 2 and 6 at 14: mean 4, unsteady
    assert (found.low, found.high) == (14, 16)


def test_a_sign_leaves_the_bracket_since_it_is_a_measurement(assessed):
    changes = {"signs": [{"sign": "fever", "side": None, "cleared": None}]}
    assert limit(assessed, [trial(12, 5), trial(16, 2)], changes=changes).low == 12


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    scores=st.lists(st.tuples(st.integers(6, 20), st.integers(0, 10)), min_size=2, max_size=6),
    forward=st.integers(1, 5),
    score=st.integers(0, 3),
)
def test_a_steady_trial_forward_of_the_limit_never_widens_the_bracket(example, scores, forward, score):
    # Every setting drawn lies behind every forward one, so the added trial lies forward of any limit.
    before = bracket_of(example, [trial(at, found) for at, found in scores])
    after = bracket_of(example, [*(trial(at, found) for at, found in scores), trial(forward, score)])
    if before.needs is None:
        assert after.needs == "return trial"
        assert after.low >= before.low
        assert after.high <= before.high


def bracket_of(example, trials):
    loaded = session.parse(json.dumps({**example, "trials": trials, "struck": []}).encode())
    return assess_ride(Inputs(Visit(session.key(loaded), loaded, house.load()))).results["left.forward_limit"]


# --- Films -----------------------------------------------------------------------------------------------------------


def film_text(*, travel_mm=16.0, step_s=0.04, seconds=5.2, scale=1.0, swapped=False, gap=(), more_rows=()):
    """Return a film of the left knee with a known answer: a cosine of the crank angle, 75 turns a minute."""
    axis = "y" if swapped else "x"
    rows = [f"mm_per_unit,{scale:g}", f"sideways_axis,{axis}", "rider_left,more", "upward,more"]
    rows.append("time_s,left_pedal_x,left_pedal_y,left_knee_x,left_knee_y")
    for i in range(round(seconds / step_s)):
        angle = 2 * math.pi * i * step_s / 0.8
        knee = "," if i in gap else f"{130 + travel_mm / 2 * math.cos(angle):.2f},{640 + 100 * math.cos(angle):.2f}"
        rows.append(f"{i * step_s:.3f},{130 + math.sin(angle):.2f},{270 + CRANK_MM * math.cos(angle):.2f},{knee}")
    return "\n".join([*rows, *more_rows]) + "\n"


@pytest.fixture
def folder(example, tmp_path):
    """Return a function that writes a session with files beside it and makes its record."""

    def make(files=None, **fields):
        document = copy.deepcopy(example)
        document.update(fields)
        document["bike"] = {**document["bike"], "crank_length_mm": CRANK_MM}
        for name, text in (files or {}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        path = tmp_path / f"{KEY}.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        return Record(path)

    return make


def ride(example, **files):
    return {**example["ride"], **{kind: [{"file": name, "trial": None}] for kind, name in files.items()}}


def test_a_film_with_a_known_answer_gives_it(folder, example):
    # Its own making: knee at 8 cos(crank angle) about the pedal, so offset 0, travel 16, inward pull 16.
    record = folder({"film.csv": film_text()}, ride=ride(example, films="film.csv"))
    (knee,) = record.assessment.ride.filmed.knees
    assert (knee.side, knee.position) == ("left", "as found")
    for found, expected in ((knee.track.offset_mm, 0), (knee.track.travel_mm, 16), (knee.track.inward_pull_mm, 16)):
        assert found.value == pytest.approx(expected, abs=0.3)
        assert found.low < expected < found.high
    assert "8 (3) mm" in repr(record.knee_words())
    assert "50 riders" in repr(record.knee_words())
    assert "16 (" in repr(record.knees())


def test_frames_that_are_missing_stay_missing(folder, example):
    gap = range(44, 56)
    record = folder({"film.csv": film_text(gap=gap)}, ride=ride(example, films="film.csv"))
    said = repr(record.knee_words())
    assert "12 of 130 frames lack the knee or the pedal; nothing was put in their place" in said
    assert "turns left out" in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (film_text(scale=10), "is the scale wrong?"),
        (film_text(swapped=True), "are the axes swapped?"),
        (film_text(step_s=1.0, seconds=20), "too coarse to follow the pedal"),
        (film_text(more_rows=["0.000,130,440,138,740"]), "Two riders or two recordings"),
        (film_text().replace("mm_per_unit,1\n", ""), "mm_per_unit"),
        ("no table at all", "no row names the columns"),
    ],
)
def test_a_film_that_cannot_be_right_is_said_and_the_rest_is_made(folder, example, text, said):
    record = folder({"film.csv": text}, ride=ride(example, films="film.csv"))
    assert said in repr(record.knee_words()) + repr(record.knees())
    assert all(knee.track.travel_mm is None for knee in record.assessment.ride.filmed.knees)
    assert record.assessment["left.cleat_setback.as_found"].is_known


def test_a_film_that_is_not_there_is_said(folder, example):
    record = folder(ride=ride(example, films="film.csv"))
    assert "film.csv could not be used: it cannot be read: No such file or directory." in repr(record.knee_words())
    assert "/" not in repr(record.knee_words()).replace("and/or", "")


def test_a_name_that_leads_out_of_the_folder_is_refused(folder, example):
    said = "could not be used: it is named outside the session's own folder"
    assert said in repr(folder(ride=ride(example, films="../film.csv")).knee_words())


def test_a_session_without_a_folder_says_so(assessed, example):
    found = assessed({"ride": ride(example, films="film.csv")}).ride.filmed
    assert found.unread[0].why.startswith("the session was not read from a folder")


# --- Sprints ---------------------------------------------------------------------------------------------------------


def power_text(peaks_w, *, step_s=0.25, spike=None, factor=1.0):
    """Return sprints of 6 s with a rest of 2 min between, at cadences that rise from 60 to 120 a minute."""
    rows = ["time_s,power_w,cadence_rpm"]
    for number, peak in enumerate(peaks_w):
        for i in range(round(12 / step_s)):
            t = i * step_s
            sprinting = 3 <= t < 9
            cadence = 60 + 60 * min((t - 3) / 2, 1) if sprinting else 60
            power = peak * (0.6 + 0.4 * min((t - 3) / 2, 1)) if sprinting else 100
            power = spike if spike and number == 2 and i == round(6 / step_s) else power
            rows.append(f"{120 * number + t:.2f},{power * factor:.3f},{cadence:.0f}")
    return "\n".join(rows) + "\n"


FOUND_W = [1150, 1160, 1190, 1210, 1200, 1200]
TRIED_W = [1260, 1300, 1280, 1280]


def sprinted(folder, example, texts, **fields):
    files = {f"power{i}.csv": text for i, text in enumerate(texts)}
    power = [{"file": name, "trial": None if i == 0 else 0} for i, name in enumerate(files)]
    trials = [trial(14, 2, kept=True)]
    return folder(files, ride={**example["ride"], "power_files": power}, trials=trials, **fields)


def test_sprints_are_counted_after_the_first_two_and_compared(folder, example):
    record = sprinted(folder, example, [power_text(FOUND_W), power_text(TRIED_W)])
    found = record.assessment.ride.sprints
    assert [setting.setting for setting in found.settings] == ["as found", "trial 1"]
    assert found.settings[0].peaks_w == pytest.approx(FOUND_W[2:], abs=1)
    difference = found.compared[0].difference
    assert difference.difference_w.value == pytest.approx(80, abs=1)
    # Martin et al. 1997's CV of 3.3 % with four degrees of freedom, and this rider's own with six, t with ten.
    own = [np.array(watts[skip:]) / np.mean(watts[skip:]) for watts, skip in ((FOUND_W, 2), (TRIED_W, 0))]
    sd = math.sqrt((4 * 3.3**2 + 1e4 * 3 * sum(np.var(each, ddof=1) for each in own)) / 10)
    expected = stats.t.ppf(0.975, 10) * sd * math.sqrt(2 / 4)
    assert difference.smallest_detectable_percent == pytest.approx(expected, abs=0.05)
    assert f"{expected:.1f} %" in repr(record.sprints_compared())
    assert "order of riding is not taken out" in repr(record.sprint_words())


def test_the_screen_is_asked_before_any_sprint_and_its_answers_are_not_made_up(folder, example):
    said = repr(sprinted(folder, example, [power_text(FOUND_W)]).sprint_words())
    assert said.startswith("Exertion screen not recorded")
    assert "Has a clinician told you to avoid hard effort?" in said


def test_an_open_sign_stops_any_comparison_of_sprints(folder, example):
    signs = [{"sign": "fever", "side": None, "cleared": None}]
    record = sprinted(folder, example, [power_text(FOUND_W), power_text(TRIED_W)], signs=signs)
    assert record.assessment.ride.sprints.compared == ()
    assert repr(record.sprint_words()).startswith("Sprints not assessed: not before a clinician has seen to fever")


def test_fewer_than_four_sprints_of_a_setting_are_not_assessed(folder, example):
    record = sprinted(folder, example, [power_text(FOUND_W), power_text(TRIED_W[:3])])
    assert "Trial 1: not assessed: needs 4 sprints after the two for getting used to it; found 3." in repr(
        record.sprint_words()
    )
    assert "not assessed" in repr(record.sprints_compared())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (power_text(FOUND_W, factor=0.001), "In W/kg or kW?"),
        (power_text(FOUND_W, factor=9.81), "In another unit?"),
        (power_text(FOUND_W, spike=4000), "spike of 4000 W"),
        (power_text(FOUND_W, step_s=1.0), "Samples 1 s apart give no time to the peak"),
        ("time_s,watts\n0,100\n", "no column is called power_w"),
    ],
)
def test_a_power_file_that_cannot_be_right_is_said(folder, example, text, said):
    record = sprinted(folder, example, [text])
    assert said in repr(record.sprint_words()) + repr(record.sprints())
    assert record.assessment["left.cleat_setback.as_found"].is_known


def test_samples_a_second_apart_give_a_peak_and_no_time_to_it(folder, example):
    record = sprinted(folder, example, [power_text(FOUND_W, step_s=1.0)])
    assert all(sprint.effort.time_to_peak_s is None for sprint in record.assessment.ride.sprints.ridden)
    assert all(sprint.effort.peak_w is not None for sprint in record.assessment.ride.sprints.ridden)


# --- What the record says --------------------------------------------------------------------------------------------


def test_a_bracket_stands_in_words_and_is_not_called_missing(folder, example):
    record = folder(trials=[trial(8, 7), trial(12, 5), trial(16, 2), trial(20, 1)])
    said = repr(record.forward_limit())
    assert "Left: unsteady at 8 and 12, steady at 16 and 20 mm: between 12 and 16 mm." in said
    assert "No return trial yet" in said or "no return trial yet" in said
    assert "orward limit" not in repr(record.lacking())
    assert "Forward limit" in repr(record.sources())


def test_contradictory_marks_are_said(folder):
    said = repr(folder(trials=[trial(8, 1), trial(12, 6), trial(16, 1)]).forward_limit())
    assert "contradictory: steady at 8 mm, in front of unsteady at 12 mm" in said
    assert "needs return trial" in said


def test_observations_stand_along_the_setbacks_and_nothing_is_made_of_them(folder):
    seen = [{"what": "hip_drop", "side": "right"}, {"what": "weight_on_hands", "side": "both"}]
    complaints = [{"region": "knee_front", "side": "left", "severity": 3}]
    trials = [trial(16, 2), trial(12, 5, seen=seen, complaints=complaints, smooth_at_bottom=4)]
    record = folder(trials=trials)
    rows = {row[0]: row for row in record.trials_along().rows}
    assert next(iter(rows)) == "Left 12 mm, trial 2"  # toes to heel
    assert rows["Left 12 mm, trial 2"][2:4] == ("4", "weight on the hands, says knee front, left, 3 of 10")
    assert rows["Right 12 mm, trial 2"][3] == "a hip drops, weight on the hands"
    assert rows["Left 16 mm, trial 1"][3] == "—"
    before = folder(trials=[trial(16, 2), trial(12, 5)]).assessment
    assert before.results == record.assessment.results


def test_short_maximal_efforts_behind_the_band_go_forward_in_small_steps(folder, example):
    # Common practice, no source: EU 42 ends at 18; 2 mm at a time, from the steady setting ridden on the way.
    changed = {"rider": {**example["rider"], "riding": "short_maximal"}, "seen": [], "decided": {}, "as_left": {}}
    changed["as_found"] = {"left": {"cleat_setback_mm": [26]}}
    assert (
        "today 2 mm toward the toes, to 24, after riding on to 18"
        in folder(trials=[], **changed).first_numbers().lines[0]
    )
    ridden = [trial(24, 1)]
    assert "to 22, after riding on to 18" in folder(trials=ridden, **changed).first_numbers().lines[0]


def test_the_scale_of_unsteadiness_has_words(folder):
    rows = folder(trials=[trial(16, 1)]).unsteadiness_scale().rows
    assert (rows[0], rows[-1]) == (("0", "calm, the foot stands still"), ("10", "cannot ride"))
    # One scale wherever a score is written: on paper in the room, in the form, in the record.
    assert all(f"<b>{score}</b> {words}" in room_sheet_html() for score, words in rows)


def follow_up(example, since, complaints):
    document = {**example, "since_last": since, "complaints": complaints}
    loaded = session.parse(json.dumps(document).encode())
    before = {**example, "visit_date": "2026-01-05", "complaints": [complaint("knee_front", 5)]}
    earlier = session.parse(json.dumps(before).encode())
    return Visit(session.key(loaded), loaded, house.load(), previous=earlier)


def complaint(region, severity=None):
    return {"region": region, "side": "left", **({} if severity is None else {"severity": severity})}


def test_what_nobody_said_at_the_follow_up_stays_unknown(example):
    visit = assess(follow_up(example, {}, []))
    assert "Whether the settings were kept is unknown." in repr(since_last(visit))
    assert "When the rider was asked is unknown." in repr(since_last(visit))
    assert complaints_then_and_now(visit).rows == (("Knee front, left", "5 of 10", "not named", "not named"),)


def test_complaints_then_and_now_stand_side_by_side(example):
    since = {"kept": True, "date": "2026-03-04", "complaints": [complaint("knee_front", 2)]}
    visit = assess(follow_up(example, since, [complaint("knee_front"), complaint("toes", 1)]))
    rows = complaints_then_and_now(visit).rows
    assert rows[0] == ("Knee front, left", "5 of 10", "2 of 10", "named, how bad is unknown")
    assert rows[1] == ("Toes, left", "not named", "not named", "1 of 10")
    assert "were kept" in repr(since_last(visit))
    assert "proves no cause" in repr(since_last(visit))


# --- The demonstration -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.json")), ids=lambda path: path.stem)
def test_every_file_a_demonstration_names_is_there_and_gives_numbers(path):
    found = assess(load_visit(path))
    assert found.visit.session.demonstration
    assert found.ride.filmed.unread == ()
    assert found.ride.sprints.unread == ()
    assert all(knee.track.needs is None for knee in found.ride.filmed.knees)


def test_the_unsteady_rider_has_a_bracket_and_films_and_the_sprinter_power_files():
    unsteady = assess(load_visit(DEMO / "rider-105_2026-03-02_road.json"))
    assert (unsteady["left.forward_limit"].low, unsteady["left.forward_limit"].high) == (12, 16)
    assert {knee.position for knee in unsteady.ride.filmed.knees} == {"as found", "trial 3"}
    sprinter = assess(load_visit(DEMO / "rider-106_2026-03-02_road.json"))
    assert sprinter.ride.sprints.compared[0].difference.is_within_noise


def test_a_record_is_made_from_a_copy_without_its_films(tmp_path):
    shutil.copy(DEMO / "rider-105_2026-03-02_road.json", tmp_path)
    record = Record(tmp_path / "rider-105_2026-03-02_road.json")
    assert len(record.assessment.ride.filmed.unread) == 2
    with pytest.raises(SessionProblems, match="rider-999"):
        Record(tmp_path / "rider-999_2026-03-02_road.json")


@pytest.mark.parametrize(
    ("asked", "head", "words"),
    [
        (
            None,
            "sprints were ridden; questions before hard effort: no answers recorded.",
            "Exertion screen not recorded",
        ),
        (False, "something spoke against them.", "see a clinician before any sprint"),
        (True, None, "nothing spoke against hard effort"),
    ],
)
def test_the_questions_before_hard_effort_are_said_where_sprints_were_ridden(folder, example, asked, head, words):
    record = sprinted(
        folder, {**example, "ride": {**example["ride"], "exertion_screen": asked}}, [power_text(FOUND_W)] * 2
    )
    assert words in str(record.sprint_words())
    assert ("sprints were ridden" in str(record.signs())) is (head is not None)
    assert head is None or head in str(record.signs())
    if asked is False:
        assert record.assessment.ride.sprints.settings == ()
