"""What stands between part and part: thread, lean, gaps of the foot; and what of it is not safe as fitted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace

from fitkit.assessment.inputs import SIDES, Drawn, Draws, Inputs
from fitkit.assessment.results import RESULTS, evaluate
from fitkit.calculations import clearances
from fitkit.calculations.clearances import LEAST_LEAN_DEG
from fitkit.calculations.parts_table import NEEDS_MAKERS_WORD
from fitkit.calculations.readings import Quantity, exact
from fitkit.estimate import Estimate
from fitkit.session.paths import holds_any

CHANGED_BY = 0.5  # house choice [mm or degrees]: after a greater change a gap is measured again
SMALL_GAP_MM = 10.0  # house choice: a gap under this is measured again after a turn of the cleat
SLACK = 1e-6  # keeps a limit met exactly from failing by the last bit
GAPS = {
    "heel_gap_heel_in_mm": "heel to crank, heel in",
    "heel_gap_heel_out_mm": "heel to crank, heel out",
    "ankle_gap_mm": "anklebone to crank",
    "forefoot_gap_mm": "forefoot to crank",
}


def thread_turns(inputs: Inputs, draws: Draws, side: str) -> Estimate:
    """Return the turns of pedal thread engaged on one side in the current position, with the readings' error."""
    result = RESULTS["thread.turns"]
    extender_mm, said = inputs.fitted(side, "extender_mm")
    extender = inputs.part(inputs.word_now(f"{side}.extender_id"))
    spindle_thread, said_of_spindle = _spindle_thread(inputs, side)
    found = {
        f"{side}.spindle_thread": spindle_thread,
        f"{side}.unthreaded_tip": inputs.quantity(f"bike.{side}.unthreaded_tip_mm"),
        f"{side}.washer": inputs.now(f"{side}.washer_mm"),
        "crank_thread_depth": inputs.quantity("bike.crank_thread_depth_mm"),
    }
    lengths = {_parameter(row): None if quantity is None else quantity.value for row, quantity in found.items()}
    parts = {"extender_mm": extender_mm, "extender_thread_mm": extender.thread_mm if extender else None}
    try:
        turns = clearances.thread_turns(**lengths, **parts)
    except ValueError as error:
        return result.lacking(f"lengths that are possible: {error}")
    notes = (*turns.notes, *(note for note in (said_of_spindle, said) if note))
    if turns.value is None:
        return result.lacking(turns.needs, notes=notes)
    # What is not there has no error.
    there = {row: quantity if quantity and quantity.value else exact(0.0) for row, quantity in found.items()}
    drawn = {_parameter(row): draws.of(row, quantity).draws for row, quantity in there.items()}
    parts["extender_thread_mm"] = math.nan if parts["extender_thread_mm"] is None else parts["extender_thread_mm"]
    engaged = clearances.turns_engaged(**drawn, **{name: value or 0.0 for name, value in parts.items()})
    made = result.of(Drawn(turns.value, engaged), notes=notes)
    least = inputs.visit.house.rules.least_turns
    few = f"may be fewer than the {least:g} turns of the house rules: not safe to ride"
    return made.noting(few if made.low < least else "")


def _parameter(row: str) -> str:
    return f"{row.rpartition('.')[2]}_mm"


def _spindle_thread(inputs: Inputs, side: str) -> tuple[Quantity | None, str | None]:
    """Return the length of the spindle's thread [mm], and what must be said of it.

    What was measured is the spindle's as found; another one, recorded by its id since, has the parts table's thread.
    """
    measured = inputs.quantity(f"bike.{side}.spindle_thread_mm")
    name = inputs.word_now(f"{side}.spindle_id")
    is_as_found = name == inputs.as_found.word_now(f"{side}.spindle_id")
    part = inputs.part(name)
    if part is None or (is_as_found and measured is not None):
        return measured, None
    if part.thread_mm is None:
        return measured, f"thread of {part.id} not in the parts table: taken as that of the spindle as found"
    return exact(part.thread_mm), f"thread of {part.id} by the parts table, not measured"


def added_since_found(inputs: Inputs, side: str) -> float:
    """Return what parts fitted since as found add outward on one side [mm]; a length recorded nowhere is 0."""
    then_and_now = (inputs.as_found, inputs)
    lengths = [
        (at.number_now(f"{side}.washer_mm") or 0.0) + (at.fitted(side, "extender_mm")[0] or 0.0) for at in then_and_now
    ]
    spindles = [at.fitted(side, "spindle_to_cleat_centre_mm")[0] for at in then_and_now]
    if None in spindles:
        # Where its length is not known at both times, the parts table still knows what one adds to another.
        parts = (at.part(at.word_now(f"{side}.spindle_id")) for at in then_and_now)
        spindles = [(part.adds_mm or 0.0) if part else 0.0 for part in parts]
    return lengths[1] - lengths[0] + spindles[1] - spindles[0]


def outward_since_found(inputs: Inputs, side: str) -> float:
    """Return how far one foot stands further out than as found [mm]: parts added, and the shoe moved on its cleat."""
    now, before = inputs.number_now(f"{side}.shoe_outward_mm"), inputs.number(f"as_found.{side}.shoe_outward_mm")
    return added_since_found(inputs, side) + (now or 0.0) - (before or 0.0)


@dataclass(frozen=True)
class FootGap:
    """One gap between foot and crank [mm]: as measured, and whether it still holds."""

    name: str
    words: str
    measured: Quantity | None
    then: Inputs  # the visit as it stood when it was measured; what was measured on the bicycle is as found
    holds: bool
    outward_since: float  # how far the foot has moved outward since then [mm]

    @property
    def needs(self) -> str | None:
        """What it needs, None where it holds."""
        if self.measured is None:
            return "not measured"
        return None if self.holds else "measure again"


def foot_gaps(inputs: Inputs, side: str) -> tuple[FootGap, ...]:
    """Return one foot's gaps to crank and frame; one holds only where the foot stands as it was measured.

    A change of toe-out, cleat setback or half-stance by more than 0.5 since then voids it; a position's own gaps stand
    before the bicycle's.
    """
    gaps = []
    for name, words in GAPS.items():
        at = inputs.last_with(f"{side}.{name}")
        path = f"bike.{side}.{name}" if at is None else f"{inputs.positions[at]}.{side}.{name}"
        then = inputs.as_found if at is None else Inputs(inputs.visit, inputs.positions[: at + 1])
        outward = outward_since_found(inputs, side) - outward_since_found(then, side)
        holds = not _stands_otherwise(then, inputs, side, outward)
        gaps.append(FootGap(name, words, inputs.quantity(path), then, holds, outward))
    return tuple(gaps)


def _stands_otherwise(then: Inputs, now: Inputs, side: str, outward: float) -> bool:
    pairs = (
        (then.number_now(f"{side}.cleat_toe_out_deg"), now.number_now(f"{side}.cleat_toe_out_deg")),
        (then.setback_now(side), now.setback_now(side)),
        (0.0, outward),
    )
    return any(None not in pair and abs(pair[1] - pair[0]) > CHANGED_BY + SLACK for pair in pairs)


_IDS = {"spindle_id": None, "extender_id": "extender_mm", "base_adapter_id": "adapter_stack_mm"}


@dataclass(frozen=True)
class Unsafe:
    """One thing that is not safe as fitted: value against limit [unit], and why in words; None is not known."""

    what: str
    side: str
    value: float | None
    limit: float | None
    unit: str
    why: str

    @property
    def words(self) -> str:
        """What is not safe, for the fitter."""
        return f"{self.side}: {self.why}"

    def as_document(self) -> dict:
        """Return it as it stands in the results file."""
        return asdict(self)


def find_unsafe(inputs: Inputs, draws: Draws) -> tuple[Unsafe, ...]:
    """Return what is not safe in the last position that counts, and in every trial not yet decided on."""
    found: dict[tuple, Unsafe] = {}
    views = [(inputs, ""), *((view, f" in trial {n + 1}") for n, view in _open_trials(inputs))]
    for view, where in views:
        for side in SIDES:
            for each in (
                *_thread(view, draws, side),
                *_mass(view, side),
                *_bolt(view, side),
                *_gaps(view, side),
                *_lean(view, draws, side),
            ):
                # What is not safe as it stands is not said again for a trial that changes nothing of it.
                found.setdefault((each.what, each.side, each.why), replace(each, why=each.why + where))
    return tuple(found.values())


def _open_trials(inputs: Inputs) -> list[tuple[int, Inputs]]:
    """Return the visit as it stands in each trial that is neither kept nor given up."""
    trials = enumerate(inputs.visit.session.trials)
    return [(n, inputs.in_trial(n)) for n, trial in trials if trial.kept is None and holds_any(trial.position)]


def _thread(inputs: Inputs, draws: Draws, side: str) -> Iterator[Unsafe]:
    turns, least = thread_turns(inputs, draws, side), inputs.visit.house.rules.least_turns
    if turns.is_known and turns.low < least:
        size = f"{turns.value:.1f} turns of pedal thread engaged ({turns.low:.1f} to {turns.high:.1f})"
        yield Unsafe("thread", side, turns.value, least, "turns", f"{size}, {least:g} wanted")


def _mass(inputs: Inputs, side: str) -> Iterator[Unsafe]:
    """Return the parts that their makers do not give to this rider, as the parts search refuses them."""
    mass = inputs.number("rider.mass_kg")
    for name, length in _IDS.items():
        part = inputs.part(inputs.word_now(f"{side}.{name}"))
        # A length of 0 typed later says that the part was taken off again.
        if part is None or (length and inputs.fitted(side, length)[0] == 0):
            continue
        if part.max_rider_kg is not None and (mass is None or mass > part.max_rider_kg):
            rider = "the rider's mass is not recorded" if mass is None else f"the rider is {mass:g} kg"
            why = f"{part.id} is for riders up to {part.max_rider_kg:g} kg, {rider}"
            yield Unsafe("mass", side, mass, part.max_rider_kg, "kg", why)
        elif part.max_rider_kg is None and part.kind in NEEDS_MAKERS_WORD:
            why = f"{part.id}: its maker's word on the rider's mass is missing"
            yield Unsafe("mass", side, mass, None, "kg", why)


def _bolt(inputs: Inputs, side: str) -> Iterator[Unsafe]:
    as_found = inputs.as_found
    now, before = _under(inputs, side), _under(as_found, side)
    if now is None and before is not None:
        part = inputs.word_now(f"{side}.base_adapter_id")
        why = f"the stack of {part} is not known, nor whether the bolts are long enough"
        yield Unsafe("bolt", side, None, None, "mm", why)
    if None in (now, before) or now - before <= SLACK:
        return
    more = now - before
    # Bolts as found may have been longer ones already: the longer of both is what new ones are held against.
    known = (inputs.number(f"shoes.{side}.bolt_length_mm"), as_found.number_now(f"{side}.bolt_length_mm"))
    own, bolt = [length for length in known if length is not None], inputs.number_now(f"{side}.bolt_length_mm")
    longer = None if bolt is None or not own else bolt - max(own)
    if longer is None or longer < more - SLACK:
        bolts = "longer bolts are not recorded" if not longer else f"the bolts are {longer:.1f} mm longer"
        why = f"shim or adapter is {more:g} mm more than as found, {bolts}"
        yield Unsafe("bolt", side, longer, more, "mm", why)


def _under(inputs: Inputs, side: str) -> float | None:
    """Return what lies under one cleat [mm]: recorded nowhere is nothing, an adapter of unknown stack is not known."""
    stack = inputs.fitted(side, "adapter_stack_mm")[0]
    if stack is None and inputs.word_now(f"{side}.base_adapter_id") is not None:
        return None
    return (inputs.number_now(f"{side}.shim_mm") or 0.0) + (stack or 0.0)


def _lean(inputs: Inputs, draws: Draws, side: str) -> Iterator[Unsafe]:
    if inputs.visit.house.rules.lean_under_least != "refuse":
        return
    added = {"added": exact(added_since_found(inputs, side))}
    lean = evaluate(f"{side}.lean.clearance", inputs, draws, added)
    if lean.is_known and lean.value < LEAST_LEAN_DEG:
        why = f"the lowered pedal touches at {lean.value:.1f} degrees, {LEAST_LEAN_DEG:g} wanted"
        yield Unsafe("lean", side, lean.value, LEAST_LEAN_DEG, "deg", why)


def _gaps(inputs: Inputs, side: str) -> list[Unsafe]:
    found, turned = [], []
    toe_out = f"{side}.cleat_toe_out_deg"
    for gap in foot_gaps(inputs, side):
        if gap.measured is None:
            continue
        # One that no longer holds is carried on by what the foot was moved outward since, for this alone: a foot
        # moved in by more than its gap is not safe until somebody has measured.
        value, half = gap.measured.value + gap.outward_since, gap.measured.half_width()
        if value - half <= 0:
            size = f"{gap.words} is {value:g} mm, give or take {half:.1f}"
            why = size if gap.holds else f"{gap.words} was {gap.measured.value:g} mm, then moved: measure again"
            found.append(Unsafe("gap", side, value, 0.0, "mm", f"{why}, it may touch"))
        then, now = gap.then.number_now(toe_out), inputs.number_now(toe_out)
        if None not in (then, now) and abs(now - then) > CHANGED_BY + SLACK and gap.measured.value < SMALL_GAP_MM:
            size = f"{gap.words} was {gap.measured.value:g} mm"
            why = f"turned by {abs(now - then):.1f} degrees since {size}: measure it again"
            turned.append(Unsafe("turned", side, gap.measured.value, SMALL_GAP_MM, "mm", why))
    return [*found, *sorted(turned, key=lambda each: each.value)[:1]]
