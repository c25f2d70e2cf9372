"""The report folder: whose it is, one batch at a time, how a finished record gets into its place, and the run log."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import filelock

from fitkit.files import Access, os_reason, remove, sync_folder
from fitkit.problems import WrongCallError
from fitkit.words import one_line

KEY_PATTERN = re.compile(r"[a-z0-9-]{1,40}_\d{4}-\d{2}-\d{2}_[a-z0-9-]{1,40}", re.ASCII)
MARKER = ".cleat-stance-reports"
PAGES = ("record.ipynb", "record.html", "rider_sheet.html", "results.json")
PDF_PAGES = ("record.pdf", "rider_sheet.pdf")
OVERVIEW_PAGES = ("overview.ipynb", "overview.html")
RUN_LOG = "runlog.jsonl"
_LOCK = ".lock"
_MAKING = ".making"
_ASIDE = ".old"


def is_report_folder(path: Path) -> bool:
    """Whether reports are kept there, so that it is not searched for session files."""
    return (path / MARKER).is_file()


def record_files(*, pdf: bool) -> tuple[str, ...]:
    """Return the names of the files of one record."""
    return PAGES + PDF_PAGES if pdf else PAGES


class ReportFolder:
    """A folder of records that this process alone works on."""

    def __init__(self, path: Path, access: Access, making: Path) -> None:
        self.path = path
        self.access = access
        self.making = making

    def put_in_place(self, key: str) -> None:
        """Move a finished record to its place; the one that stood there is set aside first and then removed."""
        place, aside = self.path / key, self.making / f"{key}{_ASIDE}"
        if place.exists():
            place.rename(aside)
        (self.making / key).rename(place)
        sync_folder(self.path)
        remove(aside)

    def drop_unfinished(self, key: str) -> None:
        """Remove what was made of a record that will not be finished, and the copies of its inputs."""
        for path in (self.making / key, self.making / f"{key}.inputs"):
            # What cannot be removed now is removed when the next run begins.
            with contextlib.suppress(OSError):
                remove(path)

    def records(self) -> list[str]:
        """Return the keys of the records in their places."""
        return sorted(path.name for path in self.path.iterdir() if KEY_PATTERN.fullmatch(path.name))

    def forget(self, key: str) -> Path:
        """Remove a record."""
        remove(self.path / key)
        return self.path / key


@contextlib.contextmanager
def opened(path: Path, access: Access) -> Iterator[ReportFolder]:
    """Hold a report folder, made where it is new, for as long as the block runs."""
    try:
        _check(path)
        _make(path, access)
        lock = filelock.FileLock(path / _LOCK, timeout=0, mode=access.file_mode, is_singleton=False)
        lock.acquire()
    except filelock.Timeout:
        raise WrongCallError(
            f"{one_line(path)} is being written by another run; wait for it to end, or name another folder"
        ) from None
    except OSError as error:
        raise WrongCallError(_cannot_write(path, error)) from None
    try:
        yield _prepared(path, access)
    finally:
        _clean(path)
        lock.release()


def _check(path: Path) -> None:
    if path.is_dir():
        theirs = sorted(item.name for item in path.iterdir() if item.name != _LOCK)
        if theirs and not is_report_folder(path):
            raise WrongCallError(
                f"{one_line(path)} holds other files, such as {one_line(theirs[0])}; "
                "expected a new or empty folder, or one made by an earlier run"
            )
    elif path.exists() or path.is_symlink():
        raise WrongCallError(f"{one_line(path)} is not a folder; expected a folder for the reports")


def _make(path: Path, access: Access) -> None:
    if not path.is_dir():
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            access.make_folder(path)


def _prepared(path: Path, access: Access) -> ReportFolder:
    try:
        if not is_report_folder(path):
            access.write(path / MARKER, b"Reports are written here; they are not searched for session files.\n")
        _clean(path)
        making = path / _MAKING
        if not making.is_dir():
            access.make_folder(making)
        return ReportFolder(path, access, Path(tempfile.mkdtemp(prefix="run-", dir=making)))
    except OSError as error:
        raise WrongCallError(_cannot_write(path, error)) from None


def _clean(path: Path) -> None:
    """Put back records a killed run had set aside, and remove whatever it left unfinished."""
    with contextlib.suppress(OSError):
        for aside in (path / _MAKING).glob(f"*/*{_ASIDE}"):
            place = path / aside.name.removesuffix(_ASIDE)
            if not place.exists():
                aside.rename(place)
        for unfinished in path.glob(".*.tmp"):
            remove(unfinished)
        remove(path / _MAKING)


def _cannot_write(path: Path, error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        return f"the disk of {one_line(path)} is full; make room, then run again"
    return f"{one_line(path)} cannot be written: {os_reason(error)}; name a folder that can be written"


@dataclass(frozen=True)
class Entry:
    """What happened to one visit, or to one file that is none."""

    run: str  # when the run began; the same for all its visits
    at: str  # when this visit was done
    key: str | None  # the visit; None where a file's name tells none
    file: str  # name of the session file
    status: str  # "made", "unchanged", "failed" or "consent withdrawn"
    reason: str = ""  # why it failed, in words
    seconds: float = 0.0  # how long it took
    exit: int = 0  # 0 made or unchanged, 1 failed, else the exit of the run that was stopped
    # what ran the notebook: a "forked" copy of a warm process or a "plain" kernel; empty where none did
    engine: str = ""
    fingerprint: str = ""  # digest of all inputs of the record made
    record: str = ""  # digest of the record's files
    demonstration: bool = False  # whether the rider is invented


class RunLog:
    """The run log of one report folder."""

    def __init__(self, folder: Path, access: Access) -> None:
        self.path = folder / RUN_LOG
        self.access = access

    def add(self, entry: Entry) -> None:
        """Add a line."""
        line = json.dumps(asdict(entry)).encode() + b"\n"
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(descriptor, "r+b") as file:
            length = file.seek(0, os.SEEK_END)
            if length == 0:
                self.path.chmod(self.access.file_mode)
            elif self._is_cut_off(file, length):
                line = b"\n" + line
            file.write(line)

    @staticmethod
    def _is_cut_off(file, length: int) -> bool:
        """Whether the last line has no end: its run was killed, or the disk was full."""
        file.seek(length - 1)
        return file.read(1) != b"\n"

    def entries(self) -> list[Entry]:
        """Return all lines that are whole; a line cut off by a killed run does not count."""
        if not self.path.is_file():
            return []
        read = (_entry(line) for line in self.path.read_bytes().splitlines())
        return [entry for entry in read if entry is not None]

    def rewrite(self, entries: Iterable[Entry]) -> None:
        """Keep only these lines; used where a client is to be forgotten."""
        lines = "".join(json.dumps(asdict(entry)) + "\n" for entry in entries)
        self.access.replace(self.path, lines.encode())


def _entry(line: bytes) -> Entry | None:
    try:
        return Entry(**json.loads(line))
    except (ValueError, TypeError):
        return None
