"""The command line: ``python -m fitkit open|new|check|report|overview|forget``."""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from fitkit import __version__

_FINE, _PROBLEMS, _WRONG_CALL = 0, 1, 2
_STOPPED = 130
_MOST_WORKERS = 64

Argument = tuple[tuple[str, ...], dict[str, Any]]  # names and options, as argparse takes them
_COMMANDS: list[tuple[Callable[..., int], str, tuple[Argument, ...]]] = []  # each with what it does and its arguments


def main(arguments: Sequence[str] | None = None) -> int:
    """Carry out one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a letter gets its code instead of an error.
        stream.reconfigure(errors="backslashreplace")
    given = vars(_parser().parse_args(arguments))
    # Imported only now, so that --help answers at once.
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line

    try:
        return given.pop("carry_out")(**given)
    except WrongCallError as error:
        for line in error.args:
            sys.stderr.write(f"{one_line(line, longest=4000)}\n")
        return _WRONG_CALL
    except KeyboardInterrupt:
        return _STOPPED
    except BrokenPipeError:
        # The reader of our output has gone; nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _PROBLEMS


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m fitkit",
        description="Cleat and stance notebooks: from a visit's measurements to the client's record.",
        epilog="Each command explains itself, for example: python -m fitkit report --help",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=__version__)
    _add_house(parser, default=None)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for carry_out, about, declared in _COMMANDS:
        name = carry_out.__name__.strip("_")
        command = commands.add_parser(name, help=about, description=about, allow_abbrev=False)
        command.set_defaults(carry_out=carry_out)
        # Said before the command or after it; what stands after must not be undone by a default.
        _add_house(command, default=argparse.SUPPRESS)
        for names, options in declared:
            command.add_argument(*names, **options)
    return parser


def _add_house(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    for name, words in (("rules", "house rules instead of those"), ("parts", "parts table instead of the one")):
        about = f"your clinic's {words} that come{'s' if name == 'parts' else ''} with the kit"
        parser.add_argument(f"--{name}", type=Path, metavar="FILE", default=default, help=about)


def _command(about: str, *declared: Argument) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """Make the function below a command of its name; its parameters are the arguments declared here."""

    def listed(carry_out: Callable[..., int]) -> Callable[..., int]:
        _COMMANDS.append((carry_out, about, declared))
        return carry_out

    return listed


def _argument(*names: str, **options: Any) -> Argument:
    return names, options


def _path(name: str, metavar: str, about: str, **options: Any) -> Argument:
    return (name,), {"type": Path, "metavar": metavar, "help": about, **options}


def _client(text: str) -> str:
    if not re.fullmatch(r"[a-z0-9-]{1,40}", text):
        raise argparse.ArgumentTypeError(
            f"client id is {text[:60]!r}; expected 1 to 40 small letters, digits and hyphens, like rider-042"
        )
    return text


def _visit(text: str) -> str:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}(_[a-z0-9-]{1,40})?", text, re.ASCII):
        raise argparse.ArgumentTypeError(f"visit is {text[:60]!r}; expected the day, like 2026-03-04")
    return text


def _workers(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,3}", text) or not 1 <= int(text) <= _MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"workers is {text[:60]!r}; expected a whole number from 1 to {_MOST_WORKERS}")
    return int(text)


_SESSIONS = _argument(
    "sessions",
    metavar="SESSIONS",
    nargs="+",
    help="session files, or folders that are searched for them with all their subfolders",
)


@_command(
    "Open the workbench: the notebooks of a visit, in the browser, on a private folder.",
    _path("session", "SESSION", "a session file to begin with (the start page, if not said)", nargs="?"),
    _path("--work", "FOLDER", "the work folder (your own data folder, if not said)"),
    _argument("--no-browser", dest="browser", action="store_false", help="print the address and open no browser"),
)
def _open(session: Path | None, work: Path | None, browser: bool, rules: Path | None, parts: Path | None) -> int:
    from fitkit import workbench

    for name, path in (("FITKIT_RULES", rules), ("FITKIT_PARTS", parts)):
        if path is not None:
            os.environ[name] = str(path.absolute())
    return workbench.open_command(session, work, browser=browser)


@_command(
    "Begin a visit: write an empty session file and print where it is.",
    _argument("client_id", metavar="CLIENT_ID", type=_client, help="the clinic's id of the client, like rider-042"),
    _argument("--setup", default="road", help="which bicycle and shoes, in a word (road, if not said)"),
    _path("--in", "FOLDER", "where to write it (here, if not said)", dest="folder", default=Path()),
)
def _new(client_id: str, setup: str, folder: Path, rules: Path | None, parts: Path | None) -> int:
    from fitkit import session
    from fitkit.batch.inputs import load_house
    from fitkit.files import os_reason
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line

    access = load_house(rules, parts).rules.access
    is_known = any(folder.rglob(f"{client_id}_*.json"))
    try:
        path = session.new(client_id, date.today().isoformat(), setup, folder, access=access)
    except session.SessionProblems as error:
        raise WrongCallError(*error.problems) from None
    except FileExistsError as error:
        sys.stderr.write(f"{one_line(error.filename)}: {one_line(error.strerror)}\n")
        return _PROBLEMS
    except OSError as error:
        raise WrongCallError(f"{one_line(folder)} cannot be written: {os_reason(error)}") from None
    if not is_known:
        sys.stderr.write(f"{client_id} is a new client: no earlier visit in {one_line(folder.absolute())}\n")
    print(path)
    return _FINE


@_command("Say everything that is wrong with session files, and what in them is unusual.", _SESSIONS)
def _check(sessions: list[str], rules: Path | None, parts: Path | None) -> int:
    from fitkit.batch.inputs import check, load_house

    load_house(rules, parts)
    return check(sessions, screen=sys.stdout)


@_command(
    "Make each visit's record and rider's sheet. Visits that have not changed are left alone.",
    _SESSIONS,
    _path("--out", "FOLDER", "where the records go; open index.html in it afterwards", required=True),
    _argument(
        "--workers", type=_workers, default=2, metavar="N", help="how many records are made at a time (2, if not said)"
    ),
    _argument("--pdf", action="store_true", help="make the pages as PDF files too; needs Chromium"),
    _argument("--full", action="store_true", help="open the folded parts of each record, so that they are printed too"),
    _argument("--again", action="store_true", help="make every record again, changed or not"),
    _argument(
        "--cluster",
        metavar="ADDRESS",
        help="let a running Dask cluster of the clinic's own machines make the records: tls://HOST:PORT, or "
        "tcp://127.0.0.1:PORT on this machine",
    ),
    _argument(
        "--plain-kernels",
        dest="forked",
        action="store_false",
        help="start a notebook kernel for every record instead of copying a warm process: the same records, slower",
    ),
)
def _report(sessions: list[str], **options: Any) -> int:
    from fitkit.batch.run import Options, report

    return report(sessions, Options(**options))


@_command(
    "Make one page of all visits: follow-ups, parts to order, what the clinic's own settled riders say.",
    _SESSIONS,
    _path("--out", "FOLDER", "where overview.html and overview.ipynb go", required=True),
    _path("--export-band", "FILE", "write new house rules with the learned band, if you decide so"),
    _argument("--decided-by", type=_client, metavar="ID", help="your id, with --export-band"),
)
def _overview(sessions: list[str], **options: Any) -> int:
    from fitkit.batch.overview import OverviewOptions, overview

    return overview(sessions, OverviewOptions(**options))


@_command(
    "Remove a client, or one visit, for good: session files with their history, records, lines of the log.",
    _argument("client_id", metavar="CLIENT_ID", type=_client, help="the clinic's id of the client"),
    _path("--in", "FOLDER", "the folder with the session files", dest="folder", required=True),
    _path("--out", "FOLDER", "a folder of records, to remove the client there too"),
    _argument(
        "--visit",
        type=_visit,
        metavar="DATE",
        help="the day of the one visit to remove, like 2026-03-04; with two set-ups that day, 2026-03-04_road",
    ),
)
def _forget(
    client_id: str, folder: Path, out: Path | None, visit: str | None, rules: Path | None, parts: Path | None
) -> int:
    from fitkit import session
    from fitkit.batch.index import forget_reports, opened_to_forget
    from fitkit.batch.inputs import load_house
    from fitkit.files import Access, os_reason
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line
    from fitkit.workbench.folder import WorkFolder

    access = Access(group=load_house(rules, parts).rules.access == "group")
    if not folder.is_dir():
        raise WrongCallError(f"{one_line(folder)} is not a folder; expected the folder with the session files")
    try:
        key = _one_visit(client_id, visit, folder, out) if visit else None
        # A run that is writing the reports is met before anything is removed.
        with opened_to_forget(out, access) if out else contextlib.nullcontext() as reports:
            found = session.forget(client_id, folder, key=key)
            # In a workbench's folder the visit's own notebooks and papers go too.
            removed = [*found.removed, *WorkFolder(folder.absolute()).forget(client_id, key=key)]
            removed += forget_reports(reports, client_id, key=key) if reports else ()
    except OSError as error:
        where = one_line(error.filename or folder)
        sys.stderr.write(f"{where} could not be removed or written: {os_reason(error)}; something may be left\n")
        return _PROBLEMS
    for path in removed:
        print(one_line(path))
    for line in found.left:
        sys.stderr.write(f"{one_line(line, longest=4000)}\n")
    if not removed:
        sys.stderr.write(f"nothing found of {client_id}{f' on {visit}' if visit else ''}\n")
    elif out is None:
        sys.stderr.write("Records and overviews may stand elsewhere: name their folder with --out.\n")
    elif visit:
        sys.stderr.write("Records of later visits may still be compared with it: run report again.\n")
    return _FINE if removed and not found.left else _PROBLEMS


def _one_visit(client_id: str, visit: str, folder: Path, out: Path | None) -> str:
    """Return the key of the one visit of that day; where nothing is found, what it would begin with."""
    from fitkit import session
    from fitkit.problems import WrongCallError

    asked = f"{client_id}_{visit}"
    known = session.keys_of(client_id, folder) | {path.name for path in (out.glob(f"{asked}*") if out else ())}
    found = sorted(key for key in known if key == asked or key.startswith(f"{asked}_"))
    if len(found) > 1:
        raise WrongCallError(f"{len(found)} visits on {visit}: {', '.join(found)}; expected one, with its set-up")
    return found[0] if found else asked


if __name__ == "__main__":
    sys.exit(main())
