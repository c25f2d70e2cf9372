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
PAGES = [f"{key}/{name}.html" for key in KEYS for name in ("record", "rider_sheet")] + ["index.html"]
WIDTHS = (360, 1280)


@pytest.fixture
def opened(browser, demo_reports):
    """Return a function that opens a page of the reports; what it asks of a network is kept in `.requests`."""
    contexts = []

    def open_page(name, width=1280):
        context = browser.new_context(viewport={"width": width, "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.asked, page.told = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("console", lambda message: page.told.append(message.text))
        page.goto((demo_reports / name).as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("name", PAGES)
def test_no_request_leaves_a_page_and_no_script_is_in_it(opened, demo_reports, name):
    page = opened(name)
    others = [url for url in page.asked if not url.startswith(("file:", "data:"))]
    assert not others
    assert not page.told
    text = (demo_reports / name).read_text(encoding="utf-8")
    assert "<script" not in text.lower()
    assert "default-src 'none'" in text
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert "https://" not in text


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_pages_keep_the_accessibility_rules(opened, name, width):
    found = Axe().run(opened(name, width), options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_a_telephone(opened, name):
    page = opened(name, 360)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360, f"{name} is {wide} px wide"


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_small_enough_to_send(demo_reports, name):
    assert (demo_reports / name).stat().st_size < 150_000


@pytest.mark.parametrize("key", KEYS)
def test_the_riders_sheet_is_one_a4_side(opened, key):
    page = opened(f"{key}/rider_sheet.html")
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


@pytest.mark.parametrize("key", KEYS)
def test_the_riders_sheet_has_no_grades_and_no_percentages(opened, key):
    text = opened(f"{key}/rider_sheet.html").inner_text("main")
    for word in ("%", "grade", "published", "common practice", "house rule", "sprint", "interval"):
        assert word not in text.lower(), word


@pytest.mark.parametrize("name", PAGES)
def test_demonstrations_say_so_on_every_paper(opened, name):
    assert "demonstration" in opened(name).inner_text("main").lower()


@pytest.mark.parametrize("key", KEYS)
def test_every_drawing_is_said_in_words(opened, key):
    page = opened(f"{key}/record.html")
    alts = [image.get_attribute("alt") for image in page.query_selector_all("img")]
    assert alts
    assert all(len(alt) > 60 for alt in alts)
    assert all(page.evaluate("[...document.images].map(image => image.complete && image.naturalWidth > 0)"))
