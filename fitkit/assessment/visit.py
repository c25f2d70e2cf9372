"""One visit with all that belongs to it: session, previous visit, the fitter's own study, house rules and parts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fitkit import house, session
from fitkit.house import House
from fitkit.session import Problem, Session, SessionProblems
from fitkit.session.earlier import earlier_path
from fitkit.session.paths import value_at
from fitkit.session.study import FitterStudy, load_study

__all__ = ["Visit", "load_visit", "study_path", "unknown_parts"]

_KINDS = {"spindle_id": "spindle", "extender_id": "extender", "base_adapter_id": "base_adapter"}


@dataclass(frozen=True)
class Visit:
    """What an assessment reads, and nothing else.

    Files the session names lie in `folder`, None where there is none; `previous_problem` says why the last visit, which
    is there, cannot be read: then nothing is compared, with an older one neither.
    """

    key: str
    session: Session
    house: House
    previous: Session | None = None
    study: FitterStudy | None = None
    folder: Path | None = None
    previous_problem: str = ""


def load_visit(path: Path | str) -> Visit:
    """Load the session at `path` with what lies beside it.

    The previous visit is the one file in a folder ``previous/`` beside the session, else the latest earlier file of the
    same client and set-up in its folder or its year folders; the fitter's own study is
    ``fitters/<fitter_id>.json`` beside the session or beside its year folder.
    """
    path = Path(path)
    loaded = session.load(path)
    kept = house.load()
    if unknown := unknown_parts(loaded, kept):
        raise SessionProblems(path, unknown)
    previous, problem = _previous(path, loaded)
    found = study_path(path, loaded.fitter_id)
    return Visit(
        key=session.key(loaded),
        session=loaded,
        house=kept,
        previous=previous,
        study=load_study(found) if found else None,
        folder=path.parent,
        previous_problem=problem,
    )


def _previous(path: Path, loaded: Session) -> tuple[Session | None, str]:
    given = sorted((path.parent / "previous").glob("*.json"))
    found = given[-1] if given else earlier_path(path, loaded)
    try:
        return (session.load(found) if found else None), ""
    except SessionProblems as error:
        return None, f"{found.name} cannot be read: {error.problems[0]}"


def unknown_parts(loaded: Session, kept: House) -> list[Problem]:
    """Return the pedal family and the parts recorded that the parts table does not have."""
    found, family = [], loaded.bike.pedal_family
    if family is not None and family not in kept.families:
        expected = f"one of {', '.join(kept.families)}, as in the {kept.parts_source}"
        found.append(Problem("bike.pedal_family", f'"{family}"', expected))
    positions = ["as_found", *(f"trials.{n}.position" for n in range(len(loaded.trials))), "decided", "as_left"]
    for path in (
        f"{position}.{side}.{name}" for position in positions for side in ("left", "right") for name in _KINDS
    ):
        part_id, kind = value_at(loaded, path), _KINDS[path.rpartition(".")[2]]
        if part_id is not None and not any(part.id == part_id and part.kind == kind for part in kept.parts):
            words = kind.replace("_", " ")
            found.append(
                Problem(path, f'"{part_id}"', f"a {words} of the {kept.parts_source}", "Choose from its rows.")
            )
    return found


def study_path(session_path: Path, fitter_id: str | None) -> Path | None:
    """Return the file of the fitter's own study, None where there is none."""
    if fitter_id is None:
        return None
    for folder in (session_path.parent, session_path.parent.parent):
        candidate = folder / "fitters" / f"{fitter_id}.json"
        if candidate.is_file():
            return candidate
    return None
