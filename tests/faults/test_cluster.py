"""The kit's own command on a cluster of two processes on this machine."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import trustme

from tests.faults.conftest import CHECKOUT, wait_for

distributed = pytest.importorskip("distributed", reason="needs the extra [cluster]")

SESSIONS = sorted((CHECKOUT / "demo_sessions").glob("rider-10[1-3]_*.json"))


@contextlib.contextmanager
def cluster(protocol="tcp://", security=None):
    """Give a cluster of two processes; one that dies is begun again."""
    environment = {"PYTHONPATH": str(CHECKOUT)}
    made = distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        dashboard_address=None,
        protocol=protocol,
        security=security,
        env=environment,
    )
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def sessions(tmp_path):
    folder = tmp_path / "sessions"
    folder.mkdir()
    for path in SESSIONS:
        shutil.copy(path, folder)
    return folder


def command(sessions, out, *words):
    return [sys.executable, "-W", "error", "-m", "fitkit", "report", str(sessions), "--out", str(out), *words]


def report(sessions, out, *words, **environment):
    return subprocess.run(
        command(sessions, out, *words),
        cwd=CHECKOUT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def certificates(folder: Path) -> dict[str, str]:
    """Make an authority with one certificate of this machine, and return how Dask is told of them."""
    folder.mkdir()
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "authority.pem")
    authority.issue_cert("127.0.0.1", "localhost").private_key_and_cert_chain_pem.write_to_path(folder / "machine.pem")
    named = {"DASK_DISTRIBUTED__COMM__TLS__CA_FILE": str(folder / "authority.pem")}
    return named | {
        f"DASK_DISTRIBUTED__COMM__TLS__{part}__CERT": str(folder / "machine.pem")
        for part in ("CLIENT", "SCHEDULER", "WORKER")
    }


@pytest.fixture(scope="module")
def here(tmp_path_factory):
    """Return what this machine alone makes, without a cluster."""
    place = tmp_path_factory.mktemp("here")
    (place / "sessions").mkdir()
    for path in SESSIONS:
        shutil.copy(path, place / "sessions")
    assert report(place / "sessions", place / "out").returncode == 0
    return place / "out"


def contents(out: Path) -> dict[str, bytes]:
    found = {str(path.relative_to(out)): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    del found["runlog.jsonl"]
    return found


@pytest.mark.filterwarnings("ignore")  # Dask's own, in this process; the kit's runs have theirs as errors
def test_a_cluster_gives_the_same_bytes_and_survives_a_worker(sessions, here, tmp_path):
    rules = tmp_path / "rules.json"
    shutil.copy(CHECKOUT / "templates" / "house_rules.json", rules)
    with cluster() as made:
        words = ("--cluster", made.scheduler_address)
        done = report(sessions, tmp_path / "there", *words)
        assert done.returncode == 0, done.stderr
        assert contents(tmp_path / "there") == contents(here)
        # Again with the clinic's own rules, and a worker dies while records are made.
        running = subprocess.Popen(
            command(sessions, tmp_path / "own", "--rules", str(rules), *words), cwd=CHECKOUT, stderr=subprocess.PIPE
        )
        wait_for(lambda: list((tmp_path / "own").glob("rider-*")))
        os.kill(next(iter(made.workers.values())).pid, signal.SIGKILL)
        _, said = running.communicate()
        assert running.returncode == 0, said.decode()
    assert report(sessions, tmp_path / "own-here", "--rules", str(rules)).returncode == 0
    assert contents(tmp_path / "own") == contents(tmp_path / "own-here")
    lines = (tmp_path / "there" / "runlog.jsonl").read_text(encoding="utf-8").splitlines()
    assert {json.loads(line)["engine"] for line in lines} == {"forked"}


@pytest.mark.filterwarnings("ignore")
def test_an_encrypted_cluster_makes_the_same_and_lets_nobody_else_in(sessions, here, tmp_path):
    told, stranger = certificates(tmp_path / "own"), certificates(tmp_path / "stranger")
    ca_file, cert = told["DASK_DISTRIBUTED__COMM__TLS__CA_FILE"], told["DASK_DISTRIBUTED__COMM__TLS__CLIENT__CERT"]
    parts = {f"tls_{part}_cert": cert for part in ("client", "scheduler", "worker")}
    security = distributed.Security(require_encryption=True, tls_ca_file=ca_file, **parts)
    with cluster("tls://", security) as made:
        assert made.scheduler_address.startswith("tls://")
        words = ("--cluster", made.scheduler_address)
        done = report(sessions, tmp_path / "there", *words, **told)
        assert done.returncode == 0, done.stderr
        without = report(sessions, tmp_path / "without", *words)
        other = report(sessions, tmp_path / "other", *words, **stranger)
    assert without.returncode == 2
    assert "needs certificates; name them in Dask's configuration" in without.stderr
    assert other.returncode == 2
    assert f"no cluster answers at {made.scheduler_address}" in other.stderr
    assert not [name for name in ("without", "other") if (tmp_path / name).exists()]
    assert "Traceback" not in without.stderr + other.stderr
    assert contents(tmp_path / "there") == contents(here)


@pytest.mark.filterwarnings("ignore")
def test_workers_with_another_kit_are_refused(sessions, tmp_path):
    with cluster() as made:
        with distributed.Client(made, set_as_default=False) as client:
            client.run(pretend_other_version)
        done = report(sessions, tmp_path / "out", "--cluster", made.scheduler_address)
    assert done.returncode == 2
    assert "another version of the kit: the kit is 0.0 there" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def pretend_other_version():
    from fitkit.batch import remote

    remote.kit_facts = lambda: (("the kit", "0.0"),)


def test_a_cluster_that_does_not_answer_is_a_wrong_call(sessions, tmp_path):
    done = report(sessions, tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert done.returncode == 2
    assert "no cluster answers at tcp://127.0.0.1:9" in done.stderr
    assert "Traceback" not in done.stderr
