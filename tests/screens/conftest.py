"""One Lab and one browser for the whole run; a picture of the page where a test fails."""

from pathlib import Path

import pytest

from tests.screens.bench import Bench, ready

FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"),
]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.when == "call" and report.failed and "screens" in item.funcargs:
        folder = Path(item.config.rootpath) / ".pytest_cache" / "pictures"
        folder.mkdir(parents=True, exist_ok=True)
        for number, page in enumerate(item.funcargs["screens"].pages):
            target = folder / f"{item.name.replace('/', '_')}-{number}.png"
            page.screenshot(path=target)
            report.sections.append(("picture", str(target)))
    return report


@pytest.fixture(scope="session")
def bench(tmp_path_factory):
    """Return the Lab of this run."""
    started = Bench(tmp_path_factory.mktemp("w") / "work")
    yield started
    started.close()


@pytest.fixture(scope="session")
def local_browser(chromium):
    """Return a headless browser that reaches this machine only."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield started
        started.close()


class Screens:
    """The pages of one test, and what they asked of a network."""

    def __init__(self, browser, bench) -> None:
        self.browser, self.bench, self.pages, self.asked = browser, bench, [], []
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})

    def open(self, path, notebook, width=1280):
        page = self.context.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        self.pages.append(page)
        page.on("request", lambda request: self.asked.append(request.url))
        page.goto(self.bench.address(path, notebook))
        ready(page, notebook)
        return page


@pytest.fixture
def screens(local_browser, bench):
    """Return a function-like helper that opens notebooks; at the end nothing was asked of another machine."""
    made = Screens(local_browser, bench)
    yield made
    outside = [url for url in made.asked if not url.startswith((bench.running.url, "data:", "blob:"))]
    made.context.close()
    assert not [url for url in outside if "127.0.0.1" not in url]
