"""Both soles: the first numbers in words, the instruction, and the drawing, from the assessment's results."""

from __future__ import annotations

from fitkit import charts
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import Inputs
from fitkit.estimate import Estimate
from fitkit.report.blocks import Table
from fitkit.report.words import capital, interval, move_words, needs_words, plain, whole

__all__ = ["first_words", "instruction", "soles_figure", "soles_table", "stood_and_stands", "toe_words"]

SIDES = ("left", "right")
LEAVE_IT = "leave it: closer than the mark can tell"


def first_words(assessment: Assessment, side: str) -> str:
    """Return the first numbers of one foot, as "Left cleat now 11 mm behind the joint (8 to 14). …"."""
    found, foot = assessment[f"{side}.cleat_setback.as_found"], assessment.foot(side)
    is_decided = foot.target_from in ("moved", "decided")
    said = [f"{side.capitalize()}: {_now(found, 'found' if is_decided else 'now')}", _slots(assessment, side)]
    start = assessment[f"{side}.cleat_setback.start"]
    if is_decided:
        words = instruction(assessment, side)
        said.append(f"{capital(words)}.")
        left = assessment[f"{side}.cleat_setback.as_left"]
        if left.is_known:
            said.append(f"As left {interval(left)}.")
    elif foot.leave_it:
        said.append(f"Start {plain(start.value)}: {LEAVE_IT}." if start.is_known else "")
    elif foot.set_to is not None and start.is_known:
        move = assessment[f"{side}.cleat_setback.move"]
        how = f"Try {whole(foot.set_to)}: {move_words(move.value)}" if move.is_known else "Measure it, then start"
        said.append(f"{how}." if move.is_known else f"{how} at {whole(foot.set_to)}.")
    else:
        said.append(f"No starting point: {needs_words(start.needs)}.")
    return " ".join(part for part in said if part)


def _now(found: Estimate, word: str) -> str:
    if not found.is_known:
        return "cleat not measured."
    where = "behind the joint" if found.value >= 0 else "(ahead of the joint: negative)"
    return f"cleat {word} {interval(found).replace(' (', f' mm {where} (', 1)}."


def toe_words(assessment: Assessment, side: str) -> str | None:
    """Say that a toe may touch the tyre after the move, or does so as found; None where it clears it."""
    after, found = assessment[f"{side}.toe.gap_after"], assessment[f"{side}.toe.gap"]
    gap = after if after.is_known else found
    if not gap.is_known or gap.low > 0:
        return None
    if whole(gap.value) == "0":
        size = "touches"
    elif gap.value < 0:
        size = f"overlap {whole(abs(gap.value))} mm"
    else:
        size = f"gap only {whole(gap.value)} mm, within the error"
    return f"{side} toe to tyre: {size}"


def _slots(assessment: Assessment, side: str) -> str:
    least, greatest = (assessment[f"{side}.cleat_setback.slot_{end}"] for end in ("least", "greatest"))
    if least.is_known and greatest.is_known:
        return f"Slots allow {whole(least.value)} to {whole(greatest.value)}."
    if least.is_known or greatest.is_known:
        known, words = (least, "from") if least.is_known else (greatest, "up to")
        return f"Slots allow {words} {whole(known.value)}; the other end is not measured."
    return "Slots not measured."


def instruction(assessment: Assessment, side: str) -> str:
    """Return what is to be done, or was done, with one cleat, in a few words."""
    foot, move = assessment.foot(side), assessment[f"{side}.cleat_setback.move"]
    if not move.is_known:
        return f"no move said: {needs_words(move.needs)}"
    if foot.leave_it:
        return LEAVE_IT
    words = move_words(move.value)
    if foot.target_from == "start":
        return words
    return "decided: not moved" if words == "not moved" else f"decided: {words}"


def soles_figure(assessment: Assessment, *, for_rider: bool = False) -> charts.Figure:
    """Draw both soles from below; for the rider without band, slots and errors."""
    make = _rider_sole if for_rider else _sole
    return charts.soles([make(assessment, side) for side in SIDES], cleat_only=for_rider)


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


def _mean(assessment: Assessment, dotted: str | None) -> float | None:
    quantity = Inputs(assessment.visit).quantity(dotted) if dotted else None
    return quantity.value if quantity else None


def _sole(assessment: Assessment, side: str) -> charts.SoleFoot:
    found, foot = assessment[f"{side}.cleat_setback.as_found"], assessment.foot(side)
    move, start = (assessment[f"{side}.cleat_setback.{name}"] for name in ("move", "start"))
    is_shown = (move.is_known or start.is_known) and not foot.leave_it
    is_decided = foot.target_from in ("moved", "decided")
    band = {f"band_{end}_mm": assessment[f"{side}.cleat_setback.band_{end}"].value for end in ("low", "high")}
    slots = {f"slot_{end}_mm": assessment[f"{side}.cleat_setback.slot_{end}"].value for end in ("least", "greatest")}
    return charts.SoleFoot(
        side=side,
        now_mm=found.value,
        now_low_mm=found.low,
        now_high_mm=found.high,
        target_mm=foot.set_to if is_shown else None,
        move_mm=move.value if is_shown else None,
        toe_out_deg=_mean(assessment, Inputs(assessment.visit).current(f"{side}.cleat_toe_out_deg")),
        natural_toe_out_deg=_mean(assessment, f"rider.{side}.natural_toe_out_deg"),
        float_deg=assessment.visit.session.bike.float_deg,
        joint_to_big_toe_side_mm=_mean(assessment, f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=_mean(assessment, f"rider.{side}.foot_length_mm"),
        instruction=instruction(assessment, side),
        now_word="found" if is_decided else "now",
        target_word="decided" if is_decided else "try",
        **band,
        **slots,
    )


def _rider_sole(assessment: Assessment, side: str) -> charts.SoleFoot:
    """Return one sole for the rider: where the cleat stood and stands, without errors, bands and slots."""
    before, now, move = stood_and_stands(assessment, side)
    is_moved = move is not None and whole(move) != "0"
    return charts.SoleFoot(
        side=side,
        now_mm=before if is_moved else now,
        target_mm=now if is_moved else None,
        move_mm=move if is_moved else None,
        joint_to_big_toe_side_mm=_mean(assessment, f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=_mean(assessment, f"rider.{side}.foot_length_mm"),
        instruction=move_words(move) if is_moved else "stays as it was" if now is not None else None,
        now_word="before" if is_moved else "now",
        target_word="now",
    )


def stood_and_stands(assessment: Assessment, side: str) -> tuple[float | None, float | None, float | None]:
    """Return where a cleat stood, where it stands, and how far it was moved [mm]; None where not known.

    It stands as left, else as decided, else as found. How far it moved is what was measured again after tightening
    where that was done, else the distance decided, so that a sheet never says one thing and shows another.
    """
    session, foot = assessment.visit.session, assessment.foot(side)
    before, left = (assessment[f"{side}.cleat_setback.{name}"].value for name in ("as_found", "as_left"))
    decided = foot.set_to if foot.target_from in ("moved", "decided") else None
    now = next((value for value in (left, decided, before) if value is not None), None)
    measured = None if None in (before, left) else left - before
    moved = (session.as_left.moved_mm, measured, session.decided.moved_mm)
    scribed = [getattr(value, side) if hasattr(value, side) else value for value in moved]
    how_far = next((value for value in scribed if value is not None), None)
    if how_far is None and None not in (before, now):
        how_far = now - before
    return before, now, how_far
