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
    pages = [page for used in item.funcargs.values() if isinstance(used, Screens) for page in used.pages]
    if report.when == "call" and report.failed:
        folder = Path(item.config.rootpath) / ".pytest_cache" / "pictures"
        folder.mkdir(parents=True, exist_ok=True)
        for number, page in enumerate(page for page in pages if not page.is_closed()):
            target = folder / f"{item.name.replace('/', '_')}-{number}.png"
            page.screenshot(path=target)
            report.sections.append(("picture", str(target)))
    return report


@pytest.fixture(scope="package")
def bench(tmp_path_factory):
    """Return the Lab of this run."""
    started = Bench(tmp_path_factory.mktemp("w") / "work")
    yield started
    started.close()


@pytest.fixture(scope="package")
def browser(chromium):
    """Return a headless browser that reaches this machine only; its loop must end before other tests begin."""
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
        page.on("dialog", lambda dialog: dialog.accept())  # "leave the page?": yes
        page.on("request", lambda request: self.asked.append(request.url))
        page.goto(self.bench.address(path, notebook))
        ready(page, notebook)
        return page

    def close(self) -> None:
        self.context.close()
        assert not [url for url in self.asked if not url.startswith(("http://127.0.0.1:", "data:", "blob:"))]


@pytest.fixture
def screens(browser, bench):
    """Return what opens notebooks for one test; at the end nothing was asked of another machine."""
    made = Screens(browser, bench)
    yield made
    made.close()


@pytest.fixture(scope="package")
def intake(browser, bench):
    """Return an intake that several tests share, each with fields of its own; `.path` is its session."""
    made = Screens(browser, bench)
    made.path = bench.visit("rider-shared")
    made.open(made.path, "1_intake")
    yield made
    made.close()
