"""A fitter's own repeats: kept as taken, made into a study, and used for that fitter's intervals from then on."""

import math
import stat
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fitkit.assessment import load_visit
from fitkit.report.repeats import assess_repeats, study_of
from fitkit.session import SessionProblems
from fitkit.session.study import MarkRepeats, RepeatsOfOneShoe, load_repeats, load_study, save_repeats, save_study

DEMO = Path(__file__).resolve().parents[2] / "demo_sessions"
ANEW = [(14.0, 15.0, 13.0), (12.0, 12.0, 11.0), (16.0, 14.0, 15.0)]
TAPE = [(14.0, 14.5, 14.0, 13.5), (12.0, 12.0, 12.5, 12.0)]


def repeats(anew=ANEW, tape=TAPE, references=(13.0, 12.0, 15.0)):
    shoes = [
        RepeatsOfOneShoe(shoe=f"shoe {i}", taken="mark_found_anew", readings_mm=readings, reference_mm=reference)
        for i, (readings, reference) in enumerate(zip(anew, references, strict=False))
    ]
    shoes += [RepeatsOfOneShoe(shoe=f"tape {i}", taken="tape_left_on", readings_mm=r) for i, r in enumerate(tape)]
    return MarkRepeats(fitter_id="f9", date="2026-02-24", shoes=tuple(shoes))


def pooled(groups):
    df = sum(len(group) - 1 for group in groups)
    return math.sqrt(sum(np.var(group, ddof=1) * (len(group) - 1) for group in groups) / df), df


def test_the_technical_error_and_its_interval_are_those_of_the_tables():
    # TEM = sqrt(sum d^2 / 2n) for pairs, the pooled spread for more (JCGM 100:2008, H.5.2.5); chi-square interval.
    found = assess_repeats(repeats())
    sd, df = pooled(ANEW)
    assert found.marking.value == pytest.approx(sd)
    assert found.marking.low == pytest.approx(sd * math.sqrt(df / stats.chi2.ppf(0.975, df)))
    assert found.marking.high == pytest.approx(sd * math.sqrt(df / stats.chi2.ppf(0.025, df)))
    # Smallest detectable change: 1.96 sqrt(2) SEM.
    assert found.detectable.value == pytest.approx(1.96 * math.sqrt(2) * sd)
    assert found.against_reference.bias.value == pytest.approx((14 - 13 + 12 - 12 + 16 - 15) / 3)
    assert found.between_rounds.bias.value == pytest.approx((1 + 0 - 2) / 3)


def test_a_study_parts_the_marks_place_from_the_ruler():
    study = study_of(repeats())
    marks, ruler = pooled(ANEW), pooled(TAPE)
    assert study.spread_sd_mm == pytest.approx(ruler[0])
    assert study.place_sd_mm == pytest.approx(math.sqrt(marks[0] ** 2 - ruler[0] ** 2))


def test_a_study_feeds_the_fitters_intervals(tmp_path, example):
    import json

    path = tmp_path / "rider-042_2026-03-04_road.json"
    path.write_text(json.dumps({**example, "fitter_id": "f9", "taken": {}}), encoding="utf-8")
    from fitkit.assessment import assess

    before = assess(load_visit(path))["left.cleat_setback.as_found"]
    save_study(study_of(repeats()), tmp_path)
    after = assess(load_visit(path))["left.cleat_setback.as_found"]
    assert after.value == before.value
    assert after.half_width != before.half_width
    assert "the fitter's own study of 2026-02-24" in after.source


def test_files_are_private_and_read_back_as_written(tmp_path):
    for saved, load in ((save_study(study_of(repeats()), tmp_path), load_study),):
        assert load(saved) == study_of(repeats())
        assert stat.S_IMODE(saved.stat().st_mode) == 0o600
    kept = save_repeats(repeats(), tmp_path)
    assert kept.name == "f9_repeats.json"
    assert load_repeats(kept) == repeats()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("taken", "needs"),
    [
        ({"tape": []}, "the tape left on"),
        ({"anew": []}, "marked anew twice or more"),
        ({"anew": [(14.0,), (12.0,)]}, "marked anew twice or more"),
    ],
)
def test_repeats_that_make_no_study_say_what_is_needed(taken, needs):
    with pytest.raises(ValueError, match=f"f9's repeats make no study yet; needs .*{needs}"):
        study_of(repeats(**taken))
    assert any(needs in need for need in assess_repeats(repeats(**taken)).needs)


def test_readings_all_alike_make_no_study():
    with pytest.raises(ValueError, match="readings with the tape left on scatter by 0 mm"):
        study_of(repeats(tape=[(14.0, 14.0, 14.0)]))


def test_a_repeats_file_at_fault_says_where(tmp_path):
    path = tmp_path / "f9_repeats.json"
    path.write_text('{"fitter_id": "f9", "date": "2026-02-24", "shoes": [{"shoe": "a", "taken": "guessed"}]}')
    with pytest.raises(SessionProblems, match=r"shoes\.0\.taken.*guessed"):
        load_repeats(path)
    path.write_text('{"fitter_id": "f8", "date": "2026-02-24"}')
    with pytest.raises(SessionProblems, match="f9_repeats"):
        load_repeats(path)


def test_the_demonstrated_trainee_has_repeats_that_make_a_study():
    study = study_of(load_repeats(DEMO / "fitters" / "f3_repeats.json"))
    assert 0 < study.spread_sd_mm < study.place_sd_mm
