"""A fitter's own study of marking: its repeats as taken, and what they showed, each in a file of its own."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import Field, StrictInt, ValidationError

from fitkit.files import locked, make_folder, replace_durably
from fitkit.problems import Problem, joined, said
from fitkit.session.fields import Day, Identifier, Part, SaidText
from fitkit.session.reading import SessionProblems, read_bytes, tree_of
from fitkit.vocabulary import TakenHow

Spread = Annotated[float, Field(gt=0, le=20, strict=True, allow_inf_nan=False)]
Freedom = Annotated[float, Field(ge=1, le=10_000, strict=True, allow_inf_nan=False)]
Reading = Annotated[float, Field(ge=-60, le=150, strict=True, allow_inf_nan=False)]
Kept = TypeVar("Kept", bound=Part)


class FitterStudy(Part):
    """What one fitter's repeats showed."""

    fitter_id: Identifier  # the fitter's id
    date: Day  # day of the study, ISO 8601
    place_sd_mm: Spread  # standard deviation of the mark's place, found anew each time [mm]
    place_df: Freedom  # its degrees of freedom
    spread_sd_mm: Spread  # standard deviation of one reading from a mark [mm]
    spread_df: Freedom  # its degrees of freedom


class RepeatsOfOneShoe(Part):
    """Readings of one shoe's cleat setback, in rounds, all taken the same way."""

    shoe: SaidText  # which shoe, in words; no names
    taken: TakenHow  # whether the joint was found and marked anew each time, or the tape left on
    readings_mm: Annotated[tuple[Reading, ...], Field(strict=False)] = ()  # one reading a round [mm]
    reference_mm: Reading | None = None  # another fitter's reading of the same shoe [mm]


class MarkRepeats(Part):
    """All repeats of one fitter, as taken."""

    format: Literal["cleat-stance-repeats"] = "cleat-stance-repeats"
    version: Annotated[StrictInt, Field(ge=1, le=1)] = 1
    fitter_id: Identifier
    date: Day
    shoes: Annotated[tuple[RepeatsOfOneShoe, ...], Field(strict=False)] = ()

    def taken(self, how: str) -> list[tuple[float, ...]]:
        """Return the readings of each shoe taken one way [mm]; shoes without a reading are left out."""
        return [shoe.readings_mm for shoe in self.shoes if shoe.taken == how and shoe.readings_mm]


def load_study(path: Path) -> FitterStudy:
    """Read a fitter's study; its file is named after the fitter."""
    return _load(path, FitterStudy, "a fitter's study", ending=".json")


def load_repeats(path: Path) -> MarkRepeats:
    """Read a fitter's repeats; raises SessionProblems as `load_study` does."""
    return _load(path, MarkRepeats, "a fitter's repeats", ending="_repeats.json")


def save_study(study: FitterStudy, folder: Path) -> Path:
    """Write a study to ``fitters/<fitter_id>.json`` in a folder, in place of an earlier one, and return its path."""
    return _save(study, Path(folder) / "fitters" / f"{study.fitter_id}.json")


def save_repeats(repeats: MarkRepeats, folder: Path) -> Path:
    """Write repeats to ``fitters/<fitter_id>_repeats.json`` in a folder; else as `save_study`."""
    return _save(repeats, repeats_path(repeats.fitter_id, folder))


def repeats_path(fitter_id: str, folder: Path) -> Path:
    """Return where a fitter's repeats lie in a folder."""
    return Path(folder) / "fitters" / f"{fitter_id}_repeats.json"


def _save(content: Part, path: Path) -> Path:
    make_folder(path.parent)
    tree = content.model_dump(mode="json", exclude_none=True)
    with locked(path):
        replace_durably(path, (json.dumps(tree, indent=1, ensure_ascii=False) + "\n").encode())
    return path


def _load(path: Path, model: type[Kept], what: str, *, ending: str) -> Kept:
    try:
        tree, problems = tree_of(read_bytes(path))
        loaded = model.model_validate(tree)
    except SessionProblems as found:
        raise SessionProblems(path, found.problems) from None
    except ValidationError as error:
        problems += [
            Problem(joined(item["loc"]) or "file", said(item["input"]), _expected(item, what))
            for item in error.errors(include_url=False)
        ]
        raise SessionProblems(path, problems) from None
    if path.name != f"{loaded.fitter_id}{ending}":
        problems.append(Problem("file name", said(path.name), said(f"{loaded.fitter_id}{ending}")))
    if problems:
        raise SessionProblems(path, problems)
    return loaded


def _expected(item: dict, what: str) -> str:
    if item["type"] == "missing":
        return f"every field of {what}"
    if item["type"] == "extra_forbidden":
        return f"only the fields of {what}"
    return item["msg"]
