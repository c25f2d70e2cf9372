"""A workbench for tests: one Lab for the whole run, visits made as needed, fields reached with the Tab key."""

import json
import os
import re
import signal
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fitkit.forms.rows import at_class
from fitkit.workbench import lab
from fitkit.workbench.folder import WorkFolder

LAST_SECTION = {
    "1_intake": ".fit-section-bike .fit-save",
    "2_cleat_marking": ".fit-make-room_sheet",
    "3_stance_width": ".fit-section-decided_width .fit-save",
    "4_ride_check": ".fit-section-ride_files .fit-save",
    "5_review": ".fit-make-room_sheet",
    "measuring_error": ".fit-use-reading",
    "own_questions": ".jp-CodeCell .fit-live",
    "start_here": ".fit-begin",
    "worked_example": ".fit-show-tell",
}
WAIT_MS = 60_000
TEXT_KINDS = "input[type=text], textarea"
FOCUSED = """() => {
  const node = document.activeElement, field = node.closest('[class*="fit-at-"]');
  const name = field ? [...field.classList].find(c => c.startsWith('fit-at-')) : '';
  return {tag: node.tagName, type: node.type || '', name, words: (node.innerText || '').trim(), value: node.value || '',
          inside: !!node.closest('.fit'), options: node.options ? [...node.options].map(o => o.text) : []};
}"""


class Bench:
    """The Lab under test and its work folder."""

    def __init__(self, root: Path) -> None:
        self.work = WorkFolder(root)
        self.work.prepare()
        settings = self.work.own / "config" / "labconfig"
        settings.mkdir(parents=True)
        # Lab's own commands can then be given from a test.
        (settings / "page_config.json").write_text('{"exposeAppInBrowser": true}', encoding="utf-8")
        self.process, self.running = lab.start(self.work)

    def restart(self) -> None:
        lab.stop(self.process, self.work)
        self.process, self.running = lab.start(self.work)

    def close(self) -> None:
        lab.stop(self.process, self.work)

    def visit(self, client: str, setup: str = "road", day: str = "2026-03-04") -> Path:
        path = self.work.new_visit(client, day, setup, access="owner")
        self.work.open_visit(path)
        return path

    def address(self, path: Path | None, notebook: str) -> str:
        return self.running.address(notebook_path(path, notebook))

    def ask(self, what: str, method: str = "GET") -> list | None:
        """Return what Lab answers."""
        headers = {"Authorization": f"token {self.running.token}"}
        request = urllib.request.Request(f"{self.running.url}{what}", headers=headers, method=method)  # noqa: S310 - our own
        with urllib.request.urlopen(request) as answer:  # noqa: S310 - the same
            return json.loads(answer.read() or "null")

    def end_kernels(self, notebooks: list[str]) -> None:
        """End what runs for these notebooks, so that it takes no time from the next test."""
        for one in self.ask("api/sessions"):
            if one["path"] in notebooks:
                self.ask(f"api/sessions/{one['id']}", "DELETE")

    def kernel_pid(self, path: Path, notebook: str) -> int:
        """Return the process of a notebook's kernel."""
        wanted = notebook_path(path, notebook)
        kernel = next(one["kernel"]["id"] for one in self.ask("api/sessions") if one["path"] == wanted)
        for folder in Path("/proc").iterdir():
            if folder.name.isdigit():
                try:
                    words = (folder / "cmdline").read_bytes().decode(errors="replace")
                except OSError:
                    continue
                if kernel in words and "ipykernel" in words:
                    return int(folder.name)
        raise AssertionError(f"no process of kernel {kernel}")

    @contextmanager
    def held_kernel(self, path: Path, notebook: str) -> Iterator[None]:
        """Let a notebook's kernel stand still meanwhile."""
        pid = self.kernel_pid(path, notebook)
        os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.kill(pid, signal.SIGCONT)

    def kill_kernel(self, path: Path, notebook: str) -> None:
        os.kill(self.kernel_pid(path, notebook), signal.SIGKILL)


def notebook_path(path: Path | None, notebook: str) -> str:
    """Return where a notebook lies in the work folder."""
    return f"visits/{path.stem}/{notebook}.ipynb" if path else f"{notebook}.ipynb"


def ready(page, notebook: str) -> None:
    """Wait until the notebook's last form is there and all its cells have run."""
    page.wait_for_selector(LAST_SECTION[notebook], timeout=WAIT_MS)
    page.wait_for_selector(".jp-NotebookPanel:not(.lm-mod-hidden)[data-fit-ready]", timeout=WAIT_MS)


def field(page, dotted: str):
    """Return the input of a field, unfolded first where it is folded."""
    found = page.locator(f".{at_class(dotted)}").locator("input, select, textarea")
    steps = dotted.replace(".", "--").split("--")
    held = (f".fit-holds-{'--'.join(steps[:end])}" for end in range(1, len(steps) + 1))
    fold = page.locator(", ".join(held)).filter(has_text=re.compile(r"^\+ "))
    if fold.count() and not found.count():
        fold.first.press("Enter")
        found.first.wait_for()
    return found


def note_of(page, dotted: str):
    """Return what is said beside a field."""
    return page.locator(".fit-row", has=page.locator(f".{at_class(dotted)}")).locator(".fit-note").first


def tab_to(page, dotted: str, most: int = 400) -> None:
    """Press Tab until the field has the keyboard."""
    field(page, dotted)
    for _ in range(most):
        if page.evaluate(FOCUSED)["name"] == at_class(dotted):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{dotted} cannot be reached with Tab")


def type_into(page, text: str) -> None:
    """Type over what stands in the field that has the keyboard."""
    page.keyboard.press("Control+a")
    page.keyboard.press("Delete")
    page.keyboard.type(text)


def first_field(page) -> None:
    """Put the keyboard where a person begins: the first control of the forms."""
    page.locator(".fit input, .fit select, .fit button").first.focus()


def saved(path: Path, dotted: str):
    """Return what the file holds at a path."""
    tree = json.loads(path.read_text(encoding="utf-8"))
    for step in dotted.split("."):
        if isinstance(tree, list):
            tree = tree[int(step)] if int(step) < len(tree) else None
        else:
            tree = (tree or {}).get(step)
    return tree


def wait_saved(page, path: Path, dotted: str, value) -> None:
    """Wait until the file holds the value."""
    for _ in range(WAIT_MS // 25):
        if saved(path, dotted) == value:
            return
        page.wait_for_timeout(25)  # the file changes outside the browser, so there is no element to wait for
    raise AssertionError(f"{dotted} is {saved(path, dotted)}; expected {value}")
