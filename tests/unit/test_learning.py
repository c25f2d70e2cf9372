"""What a trainee types and answers: kept privately, hidden where it must be, and never before an own answer."""

import json
import re
import stat
from pathlib import Path

import pytest

from fitkit import files, session, workbench
from fitkit.estimate import GRADES
from fitkit.forms.controls import made_once
from fitkit.report import Record
from fitkit.report.compared import BELIEFS, belief, beliefs
from fitkit.report.repeats import RepeatsShown, example
from fitkit.session.study import load_repeats, load_study
from fitkit.workbench import guided, measuring
from fitkit.workbench.folder import WorkFolder, is_kept, learning_folder
from fitkit.workbench.guided import REFERENCE, answers_of
from fitkit.workbench.start_page import _Page

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def own(tmp_path):
    return Path(workbench.lesson(tmp_path))


def test_a_function_stays_one_when_its_cell_is_run_again():
    for name in workbench.__all__:
        assert getattr(workbench, name) is getattr(workbench, name)
        assert callable(getattr(workbench, name))


def test_the_trainees_copy_holds_none_of_the_answers(own):
    begun, reference = session.load(own), session.load(files.template(REFERENCE))
    assert begun.demonstration
    assert begun.trials == ()
    assert begun.as_found.left.cleat_setback_mm == ()
    assert begun.shoes.right.greatest_cleat_setback_mm is None
    assert begun.rider == reference.rider
    assert stat.S_IMODE(own.stat().st_mode) == 0o600
    assert stat.S_IMODE(own.parent.stat().st_mode) == 0o700


def test_a_copy_that_was_begun_is_left_alone(own, tmp_path):
    change = {"as_found.left.cleat_setback_mm": ([], [12.0])}
    session.update(own, change, fitter=None, at="2026-03-02T10:00:00")
    assert Path(workbench.lesson(tmp_path)) == own
    assert session.load(own).as_found.left.cleat_setback_mm == (12.0,)


def test_nothing_is_written_into_the_kit():
    assert not is_kept(ROOT / "notebooks")
    assert not learning_folder(ROOT / "notebooks").is_relative_to(ROOT)
    assert not (ROOT / "notebooks" / "learning").exists()


def asked(own, name="start"):
    made_once.cache_clear()
    told = ("Where would you begin?", Record, "starting_band")
    box = workbench.ask(own, name, *told, after=("starting band",))
    given = (own.resolve(), name, told[0], told[1:], ("starting band",))
    return box, made_once(guided._Question, *given)


def test_the_kits_answer_waits_for_an_own_one(own):
    box, question = asked(own)
    question._written()
    assert "Write your own answer first." in question._status.value
    assert len(box.children) == 2
    question._field.value = "15"
    assert "You wrote: 15. The kit says:" in question._status.value
    assert "13 to 18 mm" in box.children[2].children[0].value
    assert "Grade: common practice." in box.children[3].children[0].value
    assert answers_of(own) == {"start": "15"}
    assert stat.S_IMODE(own.with_name(f"{own.stem}.answers.jsonl").stat().st_mode) == 0o600


def test_nothing_a_person_sees_first_gives_an_answer_away(own):
    source = (ROOT / "notebooks" / "worked_example.ipynb").read_text(encoding="utf-8")
    notebook = json.loads(source)
    for cell in notebook["cells"]:
        words = json.dumps(cell["outputs"]) if cell["cell_type"] == "code" else "".join(cell["source"])
        assert "13 to 18" not in words
        assert "between 15 and 18" not in words
        assert "Grade" not in words


def test_an_answer_is_there_again_and_the_last_one_counts(own):
    for words in ("15", "16"):
        asked(own)[1]._field.value = words
    box, question = asked(own)
    assert question._field.value == "16"
    assert len(box.children) == 4


def test_an_answer_cannot_become_a_page(own):
    _, question = asked(own)
    question._field.value = "<script>alert(1)</script>"
    assert "<script>" not in question._status.value


def test_a_line_cut_off_by_a_killed_process_is_left_out(own):
    asked(own)[1]._field.value = "15"
    with own.with_name(f"{own.stem}.answers.jsonl").open("a", encoding="utf-8") as file:
        file.write('{"name": "start", "ans')
    assert answers_of(own) == {"start": "15"}


def test_what_cannot_be_saved_is_said(own, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(guided, "append_durably", full)
    _, question = asked(own)
    question._field.value = "15"
    assert "Your answer is not saved: No space left on device" in question._status.value


def test_the_own_record_stands_beside_the_reference(own):
    rows = {row[0]: row[1:] for row in workbench.beside(own).rows}
    assert rows["Cleat setback as found (left)"][0].startswith("not assessed")
    assert rows["Cleat setback as found (left)"][1].startswith("11.5 mm (")
    assert rows["Forward limit (left)"][1] == "between 15 and 18 mm"


def test_the_start_page_leads_to_both(tmp_path):
    workbench.start(tmp_path)
    page = made_once(_Page, WorkFolder(tmp_path.resolve()))
    for name in ("worked_example", "measuring_error"):
        assert f'href="/doc/workspaces/fit/tree/{name}.ipynb"' in page._visits.value


# --- Repeats ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def form(tmp_path):
    made_once.cache_clear()
    workbench.measure(tmp_path)
    return made_once(measuring._Repeats, tmp_path.resolve(), True)


def take(form, reading, *, fitter="f7", shoe="shoe 1, left", how="mark_found_anew", other=""):
    form._fitter.value, form._shoe.value, form._how.value = fitter, shoe, how
    form._reading.value, form._other.value = reading, other
    form._tried(form._save)
    return re.sub("<[^>]*>", "", form._status.value)


def test_a_reading_is_kept_and_gone_from_the_screen(form, tmp_path):
    assert take(form, "14.5", other="14") == "Saved. Look away, take the next."
    assert take(form, "15,5") == "Saved. Look away, take the next."
    assert (form._reading.value, form._other.value) == ("", "")
    everything = form._count.value + form._shown.value + form._status.value
    assert "shoe 1, left, marked anew: 2" in everything
    assert "14.5" not in everything
    (kept,) = load_repeats(tmp_path / "fitters" / "f7_repeats.json").shoes
    assert (kept.readings_mm, kept.reference_mm) == ((14.5, 15.5), 14)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"fitter": "Jane Doe"}, "“Jane Doe”; expected 1 to 40 of a-z, 0-9 and -"),
        ({"shoe": " "}, "Which shoe is blank"),
        ({"how": None}, "How it was taken is not said"),
        ({"reading": ""}, "Cleat setback is blank"),
        ({"reading": "14 15"}, "2 numbers stand here; expected one reading at a time."),
        ({"reading": "1O"}, "a letter for a digit?"),
        ({"reading": "1400"}, "1400"),
    ],
)
def test_what_cannot_be_taken_is_said_and_stays_typed(form, tmp_path, typed, said):
    reading = typed.pop("reading", "14")
    assert said in take(form, reading, **typed)
    assert form._reading.value == reading
    assert not (tmp_path / "fitters").exists()


def test_how_a_reading_was_taken_keeps_two_errors_apart(form, tmp_path):
    for reading in ("14", "16", "15"):
        take(form, reading)
    form._tried(form._use)
    assert "needs two or more readings of one shoe with the tape left on" in form._status.value
    assert not (tmp_path / "fitters" / "f7.json").exists()
    for reading in ("14", "14.5"):
        take(form, reading, how="tape_left_on")
    form._tried(form._use)
    assert "From now on the visits of f7 use your own mark" in form._status.value
    study = load_study(tmp_path / "fitters" / "f7.json")
    assert study.spread_sd_mm < study.place_sd_mm


def test_readings_show_only_when_asked_for(form):
    for reading in ("14", "16"):
        take(form, reading)
    form._tried(form._show)
    assert "14, 16" in form._shown.value
    assert "Technical error, joint marked anew" in form._shown.value
    take(form, "15")
    assert form._shown.value == ""


def test_a_file_at_fault_is_said_and_left_alone(form, tmp_path):
    (tmp_path / "fitters").mkdir()
    path = tmp_path / "fitters" / "f7_repeats.json"
    path.write_text("{}", encoding="utf-8")
    assert "f7_repeats.json cannot be read" in take(form, "14")
    assert path.read_text(encoding="utf-8") == "{}"


def test_what_repeats_say_says_what_they_cannot(tmp_path):
    shown = RepeatsShown(example())
    assert "never that all of them lie off the joint" in repr(shown.words())
    assert "1.6 (1.2 to 2.4)" in repr(shown.errors())
    assert shown.agreement().alt.startswith("Agreement, second less first")
    assert example() == load_repeats(ROOT / "demo_sessions" / "fitters" / "f3_repeats.json")


# --- The ruler and the beliefs ---------------------------------------------------------------------------------------


def test_a_ruler_on_a_paused_film_is_enough(own):
    workbench.ruler(own)
    form = made_once(measuring._Ruler, own.resolve())
    form._fields["left", "top"].value = "10 12 11"
    assert "Left: 3 offsets at the top and 0 at the bottom" in form._status.value
    form._fields["left", "bottom"].value = "-4 -3 -5"
    # Top less bottom: 14, 15, 16.
    assert "15 (" in form._shown.value
    assert form._status.value == ""


def test_every_belief_has_a_grade_and_a_finding():
    assert len(beliefs().rows) == len(BELIEFS)
    for name, held in BELIEFS.items():
        assert held.grade in GRADES
        assert held.found.endswith(".")
        assert belief(name).lines[1] == f"Grade: {held.grade}."


@pytest.mark.parametrize(
    ("name", "published"),
    [
        ("starting band", "0 (8) mm"),  # Ramos-Ortega et al. 2012: 36 (8) less the cleat's own 36
        ("calf", "-7 % at 5 mm"),  # Millour et al. 2020
        ("sprint", "4.2 %"),  # 1200 to 1150 W
        ("pelvis", "narrowest was best"),  # J Sports Sci 39:768
        ("knees", "8 (3) mm"),  # a conference abstract, 8 riders
        ("knees", "50 riders no link"),  # Branco 2023
        ("mark", ".86 to .97"),  # J Foot Ankle Res 7:37
    ],
)
def test_findings_are_those_published(name, published):
    assert published in BELIEFS[name].found.replace("−", "-")


def test_the_reference_is_a_session_of_the_kits_own_format():
    reference = json.loads(files.template(REFERENCE).read_text(encoding="utf-8"))
    assert reference["demonstration"] is True
    assert Record(files.template(REFERENCE)).assessment["left.cleat_setback.as_left"].value == 18
