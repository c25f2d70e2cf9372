"""Every result of a visit in one table, and the one evaluator of those that are a plain function of readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from fitkit import files, session
from fitkit.assessment.inputs import SIDES, Drawn, Draws, Inputs
from fitkit.calculations import clearances, cleats, knock_on, stance
from fitkit.calculations.readings import Quantity
from fitkit.estimate import Estimate, Grade, Unit
from fitkit.words import catalogue


def _as_read(reading: Quantity) -> Quantity:
    return reading


@dataclass(frozen=True)
class Input:
    """What a result is worked out of."""

    path: str  # dotted, ``{side}`` for the foot's side, ``now.`` in front for the current position; else a name
    needs: str = ""  # what it is called where it is missing; its field's title where nothing better is known
    is_optional: bool = False  # counted as 0 where it was not recorded, and said

    def read(self, inputs: Inputs, side: str) -> Quantity | None:
        """Return what was read, None where nothing was."""
        path = self.path.format(side=side)
        return inputs.now(path.removeprefix("now.")) if path.startswith("now.") else inputs.quantity(path)

    @property
    def words(self) -> str:
        """What it is called, in the middle of a sentence."""
        if self.needs:
            return self.needs
        title = session.describe(self.path.replace("now.", "as_found.").format(side="left")).title
        return title[0].lower() + title[1:]


@dataclass(frozen=True)
class Result:
    """One result, as ``templates/results.toml`` declares it; and how it is worked out, where that is plain."""

    unit: Unit
    title: str  # the words a record shows
    section: str  # the record's section that shows it
    source: str = ""  # where it comes from, in words; empty where only the visit tells
    grade: Grade = "derived"  # kind of evidence, unless the visit tells another
    is_advice: bool = False  # comes from band, target or move, so that an open sign withholds it
    is_sided: bool = True  # whether each foot has its own
    inputs: Mapping[str, Input] = field(default_factory=dict)  # by parameter of `work`; the first need goes first
    work: Callable = _as_read
    is_drawn: bool = False  # not linear: goes by draws instead of by components
    notes: Sequence[str] | Callable[[float], Sequence[str]] = ()
    at_fault: str = ""  # what it needs where `work` refuses its readings, ``{error}`` for the reason

    def of(
        self,
        found: float | Quantity | Drawn,
        *,
        low: float | None = None,
        high: float | None = None,
        source: str = "",
        grade: Grade | None = None,
        notes: tuple[str, ...] = (),
    ) -> Estimate:
        """Return the estimate: by components, by draws (2.5 to 97.5 %, widened to hold the value), or as it is."""
        value, half_width = found, 0.0
        if isinstance(found, Quantity):
            value, half_width = found.value, found.half_width()
        elif isinstance(found, Drawn):
            value, (low, high) = found.value, np.percentile(found.draws, [2.5, 97.5])
            low, high = min(low, value), max(high, value)
        ends = (value - half_width if low is None else low, value + half_width if high is None else high)
        # Adding 0.0 takes the sign off a minus zero, which would be printed.
        numbers = (float(each) + 0.0 for each in (value, *ends))
        said = tuple(note for note in notes if note)
        return Estimate(*numbers, self.unit, grade or self.grade, source or self.source, None, said)

    def lacking(self, needs: str, *, notes: tuple[str, ...] = ()) -> Estimate:
        """Return the estimate that says what it needs."""
        return Estimate(None, None, None, self.unit, None, None, needs, notes)


def row_of(name: str) -> Result:
    """Return the row of a result, with or without its side in front."""
    side, _, rest = name.partition(".")
    return RESULTS[rest if side in SIDES else name]


def evaluate(
    name: str, inputs: Inputs, draws: Draws, worked_out: Mapping[str, Quantity | Drawn | str | None]
) -> Estimate:
    """Return a result that is a plain function of its inputs, or what it needs.

    `worked_out` holds by name what is no reading; a text there is what that needs.
    """
    row, side = row_of(name), name.partition(".")[0]
    found, notes = {}, []
    for parameter, each in row.inputs.items():
        one = worked_out[each.path] if each.path in worked_out else each.read(inputs, side)
        if one is None and each.is_optional:
            one = Quantity(0.0)
            notes.append(f"{each.words} not recorded: taken as 0")
        if one is None or isinstance(one, str):
            return row.lacking(one or each.words)
        if row.is_drawn and isinstance(one, Quantity):
            one = draws.read(each.path.format(side=side), one)
        found[parameter] = one
        notes += getattr(one, "notes", ())
    try:
        made = _drawn(row.work, found) if row.is_drawn else row.work(**found)
    except ValueError as error:
        if not row.at_fault:
            raise
        return row.lacking(row.at_fault.format(error=error))
    said = row.notes(made.value) if callable(row.notes) else row.notes
    return row.of(made, source=_source(row, inputs, side), notes=(*said, *notes))


def _drawn(work: Callable, found: dict[str, Drawn]) -> Drawn:
    value = work(**{parameter: one.value for parameter, one in found.items()})
    return Drawn(float(value), work(**{parameter: one.draws for parameter, one in found.items()}))


def _source(row: Result, inputs: Inputs, side: str) -> str:
    first = next(iter(row.inputs.values()))
    return row.source if "{" not in row.source else measured(row.source, inputs, first.path.format(side=side))


def measured(source: str, inputs: Inputs, path: str) -> str:
    """Return a source with how many readings were taken at a path, and what is known of the mark's error."""
    count, study = len(inputs.readings(path)), inputs.visit.study
    return source.format(
        readings="1 reading" if count == 1 else f"{count} readings",
        mark=f"the fitter's own study of {study.date}" if study else "the house rule for the mark's error",
    )


def _square_to_axle(cleat_setback_mm, toe_out_deg, joint_to_big_toe_side_mm, shoe_outward_mm):
    return cleats.square_to_axle(cleat_setback_mm, joint_to_big_toe_side_mm - shoe_outward_mm, toe_out_deg)


_WAYS = ("heel_in", "heel_out")


def _free_rotation(float_deg: Quantity, *, way: str, **toe_out: Quantity) -> Quantity:
    return getattr(cleats.free_rotation(float_deg.value, **toe_out), way)


def _toe_gap_after(move_mm: Quantity, **axle_to: Quantity) -> Quantity:
    return clearances.toe_gap_after(clearances.toe_gap(**axle_to), move_mm)


def _not_natural(free_deg: float) -> tuple[str, ...]:
    return ("the foot cannot stand at its natural angle",) if free_deg <= 0 else ()


def _of_lean(lean_deg: float) -> tuple[str, ...]:
    low = (clearances.lean_words(lean_deg),) if lean_deg < clearances.LEAST_LEAN_DEG else ()
    return ("the tyre is taken as a thin disc", *low, clearances.LEAN_SCOPE)


def _of_toe(gap_mm: float) -> tuple[str, ...]:
    overlap = (clearances.gap_words(gap_mm),) if gap_mm < 0 else ()
    return (*overlap, clearances.TOE_SCOPE)


# What a result's inputs go through, where that is more than reading one, and what must always be said beside it.
_WORK: dict[str, dict] = {
    "cleat_setback.square_to_axle": {"work": _square_to_axle},
    **{f"float.free_{way}": {"work": partial(_free_rotation, way=way), "notes": _not_natural} for way in _WAYS},
    "frontal_lean": {"work": stance.frontal_lean_deg, "notes": (stance.LEAN_DESCRIBES,)},
    "lean.clearance": {"work": clearances.lean_deg, "notes": _of_lean},
    "toe.gap": {"work": clearances.toe_gap, "notes": _of_toe},
    "toe.gap_after": {"work": _toe_gap_after, "notes": _of_toe},
    "calf_lever.ratio": {"work": knock_on.calf_lever_ratio},
}


def _result(name: str, *, inputs: Mapping[str, dict] | None = None, **said: Any) -> Result:
    read = {parameter: Input(**each) for parameter, each in (inputs or {}).items()}
    return Result(**said, inputs=read, **_WORK.get(name, {}))


# In the order of the results file: each foot's, left before right, then those of both.
RESULTS = {name: _result(name, **said) for name, said in catalogue(files.template("results.toml")).tree.items()}
AS_FOUND = RESULTS["cleat_setback.as_found"].inputs["reading"]
SLOT_ENDS = {end: RESULTS[f"cleat_setback.slot_{end}"].inputs["reading"] for end in ("least", "greatest")}
RESULT_NAMES: tuple[str, ...] = (
    *(f"{side}.{name}" for side in SIDES for name, row in RESULTS.items() if row.is_sided),
    *(name for name, row in RESULTS.items() if not row.is_sided),
)
