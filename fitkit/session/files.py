"""Private, atomic and durable writing of small files, under a lock."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, NoReturn

from filelock import FileLock, Timeout

from fitkit.session.problems import Problem, SessionProblems, said
from fitkit.session.reading import LIMIT_BYTES
from fitkit.session.vocabulary import FORMAT

__all__ = ["append_durably", "forget", "locked", "make_folder", "replace_durably", "sync_folder"]

_WAIT_S = 30  # nobody holds a lock for longer than one save takes
_POLL_S = 0.005


@contextmanager
def locked(target: Path, *, mode: int) -> Iterator[None]:
    """Hold the lock of a session file; its hidden lock file beside it stays."""
    lock = target.with_name(f".{target.stem}.lock")
    try:
        held = FileLock(lock, timeout=_WAIT_S, mode=0o600).acquire(poll_interval=_POLL_S)
    except Timeout:
        message = f"{target.name} has been locked by another program for {_WAIT_S} s; nothing was saved. Try again."
        raise TimeoutError(message) from None
    with held:
        found = lock.stat()
        # Colleagues who may write the session must be able to lock it; only its owner can let them.
        if found.st_mode & 0o777 != mode and found.st_uid == _user():
            lock.chmod(mode)
        yield


def _user() -> int:
    return os.getuid() if hasattr(os, "getuid") else 0


def make_folder(folder: Path, *, mode: int) -> None:
    """Make a folder and those above it that are missing, each closed to others from the start."""
    for missing in reversed([each for each in (folder, *folder.parents) if not each.exists()]):
        missing.mkdir(mode=mode, exist_ok=True)
        missing.chmod(mode)  # the user's mask may have taken rights away


def replace_durably(target: Path, data: bytes, *, mode: int, group: int | None = None) -> None:
    """Put the bytes in the file's place at once and for good, or leave it as it was."""
    temporary = target.with_name(f".{target.stem}.tmp")
    try:
        temporary.unlink(missing_ok=True)  # of a killed process; the lock is ours
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            if group is not None and os.fstat(descriptor).st_gid != group:
                os.chown(temporary, -1, group)
            temporary.chmod(mode)
            os.fsync(descriptor)
        os.replace(temporary, target)
    except BaseException as error:
        temporary.unlink(missing_ok=True)
        if isinstance(error, OSError):
            message = f"{target.name} was not saved and is as it was: {error.strerror or error}"
            raise OSError(error.errno, message) from error
        raise
    sync_folder(target.parent)


def append_durably(target: Path, data: bytes, *, after: int, mode: int) -> None:
    """Write the bytes after the first `after` bytes of the file and for good, or leave those alone."""
    is_new = not target.exists()
    try:
        with os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
            if is_new:
                target.chmod(mode)
            _write_after(file, data, after)
    except OSError as error:
        message = f"the session was saved, but not its history {target.name}: {error.strerror or error}"
        raise OSError(error.errno, message) from error
    if is_new:
        sync_folder(target.parent)


def _write_after(file: BinaryIO, data: bytes, after: int) -> None:
    os.ftruncate(file.fileno(), after)
    file.seek(after)
    try:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    except OSError:
        os.ftruncate(file.fileno(), after)
        raise


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


_ID = r"[a-z0-9-]{1,40}"
_KEY = re.compile(rf"({_ID})_[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}_{_ID}")
_OF_A_SESSION = re.compile(r"(?:(.+?)(?:\.history\.jsonl|\.json)|\.(.+)\.(?:lock|tmp))", re.DOTALL)


def forget(client_id: str, folder: str | Path) -> tuple[Path, ...]:
    """Remove a client's session files, histories and locks from a folder and all folders below it."""
    if not re.fullmatch(_ID, client_id):
        raise SessionProblems(None, [Problem("client_id", said(client_id), "1 to 40 of the characters a-z, 0-9 and -")])
    removed: list[Path] = []
    for place, _, names in os.walk(folder, onerror=_stop):
        stems = sorted({found[1] or found[2] for name in names if (found := _OF_A_SESSION.fullmatch(name))})
        for stem in stems:
            if _owner(Path(place), stem) == client_id:
                removed += _remove(Path(place), stem)
    return tuple(removed)


def _stop(error: OSError) -> NoReturn:
    raise error


def _owner(folder: Path, stem: str) -> str | None:
    """Return whose the files of this stem are, None where nothing tells."""
    inside = _client_inside(folder / f"{stem}.json")
    if inside is not None:
        return inside
    named = _KEY.fullmatch(stem)
    return named[1] if named else None


def _client_inside(path: Path) -> str | None:
    """Return the client a readable session file names; None where the file cannot tell."""
    try:
        with path.open("rb") as file:
            data = file.read(LIMIT_BYTES + 1)
        tree = json.loads(data)
    except (OSError, ValueError, RecursionError):
        return None
    is_session = isinstance(tree, dict) and tree.get("format") == FORMAT
    return tree.get("client_id") if is_session and isinstance(tree.get("client_id"), str) else None


def _remove(folder: Path, stem: str) -> list[Path]:
    beside = (f"{stem}.json", f"{stem}.history.jsonl", f".{stem}.tmp", f".{stem}.lock")
    found = [folder / name for name in beside if (folder / name).exists()]
    with locked(folder / f"{stem}.json", mode=0o600):
        for path in found:
            path.unlink(missing_ok=True)
        (folder / f".{stem}.lock").unlink(missing_ok=True)
    sync_folder(folder)
    return found
