"""One foot's cleat: where it is, where to begin, what the slots allow, the move, and the rotation left."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitkit.advice_words import COSTS_LESS, no_move_words
from fitkit.assessment.inputs import Drawn, Draws, Inputs
from fitkit.assessment.results import AS_FOUND, RESULTS, SLOT_ENDS, measured
from fitkit.calculations import cleats, footwear
from fitkit.calculations.advice import Advice, FootFacts
from fitkit.calculations.readings import Quantity, linear
from fitkit.estimate import Estimate
from fitkit.house import Shift
from fitkit.vocabulary import choice_words


@dataclass(frozen=True)
class Start:
    """The starting band and point of one foot [mm], with what must be said of them."""

    size_eu: float | None
    band: cleats.Band | None = None
    point: float | None = None
    needs: str | None = None
    notes: tuple[str, ...] = ()
    point_notes: tuple[str, ...] = ()  # what shifts the point, or would
    is_shifted: bool = False


@dataclass(frozen=True)
class Foot:
    """Where one foot's cleat is and where the advice puts it today."""

    side: str
    start: Start
    advice: Advice
    found: Drawn | None  # cleat setback as found [mm], None where it was not measured
    set_to: float | None  # where the advice puts the cleat today [mm], None without advice
    move: Quantity | None  # how far that is from as found [mm]
    target: Drawn | str  # where that is, with its draws; or why nothing is moved


def foot_of(inputs: Inputs, draws: Draws, side: str, start: Start, advice: Advice) -> Foot:
    """Return where one foot's cleat is and is to go; `side` is "left" or "right"."""
    path = AS_FOUND.path.format(side=side)
    quantity = inputs.quantity(path)
    found = None if quantity is None else draws.read(path, quantity)
    move = _move(inputs, side, advice)
    target = AS_FOUND.needs if found is None else no_move_words(advice)
    if move is not None and advice.kind == "move":
        # A planned target is a place, so its error is the old one's.
        target = Drawn(advice.next_mm, np.full_like(found.draws, advice.next_mm))
    elif move is not None:
        # A move done adds its own error to the old place.
        target = Drawn(advice.next_mm, found.draws + draws.of(f"{side}.move", move).draws)
    return Foot(side, start, advice, found, advice.next_mm, move, target)


def assess_cleat(inputs: Inputs, foot: Foot, facts: FootFacts) -> dict[str, Estimate]:
    """Return the results of one foot's cleat that more than readings tell."""
    return {
        "cleat_setback.as_left": _as_left(inputs, foot.side),
        **_band_results(inputs, foot.start),
        "cleat_setback.move": _move_estimate(foot),
        "cleat_setback.shortfall": _shortfall(inputs, foot, facts),
        "mtp1.expected": _expected(inputs, foot.side),
    }


def _size(inputs: Inputs, side: str) -> tuple[float | None, str]:
    """Return the EU size and where it comes from, in words; None with what is needed."""
    shoe = getattr(inputs.visit.session.shoes, side)
    foot = inputs.quantity(f"rider.{side}.foot_length_mm")
    try:
        if shoe.size is not None and shoe.size_system is not None:
            note = footwear.label_note(shoe.size_system)
            words = f"label {choice_words(shoe.size_system)} {shoe.size:g}{f' ({note})' if note else ''}"
            return footwear.eu_from_label(shoe.size, shoe.size_system), words
        if foot is not None:
            return footwear.size_from_foot(foot.value, "eu"), f"foot length {foot.value:.0f} mm"
    except ValueError as error:
        return None, f"a possible shoe size: {error}"
    return None, "size system of the shoe label" if shoe.size is not None else "shoe size or foot length"


def start_of(inputs: Inputs, side: str) -> Start:
    """Return where one foot is to begin by the house rules, with the size it goes by and what shifted it."""
    size, words = _size(inputs, side)
    if size is None:
        return Start(None, needs=words)
    rule = inputs.visit.house.rules.starting_band.model_dump(exclude={"grade", "source"})
    band = cleats.starting_band(size, **rule)
    if band is None:
        needs = f"a size from EU {rule['least_size']:g} to {rule['greatest_size']:g}; this one is EU {size:.1f}"
        return Start(size, needs=needs)
    notes = [f"by {words}" if words == f"label EU {size:g}" else f"by {words}: EU {size:.1f}"]
    if band.is_extrapolated:
        notes.append(f"extrapolated above EU {rule['extrapolated_above_size']:g}")
    foot = inputs.number(f"rider.{side}.foot_length_mm")
    if foot is not None and abs(footwear.sizes_differ(size, foot)) > 1:
        other = cleats.starting_band(footwear.size_from_foot(foot, "eu"), **rule)
        if other is not None:
            by_foot = f"by the foot {other.low:.1f} to {other.high:.1f} mm"
            notes.append(f"label and foot length differ by more than a size: {by_foot}")
    shifts = _shifts(inputs, side)
    point, is_contrary = cleats.shift_to(band, {shift.to for shift in shifts})
    said = [_shift_words(shift) for shift in shifts]
    said += ["these ask for contrary ends: not shifted"] if is_contrary else []
    is_shifted = not is_contrary and any(shift.to != "none" for shift in shifts)
    needs = None if point is not None else "a trial from the band's rearward end"
    return Start(size, band, point, needs, tuple(notes), tuple(said), is_shifted)


def _shifts(inputs: Inputs, side: str) -> tuple[Shift, ...]:
    """Return the house shifts that apply to this side, by the riding and by what was seen."""
    session = inputs.visit.session
    causes = {entry.what for entry in session.seen if entry.side in (side, "both", None)} | {session.rider.riding}
    return tuple(shift for shift in inputs.visit.house.rules.shifts if shift.cause in causes)


def _band_results(inputs: Inputs, start: Start) -> dict[str, Estimate]:
    low, high, point = (f"cleat_setback.{name}" for name in ("band_low", "band_high", "start"))
    if start.band is None:
        return {name: RESULTS[name].lacking(start.needs) for name in (low, high, point)}
    rule, rules = inputs.visit.house.rules.starting_band, inputs.visit.house.rules_source
    source = f"starting band of {rules}: {rule.source}"
    common = {"grade": rule.grade, "source": source, "notes": start.notes}
    ends = {low: RESULTS[low].of(start.band.low, **common), high: RESULTS[high].of(start.band.high, **common)}
    if start.point is None:
        return {**ends, point: RESULTS[point].lacking(start.needs, notes=start.notes)}
    common |= {"low": start.band.low, "high": start.band.high, "notes": (*start.notes, *start.point_notes)}
    common |= {"grade": "house rule", "source": f"{source}, shifted"} if start.is_shifted else {}
    return {**ends, point: RESULTS[point].of(start.point, **common)}


def _shift_words(shift: Shift) -> str:
    where = {"high": "begin at the high end", "low": "begin at the low end", "none": "watch, no shift"}[shift.to]
    return f"{shift.cause.replace('_', ' ')}: {where} ({shift.reason.rstrip('.')})"


def _as_left(inputs: Inputs, side: str) -> Estimate:
    row, path = RESULTS["cleat_setback.as_left"], f"as_left.{side}.cleat_setback_mm"
    read = inputs.quantity(path)
    if read is not None:
        as_found = RESULTS["cleat_setback.as_found"]
        return row.of(read, source=measured(as_found.source, inputs, path), grade=as_found.grade)
    moved, found = (
        getattr(inputs.visit.session.as_left.moved_mm, side),
        inputs.quantity(AS_FOUND.path.format(side=side)),
    )
    if moved is None or found is None:
        return row.lacking("cleat setback measured again after tightening" if moved is None else AS_FOUND.needs)
    return row.of(linear([(1, found), (1, _between_lines(inputs, moved))]))


def _between_lines(inputs: Inputs, moved_mm: float) -> Quantity:
    """Return a distance moved between scribed lines, which does not carry the mark's error."""
    return Quantity(moved_mm, ((inputs.visit.house.rules.moved_sd_mm, math.inf),))


def _reads_between_marks(inputs: Inputs, side: str, advice: Advice) -> str | None:
    """Return the path of the readings that a decision rests on, None where it was moved between scribed lines."""
    if advice.kind != "decided":
        return None
    position = next(at for at in ("decided", "as_left") if inputs.own_setback(at, side) is not None)
    path = f"{position}.{side}.cleat_setback_mm"
    return path if inputs.readings(path) else None


def _move(inputs: Inputs, side: str, advice: Advice) -> Quantity | None:
    """Return target minus as found with its error: the mark's when planned toward the band, else the scribed lines'."""
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    if found is None or advice.next_mm is None:
        return None
    if advice.kind == "move":
        return Quantity(advice.next_mm - found.value, found.components)
    path = _reads_between_marks(inputs, side, advice)
    if path:
        old = inputs.quantity(f"as_found.{side}.cleat_setback_mm", place=False)
        return cleats.move_between_marks(inputs.quantity(path, place=False), old)
    # Rounded, so that a distance typed comes back as typed.
    return _between_lines(inputs, round(advice.next_mm - found.value, 9))


_MOVE_SOURCES = {
    "decided": "decided place minus as found",
    "put_back": "the last visit's change taken back",
    "kept": "place of the trial kept, minus as found",
    "after_trials": "place by the trials, minus as found",
    "move": "place for today minus as found; the error of the mark as found",
}


def _move_estimate(foot: Foot) -> Estimate:
    row, kind = RESULTS["cleat_setback.move"], foot.advice.kind
    if foot.move is None:
        return row.lacking(foot.target)
    return row.of(foot.move, source=_MOVE_SOURCES[kind], notes=(COSTS_LESS.rstrip("."),) if kind == "move" else ())


def _shortfall(inputs: Inputs, foot: Foot, facts: FootFacts) -> Estimate:
    """Return how far the place it is going to lies beyond the slots; an adapter fitted meanwhile is counted."""
    row, advice = RESULTS["cleat_setback.shortfall"], foot.advice
    to = advice.next_mm if advice.to_mm is None else advice.to_mm + advice.short_by_mm
    if to is None or foot.found is None:
        return row.lacking(AS_FOUND.needs if foot.found is None else no_move_words(advice))
    end = "greatest" if to >= foot.found.value else "least"
    slot = inputs.quantity(SLOT_ENDS[end].path.format(side=foot.side), place=advice.kind == "move")
    if slot is None:
        return row.lacking(SLOT_ENDS[end].needs)
    beyond = Quantity(to - (facts.slot_greatest_mm if end == "greatest" else facts.slot_least_mm), slot.components)
    value, low, high = cleats.shortfall(*((beyond, None) if end == "greatest" else (None, beyond)))
    return row.of(value, low=low, high=high, notes=("the slots end before the target",) if value else ())


def _expected(inputs: Inputs, side: str) -> Estimate:
    row, foot = RESULTS["mtp1.expected"], inputs.quantity(f"rider.{side}.foot_length_mm")
    if foot is None:
        return row.lacking("foot length")
    population = inputs.visit.session.rider.reference_population
    value, low, high = footwear.expected_first_mtp(foot, population)
    measured_mm, notes = inputs.number(f"rider.{side}.heel_to_mtp1_mm"), []
    if population is None:
        notes.append("reference population not said: men and women spanned")
    if measured_mm is not None and not low <= measured_mm <= high:
        notes.append(f"measured {measured_mm:.0f} lies outside: look at the mark again")
    return row.of(value, low=low, high=high, notes=tuple(notes))
