"""The command line: ``python -m fitkit open|new|check|report|overview|forget``."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from fitkit import __version__

__all__ = ["main"]

_FINE, _PROBLEMS, _WRONG_CALL = 0, 1, 2
_STOPPED = 130
_MOST_WORKERS = 64
_SESSIONS = "session files, or folders that are searched for them with all their subfolders"


def main(arguments: Sequence[str] | None = None) -> int:
    """Carry out one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a letter gets its code instead of an error.
        stream.reconfigure(errors="backslashreplace")
    given = _parser().parse_args(arguments)
    # Imported only now, so that --help answers at once.
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line

    try:
        return given.carry_out(given)
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
    _add_open(commands)
    _add_new(commands)
    _add_check(commands)
    _add_report(commands)
    _add_overview(commands)
    _add_forget(commands)
    return parser


def _command(
    commands: argparse._SubParsersAction, name: str, carry_out: Callable, about: str
) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=about, description=about, allow_abbrev=False)
    command.set_defaults(carry_out=carry_out)
    # Said before the command or after it; what stands after must not be undone by a default.
    _add_house(command, default=argparse.SUPPRESS)
    return command


def _add_house(parser: argparse.ArgumentParser, *, default: str | None) -> None:
    for name, words in (("rules", "house rules instead of those"), ("parts", "parts table instead of the one")):
        about = f"your clinic's {words} that come{'s' if name == 'parts' else ''} with the kit"
        parser.add_argument(f"--{name}", type=Path, metavar="FILE", default=default, help=about)


def _add_open(commands: argparse._SubParsersAction) -> None:
    command = _command(
        commands, "open", _open, "Open the workbench: the notebooks of a visit, in the browser, on a private folder."
    )
    command.add_argument(
        "session",
        metavar="SESSION",
        nargs="?",
        type=Path,
        help="a session file to begin with (the start page, if not said)",
    )
    command.add_argument(
        "--work", type=Path, metavar="FOLDER", help="the work folder (your own data folder, if not said)"
    )
    command.add_argument("--no-browser", action="store_true", help="print the address and open no browser")


def _add_new(commands: argparse._SubParsersAction) -> None:
    command = _command(commands, "new", _new, "Begin a visit: write an empty session file and print where it is.")
    command.add_argument(
        "client_id", metavar="CLIENT_ID", type=_client, help="the clinic's id of the client, like rider-042"
    )
    command.add_argument("--setup", default="road", help="which bicycle and shoes, in a word (road, if not said)")
    command.add_argument(
        "--in", dest="folder", type=Path, default=Path(), metavar="FOLDER", help="where to write it (here, if not said)"
    )


def _add_check(commands: argparse._SubParsersAction) -> None:
    command = _command(
        commands, "check", _check, "Say everything that is wrong with session files, and what in them is unusual."
    )
    command.add_argument("sessions", metavar="SESSIONS", nargs="+", help=_SESSIONS)


def _add_report(commands: argparse._SubParsersAction) -> None:
    command = _command(
        commands,
        "report",
        _report,
        "Make each visit's record and rider's sheet. Visits that have not changed are left alone.",
    )
    command.add_argument("sessions", metavar="SESSIONS", nargs="+", help=_SESSIONS)
    command.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="FOLDER",
        help="where the records go; open index.html in it afterwards",
    )
    command.add_argument(
        "--workers", type=_workers, default=2, metavar="N", help="how many records are made at a time (2, if not said)"
    )
    command.add_argument("--pdf", action="store_true", help="make the pages as PDF files too; needs Chromium")
    command.add_argument("--again", action="store_true", help="make every record again, changed or not")
    command.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="let a running Dask cluster of the clinic's own machines make the records: tls://HOST:PORT, or "
        "tcp://127.0.0.1:PORT on this machine",
    )
    command.add_argument(
        "--plain-kernels",
        action="store_true",
        help="start a notebook kernel for every record instead of copying a warm process: the same records, slower",
    )


def _add_overview(commands: argparse._SubParsersAction) -> None:
    command = _command(
        commands,
        "overview",
        _overview,
        "Make one page of all visits: follow-ups, parts to order, what the clinic's own settled riders say.",
    )
    command.add_argument("sessions", metavar="SESSIONS", nargs="+", help=_SESSIONS)
    command.add_argument(
        "--out", type=Path, required=True, metavar="FOLDER", help="where overview.html and overview.ipynb go"
    )
    command.add_argument(
        "--export-band", type=Path, metavar="FILE", help="write new house rules with the learned band, if you decide so"
    )
    command.add_argument("--decided-by", type=_client, metavar="ID", help="your id, with --export-band")


def _add_forget(commands: argparse._SubParsersAction) -> None:
    command = _command(
        commands,
        "forget",
        _forget,
        "Remove a client for good: session files with their history, records, lines of the log.",
    )
    command.add_argument("client_id", metavar="CLIENT_ID", type=_client, help="the clinic's id of the client")
    command.add_argument(
        "--in", dest="folder", type=Path, required=True, metavar="FOLDER", help="the folder with the session files"
    )
    command.add_argument(
        "--out", type=Path, metavar="FOLDER", help="a folder of records, to remove the client there too"
    )


def _client(text: str) -> str:
    if not re.fullmatch(r"[a-z0-9-]{1,40}", text):
        raise argparse.ArgumentTypeError(
            f"client id is {text[:60]!r}; expected 1 to 40 small letters, digits and hyphens, like rider-042"
        )
    return text


def _workers(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,3}", text) or not 1 <= int(text) <= _MOST_WORKERS:
        raise argparse.ArgumentTypeError(f"workers is {text[:60]!r}; expected a whole number from 1 to {_MOST_WORKERS}")
    return int(text)


def _new(given: argparse.Namespace) -> int:
    from fitkit import session
    from fitkit.batch.inputs import load_house
    from fitkit.files import os_reason
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line

    access = load_house(given.rules, given.parts).rules.access
    is_known = any(given.folder.rglob(f"{given.client_id}_*.json"))
    try:
        path = session.new(given.client_id, date.today().isoformat(), given.setup, given.folder, access=access)
    except session.SessionProblems as error:
        raise WrongCallError(*error.problems) from None
    except FileExistsError as error:
        sys.stderr.write(f"{one_line(error.filename)}: {one_line(error.strerror)}\n")
        return _PROBLEMS
    except OSError as error:
        raise WrongCallError(f"{one_line(given.folder)} cannot be written: {os_reason(error)}") from None
    if not is_known:
        sys.stderr.write(
            f"{given.client_id} is a new client: no earlier visit in {one_line(given.folder.absolute())}\n"
        )
    print(path)
    return _FINE


def _open(given: argparse.Namespace) -> int:
    from fitkit import workbench

    for name, path in (("FITKIT_RULES", given.rules), ("FITKIT_PARTS", given.parts)):
        if path is not None:
            os.environ[name] = str(path.absolute())
    return workbench.open_command(given.session, given.work, browser=not given.no_browser)


def _check(given: argparse.Namespace) -> int:
    from fitkit.batch.inputs import check, load_house

    load_house(given.rules, given.parts)
    return check(given.sessions, screen=sys.stdout)


def _report(given: argparse.Namespace) -> int:
    from fitkit.batch.run import Options, report

    options = Options(
        out=given.out,
        workers=given.workers,
        pdf=given.pdf,
        again=given.again,
        forked=not given.plain_kernels,
        cluster=given.cluster,
        rules=given.rules,
        parts=given.parts,
    )
    return report(given.sessions, options)


def _overview(given: argparse.Namespace) -> int:
    from fitkit.batch.overview import OverviewOptions, overview

    options = OverviewOptions(
        out=given.out,
        rules=given.rules,
        parts=given.parts,
        export_band=given.export_band,
        decided_by=given.decided_by,
    )
    return overview(given.sessions, options)


def _forget(given: argparse.Namespace) -> int:
    from fitkit import session
    from fitkit.batch.index import forget_reports
    from fitkit.batch.inputs import load_house
    from fitkit.files import Access, os_reason
    from fitkit.problems import WrongCallError
    from fitkit.words import one_line
    from fitkit.workbench.folder import WorkFolder

    access = Access(group=load_house(given.rules, given.parts).rules.access == "group")
    if not given.folder.is_dir():
        raise WrongCallError(f"{one_line(given.folder)} is not a folder; expected the folder with the session files")
    try:
        removed = [*session.forget(given.client_id, given.folder)]
        # In a workbench's folder the visit's own notebooks and papers go too.
        removed += WorkFolder(given.folder.absolute()).forget(given.client_id)
    except OSError as error:
        sys.stderr.write(
            f"{one_line(error.filename)} could not be removed: {os_reason(error)}; something may be left\n"
        )
        return _PROBLEMS
    if given.out:
        removed += forget_reports(given.client_id, given.out, access)
    for path in removed:
        print(one_line(path))
    if not removed:
        sys.stderr.write(f"nothing found of {given.client_id}\n")
        return _PROBLEMS
    return _FINE


if __name__ == "__main__":
    sys.exit(main())
