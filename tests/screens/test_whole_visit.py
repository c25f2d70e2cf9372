"""A whole visit by keyboard alone: every field of the session format is reached, each sort of them in each part of a
visit is typed, corrected and arrives in the file, and the short set takes few keys."""

import json
import re

from fitkit import session
from fitkit.forms.entry import shown
from fitkit.forms.rows import at_class, choices
from fitkit.workbench.folder import NOTEBOOKS
from tests.conftest import ROOT
from tests.screens.bench import FOCUSED, WAIT_MS, first_field, saved, type_into, wait_saved

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
    while folded.count():
        folded.first.focus()
        page.keyboard.press("Enter")
        unfolded = (
            "() => document.activeElement.matches('.fit-fold') && document.activeElement.innerText.startsWith('−')"
        )
        page.wait_for_function(unfolded, timeout=WAIT_MS)


def choose(page, here, words):
    """Choose from a list with the arrow keys."""
    options = [text.replace("\xa0", " ") for text in here["options"]]
    page.keyboard.press("Home")
    for _ in range(options.index(words)):
        page.keyboard.press("ArrowDown")


def concrete(pattern):
    """Return the first place of a pattern."""
    if pattern == "taken.*":
        return "taken.as_found.left.cleat_setback_mm"
    return pattern.replace("*", "0")


class Sample:
    """A value to type into a field, that of the example where it has one, and a wrong one."""

    def __init__(self, dotted, example):
        self.dotted, self.info, self.known = dotted, session.describe(dotted), example.get(dotted)

    @property
    def words(self):
        if self.known is not None:
            return {value: text for text, value in choices(self.info)}[self.known]
        # The first sign is one of this hour, which nobody can clear here.
        options = [text for text, value in choices(self.info) if value is not None]
        return options[14] if self.dotted.endswith(".sign") else options[0]

    def texts(self):
        wrong, right = self._invented()
        return wrong, right if self.known is None else shown(self.known)

    def _invented(self):
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

    def is_in(self, value):
        """Whether a value of the file is that which was typed last."""
        if self.dotted == "wish.same_both_sides":
            return value is False
        if value is None:
            return False
        if self.info.sort in ("choice", "yes or no"):
            return dict(choices(self.info))[self.words] == value
        return shown(value) == self.texts()[1]


def test_every_field_is_reached_and_each_sort_of_them_is_typed_and_corrected(screens, bench):
    before = bench.visit("rider-042", day="2025-03-04")  # else nothing is asked of the time since
    session.update(before, {"rider.mass_kg": (None, 74)}, fitter=None, at="2025-03-04T10:00:00")
    path, example = bench.visit("rider-042"), by_path(EXAMPLE)
    known = (info.dotted for info in session.fields())
    wanted = [concrete(dotted) for dotted in known if not dotted.startswith((*NAMED_AFTER, "struck.", "sign_off."))]
    samples = {at_class(dotted): Sample(dotted, example) for dotted in {*wanted, *example}}
    reached, typed, sorts = set(), {}, set()
    for notebook in NOTEBOOKS:
        page = screens.show(path, notebook)
        open_all(page)

        def act(here, page=page, notebook=notebook):
            sample = samples.get(here["name"])
            if sample is None:
                return
            reached.add(sample.dotted)
            sort = (sample.dotted.split(".")[0], here["tag"], sample.info.sort, sample.info.many)
            if sort in sorts and ".0." not in sample.dotted:  # of an entry all: some of it must be there
                return
            sorts.add(sort)
            typed[sample.dotted] = sample
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

        with bench.held_kernel(path, notebook):  # nothing is drawn meanwhile: a fast hand waits for no answer
            walk(page, act)
        wait_for_all(page, path, typed)
    assert reached == {each.dotted for each in samples.values()}
    assert len(typed) > 50


def wait_for_all(page, path, typed):
    """Wait until the file holds the right value of every field."""
    for _ in range(600):
        loaded = session.load(path)
        there = {dotted: loaded.taken.get(dotted[6:]) or saved(path, dotted) for dotted in typed}
        wrong = {dotted: value for dotted, value in there.items() if not typed[dotted].is_in(value)}
        if not wrong:
            return
        page.wait_for_timeout(100)  # the file changes outside the browser, so there is no element to wait for
    raise AssertionError(f"not saved as typed: {wrong}")


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


def by_path(path):
    """Return every field of a session file by its path, but for what it is named after."""
    tree = json.loads(path.read_text(encoding="utf-8"))
    return {dotted: value for dotted, value in leaves(tree) if dotted not in NAMED_AFTER}


# An ordinary visit in the order of the room: what is typed, or how far down its list the choice stands.
HEIGHTS = {"saddle_height_mm": "738", "saddle_setback_mm": "71", "bar_height_mm": "662", "bar_reach_mm": "545"}
INTAKE = {
    "fitter_id": "f1",
    "consent.record": 1,
    "signs_asked": 1,
    "complaints.0.region": 3,
    "complaints.0.side": 1,
    "complaints.0.severity": "4",
    "rider.riding": 2,
    "rider.mass_kg": "74",
    "shoes.left.size": "42",
    "shoes.right.size": "42",
    "shoes.left.size_system": 1,
    "shoes.right.size_system": 1,
    "bike.float_deg": "6",
}
FOUND = {
    "seen_asked": 1,
    "seen.0.what": 2,
    "seen.0.side": 1,
    **{f"as_found.{name}": typed for name, typed in HEIGHTS.items()},
    "as_found.left.cleat_setback_mm": "11 11 12",
    "as_found.right.cleat_setback_mm": "13 14 13",
    "shoes.left.least_cleat_setback_mm": "6",
    "shoes.right.least_cleat_setback_mm": "6",
    "shoes.left.greatest_cleat_setback_mm": "19",
    "shoes.right.greatest_cleat_setback_mm": "19",
    "as_found.left.cleat_toe_out_deg": "5",
    "as_found.right.cleat_toe_out_deg": "7",
}
TRIAL = {
    "position.left.cleat_setback_mm": "14",
    "position.right.cleat_setback_mm": "13",
    "saddle_corrected": 1,
    "unsteadiness.left": "1",
    "unsteadiness.right": "2",
    "kept": 1,
}
TRIALS = [{f"trials.{place}.{name}": typed for name, typed in TRIAL.items()} for place in range(3)]
DECIDED = {"decided.moved_mm.left": "5", "decided.moved_mm.right": "0", "decided.note": "calmer at the bottom"}
LEFT = {
    "as_left.left.cleat_setback_mm": "16",
    "as_left.right.cleat_setback_mm": "13",
    "as_left.left.cleat_toe_out_deg": "5",
    "as_left.right.cleat_toe_out_deg": "7",
    **{f"as_left.{name}": typed for name, typed in HEIGHTS.items()},
    **{f"as_left.{side}.{part}_torque_nm": "6" for part in ("cleat_bolt", "pedal") for side in ("left", "right")},
}


class Keys:
    """A keyboard that counts."""

    def __init__(self, page, before=0):
        self.page, self.count = page, before

    def press(self, key, times=1):
        for _ in range(times):
            self.page.keyboard.press(key)
        self.count += times

    def tab_to(self, css):
        for _ in range(30):
            if self.page.evaluate("css => !!document.activeElement.closest(css)", css):
                return
            self.press("Tab")
        raise AssertionError(f"{css} is not reached with Tab")

    def fill(self, fields):
        for dotted, typed in fields.items():
            self.tab_to(f".{at_class(dotted)}")
            if isinstance(typed, int):
                self.press("ArrowDown", typed)
            else:
                self.page.keyboard.type(typed)
                self.count += 0 if dotted.endswith(".note") else len(typed)


def test_an_ordinary_visit_takes_at_most_250_keys_with_the_short_set(screens, bench, capsys):
    path, keys = bench.visit("rider-short"), None
    pages = []
    for notebook, parts in (
        ("1_intake", [INTAKE]),
        ("2_cleat_marking", [FOUND, *TRIALS, DECIDED]),
        ("5_review", [LEFT]),
    ):
        page = screens.open(path, notebook, width=1440)
        keys = Keys(page, keys.count if keys else 0)
        first_field(page)
        for number, part in enumerate(parts):
            if part in TRIALS[1:]:
                keys.tab_to(".fit-section-trials .fit-another")
                keys.press("Enter")
                page.wait_for_selector(f".fit-at-trials--{number - 1}--saddle_corrected")
            keys.fill(part)
        pages.append((page, parts))
    keys.tab_to(".fit-section-follow_up .fit-do")  # the day that is offered
    keys.press("Enter")
    wait_saved(page, path, "follow_up_due", "2026-04-15")
    keys.tab_to(".fit-sign")
    keys.press("Enter")
    page.get_by_text("Look first:").wait_for()
    keys.press("Enter")
    page.get_by_text("Signed off by f1 at").wait_for()
    with capsys.disabled():
        print(f"\nshort set: {sum(len(part) for _, parts in pages for part in parts) + 2} fields, {keys.count} keys")
    assert keys.count <= 250
    for page, parts in pages:
        last_reached = {dotted: typed for part in parts if part not in TRIALS[:2] for dotted, typed in part.items()}
        fits_a_telephone(page, last_reached)
    wait_saved(page, path, "trials.2.unsteadiness.right", [2])
    assert saved(path, "sign_off.fitter_id") == "f1"


def fits_a_telephone(page, wanted):
    """Check that the same fields can be reached and typed where the page is 390 px wide, and hold what was typed."""
    page.bring_to_front()
    page.set_viewport_size({"width": 390, "height": 800})
    names = {at_class(dotted): typed for dotted, typed in wanted.items()}
    seen = set()

    def act(here):
        if here["name"] in names:
            seen.add(here["name"])
            left, right = page.evaluate(
                "() => { const at = document.activeElement.getBoundingClientRect(); return [at.left, at.right]; }"
            )
            assert 0 <= left < right <= 390, here["name"]
            if isinstance(names[here["name"]], str):
                assert here["value"] == names[here["name"]].replace(" ", "  ") or here["value"], here["name"]

    walk(page, act)
    assert seen == {*names}
