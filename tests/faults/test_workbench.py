"""The workbench where the machine is in the way: its port taken, another Lab, no browser, a folder that is shut."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from fitkit import files, session
from fitkit.workbench import lab
from fitkit.workbench.folder import WorkFolder
from tests.faults.conftest import CHECKOUT, PATIENCE_S

ENVIRONMENT = {**os.environ, "PYTHONPATH": str(CHECKOUT)}


@pytest.fixture
def work(tmp_path):
    folder = WorkFolder(tmp_path / "work")
    folder.prepare()
    return folder


def ask(running, path, method="GET", body=None):
    """Return what a Lab answers."""
    request = urllib.request.Request(f"{running.url}{path}", method=method, data=body)  # noqa: S310 - our own address
    request.add_header("Authorization", f"token {running.token}")
    with urllib.request.urlopen(request) as answer:  # noqa: S310 - the same
        return json.load(answer)


def wait_for(found, what):
    """Wait until `found` returns something true, and return it."""
    limit = time.monotonic() + PATIENCE_S
    while time.monotonic() < limit:
        if value := found():
            return value
        time.sleep(0.05)
    raise AssertionError(f"waited {PATIENCE_S} s for {what}")


def kernels_of(running):
    """Return the processes of a Lab's kernels."""
    ids = [one["id"] for one in ask(running, "api/kernels")]
    found = []
    for folder in Path("/proc").iterdir():
        try:
            words = (folder / "cmdline").read_bytes().decode(errors="replace") if folder.name.isdigit() else ""
        except OSError:
            continue
        found += [int(folder.name) for one in ids if f"{one}.json" in words]
    return found


def test_a_taken_port_and_another_lab_are_left_alone(work, tmp_path, monkeypatch):
    other = tmp_path / "other"
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # a port of its own: another test's Lab may come and go on the usual one
        taken.listen()
        first = taken.getsockname()[1]
        monkeypatch.setattr(lab, "_FIRST_PORT", first)
        settings = {f"JUPYTER_{name}_DIR": str(other / name) for name in ("CONFIG", "DATA", "RUNTIME")}
        where = ["--ip=127.0.0.1", f"--port={first + 1}"]
        command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", *where]
        (other / "RUNTIME").mkdir(parents=True)
        theirs = subprocess.Popen(command, cwd=other, env={**os.environ, **settings}, stderr=subprocess.DEVNULL)
        try:
            told = wait_for(
                lambda: "".join(one.read_text() for one in (other / "RUNTIME").glob("jpserver-*.json")), "the other Lab"
            )
            its = json.loads(told)["url"]
            before = sorted(str(path) for path in other.rglob("*"))
            process, running = lab.start(work)
            try:
                assert running.url not in (f"http://127.0.0.1:{first}/", its)
                assert "start_here.ipynb" in [one["name"] for one in ask(running, "api/contents")["content"]]
                assert theirs.poll() is None
                assert sorted(str(path) for path in other.rglob("*")) == before
            finally:
                lab.stop(process, work)
        finally:
            theirs.terminate()
            theirs.wait()


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_without_a_browser_the_address_is_said_and_stopping_leaves_nothing(work, told):
    command = [sys.executable, "-m", "fitkit", "open", "--work", str(work.root)]
    without = {**ENVIRONMENT, "BROWSER": "/bin/false", "PATH": str(work.root)}  # nothing to be found there
    with subprocess.Popen(command, env=without, stdout=subprocess.PIPE, text=True) as opened:
        said = opened.stdout.readline()
        assert said.startswith("No browser could be opened. Open this yourself: http://127.0.0.1:")
        running = lab.find_running(work)
        ask(running, "api/kernels", "POST", b"{}")
        kernels = wait_for(lambda: kernels_of(running), "a kernel")
        opened.send_signal(told)
        assert opened.stdout.read().endswith("Stopped.\n")
        assert opened.wait() == 0
    assert not [pid for pid in (running.pid, *kernels) if Path(f"/proc/{pid}").exists()]
    assert not list(work.own.rglob("*cookie*"))
    assert not [
        path for path in work.own.rglob("*") if path.is_file() and running.token in path.read_text("utf-8", "replace")
    ]


def test_the_browser_is_led_there_by_a_private_page_and_no_command_line_holds_the_token(work, tmp_path):
    asked = tmp_path / "asked"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$@" > {asked}.part && mv {asked}.part {asked}\n', encoding="utf-8")
    browser.chmod(0o700)
    command = [sys.executable, "-m", "fitkit", "open", "--work", str(work.root)]
    with subprocess.Popen(
        command, env={**ENVIRONMENT, "BROWSER": str(browser)}, stdout=subprocess.PIPE, text=True
    ) as opened:
        wait_for(asked.exists, "the browser")
        token = lab.find_running(work).token
        page = Path(asked.read_text(encoding="utf-8").strip().removeprefix("file://"))
        assert token not in str(page)
        assert token in page.read_text(encoding="utf-8")
        assert page.stat().st_mode & 0o777 == 0o600
        opened.send_signal(signal.SIGINT)
        assert opened.stdout.read().endswith("Stopped.\n")
    assert not page.exists()


def test_a_kernel_that_nobody_uses_ends(work, tmp_path, monkeypatch):
    quick = shutil.copytree(files.template("workbench"), tmp_path / "workbench")
    settings = quick / "config" / "jupyter_server_config.json"
    told = json.loads(settings.read_text(encoding="utf-8"))
    assert 600 <= told["MappingKernelManager"]["cull_idle_timeout"] <= 7200
    told["MappingKernelManager"].update(cull_idle_timeout=1, cull_interval=1)
    settings.write_text(json.dumps(told), encoding="utf-8")
    found = files.template
    monkeypatch.setattr(lab.files, "template", lambda name: quick if name == "workbench" else found(name))
    process, running = lab.start(work)
    try:
        ask(running, "api/kernels", "POST", b"{}")
        pids = wait_for(lambda: kernels_of(running), "a kernel")
        wait_for(lambda: not ask(running, "api/kernels"), "the end of an idle kernel")
        wait_for(lambda: not Path(f"/proc/{pids[0]}").exists(), "the end of its process")
    finally:
        lab.stop(process, work)


def shut_out():
    """Return what to put before a command so that a folder's rights count, for the administrator too."""
    if os.geteuid() != 0:
        return []
    return ["setpriv", "--bounding-set=-dac_override,-dac_read_search", "--inh-caps=-dac_override,-dac_read_search"]


def test_a_read_only_folder_is_said_and_what_was_typed_is_kept(work):
    path = work.new_visit("rider-1", "2026-03-04", "road", access="owner")
    before = path.read_bytes()
    program = f"""
from pathlib import Path
from fitkit.forms.draft import Draft
draft = Draft(Path({str(path)!r}))
draft.enter("rider.mass_kg", "74")
print(draft.unsaved["rider.mass_kg"].why, "|", draft.text("rider.mass_kg"))
"""
    path.parent.chmod(0o500)
    try:
        done = subprocess.run(
            [*shut_out(), sys.executable, "-c", program], env=ENVIRONMENT, capture_output=True, text=True, check=True
        )
    finally:
        path.parent.chmod(0o700)
    why, kept = done.stdout.strip().rsplit(" | ", 1)
    assert why.startswith("Not saved: this person may not write to the folder.")
    assert kept == "74"
    assert path.read_bytes() == before
    assert session.load(path).rider.mass_kg is None


def test_a_work_folder_that_is_shut_ends_in_words(work):
    shut = work.root.parent / "shut"
    shut.mkdir(mode=0o500)
    command = [*shut_out(), sys.executable, "-m", "fitkit", "open", "--no-browser", "--work", str(shut / "work")]
    done = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.strip().endswith("cannot be written: Permission denied")
    assert list(shut.iterdir()) == []
