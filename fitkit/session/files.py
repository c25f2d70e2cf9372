"""Private, atomic and durable writing of small files, under a lock."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from filelock import FileLock, Timeout

__all__ = ["append_durably", "locked", "make_folder", "replace_durably", "sync_folder"]

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
