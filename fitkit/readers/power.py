"""Power files: a table from a spreadsheet, or the FIT file of a bicycle computer.

The table has a row of column names, then one row a sample::

    time_s,power_w,cadence_rpm
    0.00,182,88
    0.25,1140,104

``time_s`` [s] rises; ``power_w`` [W] is blank where the meter sent nothing; ``cadence_rpm`` [turns a minute] may
be left out. Other columns are left alone, and that is said.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np

from fitkit.problems import Problem
from fitkit.readers import FileProblems, Table, content_of, frozen, read_rows, rising, unusable

COLUMNS = ("time_s", "power_w", "cadence_rpm")
NO_READER = (
    "reading FIT files needs fitdecode, which is not installed: "
    "pip install 'cleat-stance-notebooks[fit]', or save the file as a table"
)


@dataclass(frozen=True, eq=False)
class PowerFile:
    """Samples of a power file: time [s], power [W], cadence [turns a minute]; not a number where there is none."""

    time_s: np.ndarray
    power_w: np.ndarray
    cadence_rpm: np.ndarray
    notes: tuple[str, ...] = ()


def read_power(path: Path) -> PowerFile:
    """Read a power file, a FIT file by its ending, anything else as a table."""
    return read_power_fit(path) if Path(path).suffix.lower() == ".fit" else read_power_table(path)


def read_power_table(path: Path) -> PowerFile:
    """Read a power file saved as a table; raises FileProblems as `read_power` does."""
    rows = read_rows(path)
    table = Table.below(rows[0], rows[1:])
    problems = table.repeated()
    problems += [
        table.problem(f"no column is called {name}; found {', '.join(table.names)[:80]}")
        for name in ("time_s", "power_w")
        if name not in table.names
    ]
    if not table.rows:
        problems.append(table.problem("no samples stand below the column names"))
    columns = {name: np.full(len(table.rows), np.nan) for name in COLUMNS}
    for name in COLUMNS:
        if name in table.names:
            columns[name], found = table.column(name, may_be_blank=name != "time_s")
            problems += found
            if name != "time_s":
                problems += _negative(columns[name], name, table)
    problems += rising(columns["time_s"], table)
    if problems:
        raise FileProblems(Path(path), problems)
    return PowerFile(*(frozen(columns[name]) for name in COLUMNS), table.left_alone(*COLUMNS))


def _negative(values: np.ndarray, name: str, table: Table) -> list[Problem]:
    return [
        table.problem(f"{name} is {values[row]:g}; expected 0 or more", row=row) for row in np.flatnonzero(values < 0)
    ]


def read_power_fit(path: Path) -> PowerFile:
    """Read the records of a FIT file; times run from its first record."""
    path = Path(path)
    try:
        import fitdecode
    except ImportError:
        raise unusable(path, NO_READER) from None
    samples, content = [], BytesIO(content_of(path))
    try:
        with warnings.catch_warnings(), fitdecode.FitReader(content, check_crc=fitdecode.CrcCheck.RAISE) as frames:
            warnings.simplefilter("ignore")  # what it warns of becomes a value that is no number, below
            for frame in frames:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                    samples.append(_sample(frame))
    except Exception as error:
        # A damaged file with a sound checksum fails in the library in ways it has no name for.
        raise unusable(path, f"it is no whole FIT file: {error}") from None
    return _from_records(path, [sample for sample in samples if isinstance(sample[0], datetime)])


def _sample(frame) -> tuple:
    values = (frame.get_value(name, fallback=None) for name in ("timestamp", "power", "cadence", "fractional_cadence"))
    moment, power, cadence, fraction = values
    return moment, _number(power), _number(cadence) + (_number(fraction) if fraction is not None else 0.0)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) and 0 <= value < 1e6 else np.nan


def _from_records(path: Path, samples: list[tuple]) -> PowerFile:
    if not samples:
        raise unusable(path, "it holds no records with a time")
    time_s = np.array([(moment - samples[0][0]).total_seconds() for moment, _, _ in samples])
    power_w = np.array([power for _, power, _ in samples])
    if np.isnan(power_w).all():
        raise unusable(path, "it holds no power; was a power meter paired?")
    if (time_s[1:] < np.maximum.accumulate(time_s)[:-1]).any():
        raise unusable(path, "its times go back; two rides in one file?")
    first = np.concatenate([[True], np.diff(time_s) > 0])
    said = () if first.all() else (f"{np.count_nonzero(~first)} records of a moment already there left out",)
    cadence = np.array([turns for _, _, turns in samples], dtype=float)
    return PowerFile(frozen(time_s[first]), frozen(power_w[first]), frozen(cadence[first]), said)
