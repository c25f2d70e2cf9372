"""One Lab and one browser for the whole run; a picture of the page where a test fails."""

from pathlib import Path

import pytest

from tests.screens.bench import Bench, notebook_path, ready

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


class Window:
    """One browser for the whole run, and in it a page that shows one notebook after the other."""

    def __init__(self, browser, bench) -> None:
        self.bench, self.page, self.lab, self.asked = bench, None, None, []
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})
        self.context.on("request", lambda request: self.asked.append(request.url))

    def new_page(self, path, notebook, width):
        """Load Lab with a notebook in a page of its own."""
        page = self.context.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        page.on("dialog", lambda dialog: dialog.accept())  # "leave the page?": yes
        page.goto(self.bench.address(path, notebook))
        ready(page, notebook)
        return page

    def show(self, path, notebook, width):
        """Show a notebook in place of the one before, in the Lab that is loaded already."""
        if self.page and self.lab is not self.bench.running:
            self.page.close()
            self.page = None
        if self.page is None:
            self.lab, self.page = self.bench.running, self.new_page(path, notebook, width)
            return self.page
        self.page.set_viewport_size({"width": width, "height": 900})
        self.page.evaluate("[...jupyterapp.shell.widgets('main')].forEach(shown => shown.dispose())")
        self.page.evaluate(
            "path => { jupyterapp.commands.execute('docmanager:open', {path}) }", notebook_path(path, notebook)
        )
        ready(self.page, notebook)
        return self.page


class Screens:
    """The pages of one test; nothing is asked of another machine."""

    def __init__(self, window) -> None:
        self.window, self.pages, self.notebooks = window, [], []
        self.context, self.asked = window.context, window.asked

    def open(self, path, notebook, width=1280):
        """Open a notebook in a page of its own."""
        self.notebooks.append(notebook_path(path, notebook))
        self.pages.append(self.window.new_page(path, notebook, width))
        return self.pages[-1]

    def show(self, path, notebook, width=1280):
        """Show a notebook in the page that all tests share, in place of the one before."""
        self.notebooks.append(notebook_path(path, notebook))
        self.pages.append(self.window.show(path, notebook, width))
        return self.pages[-1]

    def close(self) -> None:
        for page in self.pages:
            if page is not self.window.page:
                page.close()
        self.window.bench.end_kernels(self.notebooks)
        assert not [url for url in self.asked if not url.startswith(("http://127.0.0.1:", "data:", "blob:"))]


@pytest.fixture(scope="package")
def window(browser, bench):
    """Return the browser's window of this run."""
    made = Window(browser, bench)
    yield made
    made.context.close()


@pytest.fixture
def screens(window):
    """Return what opens notebooks for one test; at the end nothing was asked of another machine."""
    made = Screens(window)
    yield made
    made.close()


@pytest.fixture(scope="package")
def intake(window, bench):
    """Return an intake that several tests share, each with fields of its own; `.path` is its session."""
    made = Screens(window)
    made.path = bench.visit("rider-shared")
    made.open(made.path, "1_intake")
    yield made
    made.close()
