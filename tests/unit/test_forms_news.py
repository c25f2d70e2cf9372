"""What another window changes: shown at once and said beside it; what is being typed is neither lost nor mixed up."""

import asyncio

import pytest

from fitkit import forms, session
from fitkit.forms import watching
from fitkit.forms.controls import made_once
from fitkit.forms.draft import Draft, draft_of
from fitkit.forms.form import Form
from fitkit.forms.watching import file_state, watch

AT = "2026-03-04T10:00:00"
MASS, STATURE = "rider.mass_kg", "rider.stature_mm"


@pytest.fixture
def path(tmp_path):
    return session.new("rider-1", "2026-03-04", "road", tmp_path)


def elsewhere(path, **fields):
    """Save fields as another window does; two underscores stand for a point."""
    changes = {name.replace("__", "."): value for name, value in fields.items()}
    session.update(path, changes, fitter=None, at=AT)


def words(widget):
    """Return all that a box shows."""
    inner = "".join(words(child) for child in getattr(widget, "children", ()))
    return inner + (getattr(widget, "value", "") if isinstance(getattr(widget, "value", ""), str) else "")


def test_what_another_window_saved_is_told_once_and_said_beside_it(path):
    draft, told = Draft(path), []
    draft.listen("changed", lambda: told.append(draft.text(MASS)))
    elsewhere(path, rider__mass_kg=(None, 74))
    draft.look_again()
    draft.look_again()
    assert told == ["74"]
    assert MASS in draft.news
    draft.reload()  # the page is shown anew: nothing changes on it
    assert not draft.news


def test_what_was_saved_here_is_no_news_but_what_comes_with_it_is(path):
    draft = Draft(path)
    elsewhere(path, rider__stature_mm=(None, 1755))
    draft.enter(MASS, "74")
    draft.look_again()
    assert list(draft.news) == [STATURE]


def test_a_value_typed_over_news_asks_which_one_counts(path):
    draft = Draft(path)
    elsewhere(path, rider__mass_kg=(None, 74))
    draft.look_again()
    draft.enter(MASS, "75")
    assert "there 74, here 75" in draft.unsaved[MASS].why
    assert session.load(path).rider.mass_kg == 74
    draft.settle(MASS, mine=True)
    assert session.load(path).rider.mass_kg == 75
    draft.enter(MASS, "76")  # settled: nobody is asked again
    assert session.load(path).rider.mass_kg == 76


def test_the_same_value_typed_in_two_windows_is_no_question(path):
    draft = Draft(path)
    elsewhere(path, rider__mass_kg=(None, 74))
    draft.look_again()
    draft.enter(MASS, "74")
    assert not draft.unsaved
    assert not draft.news


def test_an_entry_that_is_being_typed_makes_room_for_one_from_another_window(path):
    draft, moved = Draft(path), []
    draft.listen("moved", lambda *where: moved.append(where))
    draft.enter("complaints.0.severity", "3")  # waits for its region
    elsewhere(path, complaints__0=(None, {"region": "hip"}))
    draft.look_again()
    assert moved == [("complaints", 0, 1)]
    draft.choose("complaints.1.region", "knee_front")
    found = [(one.region, one.severity) for one in session.load(path).complaints]
    assert found == [("hip", None), ("knee_front", 3)]


def test_a_blank_entry_on_the_screen_stays_a_new_one(path):
    forms.form(path, "complaints")
    panel = made_once(Form, draft_of(path), "complaints").panels[0]
    elsewhere(path, complaints__0=(None, {"region": "hip"}))
    draft_of(path).look_again()
    assert panel.index == 1
    panel.show("complaints", 0)
    assert "Changed in another window." in words(panel.box)


@pytest.mark.parametrize(("content", "said"), [(None, "is gone"), ("{", "cannot be read")])
def test_a_file_that_is_broken_at_that_moment_is_said_and_the_old_view_marked_as_old(path, content, said):
    elsewhere(path, rider__mass_kg=(None, 74))
    view = forms.live(path, lambda file: f"mass {session.load(file).rider.mass_kg:g} kg")
    good = path.read_bytes()
    path.unlink() if content is None else path.write_text(content, encoding="utf-8")
    draft_of(path).look_again()
    for shown in (words(view), view.words):
        assert said in shown
        assert "may be wrong by now" in shown
        assert "mass 74 kg" in shown
    assert said in words(forms.head(path))
    path.write_bytes(good)
    draft_of(path).look_again()
    assert words(view) == view.words.strip("'") == "mass 74 kg"


def test_a_new_sign_stands_at_the_top_before_anything_is_drawn(path):
    head, seen = forms.head(path), []
    draft_of(path).listen("draw", lambda: seen.append("See emergency care, this hour" in words(head)))
    elsewhere(path, signs__0=(None, {"sign": "chest_pain"}))
    draft_of(path).look_again()
    assert "Changed in another window: chest pain. See emergency care, this hour" in words(head)
    assert seen == [True]


def test_views_of_signs_are_drawn_before_the_others(path):
    drawn = []

    class Drawn:
        def __init__(self, _):
            self.numbers, self.signs = (lambda: drawn.append("numbers") or ""), (lambda: drawn.append("signs") or "")

    forms.live(path, Drawn, "numbers")
    forms.live(path, Drawn, "signs")
    drawn.clear()
    draft_of(path).enter(MASS, "74")
    assert drawn == ["signs", "numbers"]


@pytest.fixture
def often(monkeypatch):
    """Let watches look often, and none be left from before."""
    monkeypatch.setattr(watching, "_EVERY_S", 0.001)
    monkeypatch.setattr(watching, "_WATCHES", {})


def test_the_open_notebook_looks_at_its_file_on_its_own_loop(path, often, monkeypatch):
    monkeypatch.setenv("JPY_SESSION_NAME", "1_intake.ipynb")

    async def opened():
        draft, told = Draft(path), asyncio.Event()
        draft.listen("changed", told.set)
        for _ in range(2):  # the cell runs again: still one watch
            watch(str(path), lambda: file_state(path), draft.look_again)
        assert len(watching._WATCHES) == 1
        elsewhere(path, rider__mass_kg=(None, 74))
        await asyncio.wait_for(told.wait(), 60)
        return draft.text(MASS)

    assert asyncio.run(opened()) == "74"


def test_a_watch_that_fails_once_looks_again(often, monkeypatch):
    monkeypatch.setenv("JPY_SESSION_NAME", "1_intake.ipynb")

    async def opened():
        seen, done = [], asyncio.Event()
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)

        def changed():
            seen.append(1)
            if len(seen) == 1:
                raise ValueError("once")
            done.set()

        watch("a", lambda: len(watching._WATCHES) + len(seen), changed)
        await asyncio.wait_for(done.wait(), 60)

    asyncio.run(opened())


def test_a_batch_does_not_watch(path, often, monkeypatch):
    monkeypatch.delenv("JPY_SESSION_NAME", raising=False)

    async def run():
        draft_of(path)
        return len(watching._WATCHES)

    assert asyncio.run(run()) == 0
    monkeypatch.setenv("JPY_SESSION_NAME", "1_intake.ipynb")
    draft_of(path)  # no loop runs here
    assert watching._WATCHES == {}
