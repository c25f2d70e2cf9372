"""What lies beside a session file: the history of its changes; and forgetting a client's files."""

from __future__ import annotations

import copy
import json
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

from fitkit.files import append_durably, locked, sync_folder
from fitkit.problems import Problem, said
from fitkit.session.bike import RIDE_FILES
from fitkit.session.paths import pruned, put, same, steps_of
from fitkit.session.reading import LIMIT_BYTES, SessionProblems
from fitkit.vocabulary import FORMAT

_ID = r"[a-z0-9-]{1,40}"
_KEY = re.compile(rf"{_ID}_[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}_{_ID}")
_OF_A_SESSION = re.compile(r"(?:(.+?)(?:\.history\.jsonl|\.json)|\.(.+)\.(?:lock|tmp))", re.DOTALL)


class Forgotten(NamedTuple):
    """What was removed, and what a removed session names that was not, in words."""

    removed: tuple[Path, ...] = ()
    left: tuple[str, ...] = ()


def forget(client_id: str, folder: str | Path, *, key: str | None = None) -> Forgotten:
    """Remove a client's session files, histories, locks, films and power files from a folder and all below it.

    With `key` those of one visit alone. A film is left where it lies outside the folder or another visit names it.
    """
    if not re.fullmatch(_ID, client_id):
        raise SessionProblems(None, [Problem("client_id", said(client_id), "1 to 40 of the characters a-z, 0-9 and -")])
    theirs, others = [], []
    for each in _all_of(folder):
        (theirs if each.client == client_id and key in (None, each.key) else others).append(each)
    shared = {_real(path) for each in others for path in each.named}
    removed, left = [], []
    for each in theirs:  # films first: a session whose removal was cut short names them still
        for path in each.named:
            if why := _kept(path, Path(folder), shared):
                left.append(f"{path}: {why}")
            elif path.is_file():
                for film in {path, _real(path)}:  # a link, and what it names
                    film.unlink()
                removed.append(path)
        removed += _remove(each.folder, each.stem)
    return Forgotten(tuple(removed), tuple(left))


def keys_of(client_id: str, folder: str | Path) -> set[str]:
    """Return the keys of the visits of which `forget` would find something."""
    return {each.key for each in _all_of(folder) if each.client == client_id}


class _Stem(NamedTuple):
    """All files of one stem: where they are, whose, of which visit, and the films and power files they name."""

    folder: Path
    stem: str
    client: str
    key: str
    named: tuple[Path, ...]


def _all_of(folder: str | Path) -> Iterator[_Stem]:
    for place, _, names in os.walk(folder, onerror=_stop):
        for stem in sorted({found[1] or found[2] for name in names if (found := _OF_A_SESSION.fullmatch(name))}):
            yield _stem(Path(place), stem)


def _stop(error: OSError) -> NoReturn:
    raise error


def _stem(folder: Path, stem: str) -> _Stem:
    """Return whose the files of this stem are, and of which visit: by what is inside, else by their name."""
    try:
        with (folder / f"{stem}.json").open("rb") as file:
            tree = json.loads(file.read(LIMIT_BYTES + 1))
    except (OSError, ValueError, RecursionError):
        tree = None
    if not (isinstance(tree, dict) and tree.get("format") == FORMAT and isinstance(tree.get("client_id"), str)):
        is_key = _KEY.fullmatch(stem)
        return _Stem(folder, stem, stem.split("_")[0] if is_key else "", stem if is_key else "", ())
    key = "_".join(str(tree.get(name)) for name in ("client_id", "visit_date", "setup"))
    ride = tree.get("ride")
    lists = [ride.get(name) for name in RIDE_FILES] if isinstance(ride, dict) else []
    entries = [entry for each in lists if isinstance(each, list) for entry in each if isinstance(entry, dict)]
    named = tuple(folder / entry["file"] for entry in entries if _is_name(entry.get("file")))
    return _Stem(folder, stem, tree["client_id"], key, named)


def _is_name(name: object) -> bool:
    return isinstance(name, str) and name != "" and "\0" not in name


def _real(path: Path) -> Path:
    return Path(os.path.realpath(path))  # where `Path.resolve` raises at links that go round


def _kept(path: Path, folder: Path, shared: set[Path]) -> str:
    """Return why a file that a session names is not removed with it, nothing where it is."""
    if not os.path.lexists(path):
        return ""
    if path.suffix in (".json", ".jsonl", ".ipynb"):
        return "no film and no power file, so that it was not removed"
    if not _real(path).is_relative_to(_real(folder)):
        return "outside the folder, so that it was not removed"
    return "another visit names it too, so that it was not removed" if _real(path) in shared else ""


def _remove(folder: Path, stem: str) -> list[Path]:
    beside = (f"{stem}.json", f"{stem}.history.jsonl", f".{stem}.tmp", f".{stem}.lock")
    found = [folder / name for name in beside if (folder / name).exists()]
    with locked(folder / f"{stem}.json", mode=0o600):
        for path in found:
            path.unlink(missing_ok=True)
        (folder / f".{stem}.lock").unlink(missing_ok=True)
    sync_folder(folder)
    return found


@dataclass(frozen=True)
class Change:
    """One change of one field."""

    at: str  # date and time, ISO 8601
    fitter: str | None  # who made it; None where the kit cannot know
    field: str  # dotted path; empty for the whole session
    old: Any  # plain JSON values; None for not measured
    new: Any  # plain JSON values; None for not measured
    note: str | None = None  # the reason given, or "new" or "changed outside"


_KEYS = {field.name for field in fields(Change)}


def history_path(path: Path) -> Path:
    """Return the path of the history of a session file."""
    return path.with_name(f"{path.stem}.history.jsonl")


def history(path: str | Path) -> tuple[Change, ...]:
    """Return the changes of a session, the first one first; nothing where no history was kept."""
    return read_history(Path(path))[0]


def replay(changes: Iterable[Change]) -> dict:
    """Return the session's plain JSON tree as the changes leave it; equal to that of the file."""
    tree: dict = {}
    for number, change in enumerate(changes, start=1):
        value = copy.deepcopy(change.new)
        try:
            if change.field:
                put(tree, steps_of(change.field), value)
            else:
                tree = value
        except LookupError as error:
            raise SessionProblems(None, [_damaged(number, f"about {said(change.field)} ({error})")]) from None
    return pruned(tree)


def differences(old: Any, new: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[str, Any, Any]]:
    """Yield dotted path, old and new value of every field that differs; lists of readings count as one field."""
    if same(old, new, steps):
        return
    inside_group = not (steps and isinstance(steps[-1], int))  # a new place in a list is one change
    if _is_group(old, inside_group) and _is_group(new, inside_group):
        old, new = old or {}, new or {}
        for name in {**old, **new}:
            yield from differences(old.get(name), new.get(name), (*steps, name))
    elif _is_grown_list_of_groups(old, new):
        for place, item in enumerate(new):
            yield from differences(old[place] if place < len(old) else None, item, (*steps, place))
    else:
        yield ".".join(map(str, steps)), old, new


def _is_group(value: Any, none_counts: bool) -> bool:
    return isinstance(value, dict) or (value is None and none_counts)


def _is_grown_list_of_groups(old: Any, new: Any) -> bool:
    if not (isinstance(old, list) and isinstance(new, list) and len(old) <= len(new)):
        return False
    return all(isinstance(item, dict) for item in (*old, *new))


def add(path: Path, changes: Iterable[Change], *, after: int, mode: int) -> None:
    """Add changes to the history of a session file after its first `after` bytes, the whole lines there are."""
    lines = "".join(json.dumps(asdict(change), ensure_ascii=False, allow_nan=False) + "\n" for change in changes)
    target = history_path(path)
    try:
        append_durably(target, lines.encode("utf-8"), after=after, mode=mode)
    except OSError as error:
        message = f"the session was saved, but not its history {target.name}: {error.strerror or error}"
        raise OSError(error.errno, message) from error


def read_history(path: Path) -> tuple[tuple[Change, ...], int]:
    """Return the changes in the history of a session file and how many of its bytes their whole lines fill."""
    target = history_path(path)
    try:
        data = target.read_bytes()
    except FileNotFoundError:
        return (), 0
    whole = data.rfind(b"\n") + 1  # what follows the last line end was cut short
    lines = data[:whole].split(b"\n")[:-1]
    entries = _json(b"[" + b",".join(lines) + b"]")  # all at once is many times faster than one by one
    if not isinstance(entries, list) or len(entries) != len(lines):
        entries = [_json(line) for line in lines]
    for number, (entry, line) in enumerate(zip(entries, lines, strict=True), start=1):
        if not isinstance(entry, dict) or set(entry) != _KEYS or not isinstance(entry["field"], str):
            raise SessionProblems(target, [_damaged(number, said(line.decode("utf-8", "replace")))])
    return tuple(Change(**entry) for entry in entries), whole


def _json(data: bytes) -> Any:
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        return None


def _damaged(number: int, found: str) -> Problem:
    hint = "Move the history aside; the next save begins a new one."
    return Problem(f"history line {number}", found, "one change as the kit wrote it", hint)
