"""Why a save was refused, in words for the person at the form."""

from __future__ import annotations

import errno
import re

from fitkit.session import Problem, SessionProblems, describe

__all__ = ["file_words", "not_saved_words", "sentence"]

_FIELD = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")
_STAYS = "What you typed stays here; press Save when it is mended."
_CAUSES = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EFBIG: "the disk takes no more",
    errno.EROFS: "the folder is read-only",
    errno.EACCES: "this person may not write to the folder",
    errno.EPERM: "this person may not write to the folder",
    errno.ENOENT: "the folder is gone",
}


def not_saved_words(error: SessionProblems | OSError) -> str:
    """Return why a value was refused, with fields by their titles, or why the file could not be written."""
    if isinstance(error, TimeoutError):
        return f"Not saved: another program has held the session for half a minute. {_STAYS}"
    if isinstance(error, OSError):
        return f"Not saved: {_CAUSES.get(error.errno) or error.strerror or error}. {_STAYS}"
    if any(problem.where in ("file", "version", "format", "file name") for problem in error.problems):
        return f"Not saved. {file_words(error)}"
    return f"Not saved. {' '.join(sentence(problem) for problem in error.problems[:3])}"


def file_words(error: SessionProblems) -> str:
    """Return what is wrong with the file as a whole."""
    first = error.problems[0]
    name = error.path.name if error.path else "the session"
    if first.where == "file" and first.found == "missing":
        return f"The session file {name} is gone: it was moved or removed. {_STAYS}"
    if first.where == "version":
        return f"The session file {name} is of version {first.found}; this kit reads {first.expected}. {_STAYS}"
    more = f" And {len(error.problems) - 1} more." if len(error.problems) > 1 else ""
    return f"The session file {name} cannot be read. {sentence(first)}{more} {_STAYS}"


def sentence(problem: Problem) -> str:
    """Return what is wrong with one field, called by its title."""
    if problem.where == "reason":
        return f"{problem.hint} Give the reason for the change at the top of the page, then press Save."
    try:
        where = describe(problem.where).title
    except ValueError:
        where = problem.where
    expected = _FIELD.sub(lambda name: _title_beside(problem.where, name[0]), problem.expected)
    return f"{where} is {problem.found}; expected {expected}. {problem.hint}".strip()


def _title_beside(where: str, name: str) -> str:
    """Return the title of a field that stands beside another, the name itself where there is none."""
    try:
        title = describe(f"{where.rpartition('.')[0]}.{name}").title
    except ValueError:
        return name
    return title[:1].lower() + title[1:]
