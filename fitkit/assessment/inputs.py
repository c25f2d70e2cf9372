"""A visit with what belongs to it: readings as quantities with errors, and the draws for what is not linear."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fitkit import house, session
from fitkit.calculations.readings import Quantity, StandardDeviation, exact, mean_of, pooled_spread
from fitkit.house import House, Part
from fitkit.session import Problem, Session, SessionProblems
from fitkit.session.paths import counting, value_at
from fitkit.session.reading import earlier_path
from fitkit.session.study import FitterStudy, load_study
from fitkit.vocabulary import SIDES

_KINDS = {"spindle_id": "spindle", "extender_id": "extender", "base_adapter_id": "base_adapter"}


@dataclass(frozen=True)
class Visit:
    """What an assessment reads, and nothing else."""

    key: str
    session: Session
    house: House
    previous: Session | None = None
    study: FitterStudy | None = None
    folder: Path | None = None  # where the files lie that the session names
    previous_problem: str = ""  # why the last visit cannot be read: then nothing is compared, with an older one neither


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
    for path in (f"{position}.{side}.{name}" for position in positions for side in SIDES for name in _KINDS):
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


# What an id recorded as fitted stands for where the length itself was not typed: the id, and the table's column.
_BY_ID = {
    "spindle_to_cleat_centre_mm": ("spindle_id", "adds_mm"),
    "extender_mm": ("extender_id", "adds_mm"),
    "adapter_stack_mm": ("base_adapter_id", "stack_mm"),
}


class Inputs:
    """Quantities of one visit."""

    def __init__(self, visit: Visit, positions: Sequence[str] | None = None) -> None:
        self.visit = visit
        # Dotted paths of the positions that count, in order.
        self.positions = counting(visit.session) if positions is None else list(positions)

    @property
    def as_found(self) -> Inputs:
        """The visit as it stood when nothing had been changed."""
        return Inputs(self.visit, ["as_found"])

    def readings(self, dotted: str) -> tuple[float, ...]:
        """Return the readings at `dotted` that are not struck; a single value counts as one reading."""
        value = value_at(self.visit.session, dotted)
        if value is None:
            return ()
        if isinstance(value, tuple):
            return session.kept(self.visit.session, dotted)
        return (float(value),)

    def quantity(self, dotted: str, *, place: bool = True) -> Quantity | None:
        """Return the mean of the readings at `dotted`, None when not measured."""
        readings = self.readings(dotted)
        if not readings:
            return None
        kind = session.describe(dotted).kind
        if kind is None:
            return exact(math.fsum(readings) / len(readings))
        mark = self._place(dotted, len(readings)) if place and kind == "cleat_setback" else None
        return mean_of(readings, self._spread_of(dotted, kind), place=mark)

    def in_trial(self, number: int) -> Inputs:
        """Return the visit as it stood in one trial: as found, the trials kept before it, and the trial itself."""
        kept = [path for path in counting(self.visit.session) if path.startswith("trials.")]
        before = [path for path in kept if int(path.split(".")[1]) < number]
        return Inputs(self.visit, ["as_found", *before, f"trials.{number}.position"])

    def current(self, field: str) -> str | None:
        """Return the path at which `field` (``left.cleat_toe_out_deg``) stands in the current position.

        A blank in one position means as in the one before it, down to as found; None where it is nowhere.
        """
        paths = [f"{position}.{field}" for position in reversed(self.positions)]
        return next((path for path in paths if self.readings(path)), None)

    def now(self, field: str, *, bike: str | None = None) -> Quantity | None:
        """Return `field` of the current position, else what stands at `bike` in the session, None where nowhere."""
        path = self.current(field)
        if path is None:
            return self.quantity(bike) if bike else None
        return self.quantity(path)

    def own_setback(self, position: str, side: str) -> float | None:
        """Return where a position itself puts one cleat [mm]: as read, or as found plus the distance moved."""
        read = self.number(f"{position}.{side}.cleat_setback_mm")
        if read is not None or position == "as_found":
            return read
        moved, found = self.number(f"{position}.moved_mm.{side}"), self.number(f"as_found.{side}.cleat_setback_mm")
        return None if moved is None or found is None else found + moved

    def setback_now(self, side: str) -> float | None:
        """Return where one cleat stands in the current position [mm]; a blank means as in the position before."""
        places = (self.own_setback(position, side) for position in reversed(self.positions))
        return next((place for place in places if place is not None), None)

    def number(self, dotted: str) -> float | None:
        """Return the mean at `dotted` as a plain number, None when not measured."""
        quantity = self.quantity(dotted)
        return None if quantity is None else quantity.value

    def number_now(self, field: str, *, bike: str | None = None) -> float | None:
        """Return `now` as a plain number, None where nowhere."""
        quantity = self.now(field, bike=bike)
        return None if quantity is None else quantity.value

    def word_now(self, field: str) -> str | None:
        """Return a word, such as a part's id, of the current position, None where it is nowhere."""
        at = self.last_with(field)
        return None if at is None else value_at(self.visit.session, f"{self.positions[at]}.{field}")

    def last_with(self, field: str) -> int | None:
        """Return the number of the last position that says something of `field`, None where none does."""
        paths = [f"{position}.{field}" for position in self.positions]
        said = [n for n, path in enumerate(paths) if value_at(self.visit.session, path) not in (None, ())]
        return said[-1] if said else None

    def part(self, part_id: str | None) -> Part | None:
        """Return the row of the parts table with this id, None where there is none."""
        return next((part for part in self.visit.house.parts if part.id == part_id), None)

    def fitted(self, side: str, name: str) -> tuple[float | None, str | None]:
        """Return the length of what is fitted [mm]: as typed, or by the parts table where an id was recorded later."""
        by_id, gives = _BY_ID[name]
        field = f"{side}.{name}"
        typed_at, named_at = self.last_with(field), self.last_with(f"{side}.{by_id}")
        typed = self.number_now(field, bike=f"bike.{field}" if name.startswith("spindle") else None)
        if typed_at is None and typed is not None:
            typed_at = 0 if self.positions[:1] == ["as_found"] else -1  # on the bicycle as it came
        if named_at is None or (typed_at is not None and typed_at >= named_at):
            return typed, None
        part_id = self.word_now(f"{side}.{by_id}")
        gain = getattr(self.part(part_id), gives, None)
        if gain is None:
            return None, f"{side}: {part_id}'s length is not in the parts table: measure it"
        said = f"{side}: {part_id} by the parts table, not measured again"
        if name != "spindle_to_cleat_centre_mm":
            return gain, said
        then = Inputs(self.visit, self.positions[: (typed_at or 0) + 1])
        before = self.part(then.word_now(f"{side}.{by_id}"))
        return (None if typed is None else typed + gain - (before.adds_mm or 0.0 if before else 0.0)), said

    def _place(self, dotted: str, n: int) -> StandardDeviation:
        study, house_sd = self.visit.study, self.visit.house.rules.mark_place_sd_mm
        if study:
            house_sd = pooled_spread((), house_sd=house_sd, study_sd=study.place_sd_mm, study_df=study.place_df).sd
        anew = self.visit.session.taken.get(dotted) == "mark_found_anew" and n > 1
        # Found anew each time, half of the mark's error already shows in the readings' own spread.
        return StandardDeviation(house_sd / 2 if anew else house_sd, math.inf)

    def _spread_of(self, dotted: str, kind: str) -> StandardDeviation:
        either = dict.fromkeys(re.sub(r"\b(left|right)\b", side, dotted) for side in SIDES)
        groups = [self.readings(path) for path in either]
        values = [value for group in groups for value in group]
        study = self.visit.study if kind == "cleat_setback" else None
        return pooled_spread(
            groups,
            house_sd=self.visit.house.rules.reading_sd(dotted, kind, math.fsum(values) / len(values)),
            study_sd=study.spread_sd_mm if study else None,
            study_df=study.spread_df if study else None,
        )


COUNT = 4000
# A reading's row bears its field's name; new names go to the end: a row never changes its place.
_SIDED = (
    *("cleat_setback", "mtp1_big_toe_side", "shoe_outward", "cleat_toe_out", "half_stance"),
    *("pedal_below_axle", "pedal_outer_edge", "move", "thigh", "shank", "ankle_to_mtp1", "ankle_height"),
    *("axle_to_foot_sole", "foot_pitch_mean", "foot_pitch_amplitude", "foot_pitch_phase", "least_knee_flexion"),
)
_WHOLE = ("hip_spacing", "hip_distance", "seat_tube_angle", "bottom_bracket_height")
_LATER = ("spindle_thread", "unthreaded_tip", "washer", "shim", "shim_since")
ROWS = (
    *(f"{side}.{name}" for name in _SIDED for side in SIDES),
    *_WHOLE,
    *(f"{side}.{name}" for name in _LATER for side in SIDES),
    "crank_thread_depth",
)


@dataclass(frozen=True)
class Drawn:
    """A value with one entry a draw, shape (COUNT,), and what must be said beside it."""

    value: float
    draws: np.ndarray
    notes: tuple[str, ...] = ()


class Draws:
    """Normal draws of a visit's inputs, each with its own standard uncertainty."""

    def __init__(self) -> None:
        self._table = np.random.default_rng(0).standard_normal((len(ROWS), COUNT))

    def of(self, row: str, quantity: Quantity) -> Drawn:
        """Return one input with its draws [the quantity's unit]; what has no uncertainty needs no row."""
        if not quantity.u:
            return Drawn(quantity.value, np.full(COUNT, quantity.value))
        return Drawn(quantity.value, quantity.value + quantity.u * self.standard(row))

    def read(self, path: str, quantity: Quantity) -> Drawn:
        """Return what was read at a dotted path with its draws."""
        sides = [step for step in path.split(".") if step in SIDES]
        return self.of(".".join([*sides, path.rpartition(".")[2].rpartition("_")[0]]), quantity)

    def standard(self, row: str) -> np.ndarray:
        """Return the standard normal draws of one input, shape (COUNT,) [1]."""
        return self._table[ROWS.index(row)]
