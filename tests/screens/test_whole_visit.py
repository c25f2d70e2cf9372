"""A whole visit by keyboard alone: every field of the session format can be typed and corrected, and the record of
what was typed has the same numbers as that of the file it was typed from."""

import json
import re

import pytest

from fitkit import session
from fitkit.__main__ import main
from fitkit.forms.entry import shown
from fitkit.forms.rows import at_class, choices
from fitkit.workbench.folder import NOTEBOOKS
from tests.conftest import ROOT
from tests.screens.bench import FOCUSED, WAIT_MS, first_field, saved, type_into

EXAMPLE = ROOT / "tests/unit/data/rider-042_2026-03-04_road.json"
MOST_TABS = 700
NAMED_AFTER = ("format", "version", "client_id", "visit_date", "setup")


def walk(page, act):
    """Press Tab from the first control to the end of the forms; `act` does what is to be done at each."""
    first_field(page)
    for count in range(MOST_TABS):
        here = page.evaluate(FOCUSED)
        if here["tag"] == "BODY":  # what had the keyboard was drawn anew; Tab goes on from where it was
            page.keyboard.press("Tab")
            continue
        if not here["inside"]:
            assert count > 20, f"the keyboard left the forms after {count} fields"
            return
        act(here)
        page.keyboard.press("Tab")
    raise AssertionError("the forms have no end")


def open_all(page):
    """Press every button that unfolds further fields; it keeps the keyboard."""
    folded = page.locator(".fit-fold", has_text=re.compile(r"^\+ "))
    while count := folded.count():
        folded.first.focus()
        page.keyboard.press("Enter")
        page.wait_for_function(
            "count => [...document.querySelectorAll('.fit-fold')].filter(b => b.innerText.startsWith('+ ')).length"
            " < count",
            arg=count,
        )
        assert "fit-fold" in page.evaluate("() => document.activeElement.className")


def choose(page, here, words):
    """Choose from a list with the arrow keys."""
    options = [text.replace("\xa0", " ") for text in here["options"]]
    page.keyboard.press("Home")
    for _ in range(options.index(words)):
        page.keyboard.press("ArrowDown")


def by_class(dotted_paths):
    return {at_class(path): path for path in dotted_paths}


def concrete(pattern):
    """Return the first place of a pattern."""
    if pattern == "taken.*":
        return "taken.as_found.left.cleat_setback_mm"
    return pattern.replace("*", "0")


class Sample:
    """A value to type into a field, a wrong one before it."""

    def __init__(self, dotted):
        self.dotted, self.info = dotted, session.describe(dotted)

    @property
    def words(self):
        # The first sign is one of this hour, which nobody can clear here.
        options = [text for text, value in choices(self.info) if value is not None]
        return options[14] if self.dotted.endswith(".sign") else options[0]

    def texts(self):
        name, sort = self.dotted.rpartition(".")[2], self.info.sort
        fixed = {"size": ("41", "42"), "crank_angle_deg": ("80", "90"), "trial": ("1", "0")}
        fixed |= {"bolts": ("4", "3"), "position": ("as_found", "as_left")}
        by_sort = {
            "date": ("2026-03-05", "2026-03-04"),
            "partial date": ("2025-10", "2025-11"),
            "identifier": ("f1", "f2"),
            "file": ("one.mp4", "two.mp4"),
            "text": ("firs", "second"),
        }
        if name in fixed:
            return fixed[name]
        if sort in by_sort:
            return by_sort[sort]
        low, high = self.info.usual or self.info.possible
        middle = round((low + high) / 2)
        return str(middle - 1), str(middle)


def test_every_field_is_typed_and_corrected_by_keyboard(screens, bench):
    path = bench.visit("rider-all")
    typed = (info.dotted for info in session.fields())
    wanted = [dotted for dotted in typed if not dotted.startswith((*NAMED_AFTER, "struck.", "sign_off."))]
    found = by_class(concrete(pattern) for pattern in wanted)
    reached = set()
    for notebook in NOTEBOOKS:
        page = screens.open(path, notebook)
        open_all(page)

        def act(here, page=page):
            dotted = found.get(here["name"])
            if dotted is None:
                return
            reached.add(dotted)
            sample = Sample(dotted)
            if here["type"] == "checkbox":
                page.keyboard.press("Space")
            elif here["tag"] == "SELECT":
                choose(page, here, sample.words)
            else:
                wrong, right = sample.texts()
                page.keyboard.type(wrong)
                if here["tag"] != "TEXTAREA":
                    page.keyboard.press("Enter")
                type_into(page, right)

        walk(page, act)
        wait_for_all(page, path, reached)
        page.close()
    assert reached == set(found.values())


def wait_for_all(page, path, reached):
    """Wait until the file holds the corrected value of every field."""
    for _ in range(600):
        loaded = session.load(path)
        wrong = [dotted for dotted in reached if not is_right(path, loaded, dotted)]
        if not wrong:
            return
        page.wait_for_timeout(50)  # the file changes outside the browser, so there is no element to wait for
    there = {dotted: loaded.taken.get(dotted[6:]) or saved(path, dotted) for dotted in wrong}
    raise AssertionError(f"not saved as corrected: {there}")


def is_right(path, loaded, dotted):
    """Whether the file holds the corrected value of a field."""
    if dotted == "wish.same_both_sides":
        return saved(path, dotted) is False
    value = loaded.taken.get(dotted[6:]) if dotted.startswith("taken.") else saved(path, dotted)
    return value is not None and _is(value, Sample(dotted))


def _is(value, sample):
    if sample.info.sort in ("choice", "yes or no"):
        return dict(choices(sample.info))[sample.words] == value
    return shown(value) == sample.texts()[1]


def leaves(tree, above=()):
    """Yield path and value of every field of a plain session."""
    for name, value in tree.items():
        here = (*above, name)
        if isinstance(value, dict):
            yield from leaves(value, here)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for place, item in enumerate(value):
                yield from leaves(item, (*here, str(place)))
        elif value not in (None, []):
            yield ".".join(here), value


@pytest.fixture
def typed_from():
    return by_path(EXAMPLE)


def test_a_visit_typed_by_keyboard_gives_the_same_numbers(screens, bench, typed_from, tmp_path):
    path = bench.visit("rider-042", day="2026-03-04")
    by_name = by_class(typed_from)
    for notebook in NOTEBOOKS:
        page = screens.open(path, notebook)
        open_all(page)

        def act(here, page=page):
            dotted = by_name.get(here["name"])
            if dotted is None:
                return
            value = typed_from[dotted]
            if here["type"] == "checkbox":
                return  # as the example has it already
            if here["tag"] == "SELECT":
                words = {v: text for text, v in choices(session.describe(dotted))}[value]
                choose(page, here, words)
            else:
                type_into(page, shown(value))

        walk(page, act)
        page.wait_for_function("() => (sessionStorage.getItem('fit-typed') || '[]') === '[]'", timeout=WAIT_MS)
        page.close()
    assert by_path(path) == typed_from
    assert results(path, tmp_path / "typed") == results(EXAMPLE, tmp_path / "example")


def by_path(path):
    """Return every field of a session file by its path, but for what it is named after."""
    tree = json.loads(path.read_text(encoding="utf-8"))
    return {dotted: value for dotted, value in leaves(tree) if dotted not in NAMED_AFTER}


def results(path, out):
    assert main(["report", str(path), "--out", str(out)]) == 0
    return json.loads(next(out.glob("*/results.json")).read_text(encoding="utf-8"))
