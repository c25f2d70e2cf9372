"""From the bytes of a file to a session, every problem explained at once; and back to bytes."""

from __future__ import annotations

import json
import re
import stat
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fitkit.problems import Problem, Problems, joined, json_tree, near, said, slip
from fitkit.session.checks import problems_between
from fitkit.session.models import Session
from fitkit.session.paths import FieldInfo, find, group_names, pruned
from fitkit.vocabulary import FORMAT, VERSION

LIMIT_BYTES = 1_000_000
# What a file holds beside the visit: what it is named after, who keeps it, and whether the rider agrees to that.
_NOT_OF_THE_VISIT = {"format", "version", "client_id", "visit_date", "setup", "fitter_id", "demonstration", "consent"}


class SessionProblems(Problems):
    """Everything wrong with one session at once; nothing was saved."""


def _problem(item: dict[str, Any]) -> Problem:
    """Return one thing that pydantic found as a problem."""
    steps, value, kind = item["loc"], item["input"], item["type"]
    where = joined(steps) or "file"
    if where in ("format", "version") and kind != "missing":
        return _of_another_kit(where, value)
    if kind == "extra_forbidden":
        return _unknown(steps, value)
    info = find(".".join(str(step) for step in steps))
    expected = info.expected if info else "a group of fields in braces"
    if kind == "missing":
        return Problem(where, "missing", expected, "Fill it in.")
    if kind == "string_unicode":
        return Problem(where, said(value), "text without lone halves of a character pair", "Type it again.")
    if kind == "tuple_type":
        hint = f"Write [{said(value)}]." if info and _is_number(value) else ""
        return Problem(where, said(value), f"a list of {'readings' if info and info.unit else 'entries'}", hint)
    if info and info.possible and _is_number(value):
        limits = f"{info.possible[0]:g} to {info.possible[1]:g}"
        return Problem(where, said(value), limits, slip(value, info.unit, info.usual or info.possible)[0])
    return Problem(where, said(value), expected, _hint(value, info) if info else "")


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _hint(value: Any, info: FieldInfo) -> str:
    if info.choices and isinstance(value, str):
        return near(value, info.choices)
    return "Take the quotation marks off." if info.unit and isinstance(value, str) else ""


def _unknown(steps: tuple[str | int, ...], value: Any) -> Problem:
    names = group_names(".".join("*" if isinstance(step, int) else step for step in steps[:-1]))
    hint = near(str(steps[-1]), names) or "Take it out; notes belong in a note."
    return Problem(joined(steps), f"an unknown field ({said(value)})", "a field of the session format", hint)


def _of_another_kit(where: str, value: Any) -> Problem:
    if where == "format":
        return Problem(where, said(value), said(FORMAT), "Is it a session file?")
    if type(value) is not int:
        return Problem(where, said(value), f"the whole number {VERSION}")
    hint = f"The file was made by another version of the kit: version {said(value)}; this one reads {VERSION}."
    return Problem(where, said(value), said(VERSION), hint)


def load(path: str | Path) -> Session:
    """Read a session file."""
    path = Path(path)
    try:
        tree, problems = tree_of(read_bytes(path))
        problems += _wrong_name(path, tree)
        return checked(tree, problems)
    except SessionProblems as found:
        raise SessionProblems(path, found.problems) from None


def parse(data: bytes) -> Session:
    """Return the session in the bytes of a file; raises SessionProblems as `load` does."""
    return checked(*tree_of(data))


def dump(session: Session) -> bytes:
    """Return the bytes of the session's file: always the same for the same session, what is not measured left out."""
    text = json.dumps(plain(session), ensure_ascii=False, indent=1, allow_nan=False)
    # Readings on one line, for the eye; no text can hold the line ends this looks for.
    text = re.sub(r"\[\n\s*([-+.\deE,\s]+?)\n\s*\]", _on_one_line, text)
    return (text + "\n").encode("utf-8")


def _on_one_line(found: re.Match) -> str:
    return f"[{' '.join(found[1].split())}]"


def key(session: Session) -> str:
    """Return the session's key, which is the name of its file without the ending."""
    return f"{session.client_id}_{session.visit_date}_{session.setup}"


def plain(session: Session) -> dict:
    """Return the session as a plain JSON tree, what is not measured left out."""
    return pruned(_whole(session.model_dump(exclude_defaults=True)))


def _whole(tree: Any) -> Any:
    """Return the tree with whole numbers written as such: 267, not 267.0."""
    if isinstance(tree, dict):
        return {name: _whole(value) for name, value in tree.items()}
    if isinstance(tree, (list, tuple)):
        return [_whole(item) for item in tree]
    return int(tree) if isinstance(tree, float) and tree.is_integer() else tree


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a file, cut where it is too large; raises SessionProblems where it cannot be read."""
    data = b""
    try:
        mode = path.stat().st_mode
        if stat.S_ISREG(mode):
            with path.open("rb") as file:
                data = file.read(LIMIT_BYTES + 1)  # one more than allowed tells that it is too large
    except FileNotFoundError:
        raise _of_file("missing", "a session file", "Spelled right?") from None
    except (OSError, ValueError) as error:  # the second for a name that no system takes
        reason = getattr(error, "strerror", None) or error
        raise _of_file(f"unreadable ({reason})", "a session file", "Who may read it, and is the disk there?") from None
    if stat.S_ISDIR(mode):
        raise _of_file("a folder", "a session file", "Name the file inside it.")
    if not stat.S_ISREG(mode):
        raise _of_file("no regular file", "a session file")
    return data


def tree_of(data: bytes) -> tuple[dict, list[Problem]]:
    """Return the JSON tree in the bytes and the problems of its keys; raises SessionProblems where there is no tree."""
    text = _text_of(data)
    try:
        tree, twice = json_tree(text)
    except json.JSONDecodeError as error:
        found = f"not JSON (line {error.lineno}, column {error.colno}: {error.msg})"
        raise _of_file(found, "one JSON object", "Mend it there, or take the last copy.") from None
    except RecursionError:
        raise _of_file("nested too deeply", "the session format") from None
    except ValueError:  # the library refuses whole numbers of thousands of digits
        raise _of_file("holding a number of thousands of digits", "the session format") from None
    if not isinstance(tree, dict):
        raise _of_file(said(tree), "one JSON object in braces")
    hint = "Keep the right one and take the other out."
    return tree, [Problem(joined(steps), "there twice", "each name once", hint) for steps in twice]


def _text_of(data: bytes) -> str:
    if len(data) > LIMIT_BYTES:
        raise _of_file(f"larger than {LIMIT_BYTES} bytes", "at most 1 MB", "No films inside it?")
    if not data.strip():
        raise _of_file("empty", "a session", "Take the last copy.")
    again = "Save it again as UTF-8 without a byte-order mark."
    if data.startswith(b"\xef\xbb\xbf"):
        raise _of_file("UTF-8 with a byte-order mark", "plain UTF-8", again)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in data[:4]:
        raise _of_file("in UTF-16 or UTF-32", "UTF-8", again)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        place = f"not UTF-8 (byte {error.start} is 0x{data[error.start]:02x})"
        raise _of_file(place, "UTF-8", again) from None


def _of_file(found: str, expected: str, hint: str = "") -> SessionProblems:
    return SessionProblems(None, [Problem("file", found, expected, hint)])


def _wrong_name(path: Path, tree: dict) -> list[Problem]:
    """Return the problem of a file whose name is not that of its content."""
    parts = [tree.get(name) for name in ("client_id", "visit_date", "setup")]
    name = "_".join(part for part in parts if isinstance(part, str)) + ".json"
    if not all(isinstance(part, str) and "/" not in part for part in parts) or path.name == name:
        return []
    return [Problem("file name", said(path.name), f"{said(name)}, as its content says", "Which of the two is right?")]


def checked(tree: dict, problems: list[Problem]) -> Session:
    """Return the session of a JSON tree; raises SessionProblems with these problems and all others."""
    between = list(problems_between(tree))
    try:
        session = Session.model_validate(tree)
    except ValidationError as error:
        problems = [*problems, *map(_problem, error.errors(include_url=False)), *between]
    except RecursionError:
        problems = [*problems, *_of_file("nested too deeply", "the session format").problems]
    else:
        problems = [*problems, *between]
        if not problems:
            return session
    raise SessionProblems(None, sorted(problems, key=lambda problem: problem.where not in ("format", "version")))


def earlier_visit(path: Path, session: Session) -> Session | None:
    """Return the latest earlier visit of the same client and set-up, None where there is none that can be read."""
    found = earlier_path(path, session)
    try:
        return load(found) if found else None
    except SessionProblems:
        return None


def earlier_path(path: Path, session: Session) -> Path | None:
    """Return the file of the latest earlier visit of the same client and set-up; an empty one is none."""
    root = path.parent.parent if path.parent.name.isdigit() else path.parent
    pattern = f"{session.client_id}_*_{session.setup}.json"
    folders = [path.parent, *(folder for folder in root.glob("[0-9]*") if folder.is_dir() and folder != path.parent)]
    found = {file.name: file for folder in folders for file in folder.glob(pattern)}
    earlier = (found[name] for name in sorted(found, reverse=True) if name < f"{key(session)}.json")
    return next((file for file in earlier if not _is_empty_file(file)), None)


def _is_empty_file(path: Path) -> bool:
    try:
        return is_empty(load(path))
    except SessionProblems:
        return False  # nobody knows what it holds


def is_empty(session: Session) -> bool:
    """Whether nothing was measured or said in the visit beyond what its file is named after."""
    return plain(session).keys() <= _NOT_OF_THE_VISIT
