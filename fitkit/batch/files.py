"""Private files written whole or not at all, and the one line in which an error or a path is printed."""

from __future__ import annotations

import os
import shutil
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fitkit.session.files import replace_durably, sync_folder

__all__ = ["Access", "WrongCallError", "count", "join", "os_reason", "plain", "remove", "sync_folder"]


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


# A longer text would bury the others; what a person needs to find the place is at its beginning.
_LONGEST = 600
_SHOWN_AS_CODE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def plain(text: object, *, longest: int = _LONGEST) -> str:
    """Return a text on one line, with nothing in it that a terminal or a page would act upon.

    Line ends and tabs become spaces; other control characters, marks that change the direction of writing and
    broken characters are shown as their code, as in ``\\x1b``.
    """
    words = " ".join(str(text)[: 4 * longest].split())
    shown = "".join(_shown(letter) for letter in words)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def _shown(letter: str) -> str:
    if unicodedata.category(letter) not in _SHOWN_AS_CODE:
        return letter
    return letter.encode("unicode_escape").decode("ascii")


def join(problems: Iterable[object]) -> str:
    """Return several problems as one reason, each made plain."""
    return "; ".join(plain(problem) for problem in problems)


def count(number: int, noun: str) -> str:
    """Return a number with its noun: ``1 record``, ``2 records``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def os_reason(error: OSError) -> str:
    """Return why the system refused, without the path of the file: the message that uses it names the file."""
    return plain(error.strerror or error)


class WrongCallError(Exception):
    """The command cannot be carried out as it was given; each argument says what was found and what was expected."""

    def __str__(self) -> str:
        return "\n".join(str(line) for line in self.args)
