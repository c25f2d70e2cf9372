"""One leg on its pedal: from readings to the closed chain, nominal and drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitkit.assessment.inputs import Drawn, Draws, Inputs
from fitkit.assessment.results import RESULTS, Input
from fitkit.calculations import anthropometry
from fitkit.calculations.readings import Quantity
from fitkit.calculations.stroke import BikeGeometry, Chain, Cleat, Leg, Pitch
from fitkit.estimate import Estimate

__all__ = ["Both", "Links", "Packing", "chain_of", "links_of", "notes_on_chain", "packing_of"]

_MEASURED = (
    Input("rider.{side}.thigh_mm"),
    Input("rider.{side}.shank_mm"),
    Input("rider.{side}.ankle_to_mtp1_mm"),
    Input("rider.{side}.ankle_height_mm"),
    Input("shoes.{side}.axle_to_foot_sole_mm"),
)
# What the foot's own path over the stroke needs; the rest is needed for knee and saddle.
_FOOT = ("ankle_to_mtp1_mm", "ankle_height_mm", "axle_to_foot_sole_mm")
# Stands where thigh, shank, crank or seat tube is not known: the foot's path after minus before is free of them.
_NOT_ENTERING = 1.0


@dataclass(frozen=True)
class Links:
    """What one leg's chain is made of: its lengths [mm] and the foot's pitch [deg]."""

    lengths: dict[str, Drawn]
    pitch: dict[str, Drawn]  # of the pitch's wave; empty where there is a table
    table: tuple[tuple[float, float], ...] | None
    crank_mm: float | None
    seat_tube: Drawn | None
    foot_needs: str | None  # what is missing of the foot
    leg_needs: str | None  # what is missing of the leg
    sources: tuple[str, ...]  # publications that stand in for what was not measured
    notes: tuple[str, ...]

    def estimate(self, name: str, found: Drawn) -> Estimate:
        """Return a result of the chain, graded by what the chain is made of."""
        row = RESULTS[name]
        source = "; ".join((row.source, *dict.fromkeys(self.sources)))
        return row.of(found, source=source, grade="published" if self.sources else None, notes=found.notes)


@dataclass(frozen=True)
class Both:
    """One chain, nominal and with one entry a draw."""

    nominal: Chain
    drawn: Chain


@dataclass(frozen=True)
class Packing:
    """What lies between cleat and shoe [mm]: shim and adapter stack."""

    shim: Drawn
    stack_mm: float

    @property
    def sizes(self) -> tuple[float, float]:
        """Shim and stack [mm], to tell one packing from another."""
        return self.shim.value, self.stack_mm


def links_of(inputs: Inputs, draws: Draws, side: str) -> Links:
    """Return what one leg's chain is made of; segments not measured come from stature where that is known."""
    lengths, sources, notes = {}, [], []
    foot, leg = [], []
    stature = inputs.quantity("rider.stature_mm")
    population = inputs.visit.session.rider.reference_population
    for each in _MEASURED:
        found, name = each.read(inputs, side), each.path.rpartition(".")[2]
        if found is None and stature is not None and name in anthropometry.SEGMENTS:
            share = anthropometry.segment_of_stature(name, stature, population)
            found = share.length
            sources.append(share.source)
            notes.append(f"{each.words} not measured: {share.note}")
        if found is None:
            (foot if name in _FOOT else leg).append(each.words)
        else:
            lengths[name] = draws.read(each.path.format(side=side), found)
    pitch, table, need = _pitch(inputs, draws, side)
    foot += [need] if need else []
    crank, tube = inputs.number("bike.crank_length_mm"), inputs.quantity("bike.seat_tube_angle_deg")
    leg += [words for words, value in (("crank length", crank), ("seat-tube angle", tube)) if value is None]
    leg += _contradiction(inputs, side)
    seat_tube = None if tube is None else draws.read("bike.seat_tube_angle_deg", tube)
    needs = "; ".join(foot) or None, "; ".join(leg) or None
    return Links(lengths, pitch, table, crank, seat_tube, *needs, tuple(sources), tuple(notes))


def _contradiction(inputs: Inputs, side: str) -> list[str]:
    """Return the sentence that says measured segments and inseam cannot belong to one leg."""
    names = ("thigh_mm", "shank_mm", "ankle_height_mm")
    found = {name: inputs.number(f"rider.{side}.{name}") for name in names}
    inseam = inputs.number("rider.inseam_mm")
    if inseam is None or None in found.values():
        return []
    said = anthropometry.inseam_contradiction(**found, inseam_mm=inseam)
    return [f"segment lengths that agree: {said}"] if said else []


def _pitch(
    inputs: Inputs, draws: Draws, side: str
) -> tuple[dict[str, Drawn], tuple[tuple[float, float], ...] | None, str | None]:
    """Return the pitch's wave, or its measured table, which replaces the wave; or what they need."""
    ride = getattr(inputs.visit.session.ride, side)
    if ride.foot_pitch_table:
        points = {point.crank_angle_deg % 360: point.pitch_deg for point in ride.foot_pitch_table}
        table = tuple(sorted(points.items()))
        try:
            Pitch(mean_deg=0.0, table=table)
        except ValueError as error:
            return {}, None, f"a foot pitch table without gaps: {error}"
        return {}, table, None
    paths = {f"{name}_deg": f"ride.{side}.foot_pitch_{name}_deg" for name in ("mean", "amplitude", "phase")}
    if not inputs.readings(paths["mean_deg"]):
        return {}, None, "foot pitch"
    wave = {name: draws.read(path, inputs.quantity(path) or Quantity(0.0)) for name, path in paths.items()}
    return wave, None, None


def packing_of(inputs: Inputs, draws: Draws, side: str) -> Packing:
    """Return what lies between cleat and shoe in the current position; recorded nowhere is 0.

    What is not there has no error, and a shim left as found is the same shim.
    """
    shim, path = inputs.now(f"{side}.shim_mm"), inputs.current(f"{side}.shim_mm")
    row = "shim" if path in (None, f"as_found.{side}.shim_mm") else "shim_since"
    drawn = draws.of(f"{side}.{row}", shim if shim and shim.value else Quantity(0.0))
    return Packing(drawn, inputs.fitted(side, "adapter_stack_mm")[0] or 0.0)


def chain_of(links: Links, setback: Drawn, packing: Packing) -> Both:
    """Return the chain with the cleat at one setback [mm]; the foot keeps its pitch."""
    return Both(*(_chain(links, setback, packing, entry) for entry in ("value", "draws")))


def _chain(links: Links, setback: Drawn, packing: Packing, entry: Literal["value", "draws"]) -> Chain:
    lengths = dict.fromkeys(("thigh_mm", "shank_mm"), _NOT_ENTERING)
    lengths |= {name: getattr(length, entry) for name, length in links.lengths.items()}
    cleat = {
        "setback_mm": getattr(setback, entry),
        "axle_to_foot_sole_mm": lengths.pop("axle_to_foot_sole_mm"),
        "shim_mm": getattr(packing.shim, entry),
        "adapter_stack_mm": packing.stack_mm,
    }
    tube = getattr(links.seat_tube, entry) if links.seat_tube else _NOT_ENTERING
    wave = {name: getattr(part, entry) for name, part in links.pitch.items()}
    return Chain(
        leg=Leg(**lengths),
        cleat=Cleat(**cleat),
        pitch=Pitch(**(wave or {"mean_deg": 0.0}), table=links.table),
        bike=BikeGeometry(crank_mm=links.crank_mm or _NOT_ENTERING, seat_tube_angle_deg=tube),
    )


def notes_on_chain(inputs: Inputs, side: str, links: Links) -> tuple[str, ...]:
    """Return what was assumed of one leg's chain, in words."""
    notes = list(links.notes)
    for name, words in (("shim_mm", "shim"), ("adapter_stack_mm", "adapter stack")):
        if inputs.current(f"{side}.{name}") is None:
            notes.append(f"{words} not recorded: counted as 0")
    return (*notes, "if the foot keeps its pitch")
