"""Every field of a session has one place in one notebook; readings are asked about."""

import json
import re

import pytest
from scipy.stats import studentized_range

from fitkit import files, house, session
from fitkit.forms import entry
from fitkit.forms.rows import last_value
from fitkit.forms.sections import layout, paths_of, read_layout
from fitkit.forms.watching import is_within
from fitkit.problems import Problems
from fitkit.session.reading import earlier_visit
from fitkit.workbench.folder import NOTEBOOKS

SETBACK = session.describe("as_found.left.cleat_setback_mm")
FOOT = session.describe("rider.left.foot_length_mm")
RULES = house.load().rules


# What the file is named after is chosen on the start page; readings are struck and visits signed off with buttons.
IN_NO_SECTION = (
    "format",
    "version",
    "client_id",
    "visit_date",
    "setup",
    "struck.*.field",
    "struck.*.index",
    "sign_off",
)


def patterns(section, above=""):
    """Yield every field of a section, with ``*`` for places in lists."""
    for part in section.parts():
        for path in part.fields:
            yield from ("taken.*" if path.startswith("taken:") else each for each in paths_of(path, above))
        for base in part.entries:
            yield from patterns(layout().entries[base], f"{base}.*.")


def test_every_field_stands_once():
    found = [each for section in layout().sections.values() for each in patterns(section)]
    assert [each for each in sorted(found) if found.count(each) > 1 and each != "taken.*"] == []
    known = {info.dotted for info in session.fields()}
    assert known - set(found) == {each for each in known if is_within(each, IN_NO_SECTION)}
    assert set(found) < known


def test_every_section_stands_once_in_the_notebooks_of_a_visit():
    shown = {}
    for name, title in NOTEBOOKS.items():
        cells = json.loads(files.notebook(f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]
        sources = ["".join(cell["source"]) for cell in cells]
        shown[title] = [n for cell in sources for n in re.findall(r'forms\.form\(\s*session,\s*"(\w+)"', cell)]
        assert any(f'forms.lead(session, Record, "{title}")' in source for source in sources)
    assert sorted(name for names in shown.values() for name in names) == sorted(layout().sections)
    assert {title: sorted(names) for title, names in shown.items()} == {
        title: sorted(names) for title, names in layout().notebooks.items()
    }


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"consent.film"', '"consent.flim"', 'sections.visit is with "consent.flim"; expected fields of the session'),
        ('"consent.film"', '"consent.flim"', "Did you mean consent.film?"),
        ('"consent.film"', '"consent.record"', 'with "consent.record" again; expected each field once.'),
        ('"as_found.<heights>"', '"as_found.<hights>"', 'sections.as_found_heights is with "as_found.<hights>"'),
        ('entries = ["seen"]', 'entries = ["sene"]', 'with the list "sene"; expected one of signs, complaints'),
        ('one = "film"', 'once = "film"', "entries.ride.films.once is 'film'; expected no such name. Is one meant?"),
        ('"unsteadiness",', '"unsteadyness",', 'needed.cleat is with "unsteadyness"; expected ends of the paths'),
        ('one = "film"', "one = 3", "entries.ride.films.one is 3; expected text."),
        ('one = "film"', "one = film", "the file is no TOML (Invalid value (at line "),
    ],
)
def test_a_slip_in_the_layout_is_explained(tmp_path, old, new, words):
    text = files.template("form_layout.toml").read_text(encoding="utf-8")
    path = tmp_path / "form_layout.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(Problems) as found:
        read_layout(path)
    assert words in str(found.value)
    assert str(found.value).startswith("form_layout.toml: ")


def test_range_points_are_those_of_the_studentized_range():
    # Independent library: scipy's studentized range with (nearly) infinite degrees of freedom; ISO 5725-6's f(n).
    for count, point in enumerate(entry._RANGE_95, start=2):
        assert studentized_range.ppf(0.95, count, 1e6) == pytest.approx(point, abs=6e-3)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ((11,), ""),
        ((11, 13.7), ""),  # 2.77 times the house's 1.0
        ((11, 14), "11 and 14 differ by 3, more than 2.8: please take one more."),
        ((11, 11, 16), "strike the one that is wrong"),
        ((8, 12, 16), "please take one more"),
        ((11, 11, 12), ""),
    ],
)
def test_readings_that_disagree_ask_for_one_more(readings, words):
    found = entry.disagreement(readings, SETBACK, RULES)
    assert words in found
    assert bool(found) == bool(words)


@pytest.mark.parametrize(
    ("now", "last", "asked"),
    [
        (((268,), (280,)), ((280,), (268,)), True),
        (((268,), (280,)), ((268,), (280,)), False),
        (((268,), (269,)), ((269,), (268,)), False),  # no more than reading error
        (((268,), ()), ((280,), (268,)), False),
    ],
)
def test_an_exchange_of_sides_is_asked(now, last, asked):
    assert bool(entry.exchange(now, last, FOOT, RULES)) == asked


def test_the_visit_before_is_found_across_year_folders(tmp_path):
    old = session.new("rider-1", "2025-11-04", "road", tmp_path / "2025")
    session.new("rider-1", "2025-12-04", "track", tmp_path / "2025")
    session.new("rider-12", "2025-12-05", "road", tmp_path / "2025")
    new = session.new("rider-1", "2026-03-04", "road", tmp_path / "2026")
    change = {"as_found.left.cleat_setback_mm": (None, [11]), "as_left.left.cleat_setback_mm": (None, [15, 16])}
    session.update(old, change, fitter=None, at="2025-11-04T10:00:00")
    last = earlier_visit(new, session.load(new))
    assert session.key(last) == "rider-1_2025-11-04_road"
    assert last_value(last, "as_found.left.cleat_setback_mm") == [15, 16]
    assert last_value(last, "as_found.right.cleat_setback_mm") is None
    assert earlier_visit(old, session.load(old)) is None


def test_an_empty_visit_is_not_the_last_one_and_one_that_cannot_be_read_is(tmp_path):
    old = session.new("rider-1", "2026-01-04", "road", tmp_path)
    empty = session.new("rider-1", "2026-02-04", "road", tmp_path)
    new = session.new("rider-1", "2026-03-04", "road", tmp_path)
    at = "2026-03-04T10:00:00"
    session.update(old, {"rider.mass_kg": (None, 74)}, fitter="f1", at=at)
    # Who sees the rider and that a record may be kept: nothing was measured or said of the visit yet.
    session.update(empty, {"fitter_id": (None, "f1"), "consent.record": (None, True)}, fitter="f1", at=at)
    assert session.key(earlier_visit(new, session.load(new))) == old.stem
    session.update(empty, {"signs_asked": (None, True)}, fitter="f1", at=at)
    assert session.key(earlier_visit(new, session.load(new))) == empty.stem
    empty.write_text("{", encoding="utf-8")  # nobody knows what it held: nothing older is taken for it
    assert earlier_visit(new, session.load(new)) is None
