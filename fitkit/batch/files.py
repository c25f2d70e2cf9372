"""Private files and folders, written so that a reader sees the old or the new one and never half of it."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from fitkit.session.files import replace_durably, sync_folder

__all__ = ["Access", "remove", "sync_folder"]


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
        """Make a new folder; one that is there is an error."""
        path.mkdir(mode=0o700)
        # mkdir narrows the rights by the process's umask, so that the group's are set afterwards.
        path.chmod(self.folder_mode)

    def write(self, path: Path, data: bytes) -> None:
        """Write a file that is not there yet, down to the disk."""
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        path.chmod(self.file_mode)

    def replace(self, path: Path, data: bytes) -> None:
        """Write a file in place of another of that name, in one step."""
        replace_durably(path, data, mode=self.file_mode)


def remove(path: Path) -> None:
    """Remove a file or a whole folder that is ours; nothing there is fine. A link is removed, not what it names."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
