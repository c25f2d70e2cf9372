"""The knee's sideways place through the turn of the crank, from digitised points or from a ruler on a paused film.

Places are outward from the side's own pedal, outward positive [mm]; crank angles run from top dead centre forward
and down [deg], so that the downstroke is 0 to 180. A frame in which a point was not seen stays missing. What is
found describes how this rider rode in this film: it names no cause and asks for no setting.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitkit import constants
from fitkit.calculations.film_points import GREATEST_GAP_DEG, crank_angle_deg, find_turns, same_length
from fitkit.calculations.readings import Interval, Quantity, linear, mean_of, pooled_spread

CADENCE_RPM = (30.0, 200.0)  # house choice: outside this a film's turns are not the rider's
GREATEST_OFFSET_MM = 300.0  # house choice: further out no knee is, so that it was read in another unit
LEAST_TURNS = 5  # house choice: fewer say too little of how like its neighbours a turn is
RESAMPLED = 200  # draws for what scatter in digitising adds to a turn's travel
HARMONICS = 2  # how often a turn the knee may go in and out before it counts as noise

PUBLISHED_FINDINGS = (
    f"Published: sideways knee travel {constants.KNEE_TRAVEL_PAIN_FREE_MM.value:g} "
    f"({constants.KNEE_TRAVEL_PAIN_FREE_MM.uncertainty:g}) mm in riders without pain and "
    f"{constants.KNEE_TRAVEL_KNEECAP_PAIN_MM.value:g} ({constants.KNEE_TRAVEL_KNEECAP_PAIN_MM.uncertainty:g}) mm "
    "in riders with pain around the kneecap; 8 riders, two-dimensional film, a conference abstract.",
    "Published: in 50 riders no link between the knee's sideways travel and pain was found (Branco 2023).",
)


@dataclass(frozen=True)
class Revolution:
    """One turn from top to top: its numbers [mm], or why it has none; no frame of it was filled in."""

    start_s: float
    cadence_rpm: float
    frames: int
    offset_mm: float | None
    travel_mm: float | None
    inward_pull_mm: float | None
    needs: str | None = None


@dataclass(frozen=True)
class KneeTrack:
    """One side's knee: mean offset, travel and inward pull [mm] with intervals, or what is needed for them."""

    offset_mm: Interval | None
    travel_mm: Interval | None
    inward_pull_mm: Interval | None
    needs: str | None = None
    revolutions: tuple[Revolution, ...] = ()
    notes: tuple[str, ...] = ()
    angle_deg: tuple[float, ...] = ()  # the frames themselves, not a number where missing, for a drawing
    place_mm: tuple[float, ...] = ()
    travel: Quantity | None = None  # with its standard uncertainty, for a change between two films


@dataclass(frozen=True)
class AnglePlace:
    """The knee's place [mm] in the frames about one crank angle [deg]: mean, ends, count; None where none was seen."""

    angle_deg: float
    mean_mm: float | None
    least_mm: float | None
    greatest_mm: float | None
    frames: int


def knee_track(
    *,
    time_s: Sequence[float],
    knee_outward_mm: Sequence[float],
    pedal_outward_mm: Sequence[float],
    pedal_up_mm: Sequence[float],
    problems: Sequence[str],
    house_sd_mm: float,
) -> KneeTrack:
    """Return a side's offset, travel and inward pull [mm] with 95 % intervals, or what is needed.

    Parameters
    ----------
    time_s : sequence of float
        Time of each frame [s], rising.
    knee_outward_mm, pedal_outward_mm, pedal_up_mm : sequence of float
        Points of one side [mm], outward and upward positive, not a number where missing.
    problems : sequence of str
        What speaks against these points; with any there, no number is given.
    house_sd_mm : float
        House spread of one reading of a short length [mm]: the least a turn's numbers are taken to scatter.

    Notes
    -----
    Derived. In each turn a mean and two harmonics of the crank angle are fitted to the frames that are there, on
    the knee's distance from the pedal's mean place in that turn. Offset is the mean, travel the way between its
    ends, inward pull the place at the top less the least place in the downstroke; what is quicker than twice a turn
    is averaged away. Scatter in digitising makes the way between two ends look greater, the more so the fewer frames
    a turn has: what it adds is found by drawing the turn's scatter anew about its own curve, and taken off; 0.1 mm of
    it is left where points scatter by 1 mm, 0.4 where by 3 at 20 frames a second. The
    interval is that of a mean over turns, of which only so many count as independent as their own correlation with
    the turn before leaves (`effective_turns`); it is without the error of the scale.
    """
    if problems:
        return KneeTrack(None, None, None, needs=f"a film without this: {'; '.join(problems)}")
    time, knee, sideways, up = same_length(time_s, knee_outward_mm, pedal_outward_mm, pedal_up_mm)
    angle, place, revolutions = _turns(time, knee, sideways, up)
    used = [turn for turn in revolutions if turn.needs is None]
    rest = (tuple(revolutions), _notes(time, knee, up, revolutions), tuple(angle.tolist()), tuple(place.tolist()))
    if len(used) < LEAST_TURNS:
        needs = f"{LEAST_TURNS} whole turns with the knee in sight; found {len(used)}"
        return KneeTrack(None, None, None, needs, *rest)
    names = ("offset_mm", "travel_mm", "inward_pull_mm")
    means = [_mean([getattr(turn, name) for turn in used], house_sd_mm) for name in names]
    return KneeTrack(*(Interval.about(mean.value, mean.half_width()) for mean in means), None, *rest, means[1])


def travel_change(first: KneeTrack, second: KneeTrack) -> Interval | None:
    """Return the second film's knee travel less the first's [mm], None while one of them has none.

    Notes
    -----
    The turns of two films are independent: difference of two means, degrees of freedom by Welch and Satterthwaite
    (JCGM 100:2008, G.4.1). The error of either scale is not in it.
    """
    if first.travel is None or second.travel is None:
        return None
    change = linear([(1, second.travel), (-1, first.travel)])
    return Interval.about(change.value, change.half_width())


def effective_turns(values: Sequence[float]) -> float:
    """Return how many independent turns so many turns one after the other are worth [1], at least 3.

    Parameters
    ----------
    values : sequence of float
        One number a turn, in the order ridden; three or more.

    Notes
    -----
    n (1 - r) / (1 + r) with the correlation r of a turn with the one before, taken as a first-order autoregression
    (Bartlett 1946, J R Stat Soc Suppl 8:27); r is raised by (1 + 4 r) / n for its own bias in short series (Marriott
    and Pope 1954, Biometrika 41:390; both from memory) and not taken below 0, so that no series looks better than its
    length.
    """
    n, apart = len(values), np.asarray(values, dtype=float) - np.mean(values)
    below = float(apart @ apart)
    r = float(apart[1:] @ apart[:-1]) / below if below > 0 else 0.0
    r = min(max(r + (1 + 4 * r) / n, 0.0), 0.95)
    return max(n * (1 - r) / (1 + r), 3.0)


def _turns(
    time: np.ndarray, knee: np.ndarray, sideways: np.ndarray, up: np.ndarray
) -> tuple[np.ndarray, np.ndarray, list[Revolution]]:
    """Return each frame's crank angle [deg] and the knee's place from the pedal [mm], and the turns."""
    turns = find_turns(time_s=time, pedal_up_mm=up)
    angle = crank_angle_deg(time_s=time, turns=turns)
    place, revolutions = np.full(time.shape, np.nan), []
    for top, _, next_top in turns:
        inside = (time >= top) & (time < next_top)
        place[inside] = knee[inside] - _mean_seen(sideways[inside])
        revolutions.append(_revolution(top, 60 / (next_top - top), angle[inside], place[inside]))
    return angle, place, revolutions


def _mean_seen(points: np.ndarray) -> float:
    seen = points[np.isfinite(points)]
    return float(seen.mean()) if seen.size else math.nan


def _revolution(start_s: float, cadence_rpm: float, angle: np.ndarray, place: np.ndarray) -> Revolution:
    """Return one turn's numbers, or why it has none."""
    seen = np.isfinite(place)
    head = (float(start_s), float(cadence_rpm), int(seen.sum()))
    if not CADENCE_RPM[0] <= cadence_rpm <= CADENCE_RPM[1]:
        wanted = f"{CADENCE_RPM[0]:g} to {CADENCE_RPM[1]:g}"
        return Revolution(*head, None, None, None, f"{cadence_rpm:.0f} turns a minute; expected {wanted}")
    edges = np.concatenate([[0.0], angle[seen], [360.0]])
    gaps = np.diff(edges)
    widest = int(gaps.argmax())
    if gaps[widest] > GREATEST_GAP_DEG or seen.sum() < 4 * HARMONICS:
        missing = f"frames missing from {edges[widest]:.0f} to {edges[widest + 1]:.0f} degrees"
        return Revolution(*head, None, None, None, missing)
    waves = _waves(angle[seen])
    fitted, *_ = np.linalg.lstsq(waves, place[seen], rcond=None)
    rest = place[seen] - waves @ fitted
    curve = _waves(np.arange(361.0)) @ fitted
    added = _added_by_scatter(waves, float(rest @ rest) / (len(rest) - waves.shape[1]), curve)
    travel, pull = (max(found - more, 0.0) for found, more in zip(_ways(curve), added, strict=True))
    return Revolution(*head, float(fitted[0]), travel, pull)


def _ways(curve: np.ndarray) -> tuple[float, float]:
    """Return travel and inward pull [mm] of curves of 361 places each, one curve a row."""
    return np.ptp(curve, axis=-1), curve[..., 0] - curve[..., :181].min(axis=-1)


def _added_by_scatter(waves: np.ndarray, variance: float, curve: np.ndarray) -> tuple[float, float]:
    """Return what scatter of that variance adds to a turn's travel and inward pull on the mean [mm]."""
    spread = np.linalg.cholesky(np.linalg.inv(waves.T @ waves) * variance + 1e-12 * np.eye(waves.shape[1]))
    drawn = np.random.default_rng(0).standard_normal((RESAMPLED, waves.shape[1])) @ spread.T
    about = _ways(curve + drawn @ _waves(np.arange(361.0)).T)
    return tuple(float(np.mean(found) - own) for found, own in zip(about, _ways(curve), strict=True))


def _waves(angle_deg: np.ndarray) -> np.ndarray:
    angle = np.radians(angle_deg)
    waves = [wave(k * angle) for k in range(1, HARMONICS + 1) for wave in (np.cos, np.sin)]
    return np.column_stack([np.ones_like(angle), *waves])


def _mean(values: Sequence[float], house_sd: float) -> Quantity:
    turns = effective_turns(values)
    own = float(np.std(values, ddof=1)) / math.sqrt(turns), turns - 1
    # Turns alike to the mm never look better than so many readings of a ruler are.
    least = house_sd / math.sqrt(len(values)), len(values) - 1
    return Quantity(float(np.mean(values)), (max(own, least),))


def _notes(time: np.ndarray, knee: np.ndarray, up: np.ndarray, revolutions: Sequence[Revolution]) -> tuple[str, ...]:
    unseen, step_s = int(np.count_nonzero(~np.isfinite(knee) | ~np.isfinite(up))), float(np.median(np.diff(time)))
    jumps = np.flatnonzero(np.diff(time) > 1.5 * step_s)
    left_out = sum(turn.needs is not None for turn in revolutions)
    said = f"{unseen} of {len(time)} frames lack the knee or the pedal; nothing was put in their place"
    notes = [said] if unseen else []
    notes += [f"no frames from {time[i]:.2f} to {time[i + 1]:.2f} s" for i in jumps]
    return (*notes, f"{left_out} of {len(revolutions)} turns left out") if left_out else tuple(notes)


def places_by_angle(track: KneeTrack, *, step_deg: float = 20.0) -> tuple[AnglePlace, ...]:
    """Return the knee's place about each crank angle from the top, over all turns, for a table and a drawing.

    Each frame goes to the nearest of the crank angles, `step_deg` apart [deg], a whole part of 360. Where no frame was
    seen there is no place.
    """
    if not (0 < step_deg <= 90 and 360 % step_deg == 0):
        raise ValueError(f"step_deg is {step_deg}; expected a whole part of 360, up to 90")
    angle, place = np.array(track.angle_deg, dtype=float), np.array(track.place_mm, dtype=float)
    seen = np.isfinite(angle) & np.isfinite(place)
    nearest = np.round(angle[seen] / step_deg).astype(int) % round(360 / step_deg)
    found = []
    for k in range(round(360 / step_deg)):
        here = place[seen][nearest == k]
        ends = (float(here.mean()), float(here.min()), float(here.max())) if here.size else (None, None, None)
        found.append(AnglePlace(k * step_deg, *ends, int(here.size)))
    return tuple(found)


def knee_from_ruler(*, top_mm: Sequence[float], bottom_mm: Sequence[float], house_sd_mm: float) -> KneeTrack:
    """Return a side's offset, travel and inward pull [mm] from offsets read with a ruler on a paused film.

    Parameters
    ----------
    top_mm, bottom_mm : sequence of float
        The knee's place outward of the pedal with the crank at the top and at the bottom of the same turn [mm],
        one reading each for each turn.
    house_sd_mm : float
        House spread of one reading of a short length [mm], pooled in so that one turn has an interval as well.

    Raises
    ------
    ValueError
        If the two lists differ in length, are empty, or hold a reading outside -300 to 300 mm.

    Notes
    -----
    Derived. Offset is the mean of top and bottom, inward pull is top less bottom, travel its size: the knee may go
    further between the two, so that the travel is the least it can be.
    """
    if len(top_mm) != len(bottom_mm) or not len(top_mm):
        raise ValueError(
            f"{len(top_mm)} offsets at the top and {len(bottom_mm)} at the bottom; expected as many of each"
        )
    for name, readings in (("top_mm", top_mm), ("bottom_mm", bottom_mm)):
        for reading in readings:
            if not -GREATEST_OFFSET_MM <= reading <= GREATEST_OFFSET_MM:
                raise ValueError(f"{name} is {reading}; expected -300 to 300. Read in pixels?")
    pairs = list(zip(top_mm, bottom_mm, strict=True))
    offset = _pooled([(a + b) / 2 for a, b in pairs], house_sd_mm / math.sqrt(2))
    pull = _pooled([a - b for a, b in pairs], house_sd_mm * math.sqrt(2))
    low, high = sorted((abs(pull.low), abs(pull.high)))
    travel = Interval(abs(pull.value), 0.0 if pull.low <= 0 <= pull.high else low, high)
    note = "read at the top and the bottom only: the travel is the least it can be"
    return KneeTrack(offset, travel, pull, notes=(note,))


def _pooled(values: Sequence[float], house_sd: float) -> Interval:
    mean = mean_of(values, pooled_spread([values], house_sd=house_sd))
    return Interval.about(mean.value, mean.half_width())
