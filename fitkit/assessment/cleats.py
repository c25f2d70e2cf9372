"""One foot's cleat: where it is, where to begin, what the slots allow, the move, and the rotation left."""

from __future__ import annotations

from dataclasses import dataclass, field

from fitkit.advice_words import COSTS_LESS, no_move_words
from fitkit.assessment.inputs import Draws, Inputs, estimate_from
from fitkit.calculations import cleats, footwear
from fitkit.calculations.advice import Advice, FootFacts
from fitkit.calculations.readings import Quantity, linear
from fitkit.estimate import Estimate, Grade, known, missing
from fitkit.house import Shift

__all__ = ["Foot", "Start", "assess_foot", "start_of"]

NEED_AS_FOUND = "readings of the cleat setback as found"
NEED_SLOT_END = {
    "least": "the slots' front end (least cleat setback)",
    "greatest": "the slots' rear end (greatest cleat setback)",
}


@dataclass(frozen=True)
class Start:
    """The starting band and point of one foot with what led to them."""

    size_eu: float | None
    size_words: str
    band: cleats.Band | None
    point: float | None
    needs: str | None
    shifts: tuple[Shift, ...] = ()
    is_contrary: bool = False
    foot_band: cleats.Band | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Foot:
    """What the assessment says of one foot's cleat, beyond its named results.

    `set_to` is where the advice puts the cleat today and `move` how far that is from as found, None without advice.
    """

    side: str
    start: Start
    advice: Advice
    set_to: float | None
    move: Quantity | None
    results: dict[str, Estimate] = field(default_factory=dict)


def assess_foot(inputs: Inputs, draws: Draws, side: str, start: Start, advice: Advice, facts: FootFacts) -> Foot:
    """Return one foot's cleat results; `side` is "left" or "right"."""
    as_found = _setback(inputs, f"as_found.{side}.cleat_setback_mm")
    move = _move(inputs, side, advice)
    results = {
        "cleat_setback.as_found": as_found,
        "cleat_setback.as_left": _as_left(inputs, side),
        "cleat_setback.square_to_axle": _square_to_axle(inputs, draws, side),
        **_band_results(inputs, start),
        "cleat_setback.move": _move_estimate(move, as_found, advice),
        "cleat_setback.slot_least": _slot_end(inputs, side, "least"),
        "cleat_setback.slot_greatest": _slot_end(inputs, side, "greatest"),
        "cleat_setback.shortfall": _shortfall(inputs, side, advice, facts),
        "mtp1.expected": _expected(inputs, side),
        **_float(inputs, side),
    }
    named = {f"{side}.{name}": estimate for name, estimate in results.items()}
    return Foot(side, start, advice, advice.next_mm, move, named)


_SYSTEMS = {"eu": "EU", "uk": "UK", "us_men": "US men's", "us_women": "US women's", "mondopoint": "Mondopoint"}


def _size(inputs: Inputs, side: str) -> tuple[float | None, str]:
    """Return the EU size and where it comes from, in words; None with what is needed."""
    shoe = getattr(inputs.visit.session.shoes, side)
    foot = inputs.quantity(f"rider.{side}.foot_length_mm")
    try:
        if shoe.size is not None and shoe.size_system is not None:
            note = footwear.label_note(shoe.size_system)
            words = f"label {_SYSTEMS[shoe.size_system]} {shoe.size:g}{f' ({note})' if note else ''}"
            return footwear.eu_from_label(shoe.size, shoe.size_system), words
        if foot is not None:
            return footwear.eu_from_foot(foot.value), f"foot length {foot.value:.0f} mm"
    except ValueError as error:
        return None, f"a possible shoe size: {error}"
    return None, "size system of the shoe label" if shoe.size is not None else "shoe size or foot length"


def start_of(inputs: Inputs, side: str) -> Start:
    """Return where one foot is to begin by the house rules, with the size it goes by and what shifted it."""
    size, words = _size(inputs, side)
    if size is None:
        return Start(None, words, None, None, words)
    rule = inputs.visit.house.rules.starting_band.model_dump(exclude={"grade", "source"})
    band = cleats.starting_band(size, **rule)
    if band is None:
        needs = f"a size from EU {rule['least_size']:g} to {rule['greatest_size']:g}; this one is EU {size:.1f}"
        return Start(size, words, None, None, needs)
    shifts = _shifts(inputs, side)
    point, is_contrary = cleats.shift_to(band, {shift.to for shift in shifts})
    needs = None if point is not None else "a trial from the band's rearward end"
    notes = [f"by {words}" if words == f"label EU {size:g}" else f"by {words}: EU {size:.1f}"]
    if band.is_extrapolated:
        notes.append(f"extrapolated above EU {rule['extrapolated_above_size']:g}")
    foot_band = _foot_band(inputs, side, size, rule)
    if foot_band:
        notes.append(f"label and foot length differ by more than a size: by the foot {_words(foot_band)}")
    return Start(size, words, band, point, needs, shifts, is_contrary, foot_band, tuple(notes))


def _words(band: cleats.Band) -> str:
    return f"{band.low:.1f} to {band.high:.1f} mm"


def _foot_band(inputs: Inputs, side: str, size: float, rule: dict) -> cleats.Band | None:
    """Return the band by foot length where label and foot are more than one size apart."""
    foot = inputs.quantity(f"rider.{side}.foot_length_mm")
    if foot is None or abs(footwear.sizes_differ(size, foot.value)) <= 1:
        return None
    return cleats.starting_band(footwear.eu_from_foot(foot.value), **rule)


def _shifts(inputs: Inputs, side: str) -> tuple[Shift, ...]:
    """Return the house shifts that apply to this side, by the riding and by what was seen."""
    session = inputs.visit.session
    causes = {entry.what for entry in session.seen if entry.side in (side, "both", None)} | {session.rider.riding}
    return tuple(shift for shift in inputs.visit.house.rules.shifts if shift.cause in causes)


def _band_results(inputs: Inputs, start: Start) -> dict[str, Estimate]:
    names = ("cleat_setback.band_low", "cleat_setback.band_high", "cleat_setback.start")
    if start.band is None:
        return {name: missing(start.needs) for name in names}
    rule, rules = inputs.visit.house.rules.starting_band, inputs.visit.house.rules_source
    source = f"starting band of {rules}: {rule.source}"
    common = {"unit": "mm", "grade": rule.grade, "source": source, "notes": start.notes}
    low, high = start.band.low, start.band.high
    ends = {names[0]: known(low, **common), names[1]: known(high, **common)}
    if start.point is None:
        return {**ends, names[2]: missing(start.needs, low=None, high=None, notes=start.notes)}
    said = tuple(_shift_words(shift) for shift in start.shifts)
    if start.is_contrary:
        said = (*said, "these ask for contrary ends: not shifted")
    is_shifted = not start.is_contrary and any(shift.to != "none" for shift in start.shifts)
    if is_shifted:
        common |= {"grade": "house rule", "source": f"{source}, shifted"}
    common |= {"notes": (*start.notes, *said)}
    return {**ends, names[2]: known(start.point, low=low, high=high, **common)}


def _shift_words(shift: Shift) -> str:
    where = {"high": "begin at the high end", "low": "begin at the low end", "none": "watch, no shift"}[shift.to]
    return f"{shift.cause.replace('_', ' ')}: {where} ({shift.reason.rstrip('.')})"


def _mark_words(inputs: Inputs) -> str:
    study = inputs.visit.study
    return f"the fitter's own study of {study.date}" if study else "the house rule for the mark's error"


def _count(n: int) -> str:
    return "1 reading" if n == 1 else f"{n} readings"


def _setback(inputs: Inputs, dotted: str) -> Estimate:
    quantity = inputs.quantity(dotted)
    if quantity is None:
        return missing(NEED_AS_FOUND)
    source = f"mean of {_count(len(inputs.readings(dotted)))}, with {_mark_words(inputs)}"
    return known(quantity.value, unit="mm", grade="measured here", source=source, half_width=quantity.half_width())


def _moved(inputs: Inputs, position: str, side: str) -> Quantity | None:
    """Return the distance moved between scribed lines in a position, which does not carry the mark's error."""
    moved = getattr(getattr(inputs.visit.session, position).moved_mm, side)
    if moved is None:
        return None
    return Quantity(moved, ((inputs.visit.house.rules.moved_sd_mm, float("inf")),))


def _as_left(inputs: Inputs, side: str) -> Estimate:
    dotted = f"as_left.{side}.cleat_setback_mm"
    if inputs.readings(dotted):
        return _setback(inputs, dotted)
    moved, found = _moved(inputs, "as_left", side), inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    if moved is None:
        return missing("cleat setback measured again after tightening")
    if found is None:
        return missing(NEED_AS_FOUND)
    left = linear([(1, found), (1, moved)])
    source = "as found plus the distance moved between scribed lines"
    return known(left.value, unit="mm", grade="derived", source=source, half_width=left.half_width())


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
    return Quantity(round(advice.next_mm - found.value, 9), ((inputs.visit.house.rules.moved_sd_mm, float("inf")),))


_MOVE_SOURCES: dict[str, tuple[Grade, str]] = {
    "decided": ("derived", "decided place minus as found"),
    "put_back": ("derived", "the last visit's change taken back"),
    "kept": ("derived", "place of the trial kept, minus as found"),
    "after_trials": ("derived", "place by the trials, minus as found"),
    "move": ("derived", "place for today minus as found; the error of the mark as found"),
}


def _move_estimate(move: Quantity | None, as_found: Estimate, advice: Advice) -> Estimate:
    if not as_found.is_known:
        return missing(NEED_AS_FOUND)
    if move is None:
        return missing(no_move_words(advice))
    grade, source = _MOVE_SOURCES[advice.kind]
    notes = (COSTS_LESS.rstrip("."),) if advice.kind == "move" else ()
    return known(move.value, unit="mm", grade=grade, source=source, half_width=move.half_width(), notes=notes)


def _slot_end(inputs: Inputs, side: str, end: str) -> Estimate:
    quantity = inputs.quantity(f"shoes.{side}.{end}_cleat_setback_mm")
    if quantity is None:
        return missing(NEED_SLOT_END[end])
    source = f"1 reading, with {_mark_words(inputs)}"
    return known(quantity.value, unit="mm", grade="measured here", source=source, half_width=quantity.half_width())


def _shortfall(inputs: Inputs, side: str, advice: Advice, facts: FootFacts) -> Estimate:
    """Return how far the place it is going to lies beyond the slots; an adapter fitted meanwhile is counted."""
    to = advice.next_mm if advice.to_mm is None else advice.to_mm + advice.short_by_mm
    if to is None or facts.found_mm is None:
        return missing(no_move_words(advice) if facts.found_mm is not None else NEED_AS_FOUND)
    end = "greatest" if to >= facts.found_mm else "least"
    reach = {"least": facts.slot_least_mm, "greatest": facts.slot_greatest_mm}
    slot = inputs.quantity(f"shoes.{side}.{end}_cleat_setback_mm", place=advice.kind == "move")
    if slot is None:
        return missing(NEED_SLOT_END[end])
    beyond = Quantity(to - reach[end], slot.components)
    value, low, high = cleats.shortfall(*((beyond, None) if end == "greatest" else (None, beyond)))
    notes = ("the slots end before the target",) if value else ()
    source = "where it is going before the slots hold it, minus the nearest slot end"
    return known(value, unit="mm", grade="derived", source=source, low=low, high=high, notes=notes)


def _square_to_axle(inputs: Inputs, draws: Draws, side: str) -> Estimate:
    paths = {
        "cleat_setback": f"as_found.{side}.cleat_setback_mm",
        "toe_out": f"as_found.{side}.cleat_toe_out_deg",
        "joint_to_big_toe_side": f"rider.{side}.mtp1_big_toe_side_mm",
        "shoe_outward": f"as_found.{side}.shoe_outward_mm",
    }
    found = {name: inputs.quantity(path) for name, path in paths.items()}
    words = {"cleat_setback": NEED_AS_FOUND, "toe_out": "cleat toe-out as found"}
    words["joint_to_big_toe_side"] = "first-MTP joint to the big-toe side of the shoe's axis"
    for name, need in words.items():
        if found[name] is None:
            return missing(need)
    notes = () if found["shoe_outward"] else ("shoe outward not recorded: taken as 0",)
    found["shoe_outward"] = found["shoe_outward"] or Quantity(0.0)
    drawn = {name: draws.of(f"{side}.{name}", quantity) for name, quantity in found.items()}

    def square(by: dict):
        return cleats.square_to_axle(
            by["cleat_setback"], by["joint_to_big_toe_side"] - by["shoe_outward"], by["toe_out"]
        )

    value = float(square({name: quantity.value for name, quantity in found.items()}))
    source = "s cos t + b sin t from cleat setback, toe-out and the joint's place, as found"
    return estimate_from(value, square(drawn), unit="mm", grade="derived", source=source, notes=notes)


def _expected(inputs: Inputs, side: str) -> Estimate:
    foot = inputs.quantity(f"rider.{side}.foot_length_mm")
    if foot is None:
        return missing("foot length")
    population = inputs.visit.session.rider.reference_population
    value, low, high = footwear.expected_first_mtp(foot, population)
    measured = inputs.quantity(f"rider.{side}.heel_to_mtp1_mm")
    notes = []
    if population is None:
        notes.append("reference population not said: men and women spanned")
    if measured is not None and not low <= measured.value <= high:
        notes.append(f"measured {measured.value:.0f} lies outside: look at the mark again")
    return known(
        value,
        unit="mm",
        grade="published",
        source="Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II), regression on foot length",
        low=low,
        high=high,
        notes=tuple(notes),
    )


def _float(inputs: Inputs, side: str) -> dict[str, Estimate]:
    names = ("float.free_heel_in", "float.free_heel_out")
    natural = inputs.quantity(f"rider.{side}.natural_toe_out_deg")
    where = inputs.current(f"{side}.cleat_toe_out_deg")
    play = inputs.visit.session.bike.float_deg
    needs = {"the pedal's float": play, "natural toe-out": natural, "cleat toe-out": where}
    for need, found in needs.items():
        if found is None:
            return {name: missing(need, unit="deg") for name in names}
    free = cleats.free_rotation(play, natural, inputs.quantity(where))
    source = "half the float, natural toe-out and the cleat's toe-out in the current position"
    results = {}
    for name, quantity in zip(names, (free.heel_in, free.heel_out), strict=True):
        notes = ("the foot cannot stand at its natural angle",) if quantity.value <= 0 else ()
        results[name] = known(
            quantity.value, unit="deg", grade="derived", source=source, half_width=quantity.half_width(), notes=notes
        )
    return results
