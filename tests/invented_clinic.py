"""Invented clinics as plain arrays, with the true answer known: for coverage, not for looks."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from fitkit.calculations.learned_band import Prior, Settled, learn, new_rider

READING_VARIANCE = 0.5
REACH_MM = 2.0
PRIOR = Prior(level_mm=15.0, slope_mm=1.5)


@dataclass(frozen=True)
class Truth:
    """How an invented clinic's riders settle [mm]."""

    riders: int = 200
    held_out: int = 100
    fitters: int = 5
    level_mm: float = 16.0
    slope_mm: float = 1.2
    rider_sd_mm: float = 3.5
    foot_sd_mm: float = 1.2
    fitter_sd_mm: float = 1.0
    slot_mm: float = 20.0
    front_mm: float = 6.0


@dataclass(frozen=True)
class Invented:
    """One clinic: what may be learned from, what was read without bounds, and the riders held out."""

    settled: Settled
    read_mm: np.ndarray
    held_out_size: np.ndarray
    held_out_mm: np.ndarray
    fitter_effects_mm: np.ndarray


def invent(truth: Truth, seed: int) -> Invented:
    """Return one clinic; a cleat stops at its slot's ends, a held-out rider is read without any."""
    rng = np.random.default_rng(seed)
    count = truth.riders + truth.held_out
    effects = rng.normal(0, truth.fitter_sd_mm, truth.fitters)
    fitter = np.concatenate([np.arange(truth.fitters), rng.integers(0, truth.fitters, count - truth.fitters)])
    size = np.clip(np.round(rng.normal(43, 1.8, count) * 2) / 2, 37, 49)
    rider = np.repeat(np.arange(count), 2)
    mean = truth.level_mm + truth.slope_mm * (size - 42) + effects[fitter] + rng.normal(0, truth.rider_sd_mm, count)
    place = mean[rider] + rng.normal(0, np.sqrt(truth.foot_sd_mm**2 - READING_VARIANCE), 2 * count)
    error = rng.normal(0, np.sqrt(READING_VARIANCE), 2 * count)
    rear = truth.slot_mm + rng.normal(0, 1, 2 * count)
    front = truth.front_mm + rng.normal(0, 1, 2 * count)
    read = np.clip(place, front, rear) + error
    bound = np.where(read >= rear - REACH_MM, 1, np.where(read <= front + REACH_MM, -1, 0))
    value = np.select([bound == 1, bound == -1], [rear - REACH_MM, front + REACH_MM], read)
    settled = Settled(value, bound, size[rider], np.zeros(2 * count), rider, fitter[rider])
    here = rider < truth.riders
    kept = Settled(*(getattr(settled, field.name)[here] for field in fields(Settled)))
    return Invented(kept, read[here], size[rider][~here], (place + error)[~here], effects)


def coverage(clinic: Invented) -> tuple[float, float]:
    """Return the share of held-out feet inside our 95 % interval, and inside a plain mean and SD's."""
    learned = learn(clinic.settled, PRIOR)
    sizes, at = np.unique(clinic.held_out_size, return_inverse=True)
    intervals = [new_rider(learned, size) for size in sizes]
    low, high = (np.array([getattr(interval, end) for interval in intervals])[at] for end in ("low", "high"))
    ours = np.mean((low <= clinic.held_out_mm) & (clinic.held_out_mm <= high))
    columns = np.column_stack([np.ones(len(clinic.read_mm)), clinic.settled.size_eu])
    line, squares, *_ = np.linalg.lstsq(columns, clinic.read_mm, rcond=None)
    sd = np.sqrt(squares[0] / (len(columns) - 2))
    off = clinic.held_out_mm - line[0] - line[1] * clinic.held_out_size
    return float(ours), float(np.mean(np.abs(off) <= 1.96 * sd))
