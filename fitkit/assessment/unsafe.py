"""Not safe as fitted: the limits of parts and gaps, held against what is fitted and against what is being tried."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from fitkit.assessment.clearances import CHANGED_BY, foot_gaps, thread_turns
from fitkit.assessment.draws import Draws
from fitkit.assessment.inputs import Inputs
from fitkit.calculations.clearances import LEAST_LEAN_DEG
from fitkit.estimate import Estimate
from fitkit.session.positions import counting, holds_any

__all__ = ["Unsafe", "find_unsafe"]

SIDES = ("left", "right")
SMALL_GAP_MM = 10.0  # house choice: a gap under this is measured again after a turn of the cleat
_IDS = ("spindle_id", "extender_id", "base_adapter_id")
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
    """One thing that is not safe as fitted: value against limit [unit], and why in a sentence; None is not recorded."""

    what: str
    side: str
    value: float | None
    limit: float
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


def find_unsafe(inputs: Inputs, draws: Draws, lean: dict[str, Estimate]) -> tuple[Unsafe, ...]:
    """Return what is not safe in the last position that counts, and in every trial not yet decided on.

    Parameters
    ----------
    inputs : Inputs
        The visit's readings.
    draws : Draws
        For the thread's error.
    lean : dict of Estimate
        The lean until the lowered pedal touches, per side.
    """
    found: dict[tuple, Unsafe] = {}
    views = [(inputs, ""), *((view, f" in trial {n + 1}") for n, view in _open_trials(inputs))]
    for view, where in views:
        for side in SIDES:
            for each in (
                *_thread(view, draws, side, where),
                *_mass(view, side, where),
                *_bolt(view, side, where),
                *_gaps(view, side, where),
            ):
                found.setdefault((each.what, each.side, each.value), each)
    if inputs.visit.house.rules.lean_under_least == "refuse":
        for side, estimate in lean.items():
            if estimate.is_known and estimate.value < LEAST_LEAN_DEG:
                why = f"the lowered pedal touches at {estimate.value:.0f} degrees, {LEAST_LEAN_DEG:g} wanted"
                found["lean", side, None] = Unsafe("lean", side, estimate.value, LEAST_LEAN_DEG, "deg", why)
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


def _thread(inputs: Inputs, draws: Draws, side: str, where: str) -> list[Unsafe]:
    turns, least = thread_turns(inputs, draws, side), inputs.visit.house.rules.least_turns
    if not turns.is_known or turns.low >= least:
        return []
    why = f"{turns.value:.1f} turns of pedal thread engaged ({turns.low:.1f} to {turns.high:.1f}){where}, "
    return [Unsafe("thread", side, turns.value, least, "turns", f"{why}{least:g} wanted")]


def _mass(inputs: Inputs, side: str, where: str) -> list[Unsafe]:
    mass, found = inputs.number("rider.mass_kg"), []
    for name in _IDS:
        part = inputs.part(inputs.word_now(f"{side}.{name}"))
        if part is None or part.max_rider_kg is None or (mass is not None and mass <= part.max_rider_kg):
            continue
        rider = "the rider's mass is not recorded" if mass is None else f"the rider is {mass:g} kg"
        why = f"{part.id}{where} is for riders up to {part.max_rider_kg:g} kg, {rider}"
        found.append(Unsafe("mass", side, mass, part.max_rider_kg, "kg", why))
    return found


def _bolt(inputs: Inputs, side: str, where: str) -> list[Unsafe]:
    as_found = Inputs(inputs.visit, ("as_found",))
    more = _under(inputs, side) - _under(as_found, side)
    if more <= 0:
        return []
    shoe, now = inputs.number(f"shoes.{side}.bolt_length_mm"), inputs.number_now(f"{side}.bolt_length_mm")
    shoe = as_found.number_now(f"{side}.bolt_length_mm") if shoe is None else shoe
    longer = None if None in (shoe, now) else now - shoe
    if longer is not None and longer >= more:
        return []
    bolts = "longer bolts are not recorded" if longer is None else f"the bolts are {longer:g} mm longer"
    why = f"shim or adapter is {more:g} mm more than as found{where}, {bolts}"
    return [Unsafe("bolt", side, longer, more, "mm", why)]


def _under(inputs: Inputs, side: str) -> float:
    """Return what lies under one cleat [mm]; recorded nowhere is nothing."""
    return (inputs.number_now(f"{side}.shim_mm") or 0.0) + (inputs.fitted(side, "adapter_stack_mm")[0] or 0.0)


def _gaps(inputs: Inputs, side: str, where: str) -> list[Unsafe]:
    found, turned = [], []
    before, now = inputs.number(f"as_found.{side}.cleat_toe_out_deg"), inputs.number_now(f"{side}.cleat_toe_out_deg")
    is_turned = None not in (before, now) and abs(now - before) > CHANGED_BY
    turned_at = inputs.last_with(f"{side}.cleat_toe_out_deg") or 0
    for gap in foot_gaps(inputs, side):
        if gap.measured is None:
            continue
        value, half = gap.measured.value, gap.measured.half_width()
        if gap.holds and value - half <= 0:
            why = f"{gap.words} is {value:g} mm{where}, give or take {half:.1f}: it may touch"
            found.append(Unsafe("gap", side, value, 0.0, "mm", why))
        if is_turned and value < SMALL_GAP_MM and gap.taken_at < turned_at:
            why = f"turned by {abs(now - before):g} degrees{where} while {gap.words} was {value:g} mm: measure it again"
            turned.append(Unsafe("turned", side, value, SMALL_GAP_MM, "mm", why))
    return [*found, *sorted(turned, key=lambda each: each.value)[:1]]
