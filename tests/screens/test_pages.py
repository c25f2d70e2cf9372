"""The pages as a person meets them: readable, on one sheet, by keyboard, on a telephone, without a network."""

import io
import json

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

from fitkit.report import Record, rider_sheet
from fitkit.report.pages import sheet_html
from tests.conftest import DEMO_SESSIONS

KEYS = sorted(path.stem for path in DEMO_SESSIONS.glob("*.json"))
SHEETS = [f"{key}/rider_sheet.html" for key in KEYS]
PAGES = [*SHEETS, *(f"{key}/record.html" for key in KEYS), "index.html"]
EVERY_PAGE = pytest.mark.parametrize("page", PAGES, indirect=True)
EVERY_SHEET = pytest.mark.parametrize("page", SHEETS, indirect=True)
# Web Content Accessibility Guidelines 2.1, levels A and AA.
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"], "resultTypes": ["violations"]}
CONTRAST = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
# Marks one text of each look: its colour, size and weight, and all that is painted behind it.
MARK_LOOKS = """() => {
  const seen = new Set(), plain = new Set(['rgba(0, 0, 0, 0)', 'none', '1']);
  for (const node of document.querySelectorAll('body, body *')) {
    if (!node.checkVisibility() || ![...node.childNodes].some(one => one.nodeType === 3 && one.data.trim())) continue;
    const own = getComputedStyle(node);
    const look = [own.color, own.fontSize, own.fontWeight, own.textShadow, own.position];
    for (let at = node; at; at = at.parentElement) {
      const behind = getComputedStyle(at);
      look.push(...[behind.backgroundColor, behind.backgroundImage, behind.opacity].filter(one => !plain.has(one)));
    }
    if (seen.has(look.join())) continue;
    seen.add(look.join());
    node.dataset.look = seen.size;
  }
  return seen.size;
}"""


@pytest.fixture(scope="module")
def shown(browser):
    """Return the one page of the browser in which all are shown, and what it asks of a network."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    opened = context.new_page()
    opened.asked, opened.told = [], []
    opened.on("request", lambda request: opened.asked.append(request.url))
    opened.on("console", lambda message: opened.told.append(message.text))
    yield opened
    context.close()


@pytest.fixture(scope="module")
def page(request, shown, demo_reports):
    """Return a page of the reports, opened once; `.name` is its path, `.asked` what it wanted of a network."""
    shown.name = request.param
    shown.asked.clear()
    shown.told.clear()
    shown.set_viewport_size({"width": 1280, "height": 900})
    shown.goto((demo_reports / request.param).as_uri())
    return shown


@EVERY_PAGE
def test_no_request_leaves_a_page_and_no_script_is_in_it(page, demo_reports):
    others = [url for url in page.asked if not url.startswith(("file:", "data:"))]
    assert not others
    assert not page.told
    text = (demo_reports / page.name).read_text(encoding="utf-8")
    assert "<script" not in text.lower()
    assert "default-src 'none'" in text
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert "https://" not in text


@EVERY_PAGE
def test_pages_keep_the_accessibility_rules(page):
    found = Axe().run(page, options={**RULES, "rules": {"color-contrast": {"enabled": False}}})
    assert found.violations_count == 0, found.generate_report()


# What a style hides or moves on a telephone is the same on every page of a kind.
@pytest.mark.parametrize("page", [SHEETS[0], PAGES[len(SHEETS)], "index.html"], indirect=True)
def test_pages_keep_the_accessibility_rules_on_a_telephone(page):
    page.set_viewport_size({"width": 360, "height": 900})
    found = Axe().run(page, options={**RULES, "rules": {"color-contrast": {"enabled": False}}})
    assert found.violations_count == 0, found.generate_report()


@EVERY_PAGE
def test_every_look_of_text_has_contrast(page):
    # Contrast is by far the slowest rule, so each look of a text is measured once; no style changes one with the width.
    page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
    assert page.evaluate(MARK_LOOKS) >= 3
    found = Axe().run(page, context={"include": [["[data-look]"]]}, options=CONTRAST)
    assert found.response["passes"]
    assert not found.response["incomplete"]
    assert found.violations_count == 0, found.generate_report()


@EVERY_PAGE
def test_a_page_fits_a_telephone(page):
    page.set_viewport_size({"width": 360, "height": 900})
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360, f"{page.name} is {wide} px wide"


@EVERY_PAGE
def test_a_page_is_small_enough_to_send(page, demo_reports):
    assert (demo_reports / page.name).stat().st_size < 150_000


@EVERY_SHEET
def test_the_riders_sheet_is_one_a4_side(page):
    made = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(made.pages) == 1
    box = made.pages[0].mediabox  # ISO 216: A4 is 210 x 297 mm; a point is 25.4/72 mm
    assert [round(float(side) * 25.4 / 72) for side in (box.width, box.height)] == [210, 297]


def test_a_sheet_on_which_everything_changed_is_still_one_a4_side(browser, tmp_path):
    document = json.loads((DEMO_SESSIONS / "rider-101_2026-03-02_road.json").read_text(encoding="utf-8"))
    fitted = {"washer_mm": 1, "extender_mm": 30, "shim_mm": 3, "wedge_deg": 1, "adapter_stack_mm": 4}
    document["decided"] = {"moved_mm": {"left": 9, "right": 6}}
    document["as_left"] = {"saddle_setback_mm": [75], "bar_height_mm": [650], "bar_reach_mm": [540]}
    for side in ("left", "right"):
        document["as_left"][side] = {**fitted, "cleat_toe_out_deg": [9], "shoe_outward_mm": [2]}
        document["shoes"][side]["greatest_cleat_setback_mm"] = 12
        document.setdefault("wish", {})[side] = {"half_stance_change_mm": 12}
    path = tmp_path / "rider-101_2026-03-02_road.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    page = browser.new_page()
    page.set_content(sheet_html(rider_sheet(Record(path).assessment)))
    made = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    page.close()
    assert len(made.pages) == 1


@EVERY_SHEET
def test_the_riders_sheet_has_no_grades_and_no_percentages(page):
    text = page.inner_text("main")
    for word in ("%", "grade", "published", "common practice", "house rule", "sprint", "interval"):
        assert word not in text.lower(), word


@EVERY_PAGE
def test_demonstrations_say_so_on_every_paper(page):
    assert "demonstration" in page.inner_text("main").lower()


@EVERY_PAGE
def test_every_drawing_is_said_in_words(page):
    alts = [image.get_attribute("alt") for image in page.query_selector_all("img")]
    assert alts or not page.name.endswith("record.html")
    assert all(len(alt) > 60 for alt in alts)
    assert page.evaluate("[...document.images].every(image => image.complete && image.naturalWidth > 0)")
