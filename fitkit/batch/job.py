"""One visit to be made: its inputs, its limits, and digests of everything its record depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import fitkit
from fitkit import files
from fitkit.files import Access, make_folder, write_new

TEMPLATE = "client_report.ipynb"
# A film of gigabytes is not read through each night: its size and time of change stand for it.
LARGE_FILE_BYTES = 16_000_000
ABSENT = "not there"


@dataclass(frozen=True)
class Input:
    """One file a visit's record is made from."""

    name: str  # where the notebook finds it, from its working folder
    source: str
    required: bool = True


@dataclass(frozen=True)
class Limits:
    """Limits of one record."""

    cell_s: int = 60  # one cell of the notebook [s]
    notebook_s: float = 300  # the whole notebook, with the start of a kernel where there is one [s]
    kernel_start_s: int = 60  # the start of the kernel [s]
    pages_s: float = 120  # everything after the notebook: pages, PDF, files [s]
    notebook_memory_mb: int = 2000  # what the process that runs the notebook may take meanwhile [MB]
    process_memory_mb: int = 4000  # what a record's process may take otherwise [MB]


@dataclass(frozen=True)
class Job:
    """One visit to be made."""

    key: str  # the visit
    inputs: tuple[Input, ...]  # its files; the session first
    template: str  # the notebook to run
    making: str  # folder in which the record is made, under the visit's name
    kit: str  # digest of what all visits share
    access: Access  # who may read the record
    limits: Limits = Limits()  # limits of time and memory
    browser: str | None = None  # chromium that makes the PDF pages; None for none
    full: bool = False  # whether the folded parts of the record are open, so that they are printed


def failed(reason: str, seconds: float = 0.0, **more: str) -> dict:
    """Return what became of a visit whose record was not made."""
    return {"status": "failed", "reason": reason, "seconds": seconds, **more}


def digest(data: bytes) -> str:
    """Return the digest of some bytes."""
    return hashlib.sha256(data).hexdigest()


def digest_of_files(folder: Path, names: Iterable[str]) -> str:
    """Return one digest of files in a folder by name and content; raises OSError where one is not there."""
    return _of([[name, digest((folder / name).read_bytes())] for name in names])


def digest_of_kit(house: object, *, pdf: bool, full: bool) -> str:
    """Return the digest of what all visits share: package, templates, house rules, parts table, kind of pages."""
    return _of(
        {
            "code": digest_of_code(),
            "house": [house.fingerprint, house.rules_source, house.parts_source],
            "pdf": pdf,
            "full": full,
        }
    )


def digest_of_code() -> str:
    """Return the digest of the package and its templates."""
    package = Path(fitkit.__file__).parent
    templates = files.template(TEMPLATE).parent
    return _of([fitkit.__version__, _tree(package, "*.py"), _tree(templates, "*")])


def digests_of_inputs(inputs: Iterable[Input]) -> dict[str, str]:
    """Return the digest of each of a visit's inputs by name; raises OSError where a needed one cannot be read."""
    return {item.name: _of_input(item) for item in inputs}


def fingerprint(kit: str, inputs: Mapping[str, str]) -> str:
    """Return a visit's fingerprint from the kit's digest and those of its inputs."""
    return _of({"kit": kit, "inputs": dict(inputs)})


def stage(item: Input, target: Path) -> str:
    """Copy one input into its place, readable by the owner alone, and return the digest of what was copied.

    A large file is linked instead; one that need not be there and is not is left out.
    """
    source = Path(item.source)
    if not source.is_file() and not item.required:
        return ABSENT
    make_folder(target.parent)
    if _is_large(source):
        target.symlink_to(source.resolve())
        return _of_large(source)
    data = source.read_bytes()
    write_new(target, data, lasting=False)
    return digest(data)


def _of_input(item: Input) -> str:
    source = Path(item.source)
    if not source.is_file() and not item.required:
        return ABSENT
    return _of_large(source) if _is_large(source) else digest(source.read_bytes())


def _is_large(source: Path) -> bool:
    return source.stat().st_size > LARGE_FILE_BYTES


def _of_large(source: Path) -> str:
    facts = source.stat()
    return f"{facts.st_size} bytes of {facts.st_mtime_ns}"


def _tree(folder: Path, pattern: str) -> list[list[str]]:
    """Return names and digests of a folder's files; hidden files and compiled ones do not count."""
    found = []
    for path in sorted(folder.rglob(pattern)):
        parts = path.relative_to(folder).parts
        if path.is_file() and not any(part.startswith((".", "__pycache__")) for part in parts):
            found.append(["/".join(parts), digest(path.read_bytes())])
    return found


def _of(document: object) -> str:
    return digest(json.dumps(document, sort_keys=True).encode())
