"""A fitter's own study of marking: how far marks of one joint lie apart, and readings from one mark."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from fitkit.session.fields import Day, Identifier, Part
from fitkit.session.problems import Problem, SessionProblems, joined, said
from fitkit.session.reading import read_bytes, tree_of

__all__ = ["FitterStudy", "load_study"]

Spread = Annotated[float, Field(gt=0, le=20, strict=True, allow_inf_nan=False)]
Freedom = Annotated[float, Field(ge=1, le=10_000, strict=True, allow_inf_nan=False)]


class FitterStudy(Part):
    """What one fitter's repeats showed.

    Parameters
    ----------
    fitter_id : str
        The fitter's id.
    date : str
        Day of the study, ISO 8601.
    place_sd_mm, place_df : float
        Spread of the mark's place, found anew each time [mm], and its degrees of freedom.
    spread_sd_mm, spread_df : float
        Spread of one reading from a mark [mm], and its degrees of freedom.
    """

    fitter_id: Identifier
    date: Day
    place_sd_mm: Spread
    place_df: Freedom
    spread_sd_mm: Spread
    spread_df: Freedom


def load_study(path: Path) -> FitterStudy:
    """Read a fitter's study; its file is named after the fitter.

    Raises
    ------
    SessionProblems
        If anything is wrong with it, all problems at once.
    """
    try:
        tree, problems = tree_of(read_bytes(path))
        study = FitterStudy.model_validate(tree)
    except SessionProblems as found:
        raise SessionProblems(path, found.problems) from None
    except ValidationError as error:
        problems += [
            Problem(joined(item["loc"]) or "file", said(item["input"]), _expected(item))
            for item in error.errors(include_url=False)
        ]
        raise SessionProblems(path, problems) from None
    if study.fitter_id != path.stem:
        problems.append(Problem("file name", said(path.name), said(f"{study.fitter_id}.json")))
    if problems:
        raise SessionProblems(path, problems)
    return study


def _expected(item: dict) -> str:
    if item["type"] == "missing":
        return "every field of a fitter's study"
    if item["type"] == "extra_forbidden":
        return "only the fields of a fitter's study"
    return item["msg"]
