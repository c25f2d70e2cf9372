"""What is refused before anything travels, and what travels."""

import sys

import pytest

from fitkit.batch import job as jobs
from fitkit.batch import remote
from fitkit.batch.cluster import check_address, connected
from fitkit.batch.job import Input, Job
from fitkit.files import Access
from fitkit.problems import WrongCallError


@pytest.mark.parametrize(
    "address", ["tls://scheduler.clinic:8786", "tcp://127.0.0.1:8786", "tcp://localhost:1", "tcp://[::1]:8786"]
)
def test_loopback_and_encrypted_addresses_are_taken(address):
    check_address(address)


@pytest.mark.parametrize("address", ["tcp://10.0.0.7:8786", "tcp://scheduler:8786", "tcp://[fe80::1]:8786"])
def test_open_addresses_of_other_machines_are_refused(address):
    with pytest.raises(WrongCallError, match="another machine and not encrypted") as caught:
        check_address(address)
    assert address in str(caught.value)


@pytest.mark.parametrize("address", ["127.0.0.1:8786", "ws://127.0.0.1:8786", "tcp://127.0.0.1", "tcp://a:99999", ""])
def test_what_is_no_address_is_refused_with_what_was_found(address):
    with pytest.raises(WrongCallError, match=f"address is '{address}'; expected tls://HOST:PORT"):
        check_address(address)


def test_without_dask_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WrongCallError, match=r"extra \[cluster\]"), connected("tcp://127.0.0.1:8786"):
        pass


def test_another_kit_is_told_by_what_differs(monkeypatch):
    ours = remote.kit_facts()
    assert remote.differences(ours) == ""
    other = tuple((name, "0.0" if name == "numpy" else found) for name, found in ours)
    assert remote.differences(other).startswith("numpy is 0.0 there and ")
    other = tuple((name, "x" if name == "the kit's files" else found) for name, found in ours)
    assert remote.differences(other) == "the kit's files differ"
    assert "numpy is not there there" in remote.differences(tuple(fact for fact in ours if fact[0] != "numpy"))


def test_a_visit_is_the_same_visit_after_it_has_travelled(tmp_path):
    job = visit(tmp_path)
    (tmp_path / "rules.json").write_text("{}", encoding="utf-8")
    sent = remote.packed(job, {"FITKIT_RULES": str(tmp_path / "rules.json"), "OTHER": "x"}, forked=True)
    assert sent.house == (("FITKIT_RULES", "rules.json", b"{}"),)
    assert str(tmp_path) not in repr(sent)
    (tmp_path / "there").mkdir()
    arrived = remote.unpacked(sent, tmp_path / "there")
    assert jobs.digests_of_inputs(arrived.inputs) == jobs.digests_of_inputs(job.inputs)
    assert (arrived.key, arrived.kit, arrived.limits) == (job.key, job.kit, job.limits)


def test_a_film_too_large_to_travel_keeps_its_visit_here(tmp_path):
    job = visit(tmp_path)
    assert not remote.too_large(job)
    with (tmp_path / "film.mp4").open("wb") as film:
        film.truncate(jobs.LARGE_FILE_BYTES + 1)
    assert remote.too_large(job)


def visit(folder):
    (folder / "a.json").write_text("{}", encoding="utf-8")
    inputs = (Input("a.json", str(folder / "a.json")), Input("film.mp4", str(folder / "film.mp4"), required=False))
    return Job(key="a", inputs=inputs, template="t", making=str(folder), kit="kit", access=Access())
