"""One leg on its pedal, as found and at the target: from readings to the closed chain, nominal and drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fitkit.assessment.cleats import NEED_AS_FOUND, Foot
from fitkit.assessment.inputs import Draws, Inputs
from fitkit.calculations import anthropometry
from fitkit.calculations.readings import Quantity
from fitkit.calculations.stroke import BikeGeometry, Chain, Cleat, Leg, Pitch

__all__ = [
    "Both",
    "Links",
    "as_found_chain",
    "drawn_target",
    "links_of",
    "notes_on_chain",
    "stacked_chain",
    "target_chain",
]

# What the chain is made of: its name, where it is measured, what it is called when it is missing.
_MEASURED = {
    "thigh": ("rider.{side}.thigh_mm", "thigh"),
    "shank": ("rider.{side}.shank_mm", "shank"),
    "ankle_to_mtp1": ("rider.{side}.ankle_to_mtp1_mm", "ankle to first MTP joint"),
    "ankle_height": ("rider.{side}.ankle_height_mm", "ankle height"),
    "axle_to_foot_sole": ("shoes.{side}.axle_to_foot_sole_mm", "axle to foot sole"),
}
_BY_STATURE = {
    "thigh": anthropometry.thigh_of_stature,
    "shank": anthropometry.shank_of_stature,
    "ankle_height": anthropometry.ankle_height_of_stature,
}


# What the foot's own path over the stroke needs; the rest is needed for knee and saddle.
_FOOT = ("ankle_to_mtp1", "ankle_height", "axle_to_foot_sole")
# Stands where thigh, shank, crank or seat tube is not known: the foot's path after minus before is free of them.
_NOT_ENTERING = 1.0


@dataclass(frozen=True)
class Links:
    """What one leg's chain is made of; `foot_needs` and `leg_needs` name what is missing of foot and of leg."""

    lengths: dict[str, Quantity]
    pitch: dict[str, Quantity]
    table: tuple[tuple[float, float], ...] | None
    crank_mm: float | None
    seat_tube: Quantity | None
    foot_needs: str | None
    leg_needs: str | None
    is_published: bool
    sources: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def needs(self) -> str | None:
        """What is missing of the whole chain, None where it is whole."""
        return "; ".join(need for need in (self.foot_needs, self.leg_needs) if need) or None


@dataclass(frozen=True)
class Both:
    """One chain, nominal and with one entry a draw."""

    nominal: Chain
    drawn: Chain


def links_of(inputs: Inputs, side: str) -> Links:
    """Return what one leg's chain is made of; segments not measured come from stature where that is known."""
    lengths, sources, notes = {}, [], []
    foot, leg = [], []
    stature = inputs.quantity("rider.stature_mm")
    population = inputs.visit.session.rider.reference_population
    for name, (path, words) in _MEASURED.items():
        found = inputs.quantity(path.format(side=side))
        if found is None and stature is not None and name in _BY_STATURE:
            share = _BY_STATURE[name](stature, population)
            found = share.length
            sources.append(share.source)
            notes.append(f"{words} not measured: {share.note}")
        if found is None:
            (foot if name in _FOOT else leg).append(words)
        else:
            lengths[name] = found
    pitch, table, need = _pitch(inputs, side)
    foot += [need] if need else []
    crank, seat_tube = inputs.number("bike.crank_length_mm"), inputs.quantity("bike.seat_tube_angle_deg")
    leg += [words for words, value in (("crank length", crank), ("seat-tube angle", seat_tube)) if value is None]
    leg += _contradiction(inputs, side)
    return Links(
        lengths,
        pitch,
        table,
        crank,
        seat_tube,
        "; ".join(foot) or None,
        "; ".join(leg) or None,
        bool(sources),
        tuple(sources),
        tuple(notes),
    )


def _contradiction(inputs: Inputs, side: str) -> list[str]:
    """Return the sentence that says measured segments and inseam cannot belong to one leg."""
    names = ("thigh_mm", "shank_mm", "ankle_height_mm")
    found = {name: inputs.number(f"rider.{side}.{name}") for name in names}
    inseam = inputs.number("rider.inseam_mm")
    if inseam is None or None in found.values():
        return []
    said = anthropometry.inseam_contradiction(**found, inseam_mm=inseam)
    return [f"segment lengths that agree: {said}"] if said else []


def _pitch(inputs: Inputs, side: str) -> tuple[dict[str, Quantity], tuple[tuple[float, float], ...] | None, str | None]:
    """Return the pitch's wave and its measured table, which replaces the wave; or what they need."""
    ride = getattr(inputs.visit.session.ride, side)
    if ride.foot_pitch_table:
        points = {point.crank_angle_deg % 360: point.pitch_deg for point in ride.foot_pitch_table}
        table = tuple(sorted(points.items()))
        try:
            Pitch(mean_deg=0.0, table=table)
        except ValueError as error:
            return {}, None, f"a foot pitch table without gaps: {error}"
        return {}, table, None
    mean = inputs.quantity(f"ride.{side}.foot_pitch_mean_deg")
    if mean is None:
        return {}, None, "foot pitch"
    nothing = Quantity(0.0)
    wave = {name: inputs.quantity(f"ride.{side}.foot_pitch_{name}_deg") or nothing for name in ("amplitude", "phase")}
    return {"mean": mean, **wave}, None, None


def as_found_chain(inputs: Inputs, draws: Draws, side: str, links: Links) -> Both | str:
    """Return the chain as found, or what it needs; it carries the mark's error."""
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    if links.foot_needs or found is None:
        return links.foot_needs or NEED_AS_FOUND
    held = _held(inputs, side, ["as_found"])
    drawn = draws.of(f"{side}.cleat_setback", found)
    return Both(_chain(links, _nominal, found.value, held), _chain(links, _drawing(draws, side), drawn, held))


def target_chain(inputs: Inputs, draws: Draws, side: str, links: Links, foot: Foot) -> Both | str:
    """Return the chain at the target, or what it needs; the foot keeps its pitch."""
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    if links.foot_needs or found is None:
        return links.foot_needs or NEED_AS_FOUND
    if foot.move is None:
        return foot.results[f"{side}.cleat_setback.move"].needs
    held = _held(inputs, side, inputs.positions())
    drawn = drawn_target(draws, side, found, foot)
    return Both(_chain(links, _nominal, foot.set_to, held), _chain(links, _drawing(draws, side), drawn, held))


def stacked_chain(inputs: Inputs, draws: Draws, side: str, links: Links) -> Both | None:
    """Return the chain as found on today's shims and adapters, None where these are as found."""
    before, now = _held(inputs, side, ["as_found"]), _held(inputs, side, inputs.positions())
    if (before[1].value, before[2]) == (now[1].value, now[2]):
        return None
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    drawn = draws.of(f"{side}.cleat_setback", found)
    return Both(_chain(links, _nominal, found.value, now), _chain(links, _drawing(draws, side), drawn, now))


def drawn_target(draws: Draws, side: str, found: Quantity, foot: Foot) -> np.ndarray:
    """Return the draws of the new setback.

    A planned target is a place, so its error is the old one's; a move done adds its own error to the old place.
    """
    old = draws.of(f"{side}.cleat_setback", found)
    planned = foot.advice.kind == "move"
    return np.full_like(old, foot.set_to) if planned else old + draws.of(f"{side}.move", foot.move)


def _nominal(name: str, quantity: Quantity) -> float:
    return quantity.value


def _drawing(draws: Draws, side: str) -> Callable[[str, Quantity], np.ndarray]:
    def drawn(name: str, quantity: Quantity) -> np.ndarray:
        return draws.of(name if name == "seat_tube_angle" else f"{side}.{name}", quantity)

    return drawn


def _held(inputs: Inputs, side: str, positions: list[str]) -> tuple[str, Quantity, float]:
    """Return the shim with its row of draws, and the adapter stack [mm], at the last of `positions` that says so.

    Recorded nowhere is 0; what is not there has no error, and a shim left as found is the same shim.
    """
    at = Inputs(inputs.visit, tuple(positions))
    shim = at.now(f"{side}.shim_mm")
    row = "shim" if at.current(f"{side}.shim_mm") in (None, f"as_found.{side}.shim_mm") else "shim_since"
    return row, shim if shim and shim.value else Quantity(0.0), at.fitted(side, "adapter_stack_mm")[0] or 0.0


def _chain(
    links: Links,
    take: Callable[[str, Quantity], float | np.ndarray],
    setback: float | np.ndarray,
    held: tuple[str, Quantity, float],
) -> Chain:
    lengths = dict.fromkeys(("thigh_mm", "shank_mm"), _NOT_ENTERING)
    lengths |= {f"{name}_mm": take(name, quantity) for name, quantity in links.lengths.items()}
    sole = lengths.pop("axle_to_foot_sole_mm")
    tube = take("seat_tube_angle", links.seat_tube) if links.seat_tube else _NOT_ENTERING
    row, shim, stack = held
    wave = {f"{name}_deg": take(f"pitch_{name}", quantity) for name, quantity in links.pitch.items()}
    return Chain(
        leg=Leg(**lengths),
        cleat=Cleat(setback_mm=setback, axle_to_foot_sole_mm=sole, shim_mm=take(row, shim), adapter_stack_mm=stack),
        pitch=Pitch(**(wave or {"mean_deg": 0.0}), table=links.table),
        bike=BikeGeometry(crank_mm=links.crank_mm or _NOT_ENTERING, seat_tube_angle_deg=tube),
    )


def notes_on_chain(inputs: Inputs, side: str, links: Links) -> tuple[str, ...]:
    """Return what was assumed of one leg's chain, in words."""
    notes = list(links.notes)
    positions = inputs.positions()
    for name, words in (("shim_mm", "shim"), ("adapter_stack_mm", "adapter stack")):
        if all(inputs.number(f"{path}.{side}.{name}") is None for path in positions):
            notes.append(f"{words} not recorded: counted as 0")
    return (*notes, "if the foot keeps its pitch")
