"""The workbench as the fitter meets it: by keyboard, with interruptions; nothing typed is lost."""

import resource

import pytest
from axe_playwright_python.sync_playwright import Axe

from fitkit import session
from fitkit.forms.rows import at_class
from fitkit.workbench import open_command
from tests.conftest import ROOT
from tests.screens.bench import (
    WAIT_MS,
    field,
    first_field,
    note_of,
    ready,
    saved,
    tab_to,
    type_into,
    wait_saved,
)

LEFT_FOOT, RIGHT_FOOT = "rider.left.foot_length_mm", "rider.right.foot_length_mm"
OURS = {"include": [[".fit"]]}
# Web Content Accessibility Guidelines 2.1, levels A and AA.
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}


def test_bad_entries_end_in_words_and_stay(intake):
    page, path = intake.pages[0], intake.path
    first_field(page)
    for dotted, typed, words in (
        ("rider.stature_mm", "105 cm", "Did you mean 1050"),
        ("rider.mass_kg", "7O.5", "a letter for a digit"),
        ("rider.inseam_mm", "🙂", "is no number"),
        (LEFT_FOOT, "26.7", "Entered in cm? Did you mean 267"),
    ):
        tab_to(page, dotted)
        type_into(page, typed)
        page.keyboard.press("Tab")
        note_of(page, dotted).get_by_text(words).wait_for()
        assert field(page, dotted).input_value() == typed
    # What was meant is taken by keyboard: the button follows in the same row.
    page.get_by_role("button", name="left: Take 267").focus()
    page.keyboard.press("Enter")
    wait_saved(page, path, LEFT_FOOT, [267])
    assert saved(path, "rider.stature_mm") is None
    page.locator(".fit-top").get_by_text("Not saved yet:").wait_for()


def test_how_to_measure_shows_with_the_keyboard_in_the_field(intake):
    page = intake.pages[0]
    field(page, LEFT_FOOT).focus()
    how = session.describe(LEFT_FOOT).how
    note_of(page, LEFT_FOOT).get_by_text(how).wait_for(state="visible")
    described = field(page, LEFT_FOOT).get_attribute("aria-describedby")
    assert how in page.locator(f"#{described}").inner_text()


def test_a_killed_kernel_loses_nothing_typed(screens, bench):
    path = bench.visit("rider-kill")
    page = screens.show(path, "1_intake")
    first_field(page)
    tab_to(page, LEFT_FOOT)
    type_into(page, "267")
    page.keyboard.press("Tab")
    wait_saved(page, path, LEFT_FOOT, [267])
    page.keyboard.type("269")  # still in the field when the calculation dies
    bench.kill_kernel(path, "1_intake")
    dialog = page.locator(".jp-Dialog button").first
    dialog.wait_for(timeout=WAIT_MS)
    page.keyboard.press("Enter")
    begun_again(page, path)
    assert field(page, LEFT_FOOT).input_value() == "267"
    tab_to(page, "rider.left.thigh_mm")
    type_into(page, "428")
    page.keyboard.press("Enter")
    wait_saved(page, path, "rider.left.thigh_mm", [428])


def test_what_was_typed_comes_back_where_the_field_has_the_keyboard_first(screens, bench):
    path = bench.visit("rider-first")
    page = screens.open(path, "1_intake")
    tab_to(page, RIGHT_FOOT)
    page.keyboard.type("269")
    # The run ends in the moment in which the form is shown again: the field has the keyboard before its text.
    page.evaluate(
        """name => new MutationObserver(() => {
          const input = document.querySelector(`.${name} input`);
          if (input && document.activeElement !== input) input.focus();
        }).observe(document.body, {childList: true, subtree: true, attributes: true})""",
        at_class(RIGHT_FOOT),
    )
    bench.kill_kernel(path, "1_intake")
    page.locator(".jp-Dialog button").first.wait_for(timeout=WAIT_MS)
    page.keyboard.press("Enter")
    begun_again(page, path)


def test_late_news_never_changes_what_is_being_typed(screens, bench):
    path = bench.visit("rider-late")
    page = screens.show(path, "1_intake")
    first_field(page)
    tab_to(page, LEFT_FOOT)
    with bench.held_kernel(path, "1_intake"):
        page.keyboard.type("26z")
        page.keyboard.press("Enter")
        type_into(page, "2")
    page.wait_for_selector(".fit-held-in")  # the refusal of the first text has come, and with it a change of the field
    page.keyboard.type("67")
    assert field(page, LEFT_FOOT).input_value() == "267"
    page.keyboard.press("Enter")
    wait_saved(page, path, LEFT_FOOT, [267])


def test_news_from_another_window_never_changes_what_is_being_typed(screens, bench):
    path = bench.visit("rider-news")
    page = screens.show(path, "1_intake")
    field(page, "rider.mass_kg").focus()
    page.keyboard.type("7")
    save_elsewhere(path, "rider.mass_kg", 74)
    note_of(page, "rider.mass_kg").get_by_text("Changed in another window.").wait_for()
    page.keyboard.type("5")
    assert field(page, "rider.mass_kg").input_value() == "75"
    page.keyboard.press("Enter")
    note_of(page, "rider.mass_kg").get_by_text("there 74, here 75").wait_for()
    assert saved(path, "rider.mass_kg") == 74
    # What was begun and given up again makes room for the news.
    field(page, "rider.stature_mm").focus()
    page.keyboard.type("1")
    save_elsewhere(path, "rider.stature_mm", 1755)
    note_of(page, "rider.stature_mm").get_by_text("Changed in another window.").wait_for()
    page.keyboard.press("Backspace")
    page.keyboard.press("Tab")
    shown = "() => document.querySelector('.fit-at-rider--stature_mm input').value === '1755'"
    page.wait_for_function(shown)
    assert saved(path, "rider.stature_mm") == 1755


def test_a_sign_typed_in_one_window_is_in_the_others_and_their_advice_is_gone(screens, bench):
    path = bench.visit("rider-sign")
    save_elsewhere(path, "shoes.left", {"size": 42, "size_system": "eu"})
    save_elsewhere(path, "as_found.left.cleat_setback_mm", [5, 5])
    here = screens.open(path, "1_intake")
    there, start = screens.open(path, "2_cleat_marking"), screens.open(None, "start_here")
    advice = there.locator(".fit-live").get_by_text("today 5 mm toward the heel")
    advice.first.wait_for()
    choices = field(here, "signs.0.sign")
    offered = [text.replace("\xa0", " ") for text in choices.locator("option").all_inner_texts()]
    choices.select_option(index=offered.index("this hour: chest pain"))
    wait_saved(here, path, "signs.0.sign", "chest_pain")
    there.locator(".fit-top .fit-stop").get_by_text("Changed in another window: chest pain").wait_for()
    there.locator(".fit-live").get_by_text("do not ride or drive").first.wait_for()
    there.wait_for_function(
        "() => ![...document.querySelectorAll('.fit-live')].some(one => one.innerText.includes('toward the heel,'))"
    )
    assert advice.count() == 0
    row = start.locator(".fit-start tr", has_text="rider-sign")
    row.get_by_text("This hour: chest pain").wait_for()
    row.get_by_text("Changed in another window.").wait_for()


def test_a_file_that_is_gone_for_a_moment_leaves_the_old_view_marked(screens, bench):
    path = bench.visit("rider-moment")
    save_elsewhere(path, "as_found.left.cleat_setback_mm", [11])
    page = screens.show(path, "2_cleat_marking")
    view = page.locator(".fit-live", has_text="11 mm").first
    view.wait_for()
    path.rename(path.with_suffix(".away"))
    view.get_by_text("may be wrong by now").first.wait_for()
    assert "11 mm" in view.inner_text()
    path.with_suffix(".away").rename(path)
    view.get_by_text("may be wrong by now").first.wait_for(state="detached")


def test_forms_are_served_one_after_the_other(screens, bench):
    # Lab would hand them to threads of their own, and a second value that comes while one is being saved gets lost.
    path = bench.visit("rider-one-thread")
    sent = []
    screens.context.on(
        "page", lambda page: page.on("websocket", lambda line: line.on("framesent", lambda frame: sent.append(frame)))
    )
    page = screens.open(path, "1_intake")
    field(page, LEFT_FOOT).fill("267")
    page.keyboard.press("Enter")
    wait_saved(page, path, LEFT_FOOT, [267])
    told = b"".join(frame if isinstance(frame, bytes) else frame.encode() for frame in sent)
    assert b"comm_msg" in told
    assert b"create_subshell_request" not in told


def test_a_reloaded_page_has_all_that_was_typed(screens, bench):
    path = bench.visit("rider-reload")
    page = screens.open(path, "1_intake")
    field(page, LEFT_FOOT).focus()
    page.keyboard.type("267")
    page.keyboard.press("Tab")
    wait_saved(page, path, LEFT_FOOT, [267])
    page.keyboard.type("269")
    page.reload()
    ready(page, "1_intake")
    begun_again(page, path)
    assert field(page, LEFT_FOOT).input_value() == "267"


def begun_again(page, path):
    """Check that the 269 that was never entered is put back and said to be so, and enter it."""
    marked = page.locator(f".fit-begun.{at_class(RIGHT_FOOT)} input")
    marked.wait_for()
    assert marked.input_value() == "269"
    assert saved(path, RIGHT_FOOT) is None
    marked.press("Enter")
    wait_saved(page, path, RIGHT_FOOT, [269])
    page.locator(".fit-begun").wait_for(state="detached")


def test_one_notebook_in_two_windows_also_after_a_killed_kernel(screens, bench):
    path = bench.visit("rider-two")
    here = screens.open(path, "1_intake")
    there = screens.open(path, "1_intake")
    field(here, LEFT_FOOT).focus()
    here.keyboard.type("267")
    here.keyboard.press("Enter")
    wait_saved(here, path, LEFT_FOOT, [267])
    there.wait_for_function("() => document.querySelector('.fit-at-rider--left--foot_length_mm input').value === '267'")
    bench.kill_kernel(path, "1_intake")
    for page in (here, there):
        page.locator(".jp-Dialog button").first.wait_for(timeout=WAIT_MS)
        page.keyboard.press("Enter")
    for page, dotted, text in ((here, RIGHT_FOOT, "269"), (there, "rider.left.thigh_mm", "428")):
        ready(page, "1_intake")
        field(page, dotted).focus()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        wait_saved(page, path, dotted, [int(text)])


def save_elsewhere(path, dotted, value):
    session.update(path, {dotted: (None, value)}, fitter=None, at="2026-03-04T10:00:00")


def test_two_notebooks_on_one_session_show_both_values(intake, bench):
    page, path = intake.pages[0], intake.path
    field(page, "bike.crank_length_mm").focus()
    with bench.held_kernel(path, "1_intake"):
        save_elsewhere(path, "bike.crank_length_mm", 170)
        page.keyboard.type("175")
        page.keyboard.press("Enter")
    note_of(page, "bike.crank_length_mm").get_by_text("there 170, here 175").wait_for()
    page.get_by_role("button", name="Take mine, 175").focus()
    page.keyboard.press("Enter")
    wait_saved(page, path, "bike.crank_length_mm", 175)
    page.locator(".fit-top").get_by_text("saved").or_(
        page.locator(".fit-top").get_by_text("Not saved yet")
    ).first.wait_for()


def test_a_full_disk_is_said_and_save_brings_all(intake, bench):
    page, path = intake.pages[0], intake.path
    kernel = bench.kernel_pid(path, "1_intake")
    before = resource.prlimit(kernel, resource.RLIMIT_FSIZE)
    resource.prlimit(kernel, resource.RLIMIT_FSIZE, (0, before[1]))  # no file can grow any more
    field(page, "bike.seat_tube_angle_deg").focus()
    page.keyboard.type("73")
    page.keyboard.press("Enter")
    note_of(page, "bike.seat_tube_angle_deg").get_by_text("Not saved: the disk takes no more").wait_for()
    assert saved(path, "bike.seat_tube_angle_deg") is None
    resource.prlimit(kernel, resource.RLIMIT_FSIZE, before)
    page.locator(".fit-section-body .fit-save").focus()
    page.keyboard.press("Enter")
    wait_saved(page, path, "bike.seat_tube_angle_deg", 73)


def test_a_session_removed_meanwhile_is_said(intake):
    page, path = intake.pages[0], intake.path
    path.rename(path.with_suffix(".away"))
    field(page, "bike.bottom_bracket_height_mm").focus()
    page.keyboard.type("268")
    page.keyboard.press("Enter")
    note_of(page, "bike.bottom_bracket_height_mm").get_by_text("is gone").wait_for()
    assert field(page, "bike.bottom_bracket_height_mm").input_value() == "268"
    path.with_suffix(".away").rename(path)
    page.locator(".fit-section-body .fit-save").press("Enter")
    wait_saved(page, path, "bike.bottom_bracket_height_mm", 268)


def test_every_kind_of_control_keeps_its_keys(screens, intake, bench):
    page = screens.show(bench.visit("rider-keys"), "3_stance_width")
    cells = page.locator(".jp-Cell").count()
    for control in (
        field(page, "wish.same_both_sides"),
        field(page, "bike.q_factor_mm"),
        page.locator(".fit-section-wish .fit-save"),
    ):
        control.focus()
        for key in ("a", "b", "x", "d", "d", "ArrowDown", "ArrowUp", "m", "y"):
            page.keyboard.press(key)
        assert control.evaluate("node => node === document.activeElement")
        assert page.locator(".jp-Cell").count() == cells
    choice = field(intake.pages[0], "rider.riding")
    page = intake.pages[0]
    choice.focus()
    for key in ("ArrowDown", "x", "d", "d", "ArrowDown", "ArrowUp"):
        page.keyboard.press(key)
    assert choice.evaluate("node => node === document.activeElement")


def test_a_notebook_leads_to_the_next_and_back_to_the_visits(screens, bench):
    path = bench.visit("rider-way")
    page = screens.show(path, "4_ride_check")
    page.locator(".jp-MarkdownOutput a", has_text="Review").last.click()
    page.wait_for_selector(".fit-sign", timeout=WAIT_MS)
    page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-MarkdownOutput a", has_text="All visits").click()
    page.wait_for_selector(".fit-begin", timeout=WAIT_MS)


def test_a_form_that_nobody_touches_stands_still(intake):
    changes = """() => new Promise(done => {
      let count = 0;
      const watch = new MutationObserver(found => { count += found.length; });
      watch.observe(document.querySelector('.jp-Notebook'), {subtree: true, attributes: true, childList: true});
      setTimeout(() => { watch.disconnect(); done(count); }, 1000);
    })"""
    assert intake.pages[0].evaluate(changes) < 20


def test_nothing_lies_over_the_buttons(intake):
    page = intake.pages[0]
    save = page.locator(".fit-section-visit .fit-save")
    save.scroll_into_view_if_needed()
    at = save.bounding_box()
    above = "([x, y]) => document.elementFromPoint(x, y).className"
    for across in (2, at["width"] / 2, at["width"] - 2):
        assert "fit-save" in page.evaluate(above, [at["x"] + across, at["y"] + at["height"] / 2])


def test_a_reading_is_struck_by_keyboard(screens, bench):
    path = bench.visit("rider-strike")
    page = screens.show(path, "2_cleat_marking")
    setback = "as_found.left.cleat_setback_mm"
    field(page, setback).focus()
    page.keyboard.type("11; 31")
    page.keyboard.press("Enter")
    note_of(page, setback).get_by_text("please take one more").wait_for()
    page.locator(".fit-section-as_found_cleats .fit-strike").press("Enter")
    page.locator(".fit-strike-which select").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    page.keyboard.type("tape slipped")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    wait_saved(page, path, "struck.0.reason", "tape slipped")
    assert saved(path, "struck.0.index") == 1
    page.locator(".fit-live").get_by_text("Left cleat 11 mm behind the joint").first.wait_for()


def test_what_is_not_safe_is_signed_by_keyboard_with_a_reason_only(screens, bench):
    path = bench.visit("rider-signed")
    save_elsewhere(path, "fitter_id", "f1")
    save_elsewhere(path, "bike.left.heel_gap_heel_in_mm", 0)
    page = screens.show(path, "5_review")
    field(page, "follow_up_due").focus()
    page.keyboard.type("soon")
    sign = page.locator(".fit-sign")
    sign.focus()  # what was typed is sent, and refused
    page.keyboard.press("Enter")
    page.get_by_text("1 of the things typed are not saved yet; settle them first.").wait_for()
    field(page, "follow_up_due").focus()
    type_into(page, "2026-04-01")
    page.keyboard.press("Enter")
    wait_saved(page, path, "follow_up_due", "2026-04-01")
    sign.focus()
    page.keyboard.press("Enter")
    page.get_by_text("Look first:").wait_for()
    page.locator("li", has_text="Not safe as fitted: left:").wait_for()
    assert sign.evaluate("node => node === document.activeElement")
    page.keyboard.press("Enter")
    page.get_by_text("type why it is signed all the same").wait_for()
    assert saved(path, "sign_off") is None
    page.keyboard.press("Tab")
    page.keyboard.type("rides home slowly")
    sign.focus()
    page.keyboard.press("Enter")
    wait_saved(page, path, "sign_off.reason", "rides home slowly")


def test_start_page_begins_a_visit_by_keyboard(screens, bench):
    bench.visit("rider-301", day="2025-03-04")
    page = screens.show(None, "start_here")
    client = page.locator(".fit-new-client input")
    said = page.locator(".fit-start .fit-said")

    def begin(text):
        client.focus()
        type_into(page, text)
        page.locator(".fit-begin").focus()
        page.keyboard.press("Enter")

    begin("rider/301")
    said.get_by_text("expected 1 to 40").wait_for()
    begin("rider-30")
    said.get_by_text("No earlier visit has the id rider-30. Known and alike: rider-301").wait_for()
    page.keyboard.press("Enter")
    said.get_by_text("Begun: rider-30_").wait_for()
    page.locator(".fit-start .fit-said a").first.focus()
    page.keyboard.press("Enter")
    ready(page, "1_intake")
    page.locator(".fit-top").get_by_text("Client rider-30,").wait_for()


def test_nothing_of_a_rider_stays_in_a_notebook_or_reaches_the_kit(screens, bench):
    path = bench.visit("rider-secret")
    secret = "quincunx" + "secret"
    page = screens.show(path, "2_cleat_marking")
    field(page, "trials.0.note").focus()
    page.keyboard.type(secret)
    page.keyboard.press("Tab")
    wait_saved(page, path, "trials.0.note", secret)
    page.locator(".fit-live").get_by_text(secret).first.wait_for()
    with page.expect_response(lambda r: r.request.method == "PUT" and "/api/contents/" in r.url):
        page.evaluate("() => { jupyterapp.commands.execute('docmanager:save'); }")
    notebooks = [*bench.work.root.rglob("*.ipynb"), *(ROOT / "notebooks").glob("*.ipynb")]
    assert len(notebooks) > 5
    for file in notebooks:
        assert secret not in file.read_text(encoding="utf-8"), file
    for folder in ("notebooks", "templates", "fitkit", "demo_sessions"):
        for file in (ROOT / folder).rglob("*"):
            if file.is_file():
                assert secret.encode() not in file.read_bytes(), file


@pytest.mark.parametrize("notebook", ["1_intake", "2_cleat_marking", "3_stance_width", "5_review"])
def test_what_we_render_is_accessible_and_fits(screens, bench, notebook):
    path = bench.work.session_path("rider-axe_2026-03-04_road") or bench.visit("rider-axe")
    page = screens.show(path, notebook)
    for width in (1280, 360):
        page.set_viewport_size({"width": width, "height": 900})
        # Lab lays its panels out after the window has its size.
        fits = "width => document.querySelector('.jp-WindowedPanel-outer').scrollWidth <= width"
        page.wait_for_function(fits, arg=width)
        found = Axe().run(page, context=OURS, options=RULES).response["violations"]
        assert not [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]
        wider = "() => [...document.querySelectorAll('.fit')].filter(n => n.scrollWidth > n.clientWidth + 1).length"
        assert page.evaluate(wider) == 0


def test_a_second_open_finds_the_running_one(bench, capsys):
    assert open_command(None, bench.work.root, False) == 0
    assert capsys.readouterr().out.strip() == bench.running.address()


def test_a_restarted_lab_has_all_that_was_typed(screens, bench):
    path = bench.visit("rider-restart")
    page = screens.open(path, "1_intake")
    field(page, LEFT_FOOT).focus()
    page.keyboard.type("267")
    page.keyboard.press("Tab")
    wait_saved(page, path, LEFT_FOOT, [267])
    page.keyboard.type("269")
    bench.restart()
    page.goto(bench.address(path, "1_intake"))
    ready(page, "1_intake")
    assert field(page, LEFT_FOOT).input_value() == "267"
    begun_again(page, path)


def test_a_visit_entered_wrongly_is_taken_away_by_keyboard_asked_twice(screens, bench):
    wrong, other = (bench.visit("rider-away", day=day) for day in ("2026-03-04", "2026-03-05"))
    page = screens.show(None, "start_here")
    page.locator(".fit-away-which input").focus()
    page.keyboard.type("rider-away 2026-03-04")
    page.keyboard.press("Tab")
    assert "fit-away" in page.evaluate("document.activeElement.className")
    asked = page.locator(".fit-bar", has=page.locator(".fit-away")).locator(".fit-said")
    for words in ("rider-away, visit of 4 March 2026, road set-up", "Nothing brings it back."):
        page.keyboard.press("Enter")
        asked.get_by_text(words).wait_for()
        assert wrong.exists()
    page.keyboard.press("Enter")
    asked.get_by_text("Taken away: rider-away, visit of 4 March 2026").wait_for()
    page.locator(".fit-start tr", has_text="2026-03-04").filter(has_text="rider-away").wait_for(state="detached")
    assert not list(bench.work.root.rglob(f"{wrong.stem}*"))
    assert other.exists()
    assert Axe().run(page, context=OURS, options=RULES).violations_count == 0
