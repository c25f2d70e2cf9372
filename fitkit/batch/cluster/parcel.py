"""What travels to a cluster for one visit, and what comes back: contents, no paths of anybody's machine."""

from __future__ import annotations

import importlib.metadata
import platform
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import fitkit
from fitkit import places
from fitkit.batch import fingerprint, pdf
from fitkit.batch.job import Input, Job, Limits
from fitkit.files import Access

__all__ = ["Parcel", "Returned", "differences", "kit_facts", "packed", "too_large", "unpacked"]

_DISTRIBUTION = "cleat-stance-notebooks"


@dataclass(frozen=True)
class Parcel:
    """One visit to be made elsewhere."""

    key: str  # the visit
    # of each file: its name, its content (None where it is not there), whether it must be
    inputs: tuple[tuple[str, bytes | None, bool], ...]
    # of each house file in force that is not the kit's own: its variable, name and content
    house: tuple[tuple[str, str, bytes], ...]
    kit: str  # digest of what all visits share
    facts: tuple[tuple[str, str], ...]  # what must be the same there, see `kit_facts`
    limits: Limits  # limits of time and memory
    forked: bool  # kind of kernels; whether pages are made as PDF as well
    pdf: bool  # kind of kernels; whether pages are made as PDF as well


@dataclass(frozen=True)
class Returned:
    """What became of a visit: the outcome in plain words and numbers, and the record's files."""

    outcome: dict
    files: tuple[tuple[str, bytes], ...] = ()


@cache
def kit_facts() -> tuple[tuple[str, str], ...]:
    """Return what decides a record's bytes on this machine: the kit's files, Python, and the packages used."""
    try:
        needed = importlib.metadata.requires(_DISTRIBUTION) or []
    except importlib.metadata.PackageNotFoundError:
        needed = []
    names = sorted(re.match(r"[\w.-]+", line)[0] for line in needed if ";" not in line)
    own = [("the kit", fitkit.__version__), ("the kit's files", fingerprint.of_code())]
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
        Path(item.source).is_file() and Path(item.source).stat().st_size > fingerprint.LARGE_FILE_BYTES
        for item in job.inputs
    )


def packed(job: Job, environment: dict[str, str]) -> Parcel:
    """Return a visit with the contents of its files; raises OSError where a needed one cannot be read."""
    return Parcel(
        key=job.key,
        inputs=tuple((item.name, _content(item), item.required) for item in job.inputs),
        house=tuple(
            (variable, Path(environment[variable]).name, Path(environment[variable]).read_bytes())
            for variable in ("FITKIT_RULES", "FITKIT_PARTS")
            if variable in environment
        ),
        kit=job.kit,
        facts=kit_facts(),
        limits=job.limits,
        forked=job.forked,
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
    return Job(
        key=parcel.key,
        inputs=tuple(Input(name, str(folder / "sent" / name), required) for name, _, required in parcel.inputs),
        template=str(places.template(fingerprint.TEMPLATE)),
        making=str(making),
        kit=parcel.kit,
        access=Access(),
        limits=parcel.limits,
        forked=parcel.forked,
        browser=pdf.find_browser() if parcel.pdf else None,
    )
