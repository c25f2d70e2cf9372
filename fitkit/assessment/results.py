"""Every result of a visit in one table, and the one evaluator of those that are a plain function of readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from fitkit import session
from fitkit.assessment.inputs import SIDES, Drawn, Draws, Inputs
from fitkit.calculations import clearances, cleats, knock_on, stance
from fitkit.calculations.readings import Quantity
from fitkit.estimate import Estimate, Grade, Unit, known, missing


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
    """One result: what it is, where it comes from, where it is shown; and how it is worked out, where that is plain."""

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
    notes: tuple[str, ...] | Callable[[float], tuple[str, ...]] = ()
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
        ends = {"half_width": half_width, "low": low, "high": high}
        return known(
            value, unit=self.unit, grade=grade or self.grade, source=source or self.source, **ends, notes=notes
        )

    def lacking(self, needs: str, *, notes: tuple[str, ...] = ()) -> Estimate:
        """Return the estimate that says what it needs."""
        return missing(needs, unit=self.unit, notes=notes)


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


AS_FOUND = Input("as_found.{side}.cleat_setback_mm", "readings of the cleat setback as found")
SLOT_ENDS = {
    "least": Input("shoes.{side}.least_cleat_setback_mm", "the slots' front end (least cleat setback)"),
    "greatest": Input("shoes.{side}.greatest_cleat_setback_mm", "the slots' rear end (greatest cleat setback)"),
}
_CRANK = Input("bike.crank_length_mm")
_TOE_GAP = {
    "axle_to_tyre_mm": Input("bike.{side}.axle_to_tyre_mm", "axle to tyre and axle to toe"),
    "axle_to_toe_mm": Input("bike.{side}.axle_to_toe_mm", "axle to tyre and axle to toe"),
}
_TUBE = "closed chain of leg and crank: along the seat tube until least knee flexion is back"
_STROKE = "mean over the stroke of the ankle's place after minus before"

# In the order of the results file: each foot's, left before right, then those of both.
RESULTS = {
    "cleat_setback.as_found": Result(
        "mm",
        "cleat setback as found",
        "cleats",
        "mean of {readings}, with {mark}",
        "measured here",
        inputs={"reading": AS_FOUND},
    ),
    "cleat_setback.as_left": Result(
        "mm", "cleat setback as left", "cleats", "as found plus the distance moved between scribed lines"
    ),
    "cleat_setback.square_to_axle": Result(
        "mm",
        "joint ahead of the axle, square to it",
        "rotation",
        "s cos t + b sin t from cleat setback, toe-out and the joint's place, as found",
        work=_square_to_axle,
        inputs={
            "cleat_setback_mm": AS_FOUND,
            "toe_out_deg": Input("as_found.{side}.cleat_toe_out_deg", "cleat toe-out as found"),
            "joint_to_big_toe_side_mm": Input(
                "rider.{side}.mtp1_big_toe_side_mm", "first-MTP joint to the big-toe side of the shoe's axis"
            ),
            "shoe_outward_mm": Input("as_found.{side}.shoe_outward_mm", is_optional=True),
        },
        is_drawn=True,
    ),
    "cleat_setback.band_low": Result("mm", "starting band, low end", "starting_band", is_advice=True),
    "cleat_setback.band_high": Result("mm", "starting band, high end", "starting_band", is_advice=True),
    "cleat_setback.start": Result("mm", "starting point", "cleats", is_advice=True),
    "cleat_setback.move": Result("mm", "move of the cleat, toward the heel", "cleats", is_advice=True),
    **{
        f"cleat_setback.slot_{end}": Result(
            "mm",
            f"slots' {'front' if end == 'least' else 'rear'} end, the shoe's own",
            "cleats",
            "1 reading, with {mark}",
            "measured here",
            inputs={"reading": reading},
        )
        for end, reading in SLOT_ENDS.items()
    },
    "cleat_setback.shortfall": Result(
        "mm",
        "slots short by, toward the heel",
        "cleats",
        "where it is going before the slots hold it, minus the nearest slot end",
        is_advice=True,
    ),
    "mtp1.expected": Result(
        "mm",
        "first-MTP joint expected, from the heel",
        "cleats",
        "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II), regression on foot length",
        "published",
    ),
    **{
        f"float.free_{way}": Result(
            "deg",
            f"float still free, {words}",
            "rotation",
            "half the float, natural toe-out and the cleat's toe-out in the current position",
            work=partial(_free_rotation, way=way),
            inputs={
                "float_deg": Input("bike.float_deg", "the pedal's float"),
                "natural_toe_out": Input("rider.{side}.natural_toe_out_deg"),
                "cleat_toe_out": Input("now.{side}.cleat_toe_out_deg"),
            },
            notes=_not_natural,
        )
        for way, words in (("heel_in", "heel inward"), ("heel_out", "heel outward"))
    },
    "half_stance": Result(
        "mm",
        "half-stance",
        "widths",
        "crank face + washer + extender + spindle to cleat centre + shoe outward, current position",
    ),
    "half_stance.wish": Result(
        "mm",
        "wished change of half-stance",
        "parts",
        "the fitter's own wish",
        "house rule",
        inputs={"reading": Input("wish.{side}.half_stance_change_mm", "a wished change of half-stance")},
    ),
    "half_stance.remaining": Result("mm", "what remains of the wish", "parts", is_advice=True),
    "frontal_lean": Result(
        "deg",
        "frontal lean of hip to foot, foot outside",
        "widths",
        "atan((half-stance - hip spacing / 2) / (hip height + crank)), crank at its lowest",
        work=stance.frontal_lean_deg,
        inputs={
            "half_stance_mm": Input("half_stance", "half-stance"),
            "hip_spacing_mm": Input("hip_spacing", "hip spacing (inter-ASIS distance)"),
            "crank_length_mm": _CRANK,
            "hip_height_mm": Input("hip_height"),
        },
        is_drawn=True,
        notes=(stance.LEAN_DESCRIBES,),
    ),
    "thread.turns": Result(
        "turns",
        "pedal thread engaged",
        "clearances",
        "min(spindle thread - tip - washer, crank depth) over the pitch of 1.270 mm (JIS B 0225-1960)",
    ),
    "lean.clearance": Result(
        "deg",
        "lean until the lowered pedal touches",
        "clearances",
        "atan((bottom bracket - crank - pedal below axle) / pedal's outer edge)",
        work=clearances.lean_deg,
        inputs={
            "bottom_bracket_height_mm": Input("bike.bottom_bracket_height_mm", "bottom bracket height"),
            "crank_length_mm": _CRANK,
            "pedal_below_axle_mm": Input("bike.{side}.pedal_below_axle_mm"),
            "pedal_outer_edge_mm": Input("bike.{side}.pedal_outer_edge_mm", "pedal outer edge"),
            "added_mm": Input("added"),
        },
        is_drawn=True,
        notes=_of_lean,
        at_fault="lengths that are possible: {error}",
    ),
    "toe.gap": Result(
        "mm",
        "toe to tyre",
        "clearances",
        "axle to tyre - axle to toe, as found",
        work=clearances.toe_gap,
        inputs=_TOE_GAP,
        notes=_of_toe,
    ),
    "toe.gap_after": Result(
        "mm",
        "toe to tyre after the move",
        "clearances",
        "gap as found - move of the cleat",
        is_advice=True,
        work=_toe_gap_after,
        inputs={**_TOE_GAP, "move_mm": Input("move")},
        notes=_of_toe,
    ),
    "calf_lever.ratio": Result(
        "1",
        "ankle-to-axle distance, after to before",
        "saddle_choices",
        "(ankle to first MTP joint - new setback) / (the same - old setback)",
        is_advice=True,
        work=knock_on.calf_lever_ratio,
        inputs={
            "ankle_to_mtp1_mm": Input("rider.{side}.ankle_to_mtp1_mm"),
            "old_setback_mm": AS_FOUND,
            "new_setback_mm": Input("target"),
        },
        is_drawn=True,
        notes=("a ratio of lengths, no claim on performance",),
        at_fault="an ankle that lies behind the cleat: measure ankle to first MTP joint and cleat setback again",
    ),
    "untouched.knee_change": Result(
        "deg",
        "knee at its straightest, saddle untouched",
        "saddle_choices",
        "closed chain of leg and crank: least knee flexion after the move minus before",
        is_advice=True,
    ),
    "height_only.saddle_down": Result("mm", "saddle down, height only", "saddle_choices", _TUBE, is_advice=True),
    "full.saddle_forward": Result("mm", "saddle forward, full answer", "saddle_choices", _STROKE, is_advice=True),
    "full.saddle_down": Result("mm", "saddle down, full answer", "saddle_choices", _STROKE, is_advice=True),
    "pitch_habit.saddle_down": Result(
        "mm",
        "what a pitch habit alone does to the saddle, height only",
        "saddle_choices",
        grade="house rule",
        is_advice=True,
    ),
    "pitch_habit.knee_change": Result(
        "deg",
        "what a pitch habit alone does to the knee, saddle untouched",
        "saddle_choices",
        grade="house rule",
        is_advice=True,
    ),
    "stack.saddle_down": Result(
        "mm", "saddle down for shims and adapters alone", "saddle_choices", _TUBE, is_advice=True
    ),
    "forward_limit": Result("mm", "forward limit", "forward_limit", grade="measured here"),
    "stance.width": Result("mm", "stance width", "stance", "left plus right half-stance", is_sided=False),
    "stance.difference": Result(
        "mm", "left minus right half-stance", "stance", "left minus right half-stance", is_sided=False
    ),
    "hip.spacing": Result("mm", "hip spacing", "hips", grade="published", is_sided=False),
    "saddle.height_only.down": Result(
        "mm",
        "saddle down along the seat tube, for both legs",
        "saddle",
        "mean of the legs, along the seat tube",
        is_advice=True,
        is_sided=False,
    ),
    "bar.height_only.down": Result(
        "mm",
        "bar down with it",
        "saddle",
        "saddle's way down x sin(seat-tube angle), to keep the drop",
        is_advice=True,
        is_sided=False,
    ),
}
RESULT_NAMES: tuple[str, ...] = (
    *(f"{side}.{name}" for side in SIDES for name, row in RESULTS.items() if row.is_sided),
    *(name for name, row in RESULTS.items() if not row.is_sided),
)
