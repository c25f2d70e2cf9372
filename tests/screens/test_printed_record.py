"""The record as it leaves the printer: the visit on its first A4 side, few sides in all, letters that can be read."""

import io
import json
import math

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from pypdf import PdfReader

from fitkit.report import Record
from fitkit.report.pages import record_html
from tests.conftest import DEMO_SESSIONS

KEYS = sorted(path.stem for path in DEMO_SESSIONS.glob("*.json"))
# With films or power files, and trials: the fullest there are.
FULLEST = ("rider-105_2026-03-02_road", "rider-106_2026-03-02_road")
BLOCKS = (
    *("Why the rider came", "Seen riding, as found", "Cleats", "Behind the joint, mm", "Width", "Saddle and bars"),
    *("Still to do", "Not assessed", "Local rules and licensed practice come first."),
)


LEAST_PT = 8  # what a reader of ordinary sight can read at arm's length


@pytest.fixture
def paper(browser):
    """Return a function that prints a page and returns its sides."""

    def print_page(address=None, html=None):
        page = browser.new_page()
        page.goto(address) if address else page.set_content(html)
        data = page.pdf(prefer_css_page_size=True)
        page.close()
        return PdfReader(io.BytesIO(data)).pages

    return print_page


@pytest.fixture
def printed(paper):
    """Return a function that prints a page and returns the words of each side."""
    return lambda *address, **html: [" ".join(side.extract_text().split()) for side in paper(*address, **html)]


def letters_pt(side):
    """Return the words of a printed side, its drawings' too, each with the size of its letters [pt]."""
    found = []

    def visit(words, page, line, _, size):
        if words.strip():
            areas = (matrix[0] * matrix[3] - matrix[1] * matrix[2] for matrix in (page, line))
            found.append((size * math.sqrt(abs(math.prod(areas))), words.strip()))

    side.extract_text(visitor_text=visit)
    return found


# With every drawing there is; with parts for the width; with few.
@pytest.mark.parametrize("key", [*FULLEST, "rider-111_2026-05-06_road", "rider-108_2026-03-02_road"])
def test_every_letter_of_a_printed_record_can_be_read(paper, demo_reports, key):
    letters = [each for side in paper((demo_reports / key / "record.html").as_uri()) for each in letters_pt(side)]
    drawn = {"Left sole from below", "10", "big-toe side", "rider's left"}
    assert drawn <= {words for _, words in letters}, "the drawings' words are no text"
    small = sorted(each for each in letters if round(each[0], 1) < LEAST_PT)
    assert not small


@pytest.mark.parametrize("key", KEYS)
def test_a_record_is_four_sides_and_its_first_the_whole_visit(printed, demo_reports, key):
    sides = printed((demo_reports / key / "record.html").as_uri())
    assert len(sides) <= (5 if key in FULLEST else 4)
    for block in BLOCKS:
        assert block in sides[0], f"{block} is not on the first side"
    assert not any("Still to do" in side for side in sides[1:])


def test_all_of_a_record_is_printed_when_asked_for(printed, demo_reports, executed):
    key = "rider-101_2026-03-02_road"
    short = " ".join(printed((demo_reports / key / "record.html").as_uri()))
    full = " ".join(printed(html=record_html(executed(key), title="Record", is_full=True)))
    for folded in ("Readings as taken", "Where each number comes from"):
        assert folded in full
        assert folded not in short


@pytest.fixture
def executed(demo_reports):
    return lambda key: nbformat.read(demo_reports / key / "record.ipynb", as_version=4)


def first_side_of(document, folder):
    path = folder / f"{document['client_id']}_{document['visit_date']}_{document['setup']}.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    shown = new_output("execute_result", {"text/html": Record(path).page_one()._repr_html_()}, execution_count=1)
    cells = [new_markdown_cell("# Record of a visit"), new_code_cell("", outputs=[shown])]
    return record_html(new_notebook(cells=cells), title="Record")


NAMED = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-9",
    "visit_date": "2026-03-04",
    "setup": "road",
}


def test_a_visit_just_begun_has_a_first_page_too(printed, tmp_path):
    (side,) = printed(html=first_side_of(NAMED, tmp_path))
    for block in BLOCKS:
        assert block in side
    assert "Signs that need a clinician: not asked yet." in side
    assert "Not noted." in side
    assert "not assessed" in side


def test_the_first_side_says_what_of_the_saddle_is_done_already():
    # 738 as found and 736 as left: read as still to do, it would be done twice
    page = Record(DEMO_SESSIONS / "rider-105_2026-03-02_road.json").page_one()
    assert "saddle 2 mm down" in page.blocks["saddle_words"]
    assert "Done: 2 mm down." in page.blocks["saddle_words"]


def test_no_part_stands_on_the_first_side_before_a_clinician_has_seen_the_rider(tmp_path):
    document = json.loads((DEMO_SESSIONS / "rider-111_2026-05-06_road.json").read_text(encoding="utf-8"))
    path = tmp_path / "rider-111_2026-05-06_road.json"
    for signs, is_named in (([], True), ([{"sign": "knee_swollen", "side": "left"}], False)):
        path.write_text(json.dumps({**document, "signs": signs}), encoding="utf-8")
        shown = Record(path).page_one()._repr_html_()
        assert ("C-spindle" in shown) is is_named
        assert ("Parts for it" in shown) is is_named


def test_a_visit_with_more_than_the_first_side_holds_tells_the_rest_overleaf(printed, tmp_path):
    regions = ["low_back", "neck", "hand", "hip", "calf", "toes"]
    seen = ["heel_drops", "toes_point", "ankling", "unsteady", "hip_drop", "heel_swing"]
    document = {
        **NAMED,
        "signs": [{"sign": sign} for sign in ("fever", "knee_swollen")],
        "complaints": [{"region": region, "side": "both", "severity": 5} for region in regions],
        "seen": [{"what": what, "side": "left"} for what in seen],
        "note": "A remark of some length, as a fitter writes it at the end of a long day. " * 4,
    }
    (side,) = printed(html=first_side_of(document, tmp_path))
    for block in BLOCKS:
        assert block in side
    assert side.count("and 2 more overleaf") == 2  # complaints, seen
    for words in ("fever", "swollen", "No advice on cleats, saddle or width"):
        assert words.lower() in side.lower()
    rest = "\n".join(Record(next(tmp_path.glob("*.json"))).overleaf().lines)
    assert "Why the rider came: Calf, both, now 5 of 10" in rest
    assert "Seen riding, as found: Hip drop, left" in rest
