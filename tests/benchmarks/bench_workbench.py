"""How long a fitter waits: from `open` to the form, from Save to the drawing. Measured and printed, never asserted.

Run it as ``python -m tests.benchmarks.bench_workbench`` with Chromium installed, on a machine that does nothing else.
"""

import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.screens.bench import Bench, field, ready
from tests.screens.conftest import FLAGS

SETBACK = "as_found.left.cleat_setback_mm"
TIMES = 10


def main() -> None:
    """Measure and print."""
    start = time.monotonic()
    bench = Bench(Path(tempfile.mkdtemp()) / "work")
    print(f"from open to an address: {time.monotonic() - start:.1f} s")
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
            visit = bench.visit("rider-1")
            for name in ("1_intake", "2_cleat_marking", "3_stance_width", "5_review"):
                measure_form(browser, bench, visit, name)
            measure_drawing(browser, bench, visit)
            measure_sheet(browser, bench, visit)
            browser.close()
    finally:
        bench.close()


def measure_form(browser, bench: Bench, visit: Path, name: str) -> None:
    page = browser.new_page()
    start = time.monotonic()
    page.goto(bench.address(visit, name))
    page.wait_for_selector(".fit-save")
    first = time.monotonic() - start
    ready(page, name)
    print(f"{name}: first form after {first:.1f} s, all after {time.monotonic() - start:.1f} s")
    page.close()


def measure_drawing(browser, bench: Bench, visit: Path) -> None:
    page = browser.new_page()
    page.goto(bench.address(visit, "2_cleat_marking"))
    ready(page, "2_cleat_marking")
    page.wait_for_timeout(2000)
    saved, drawn = [], []
    for value in range(11, 11 + TIMES):
        field(page, SETBACK).fill(str(value))
        start = time.monotonic()
        page.keyboard.press("Enter")
        page.wait_for_selector(f'[data-at$="left--cleat_setback_mm"][data-typed="{value}"]', state="attached")
        saved.append(time.monotonic() - start)
        page.wait_for_selector(f".fit-live img[alt*='{value}']", state="attached")
        drawn.append(time.monotonic() - start)
    for what, times in (("saved", saved), ("drawing", drawn)):
        print(f"from Enter to {what}: median {statistics.median(times):.2f} s, slowest {max(times):.2f} s")
    page.close()


def measure_sheet(browser, bench: Bench, visit: Path) -> None:
    page = browser.new_page()
    page.goto(bench.address(visit, "5_review"))
    ready(page, "5_review")
    page.wait_for_timeout(2000)
    start = time.monotonic()
    page.locator(".fit-make-rider_sheet").click()
    page.locator(".fit a", has_text="Open the page").wait_for()
    print(f"from the button to the rider's sheet: {time.monotonic() - start:.2f} s")
    page.close()


if __name__ == "__main__":
    main()
