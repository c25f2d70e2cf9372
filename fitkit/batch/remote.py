"""What travels to a cluster and back, and what is run there: contents of files, no paths of anybody's machine.

A Dask worker may start no children by `multiprocessing`. So it keeps a program of the kit's own for each record it
makes at a time, and that has a pool of one: limits and isolation are those of one machine.
"""

from __future__ import annotations

import contextlib
import importlib.metadata
import os
import platform
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass, replace
from functools import cache
from multiprocessing.connection import Connection
from pathlib import Path

import fitkit
from fitkit import files
from fitkit.batch.job import LARGE_FILE_BYTES, TEMPLATE, Input, Job, digest_of_code, failed
from fitkit.batch.pool import Pool
from fitkit.batch.processes import find_browser
from fitkit.files import Access

_DISTRIBUTION = "cleat-stance-notebooks"


@dataclass(frozen=True)
class Parcel:
    """One visit to be made elsewhere."""

    job: Job  # the visit, without any path
    # of each file: its name, its content (None where it is not there), whether it must be
    inputs: tuple[tuple[str, bytes | None, bool], ...]
    # of each house file in force that is not the kit's own: its variable, name and content
    house: tuple[tuple[str, str, bytes], ...]
    facts: tuple[tuple[str, str], ...]  # what must be the same there, see `kit_facts`
    forked: bool  # whether a copy of a warm process runs the notebook, where that can be
    pdf: bool  # whether pages are made as PDF as well


# What became of a visit in plain words and numbers, and the names and contents of its record's files.
Returned = tuple[dict, dict[str, bytes]]


@cache
def kit_facts() -> tuple[tuple[str, str], ...]:
    """Return what decides a record's bytes on this machine: the kit's files, Python, and the packages used."""
    try:
        needed = importlib.metadata.requires(_DISTRIBUTION) or []
    except importlib.metadata.PackageNotFoundError:
        needed = []
    names = sorted(re.match(r"[\w.-]+", line)[0] for line in needed if ";" not in line)
    own = [("the kit", fitkit.__version__), ("the kit's files", digest_of_code())]
    python = [("Python", platform.python_version())]
    return (*own, *python, *((name, _version(name)) for name in names))


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not there"


def differences(theirs: tuple[tuple[str, str], ...]) -> str:
    """Return in words in what another machine's facts differ from this one's; empty where they are the same."""
    ours, other = dict(kit_facts()), dict(theirs)
    said = []
    for name in dict.fromkeys((*ours, *other)):
        here, there = ours.get(name, "not there"), other.get(name, "not there")
        if here != there:
            said.append(f"{name} differ" if name == "the kit's files" else f"{name} is {there} there and {here} here")
    return ", ".join(said)


def too_large(job: Job) -> bool:
    """Whether a visit has a file too large to be sent, as films are."""
    return any(
        Path(item.source).is_file() and Path(item.source).stat().st_size > LARGE_FILE_BYTES for item in job.inputs
    )


def packed(job: Job, environment: dict[str, str], *, forked: bool) -> Parcel:
    """Return a visit with the contents of its files; raises OSError where a needed one cannot be read."""
    return Parcel(
        job=replace(job, inputs=(), template="", making="", access=Access(), browser=None),
        inputs=tuple((item.name, _content(item), item.required) for item in job.inputs),
        house=tuple(
            (variable, Path(environment[variable]).name, Path(environment[variable]).read_bytes())
            for variable in ("FITKIT_RULES", "FITKIT_PARTS")
            if variable in environment
        ),
        facts=kit_facts(),
        forked=forked,
        pdf=job.browser is not None,
    )


def _content(item: Input) -> bytes | None:
    source = Path(item.source)
    return source.read_bytes() if item.required or source.is_file() else None


def unpacked(parcel: Parcel, folder: Path) -> Job:
    """Write a parcel's files into a private folder and return the visit to be made from them."""
    for name, content, _ in parcel.inputs:
        if content is not None:
            target = folder / "sent" / name
            target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            target.write_bytes(content)
    making = folder / "making"
    making.mkdir(mode=0o700)
    return replace(
        parcel.job,
        inputs=tuple(Input(name, str(folder / "sent" / name), required) for name, _, required in parcel.inputs),
        template=str(files.template(TEMPLATE)),
        making=str(making),
        browser=find_browser() if parcel.pdf else None,
    )


def make(parcel: Parcel) -> Returned:
    """Make one record and return it; a Dask worker runs this."""
    differ = differences(parcel.facts)
    if differ:
        return failed(f"a worker of the cluster has another kit: {differ}"), {}
    try:
        link = _program(parcel)
        link.send(parcel)
        return link.recv()
    except (EOFError, OSError):
        _close_program()
        return failed("the kit's process on the cluster's worker ended"), {}


_OWN = threading.local()  # each of the Dask worker's threads has a program, which ends with it
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=lambda: _OWN.__dict__.clear())


def _program(parcel: Parcel) -> Connection:
    """Return the way to this thread's program, begun where there is none for these house rules."""
    kind = (parcel.house, parcel.forked)
    if getattr(_OWN, "kind", None) != kind:
        _close_program()
        ours, theirs = socket.socketpair()
        with theirs:
            command = f"from {__name__} import main; main({theirs.fileno()})"
            # A session of its own: what stops the Dask worker is not meant for it, it ends when the link does.
            _OWN.process = subprocess.Popen(
                [sys.executable, "-c", command],
                stdin=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                start_new_session=True,
            )
        _OWN.link, _OWN.kind = Connection(ours.detach()), kind
    return _OWN.link


def _close_program() -> None:
    if hasattr(_OWN, "link"):
        _OWN.link.close()
        _OWN.process.wait()
    _OWN.__dict__.clear()


def main(descriptor: int) -> None:
    """Make the record of each parcel that comes over a socket and send it back, until its other end closes."""
    with (
        tempfile.TemporaryDirectory(prefix="cleat-", ignore_cleanup_errors=True) as folder,
        contextlib.suppress(EOFError, OSError),  # the Dask worker has gone
    ):
        _work(Connection(descriptor), Path(folder))


def _work(link: Connection, folder: Path) -> None:
    parcel: Parcel = link.recv()
    with Pool(1, _house(parcel, folder), forked=parcel.forked, wake=link.fileno()) as pool:
        while True:
            visit = folder / "visit"
            visit.mkdir(mode=0o700)
            job = unpacked(parcel, visit)
            outcome = _outcome(pool, job, parcel)
            record = sorted(Path(job.making, job.key).glob("*")) if outcome["status"] == "made" else []
            link.send((outcome, {path.name: path.read_bytes() for path in record}))
            shutil.rmtree(visit)
            parcel = link.recv()


def _outcome(pool: Pool, job: Job, parcel: Parcel) -> dict:
    if parcel.pdf and job.browser is None:
        return failed("--pdf needs Chromium, and the cluster's worker has none")
    for _, outcome in pool.run([job]):
        return outcome
    raise EOFError


def _house(parcel: Parcel, folder: Path) -> dict[str, str]:
    """Write the house rules and parts in force and return the variables that name them."""
    environment = {}
    for variable, name, content in parcel.house:
        target = folder / variable / name
        target.parent.mkdir(mode=0o700)
        target.write_bytes(content)
        environment[variable] = str(target)
    return environment
