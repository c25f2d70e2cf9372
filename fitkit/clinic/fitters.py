"""Fitter against fitter: whose riders' cleats end further toward the heel, with interval; small numbers kept back."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.calculations.learned_band import Interval, fitter_bias, learn
from fitkit.clinic.learning import prior_of
from fitkit.clinic.settled import Chosen, arrays, latest_of_each_rider
from fitkit.clinic.visits import Clinic
from fitkit.house import StartingBand

__all__ = ["Comparison", "FitterRow", "compare"]


@dataclass(frozen=True)
class FitterRow:
    """One fitter: riders compared, and the bias [mm]; None where the numbers are too small."""

    fitter_id: str
    riders: int
    bias: Interval | None


@dataclass(frozen=True)
class Comparison:
    """The fitters, or why they are not compared."""

    rows: tuple[FitterRow, ...]
    refused: str | None = None


def compare(clinic: Clinic, prior_rule: StartingBand) -> Comparison:
    """Return each fitter's bias: how far the cleats of riders of one size end from those of the other fitters."""
    agreed = [visit for visit in clinic.visits if visit.session.consent.learning is True]
    chosen = latest_of_each_rider(agreed)
    counts = {name: len(_riders(chosen, name)) for name in chosen.fitters}
    enough = [name for name, count in counts.items() if count >= max(clinic.small, 2)]
    if len(enough) < 2:
        rows = tuple(FitterRow(name, count, None) for name, count in counts.items())
        return Comparison(rows, f"not compared: needs two fitters with {max(clinic.small, 2)} riders or more each")
    learned = learn(arrays(chosen), prior_of(prior_rule))
    return Comparison(
        tuple(
            FitterRow(name, counts[name], fitter_bias(learned, number) if name in enough else None)
            for number, name in enumerate(chosen.fitters)
        )
    )


def _riders(chosen: Chosen, fitter_id: str) -> set[str]:
    return {foot.client_id for foot in chosen.feet if foot.fitter_id == fitter_id}
