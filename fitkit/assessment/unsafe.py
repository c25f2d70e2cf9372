"""Not safe as fitted: the limits of parts and gaps, held against what is fitted and against what is being tried."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from fitkit.assessment.clearances import CHANGED_BY, SLACK, foot_gaps, lean_clearance, thread_turns
from fitkit.assessment.inputs import Draws, Inputs
from fitkit.calculations.clearances import LEAST_LEAN_DEG
from fitkit.calculations.parts import NEEDS_MAKERS_WORD
from fitkit.session.paths import counting, holds_any

__all__ = ["Unsafe", "find_unsafe"]

SIDES = ("left", "right")
SMALL_GAP_MM = 10.0  # house choice: a gap under this is measured again after a turn of the cleat
_IDS = {"spindle_id": None, "extender_id": "extender_mm", "base_adapter_id": "adapter_stack_mm"}
_RIDER_WORDS = {
    "thread": "the {side} pedal has enough thread in the crank again",
    "mass": "the maker of the part in your {side} pedal or cleat has been asked about your weight",
    "bolt": "your {side} cleat has bolts that are long enough",
    "gap": "your {side} shoe no longer touches the crank or frame",
    "turned": "the gap between your {side} foot and the crank has been measured again",
    "lean": "your {side} pedal clears the ground in a turn",
}


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

    @property
    def rider_words(self) -> str:
        """What the rider waits for."""
        return f"Do not ride until {_RIDER_WORDS[self.what].format(side=self.side)}."

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
    session, views = inputs.visit.session, []
    for number, trial in enumerate(session.trials):
        if trial.kept is None and holds_any(trial.position):
            path = f"trials.{number}.position"
            before = [at for at in counting(session) if at == "as_found" or _is_before(at, number)]
            views.append((number, Inputs(inputs.visit, (*before, path))))
    return views


def _is_before(path: str, number: int) -> bool:
    return path.startswith("trials.") and int(path.split(".")[1]) < number


def _thread(inputs: Inputs, draws: Draws, side: str) -> list[Unsafe]:
    turns, least = thread_turns(inputs, draws, side), inputs.visit.house.rules.least_turns
    if not turns.is_known or turns.low >= least:
        return []
    why = f"{turns.value:.1f} turns of pedal thread engaged ({turns.low:.1f} to {turns.high:.1f}), {least:g} wanted"
    return [Unsafe("thread", side, turns.value, least, "turns", why)]


def _mass(inputs: Inputs, side: str) -> list[Unsafe]:
    """Return the parts that their makers do not give to this rider, as the parts search refuses them."""
    mass, found = inputs.number("rider.mass_kg"), []
    for name, length in _IDS.items():
        part = inputs.part(inputs.word_now(f"{side}.{name}"))
        # A length of 0 typed later says that the part was taken off again.
        if part is None or (length and inputs.fitted(side, length)[0] == 0):
            continue
        if part.max_rider_kg is not None and (mass is None or mass > part.max_rider_kg):
            rider = "the rider's mass is not recorded" if mass is None else f"the rider is {mass:g} kg"
            why = f"{part.id} is for riders up to {part.max_rider_kg:g} kg, {rider}"
            found.append(Unsafe("mass", side, mass, part.max_rider_kg, "kg", why))
        elif part.max_rider_kg is None and part.kind in NEEDS_MAKERS_WORD:
            why = f"{part.id}: its maker's word on the rider's mass is missing"
            found.append(Unsafe("mass", side, mass, None, "kg", why))
    return found


def _bolt(inputs: Inputs, side: str) -> list[Unsafe]:
    as_found = Inputs(inputs.visit, ("as_found",))
    now, before = _under(inputs, side), _under(as_found, side)
    if now is None and before is not None:
        part = inputs.word_now(f"{side}.base_adapter_id")
        why = f"the stack of {part} is not known, nor whether the bolts are long enough"
        return [Unsafe("bolt", side, None, None, "mm", why)]
    more = 0.0 if None in (now, before) else now - before
    if more <= SLACK:
        return []
    # Bolts as found may have been longer ones already: the longer of both is what new ones are held against.
    known = (inputs.number(f"shoes.{side}.bolt_length_mm"), as_found.number_now(f"{side}.bolt_length_mm"))
    own, bolt = [length for length in known if length is not None], inputs.number_now(f"{side}.bolt_length_mm")
    longer = None if bolt is None or not own else bolt - max(own)
    if longer is not None and longer >= more - SLACK:
        return []
    bolts = "longer bolts are not recorded" if not longer else f"the bolts are {longer:.1f} mm longer"
    return [Unsafe("bolt", side, longer, more, "mm", f"shim or adapter is {more:g} mm more than as found, {bolts}")]


def _under(inputs: Inputs, side: str) -> float | None:
    """Return what lies under one cleat [mm]: recorded nowhere is nothing, an adapter of unknown stack is not known."""
    stack = inputs.fitted(side, "adapter_stack_mm")[0]
    if stack is None and inputs.word_now(f"{side}.base_adapter_id") is not None:
        return None
    return (inputs.number_now(f"{side}.shim_mm") or 0.0) + (stack or 0.0)


def _lean(inputs: Inputs, draws: Draws, side: str) -> list[Unsafe]:
    if inputs.visit.house.rules.lean_under_least != "refuse":
        return []
    lean = lean_clearance(inputs, draws, side)
    if not lean.is_known or lean.value >= LEAST_LEAN_DEG:
        return []
    why = f"the lowered pedal touches at {lean.value:.1f} degrees, {LEAST_LEAN_DEG:g} wanted"
    return [Unsafe("lean", side, lean.value, LEAST_LEAN_DEG, "deg", why)]


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
