"""Whether a visit's record is still what its inputs give: digests of everything the record depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

import fitkit
from fitkit import places
from fitkit.batch.job import Input
from fitkit.files import make_folder, write_new

__all__ = [
    "ABSENT",
    "LARGE_FILE_BYTES",
    "TEMPLATE",
    "digest",
    "of_code",
    "of_files",
    "of_inputs",
    "of_kit",
    "of_visit",
    "stage",
]

TEMPLATE = "client_report.ipynb"
# A film of gigabytes is not read through each night: its size and time of change stand for it.
LARGE_FILE_BYTES = 16_000_000
ABSENT = "not there"


def digest(data: bytes) -> str:
    """Return the digest of some bytes."""
    return hashlib.sha256(data).hexdigest()


def of_files(folder: Path, names: Iterable[str]) -> str:
    """Return one digest of files in a folder by name and content; raises OSError where one is not there."""
    return _of([[name, digest((folder / name).read_bytes())] for name in names])


def of_kit(house: object, *, pdf: bool) -> str:
    """Return the digest of what all visits share: package, templates, house rules, parts table, kind of pages."""
    return _of(
        {
            "code": of_code(),
            "house": [house.fingerprint, house.rules_source, house.parts_source],
            "pdf": pdf,
        }
    )


def of_code() -> str:
    """Return the digest of the package and its templates."""
    package = Path(fitkit.__file__).parent
    templates = places.template(TEMPLATE).parent
    return _of([fitkit.__version__, _tree(package, "*.py"), _tree(templates, "*")])


def of_inputs(inputs: Iterable[Input]) -> dict[str, str]:
    """Return the digest of each of a visit's inputs by name; raises OSError where a needed one cannot be read."""
    return {item.name: _of_input(item) for item in inputs}


def of_visit(kit: str, inputs: Mapping[str, str]) -> str:
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
