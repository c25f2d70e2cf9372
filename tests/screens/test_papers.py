"""The papers as they leave the printer: the setting strip true to scale, the sheets within their pages.

Lengths are read from the PDF's own coordinates: 72 points are one inch of 25.4 mm (ISO 32000).
"""

import io
import re

import pytest
from pypdf import PdfReader

from fitkit import house, session
from fitkit.assessment import Visit, assess
from fitkit.report.pages import blank_sheet_html, setting_strip_html, strips
from tests.conftest import ROOT

POINT_MM = 25.4 / 72
EXAMPLE = ROOT / "tests/unit/data/rider-042_2026-03-04_road.json"


@pytest.fixture
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
    joints = sorted({round(x, 2) for x, length in upright if abs(length - 12) < 0.1})
    assert joints
    left = strips(example)[0]
    for value in (left.set_to_mm, left.old_mm):
        assert any(abs(x - joints[0] - value) < 0.1 for x, _ in upright), value


def test_the_blank_sheet_fills_two_a4_pages_at_most(printed):
    reader = printed(blank_sheet_html())
    assert len(reader.pages) <= 2
    size = reader.pages[0].mediabox
    # A4 is 210 by 297 mm (ISO 216).
    assert float(size.width) * POINT_MM == pytest.approx(210, abs=0.5)
    text = "".join(page.extract_text() for page in reader.pages)
    assert re.search(r"Foot length.*\[mm\]", text)


@pytest.mark.parametrize("width", [360, 1280])
def test_papers_fit_the_screen(browser, example, width):
    for html in (setting_strip_html(example), blank_sheet_html()):
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.set_content(html)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.close()
