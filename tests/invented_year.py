"""An invented clinic's year: riders, fitters and visits made by chance from a seed, as documents and as files.

Run ``python tests/invented_year.py FOLDER [VISITS]`` to write one and look at its overview. Nothing here is measured:
the numbers are made so that the true answer is known.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

FITTERS = ("f1", "f2", "f3", "f4", "f5")
REGIONS = ("knee_front", "knee_inner", "forefoot", "low_back", "achilles", "hand", "neck", "saddle_area")
SEEN = ("heel_drops", "toes_point", "unsteady", "knee_outward", "hip_drop")
RIDING = ("everyday", "everyday", "long_steady", "mixed_racing", "time_trial")
LINE_AT_42_MM, PER_SIZE_MM = 16.5, 1.3  # where riders of this clinic like their cleats
RIDER_SD_MM, FOOT_SD_MM, FITTER_SD_MM, READING_SD_MM = 3.2, 0.8, 1.0, 0.7
LAST_DAY = date(2026, 12, 31)
RULE_AT_42_MM, RULE_PER_SIZE_MM = 15.0, 1.5


@dataclass(frozen=True)
class Rider:
    """One invented rider."""

    name: str
    size: float
    liking_mm: tuple[float, float]
    slots_mm: tuple[tuple[int, int], tuple[int, int]]
    riding: str
    fitter: int
    agrees: bool


def documents(visits: int, *, seed: int = 20260101, never_moved: bool = False) -> list[dict]:
    """Return the sessions of a year.

    Parameters
    ----------
    visits : int
        How many.
    seed : int
        Where the chance begins.
    never_moved : bool
        Whether every cleat is left where the starting rule says, up to the reading's error.
    """
    rng = np.random.default_rng(seed)
    habits = rng.normal(0, FITTER_SD_MM, len(FITTERS))
    found: list[dict] = []
    number = 0
    while len(found) < visits:
        number += 1
        found += _course(_rider(rng, number, habits), rng, never_moved)
    return found[:visits]


def write(folder: Path, visits: int | list[dict], *, seed: int = 20260101) -> None:
    """Write the sessions of a year as files: so many, or these."""
    folder.mkdir(parents=True, exist_ok=True)
    for document in documents(visits, seed=seed) if isinstance(visits, int) else visits:
        name = f"{document['client_id']}_{document['visit_date']}_{document['setup']}.json"
        (folder / name).write_text(json.dumps(document, indent=1), encoding="utf-8")


def _rider(rng: np.random.Generator, number: int, habits: np.ndarray) -> Rider:
    size = float(np.clip(np.round(rng.normal(42.5, 1.9) * 2) / 2, 37, 48))
    fitter = int(rng.integers(len(FITTERS)))
    own = LINE_AT_42_MM + PER_SIZE_MM * (size - 42) + habits[fitter] + rng.normal(0, RIDER_SD_MM)
    rear = int(np.round(rng.normal(20.5, 2)))
    return Rider(
        f"rider-{number:04d}",
        size,
        tuple(own + rng.normal(0, FOOT_SD_MM, 2)),
        ((rear - 15, rear), (rear - 15, rear)),
        str(rng.choice(RIDING)),
        fitter,
        bool(rng.random() < 0.92),
    )


def _course(rider: Rider, rng: np.random.Generator, never_moved: bool) -> list[dict]:
    first = date(2026, 1, 5) + timedelta(days=int(rng.integers(0, 355)))
    found = np.array([float(np.clip(rng.normal(8, 4), slots[0], slots[1])) for slots in rider.slots_mm])
    left = _left(rider, rng, never_moved)
    visit = _document(rider, first, found, left, rng)
    again = first + timedelta(days=int(rng.integers(35, 90)))
    if rng.random() > 0.6 or again > LAST_DAY:
        return [visit]
    kept = [True, True, True, True, True, False, None][int(rng.integers(7))]
    second = _document(rider, again, left, left, rng)
    second["since_last"] = {"kept": kept, "date": again.isoformat()}
    second["complaints"] = []
    second["follow_up_due"] = None
    return [visit, second]


def _left(rider: Rider, rng: np.random.Generator, never_moved: bool) -> np.ndarray:
    left = []
    for liking, slots in zip(rider.liking_mm, rider.slots_mm, strict=True):
        start = RULE_AT_42_MM + RULE_PER_SIZE_MM * (rider.size - 42)
        if rider.size < 40:
            start = 15.0
        elif rider.riding in ("long_steady", "time_trial"):
            start += 3.0  # the house rule's shift to the high end
        start = float(np.clip(start, *slots))
        left.append(start if never_moved else float(np.clip(liking, *slots)))
    return np.array(left)


def _readings(place: float, rng: np.random.Generator, count: int = 2) -> list[float]:
    return [float(reading) for reading in np.round(place + rng.normal(0, READING_SD_MM, count), 1)]


def _document(rider: Rider, day: date, found: np.ndarray, left: np.ndarray, rng: np.random.Generator) -> dict:
    saddle = int(np.round(rng.normal(735, 25)))
    document = {
        "format": "cleat-stance-session",
        "version": 1,
        "client_id": rider.name,
        "visit_date": day.isoformat(),
        "setup": "road",
        "fitter_id": FITTERS[rider.fitter],
        "demonstration": True,
        "follow_up_due": (day + timedelta(days=56)).isoformat() if rng.random() < 0.3 else None,
        "rider": {"riding": rider.riding, "mass_kg": 74},
        "shoes": {side: _shoe(rider, n) for n, side in enumerate(("left", "right"))},
        "bike": {"pedal_family": "A", "q_factor_mm": [148], "crank_length_mm": 172.5, "crank_thread_depth_mm": 14},
        "as_found": _position(found, saddle, rng),
        "as_left": _position(left, saddle - int(rng.integers(0, 7)), rng),
        "consent": {"record": True, "learning": rider.agrees},
    }
    if rng.random() < 0.8:
        document["sign_off"] = {"fitter_id": FITTERS[rider.fitter], "at": f"{day.isoformat()}T17:00:00+00:00"}
    if rng.random() < 0.6:
        document["complaints"] = [{"region": str(rng.choice(REGIONS)), "severity": int(rng.integers(1, 7))}]
    if rng.random() < 0.3:
        side = str(rng.choice(("left", "right")))
        document["seen"] = [{"what": str(rng.choice(SEEN[1:2] + SEEN[3:])), "side": side}]
    if rng.random() < 0.04:
        change = int(rng.choice((3, 6, 9)))
        document["wish"] = {side: {"half_stance_change_mm": change} for side in ("left", "right")}
    if rng.random() < 0.005:
        document["signs"] = [{"sign": "knee_swollen", "side": "left"}]
    return document


def _shoe(rider: Rider, side: int) -> dict:
    least, greatest = rider.slots_mm[side]
    return {
        "size": rider.size,
        "size_system": "eu",
        "least_cleat_setback_mm": least,
        "greatest_cleat_setback_mm": greatest,
    }


def _position(places: np.ndarray, saddle: int, rng: np.random.Generator) -> dict:
    sides = {
        side: {"cleat_setback_mm": _readings(place, rng)} for side, place in zip(("left", "right"), places, strict=True)
    }
    return {**sides, "saddle_height_mm": [saddle, saddle]}


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1500)
