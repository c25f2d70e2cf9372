"""The papers as they leave the printer: the setting strip true to scale, the sheets within their pages.

Lengths are read from the PDF's own coordinates: 72 points are one inch of 25.4 mm (ISO 32000).
"""

import copy
import io
import itertools
import json
import math

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

from fitkit import house, session
from fitkit.assessment import Visit, assess
from fitkit.report.papers import room_sheet_html, setting_strip_html, strips, workshop_slip_html
from fitkit.vocabulary import REGIONS, SEEN, SIGNS
from tests.conftest import ROOT

POINT_MM = 25.4 / 72
EXAMPLE = ROOT / "tests/unit/data/rider-042_2026-03-04_road.json"


@pytest.fixture(scope="module")
def example():
    loaded = session.parse(EXAMPLE.read_bytes())
    return assess(Visit(session.key(loaded), loaded, house.load()))


@pytest.fixture
def printed(browser):
    def print_page(html):
        page = browser.new_page()
        page.set_content(html)
        data = page.pdf(prefer_css_page_size=True)
        page.close()
        return PdfReader(io.BytesIO(data))

    return print_page


def strokes(page):
    """Return the straight strokes of a page: from x, from y, to x, to y [mm]."""
    found = []

    def visit(operator, operands, matrix, _):
        nonlocal current
        if operator in (b"m", b"l"):
            x, y = (float(value) for value in operands)
            a, b, c, d, e, f = matrix
            point = ((a * x + c * y + e) * POINT_MM, (b * x + d * y + f) * POINT_MM)
            if operator == b"l" and current:
                found.append((*current, *point))
            current = point
        elif operator == b"re":
            x, y, width, height = (float(value) for value in operands)
            corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
            for (x1, y1), (x2, y2) in itertools.pairwise(corners):
                visit(b"m", (x1, y1), matrix, None)
                visit(b"l", (x2, y2), matrix, None)

    current = None
    page.extract_text(visitor_operand_before=visit)
    return found


def test_the_bar_is_100_mm_on_paper(printed, example):
    reader = printed(setting_strip_html(example))
    assert len(reader.pages) == 1
    level = [(x2 - x1) for x1, y1, x2, y2 in strokes(reader.pages[0]) if abs(y1 - y2) < 0.01]
    assert any(abs(length - 100) < 0.1 for length in level)


def test_lines_stand_where_they_say_behind_the_joint(printed, example):
    reader = printed(setting_strip_html(example))
    upright = [(x1, abs(y2 - y1)) for x1, y1, x2, y2 in strokes(reader.pages[0]) if abs(x1 - x2) < 0.01]
    joints = sorted({round(x, 2) for x, length in upright if abs(length - 11.5) < 0.1})
    assert joints
    left = strips(example)[0]
    for value in (left.set_to_mm, left.old_mm):
        assert any(abs(x - joints[0] - value) < 0.1 for x, _ in upright), value


def test_the_ruler_stands_on_the_edge_that_is_cut(printed, example):
    lines = strokes(printed(setting_strip_html(example)).pages[0])
    level = {y1 for x1, y1, x2, y2 in lines if abs(y1 - y2) < 0.01 and 85 < abs(x2 - x1) < 95}
    cut = [low for low in level if any(abs(high - low - 25) < 0.1 for high in level)]  # each strip is 25 mm high
    assert len(cut) == 2
    ticks = [min(y1, y2) for x1, y1, x2, y2 in lines if abs(x1 - x2) < 0.01 and abs(abs(y2 - y1) - 1.3) < 0.05]
    assert len(ticks) == 160  # the half millimetres of 80 mm on both strips
    assert all(min(abs(tick - low) for low in cut) < 0.1 for tick in ticks)
    for length in (11.5, 16, 17):  # the joint, the old line and the new one go through to the edge
        ends = [min(y1, y2) for x1, y1, x2, y2 in lines if abs(x1 - x2) < 0.01 and abs(abs(y2 - y1) - length) < 0.05]
        assert ends or length == 16  # the old line is dashed where there is a new one
        assert all(min(abs(end - low) for low in cut) < 0.1 for end in ends)


LONG = 'said <b>"it hurts"</b> & more, ' * 20


@pytest.fixture(scope="module")
def odd():
    """Return a visit of one side: a struck reading, zeros typed, hostile and long words."""
    return {
        "format": "cleat-stance-session",
        "version": 1,
        "client_id": "rider-odd",
        "visit_date": "2026-03-04",
        "setup": "road",
        "seen_asked": False,
        "rider": {"age_years": 40, "left": {"thigh_mm": [430, 431, 433]}},
        "seen": [{"what": "heel_drops", "side": "right"}],
        "complaints": [{"region": region, "severity": 0, "since": "2025"} for region in REGIONS[:6]],
        "shoes": {"right": {"size": 43.5, "size_system": "eu", "least_cleat_setback_mm": 0}},
        "as_found": {"right": {"cleat_setback_mm": [12, 40, 12.5], "cleat_toe_out_deg": [0]}},
        "struck": [{"field": "as_found.right.cleat_setback_mm", "index": 1, "reason": "tape slipped"}],
        "trials": [
            {
                "position": {"moved_mm": {"right": 0}},
                "unsteadiness": {"right": [0]},
                "smooth_at_bottom": 0,
                "saddle_corrected": False,
                "kept": False,
                "note": LONG,
            }
        ],
        "decided": {"note": LONG, "moved_mm": {"right": -3}},
        "as_left": {"right": {"cleat_bolt_torque_nm": 5}},
    }


def parsed(document):
    return session.parse(json.dumps(document).encode())


@pytest.fixture(scope="module")
def full(odd):
    """Return a stopped visit that fills every row, and more."""
    document = copy.deepcopy(odd)
    cleared = {"role": "doctor", "finding": "fine", "date": "2026-01-01"}
    document["signs"] = [
        {"sign": sign, "side": "both", "cleared": None if urgency == "this hour" else cleared}
        for sign, urgency in SIGNS.items()
    ]
    document["seen"] = [{"what": what, "side": "both", "seen_from": "behind"} for what in SEEN]
    document["trials"] *= 9
    return document


@pytest.fixture
def shown(browser):
    """Return what opens a page and gives the boxes of a row by the words it begins with."""
    page = browser.new_page()

    def show(html):
        page.set_content(html)
        return lambda words: page.evaluate(
            """words => {
                 const rows = [...document.querySelectorAll('tr, .row')];
                 const row = rows.find(row => (row.querySelector('th, .label')?.innerText + ' ').startsWith(words));
                 return [...row.querySelectorAll('.b')].map(box => box.innerText) }""",
            words,
        )

    show.page = page
    yield show
    page.close()


def test_the_sheet_for_the_room_holds_what_was_typed_in_its_box(shown, odd):
    row = shown(room_sheet_html(parsed(odd)))
    assert row("Cleat behind the mark") == ["", "", "", "12", "40", "12.5"]
    assert row("Slots") == ["", "", "0", ""]
    assert row("Toe-out") == ["", "", "", "0", "43.5", "EU"]
    assert row("1 ")[:6] == ["", "0 moved", "", "0", "0", "no"]
    assert row("1 ")[7] == "no"
    assert row("2 ") == [""] * 8
    assert row("Decided")[:2] == ["", "3 to the toes"]
    assert row("Cleat bolts")[:2] == ["", "5"]
    assert row("Thigh") == ["430", "431, 433", "", ""]  # a third reading stands beside the second
    page = shown.page
    assert page.locator("s").all_inner_texts() == ["40"]
    text = page.inner_text("main")
    assert "3 more in the file" in text
    assert '<b>"it hurts"</b>' in text  # as it was said, and not set in bold
    assert page.locator("p, td").filter(has_text="Emergency").count() == 0


def test_a_stopped_visit_says_so_on_the_sheet_and_ticks_its_signs(shown, full):
    shown(room_sheet_html(parsed(full)))
    page = shown.page
    assert "see emergency care" in page.locator(".stop").inner_text()
    ticked = [words for words in page.locator(".ticks span").all_inner_texts() if words.startswith("×")]
    assert len([words for words in ticked if "(L R" in words]) == len(SIGNS)
    assert "3 more in the file" in page.inner_text("main")
    assert page.locator("h2", has_text="Trials").inner_text() == "Trials (3 more in the file)"


def smallest_letter(reader):
    """Return the height of the smallest letter on paper [pt]."""
    sizes = []

    def visit(text, matrix, of_text, _, size):
        if text.strip():
            sizes.append(size * math.hypot(*matrix[:2]) * math.hypot(*of_text[:2]))

    for page in reader.pages:
        page.extract_text(visitor_text=visit)
    return min(sizes)


@pytest.mark.parametrize("visit", ["none", "odd", "full", "example"])
def test_papers_keep_to_their_sides_and_their_letters(printed, example, request, visit):
    given = {"none": None, "example": example.visit.session}
    loaded = given[visit] if visit in given else parsed(request.getfixturevalue(visit))
    papers = [(room_sheet_html(loaded), 2)]
    if loaded:
        found = assess(Visit(session.key(loaded), loaded, house.load()))
        papers += [(workshop_slip_html(found), 1), (setting_strip_html(found), 1)]
    for html, sides in papers:
        reader = printed(html)
        assert len(reader.pages) == sides
        # A4 is 210 by 297 mm (ISO 216).
        box = reader.pages[0].mediabox
        assert [round(float(side) * POINT_MM) for side in (box.width, box.height)] == [210, 297]
        assert smallest_letter(reader) >= 7.95


def test_a_slip_on_which_everything_changed_is_still_one_a4_side(printed):
    document = json.loads(EXAMPLE.read_bytes())
    lengths = {"washer_mm": 1, "extender_mm": 30, "shim_mm": 3, "wedge_deg": 1, "adapter_stack_mm": 4}
    ids = {"spindle_id": "A-spindle-9", "extender_id": "A-extender-25", "base_adapter_id": "A-base-10"}
    other = {"cleat_toe_out_deg": [9], "shoe_outward_mm": [2], "spindle_to_cleat_centre_mm": 60, "bolt_length_mm": 14}
    heights = {"saddle_setback_mm": [75], "bar_height_mm": [650], "bar_reach_mm": [540]}
    document["as_left"] = heights | dict.fromkeys(("left", "right"), lengths | ids | other)
    loaded = parsed(document)
    made = workshop_slip_html(assess(Visit(session.key(loaded), loaded, house.load())))
    assert len(printed(made).pages) == 1


def test_papers_fit_the_screen_and_can_be_read_by_all(browser, example, full):
    loaded = parsed(full)
    stopped = assess(Visit(session.key(loaded), loaded, house.load()))
    papers = [room_sheet_html(), room_sheet_html(loaded), workshop_slip_html(stopped)]
    page = browser.new_page()
    for html in (*papers, workshop_slip_html(example), setting_strip_html(example)):
        page.set_content(html)
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        # Web Content Accessibility Guidelines 2.1, levels A and AA.
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
        assert found.violations_count == 0, found.generate_report()
    page.close()


def test_boxes_are_high_enough_to_write_in(shown):
    shown(room_sheet_html())
    heights = shown.page.evaluate("[...document.querySelectorAll('.b')].map(b => b.getBoundingClientRect().height)")
    assert min(heights) * 25.4 / 96 == pytest.approx(8, abs=0.1)  # 96 px are one inch (CSS)
    help_text = shown.page.evaluate("getComputedStyle(document.querySelector('.long-set .label')).fontSize")
    assert float(help_text.removesuffix("px")) * 0.75 == pytest.approx(9)
