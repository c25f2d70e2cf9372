"""The trainee's path by keyboard: own answers first, the kit's after; repeats with earlier numbers hidden."""

import json
import shutil

import pytest

from fitkit import session
from fitkit.session.study import load_repeats, load_study
from tests import invented_year
from tests.screens.bench import WAIT_MS, field, type_into, wait_saved

OWN = "learning/worked-example_2026-03-02_road.json"
LEFT, RIGHT = (f"as_found.{side}.cleat_setback_mm" for side in ("left", "right"))


def shown(page, name):
    """Return the words of a question's box."""
    return page.locator(f".fit-asked-{name}")


def answer(page, name, words):
    """Write an own answer by keyboard and ask for the kit's."""
    page.locator(f".fit-answer-{name} input").focus()
    type_into(page, words)
    page.keyboard.press("Tab")  # to the button that shows the kit's answer
    page.keyboard.press("Enter")


def test_the_kits_answer_waits_for_an_own_one_and_works_from_what_was_typed(screens, bench):
    page = screens.show(None, "worked_example")
    own = bench.work.root / OWN
    page.locator(".fit-show-start").focus()
    page.keyboard.press("Enter")
    shown(page, "start").get_by_text("Write your own answer first.").wait_for()
    assert "13 to 18" not in shown(page, "start").inner_text()
    answer(page, "start", "16, bigger feet need more")
    shown(page, "start").get_by_text("You wrote: 16, bigger feet need more. The kit says:").wait_for()
    shown(page, "start").get_by_text("13 to 18 mm").first.wait_for()
    for dotted, text in ((LEFT, "12 12 13"), (RIGHT, "14 13 14")):
        field(page, dotted).focus()
        type_into(page, text)
        page.keyboard.press("Tab")
    wait_saved(page, own, LEFT, [12, 12, 13])
    answer(page, "error", "2")
    shown(page, "error").get_by_text("12.5 mm").wait_for()  # of 12, 12, 13: as typed
    shown(page, "error").get_by_text("Grade: common practice.").wait_for()
    assert page.get_by_role("row", name="Cleat setback as found (left)").count() == 0
    answer(page, "beside", "the left mark")
    beside = page.get_by_role("row", name="Cleat setback as found (left)")
    beside.get_by_text("12.5 mm").wait_for()
    beside.get_by_text("11.5 mm").wait_for()


def test_own_answers_stay_after_a_reload(screens, bench):
    page = screens.open(None, "worked_example")
    answer(page, "tell", "ride somewhere safe first")
    shown(page, "tell").get_by_text("You wrote: ride somewhere safe first").wait_for()
    page.reload()
    page.wait_for_selector(".fit-show-tell", timeout=WAIT_MS)
    assert page.locator(".fit-answer-tell input").input_value() == "ride somewhere safe first"
    assert session.load(bench.work.root / OWN).demonstration


def test_repeats_are_counted_and_never_shown_until_asked_for(screens, bench):
    page = screens.show(None, "measuring_error")
    rounds = [("shoe 1, left", "mark_found_anew", (14, 15)), ("shoe 2, left", "mark_found_anew", (12, 11.5))]
    rounds.append(("shoe 1, left", "tape_left_on", (14, 14.5)))
    page.locator(".fit-fitter input").focus()
    page.keyboard.type("f7")
    count = 0
    for shoe, how, readings in rounds:
        for reading in readings:
            page.locator(".fit-shoe input").focus()
            type_into(page, shoe)
            page.locator(".fit-how-taken select").select_option(index=1 if how == "mark_found_anew" else 2)
            page.locator(".fit-reading input").focus()
            page.keyboard.type(str(reading))
            page.locator(".fit-save-reading").focus()
            page.keyboard.press("Enter")
            count += 1
            page.wait_for_function("() => document.querySelector('.fit-reading input').value === ''")
    kept = bench.work.root / "fitters" / "f7_repeats.json"
    assert sum(len(shoe.readings_mm) for shoe in load_repeats(kept).shoes) == count
    form = page.locator(".fit-measuring")
    form.get_by_text("shoe 1, left, marked anew: 2").wait_for()
    assert "14.5" not in form.inner_text()
    page.locator(".fit-show-reading").focus()
    page.keyboard.press("Enter")
    form.get_by_text("Technical error, joint marked anew").wait_for()
    page.locator(".fit-use-reading").focus()
    page.keyboard.press("Enter")
    form.get_by_text("From now on the visits of f7").wait_for()
    assert load_study(bench.work.root / "fitters" / "f7.json").fitter_id == "f7"


def test_a_knee_is_read_with_a_ruler_and_no_table_of_points(screens, bench):
    page = screens.show(bench.visit("rider-ruler"), "4_ride_check")
    for end, text in (("top", "10 12 11"), ("bottom", "-4 -3 -5")):
        page.locator(f".fit-ruler-left-{end} input").focus()
        type_into(page, text)
        page.keyboard.press("Tab")
    page.locator(".fit-ruled").get_by_text("15 (").first.wait_for()  # 11 less -4
    type_into(page, "99999")
    page.locator(".fit-ruled button").focus()
    page.keyboard.press("Enter")
    page.locator(".fit-ruled").get_by_text("expected -300 to 300").wait_for()


def test_nothing_of_the_trainees_is_asked_of_a_network(screens, bench):
    page = screens.show(None, "worked_example", width=360)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert all("127.0.0.1" in url or url.startswith(("data:", "blob:")) for url in screens.asked)
    assert json.loads((bench.work.root / OWN).read_text(encoding="utf-8"))["client_id"] == "worked-example"


@pytest.fixture
def years_ago(bench):
    """Put a part of an invented year into the work folder, long before the other visits."""
    documents = [one for one in invented_year.documents(100) if "since_last" not in one and "wish" not in one][:40]
    for one in documents:
        one["visit_date"], one["follow_up_due"] = one["visit_date"].replace("2026", "2019"), None
    invented_year.write(bench.work.root / "2019", documents)
    yield len(documents)
    shutil.rmtree(bench.work.root / "2019")


def test_own_questions_open_from_the_start_page_run_and_take_one_more(screens, bench, years_ago):
    page = screens.show(None, "start_here")
    page.locator('a[data-fit-open="own_questions.ipynb"]').press("Enter")
    page.wait_for_selector(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-RenderedVegaCommon5 canvas", timeout=WAIT_MS)
    page.wait_for_selector(".jp-NotebookPanel:not(.lm-mod-hidden)[data-fit-ready]", timeout=WAIT_MS)
    notebook = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)")
    assert notebook.locator('.jp-RenderedText[data-mime-type*="stderr"]').count() == 0
    # A chart is read aloud, and its menu hands its data to no page elsewhere.
    notebook.locator('[aria-label*="Cleat setback by shoe size"]').first.wait_for()
    assert notebook.locator(".vega-actions a", has_text="Vega Editor").count() == 0
    assert notebook.get_by_text("under 5 riders (house rule)").count() > 0
    own = notebook.locator(".jp-CodeCell").last
    own.locator(".cm-content").focus()
    page.keyboard.press("Control+End")
    page.keyboard.press("Enter")
    page.keyboard.type("len(feet) - 2 * len(visits) + 123456")
    page.keyboard.press("Shift+Enter")
    notebook.locator(".jp-OutputArea-output", has_text="123456").wait_for()  # a new cell is the last one now
    page.evaluate("() => { jupyterapp.commands.execute('docmanager:save'); }")
    page.wait_for_function("() => !document.querySelector('.jp-mod-dirty')", timeout=WAIT_MS)
    kept = (bench.work.root / "own_questions.ipynb").read_text(encoding="utf-8")
    assert "+ 123456" in kept
    assert '"outputs": []' in kept
    assert "vegalite" not in kept
