"""Files written whole or not at all, down to the disk, closed to others, locked where many write; and the kit's own."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from filelock import FileLock, Timeout

from fitkit.words import one_line

_WAIT_S = 30  # nobody holds a lock for longer than one save takes
_POLL_S = 0.005
_PACKAGE = Path(__file__).resolve().parent
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Access:
    """Who may read what is written: the owner alone, or the clinic's group as well."""

    group: bool = False

    @property
    def file_mode(self) -> int:
        """The rights of a file."""
        return 0o660 if self.group else 0o600

    @property
    def folder_mode(self) -> int:
        """The rights of a folder."""
        return 0o770 if self.group else 0o700

    def make_folder(self, path: Path) -> None:
        """Make a folder and those above it that are missing."""
        make_folder(path, mode=self.folder_mode)

    def write(self, path: Path, data: bytes) -> None:
        """Write a file that is not there yet."""
        write_new(path, data, mode=self.file_mode)

    def replace(self, path: Path, data: bytes) -> None:
        """Write a file in place of another of that name, in one step."""
        replace_durably(path, data, mode=self.file_mode)


def make_folder(folder: Path, *, mode: int = 0o700) -> None:
    """Make a folder and those above it that are missing, each closed to others from the start."""
    for missing in reversed([each for each in (folder, *folder.parents) if not each.exists()]):
        missing.mkdir(mode=mode, exist_ok=True)
        missing.chmod(mode)  # the user's mask may have taken rights away


def write_new(target: Path, data: bytes, *, mode: int = 0o600, group: int | None = None, lasting: bool = True) -> None:
    """Write a file that is not there yet, closed to others from the start; where `lasting`, down to the disk."""
    descriptor = os.open(target, _NEW, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        if group is not None and os.fstat(descriptor).st_gid != group:
            os.chown(target, -1, group)
        target.chmod(mode)
        if lasting:
            os.fsync(descriptor)


def replace_durably(
    target: Path, data: bytes, *, mode: int = 0o600, group: int | None = None, lasting: bool = True
) -> None:
    """Put the bytes in the file's place at once and for good, or leave it as it was."""
    temporary = target.with_name(f".{target.stem}.tmp")
    try:
        temporary.unlink(missing_ok=True)  # of a killed process; the lock is ours
        write_new(temporary, data, mode=mode, group=group, lasting=lasting)
        os.replace(temporary, target)
    except BaseException as error:
        temporary.unlink(missing_ok=True)
        if isinstance(error, OSError):
            message = f"{target.name} was not saved and is as it was: {error.strerror or error}"
            raise OSError(error.errno, message) from error
        raise
    if lasting:
        sync_folder(target.parent)


def append_durably(target: Path, data: bytes, *, after: int, mode: int = 0o600) -> None:
    """Write the bytes after the first `after` bytes of the file and for good, or leave those alone."""
    is_new = not target.exists()
    with os.fdopen(os.open(target, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
        if is_new:
            target.chmod(mode)
        _write_after(file, data, after)
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


@contextmanager
def locked(target: Path, *, mode: int = 0o600) -> Iterator[None]:
    """Hold the lock of a file; its hidden lock file beside it stays."""
    lock = target.with_name(f".{target.stem}.lock")
    try:
        held = FileLock(lock, timeout=_WAIT_S, mode=0o600).acquire(poll_interval=_POLL_S)
    except Timeout:
        message = f"{target.name} has been locked by another program for {_WAIT_S} s; nothing was saved. Try again."
        raise TimeoutError(message) from None
    with held:
        found = lock.stat()
        # Colleagues who may write the file must be able to lock it; only its owner can let them.
        if found.st_mode & 0o777 != mode and found.st_uid == _user():
            lock.chmod(mode)
        yield


def _user() -> int:
    return os.getuid() if hasattr(os, "getuid") else 0


def remove(path: Path) -> None:
    """Remove a file or a whole folder that is ours; nothing there is fine. A link is removed, not what it names."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def os_reason(error: OSError) -> str:
    """Return why the system refused, without the path of the file: the message that uses it names the file."""
    return one_line(error.strerror or error)


def template(name: str) -> Path:
    """Return the path of a file or folder of ``templates/``."""
    return _own("templates", name)


def notebook(name: str) -> Path:
    """Return the path of a file of ``notebooks/``; raises FileNotFoundError as `template` does."""
    return _own("notebooks", name)


def _own(folder: str, name: str) -> Path:
    # A checkout comes first: an editable install may have left an old copy inside the package.
    checkout = _PACKAGE.parent
    roots = [checkout / folder] if (checkout / "pyproject.toml").is_file() else []
    for root in (*roots, _PACKAGE / f"_{folder}"):
        if (root / name).exists():
            return root / name
    raise FileNotFoundError(f"{folder}/{name} is not part of this install; install the kit again")
