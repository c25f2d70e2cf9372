"""A chart is the same picture whoever draws it, and is drawn even when the warm process is gone."""

import json
import socket
import subprocess
import sys

import pytest

from fitkit import rendering

CHART = {
    "data": {"values": [{"a": 1.0, "b": 0.1}, {"a": 2, "b": None}]},
    "mark": "point",
    "encoding": {"x": {"field": "a", "type": "quantitative"}, "y": {"field": "b", "type": "quantitative"}},
}


@pytest.fixture
def warm_process(tmp_path, monkeypatch):
    """Return the warm process that the environment names."""
    monkeypatch.chdir(tmp_path)
    # A short name, since the path of a socket may not be long.
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("r")
        listening.listen()
        number = listening.fileno()
        command = [sys.executable, "-m", "fitkit.batch.renderer", str(number)]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, pass_fds=[number])
    monkeypatch.setenv(rendering.RENDERER, "r")
    yield process
    process.stdin.close()
    assert process.wait() == 0


def test_the_warm_process_draws_the_same_bytes(warm_process):
    assert rendering.svg(CHART) == rendering.draw(CHART)


def test_what_cannot_be_drawn_is_the_same_error(warm_process):
    wrong = json.loads(json.dumps(CHART)) | {"data": {"url": "https://example.org/a.csv"}}
    with pytest.raises(ValueError, match=r"example\.org"):
        rendering.svg(wrong)
    with pytest.raises(ValueError, match=r"example\.org"):
        rendering.draw(wrong)


def test_without_the_warm_process_it_is_drawn_here(tmp_path, monkeypatch):
    monkeypatch.setenv(rendering.RENDERER, str(tmp_path / "nobody"))
    assert rendering.svg(CHART) == rendering.draw(CHART)
