"""Both cleats: the first numbers, the drawing of the soles with its table, the results and the starting band."""

from __future__ import annotations

from fitkit import charts
from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import Inputs
from fitkit.report.blocks import Sentences, Table
from fitkit.report.changes import also_changed
from fitkit.report.cleat_advice import first_words, instruction, toe_words, worse_beside
from fitkit.report.results import by_side
from fitkit.report.stance import lean_words
from fitkit.words import capital, halved, halves, plain

__all__ = ["cleats", "first_numbers", "rotation", "soles", "soles_table", "starting_band"]

SIDES = ("left", "right")
_TARGETS = {"decided": "decided", "kept": "kept", "put_back": "back to"}
_CLEAT_RESULTS = (
    "cleat_setback.as_found",
    "cleat_setback.as_left",
    "cleat_setback.start",
    "cleat_setback.move",
    "cleat_setback.slot_least",
    "cleat_setback.slot_greatest",
    "cleat_setback.shortfall",
    "mtp1.expected",
)


def first_numbers(assessment: Assessment) -> Sentences:
    """Say the first numbers of either foot: where the cleat is, what the slots allow, what to try."""
    lines = [first_words(assessment, side) for side in SIDES]
    lines += [words for side in SIDES if (words := worse_beside(assessment, side))]
    if toes := [words for side in SIDES if (words := toe_words(assessment, side))]:
        lines.append(f"{capital('; '.join(toes))}. Turn the bar and look.")
    lines += [words for words in (also_changed(assessment), lean_words(assessment)) if words]
    return Sentences(tuple(lines), kind="lead")


def cleats(assessment: Assessment) -> Table:
    """Return the cleat's results of both feet with interval and grade."""
    caption = "The cleat's place (mm behind the first-MTP mark)"
    return by_side(assessment, caption, _CLEAT_RESULTS, with_grade=True)


def rotation(assessment: Assessment) -> Table:
    """Return rotation and float of both feet."""
    names = ("cleat_setback.square_to_axle", "float.free_heel_in", "float.free_heel_out")
    return by_side(assessment, "Rotation and float", names, with_grade=True)


def starting_band(assessment: Assessment) -> Sentences:
    """Say where the starting band comes from, how the house shifts it, and what to keep in mind."""
    lines = []
    for side in SIDES:
        low, high = (assessment[f"{side}.cleat_setback.band_{end}"] for end in ("low", "high"))
        start = assessment[f"{side}.cleat_setback.start"]
        if not low.is_known:
            lines.append(f"{side.capitalize()}: not assessed: {needs_words(low.needs)}.")
            continue
        # Where the rule names no point, it is the size that is too small for one.
        point = f"start {halves(start.value)}" if start.is_known else "no starting point at this size: trials tell"
        notes = capital("; ".join(start.notes))
        lines.append(f"{side.capitalize()}: {halves(low.value)} to {halves(high.value)} mm, {point}. {notes}.")
    lines.append("A starting band is where to begin, not where to end; riders differ widely (common practice).")
    if assessment.visit.session.rider.riding == "short_maximal":
        lines.append(
            "Short maximal efforts: the trial goes forward in 2 mm steps to the first unsteady setting, then "
            "back one (common practice, no source)."
        )
    return Sentences(tuple(lines))


def soles(assessment: Assessment) -> charts.Figure:
    """Draw both soles from below, to scale."""
    return charts.soles([_sole(assessment, side) for side in SIDES])


def soles_table(assessment: Assessment) -> Table:
    """Return the table behind the drawing: what is drawn and nothing else."""
    rows = charts.sole_table([_sole(assessment, side) for side in SIDES])
    cells: dict[str, dict[str, str]] = {}
    for row in rows:
        cells.setdefault(row["what"], {})[row["side"]] = _cell(row)
    body = tuple((capital(what), *(found.get(side, "—") for side in SIDES)) for what, found in cells.items())
    return Table("What the drawing shows", ("", "Left", "Right"), body)


def _cell(row: dict) -> str:
    if row["words"]:
        return row["words"]
    value, low, high = ("" if row[name] is None else plain(row[name]) for name in ("value", "low", "high"))
    span = f"{low or '?'} to {high or '?'}" if low or high else ""
    unit = {"mm": " mm", "deg": "°"}[row["unit"]]
    return f"{value}{unit} ({span})" if value and span else f"{value or span}{unit}"


def _sole(assessment: Assessment, side: str) -> charts.SoleFoot:
    found, set_to = assessment[f"{side}.cleat_setback.as_found"], assessment.foot(side).set_to
    inputs, kind = Inputs(assessment.visit), assessment.advice[side].kind
    band = {f"band_{end}_mm": assessment[f"{side}.cleat_setback.band_{end}"].value for end in ("low", "high")}
    slots = {f"slot_{end}_mm": assessment[f"{side}.cleat_setback.slot_{end}"].value for end in ("least", "greatest")}
    return charts.SoleFoot(
        side=side,
        now_mm=found.value,
        now_low_mm=found.low,
        now_high_mm=found.high,
        target_mm=set_to,
        move_mm=None if None in (found.value, set_to) else halved(set_to) - halved(found.value),
        toe_out_deg=inputs.number_now(f"{side}.cleat_toe_out_deg"),
        natural_toe_out_deg=inputs.number(f"rider.{side}.natural_toe_out_deg"),
        float_deg=assessment.visit.session.bike.float_deg,
        joint_to_big_toe_side_mm=inputs.number(f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=inputs.number(f"rider.{side}.foot_length_mm"),
        instruction=instruction(assessment, side),
        now_word="found" if kind in ("decided", "kept") else "now",
        target_word=_TARGETS.get(kind, "today"),
        **band,
        **slots,
    )
