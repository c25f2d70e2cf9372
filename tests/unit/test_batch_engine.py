"""Which kernels a worker uses, and that it goes on with plain ones where it must."""

import sys

import pytest
from fitkit.batch.forked import helpers
from fitkit.batch.forked.helpers import NoForkError, can_fork
from fitkit.batch.kernel import Engine
from jupyter_client.manager import AsyncKernelManager

from fitkit.batch import kernel


@pytest.mark.skipif(sys.platform != "linux", reason="kernels are copied on Linux")
def test_linux_copies_kernels():
    assert can_fork()


@pytest.mark.parametrize("missing", ["fork", "pidfd_open"])
def test_without_what_copying_needs_kernels_are_plain(tmp_path, monkeypatch, missing):
    monkeypatch.delattr(helpers.os, missing)
    plain = Engine(tmp_path, forked=True)
    assert plain.name == "plain"
    assert plain.manager() is AsyncKernelManager


def test_an_install_that_does_not_name_the_copying_has_plain_kernels(monkeypatch):
    monkeypatch.setattr(helpers.importlib.metadata, "entry_points", lambda **named: ())
    assert not can_fork()


def test_plain_kernels_when_asked_for(tmp_path):
    assert Engine(tmp_path, forked=False).name == "plain"


def test_a_warm_process_that_cannot_be_had_means_plain_kernels_from_then_on(tmp_path, monkeypatch, capsys):
    class Broken:
        def __init__(self, private):
            pass

        def start(self):
            pass

        def ready(self):
            raise NoForkError("2 threads run")

    monkeypatch.setattr(kernel, "Helpers", Broken)
    worker = Engine(tmp_path, forked=True)
    assert worker.name == "forked"
    assert worker.manager() is AsyncKernelManager
    assert worker.name == "plain"
    assert capsys.readouterr().err == "plain kernels from here on: 2 threads run\n"
