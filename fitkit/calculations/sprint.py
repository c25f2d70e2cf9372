"""Sprints from a power file's samples: efforts, peak power, how soon, the torque-cadence line, differences.

A maximal effort comes only after the exertion screen. Two sprints to get used to it come first and are not counted;
four or more count for each setting, else nothing is assessed. What a file cannot show is said: a spike is never
smoothed away, and samples a second apart give no time to the peak.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fitkit.calculations.readings import Interval

# House choices, no source, save where said.
SHARE_OF_BEST = 0.5  # an effort is where power stays above this share of the file's highest
SHARE_AT_START = 0.25  # its start is where power last rose through this share of its own peak
LONGEST_S = 30.0  # above this it is no sprint
JOINED_S = 3.0  # a shorter dip or gap does not part two efforts
GREATEST_W = 2600.0
LEAST_W = 50.0
GREATEST_CADENCE_RPM = 250.0
FINEST_NEEDED_S = 0.25  # about one pedal stroke of a sprint
LISTED_GAPS = 2  # a recording that stops between sprints has one for each
LINE_S = 3.0  # published: longer fits bias the best cadence (Dunst 2022)
LINE_POINTS = 6
LINE_SPAN_RPM = 30.0
LEAST_CADENCE_RPM = 20.0


@dataclass(frozen=True)
class TorqueCadence:
    """The line of torque over cadence, with 95 % intervals, or what is needed."""

    torque_at_rest_nm: Interval | None = None  # at standstill [N m]
    cadence_at_no_load_rpm: Interval | None = None  # [turns a minute]
    best_cadence_rpm: Interval | None = None
    highest_power_w: Interval | None = None  # [W]
    points: int = 0  # how many samples
    needs: str | None = None


@dataclass(frozen=True)
class Effort:
    """One sprint: when, peak power, how soon, its torque-cadence line; or what is needed."""

    start_s: float  # [s]
    peak_w: float | None  # [W]
    time_to_peak_s: Interval | None  # [s]
    strokes_to_peak: Interval | None  # pedal strokes [1], each one leg's: two a turn
    line: TorqueCadence
    needs: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class SprintFile:
    """The efforts of a power file in order, or what is needed, and what must be said of the file."""

    efforts: tuple[Effort, ...]
    needs: str | None = None
    notes: tuple[str, ...] = ()


def read_sprints(
    *, time_s: Sequence[float], power_w: Sequence[float], cadence_rpm: Sequence[float] | None = None
) -> SprintFile:
    """Return the sprints in a power file's samples, or what is needed.

    Parameters
    ----------
    time_s : sequence of float
        Time of each sample [s], rising.
    power_w : sequence of float
        Power [W], not a number where the meter sent nothing.
    cadence_rpm : sequence of float, optional
        Cadence [turns a minute], not a number where there is none.

    Raises
    ------
    ValueError
        If the arrays differ in length, hold fewer than three samples, or time does not rise.

    Notes
    -----
    House choices, no source: an effort is where power stays above half of the file's highest, for at most 30 s; its
    peak is the highest mean over one turn where samples are finer than a turn and cadence is known, else the
    highest sample; its start is where power last rose through a quarter of that peak.
    """
    time, power = np.asarray(time_s, dtype=float), np.asarray(power_w, dtype=float)
    cadence = np.full(time.shape, np.nan) if cadence_rpm is None else np.asarray(cadence_rpm, dtype=float)
    if not time.shape == power.shape == cadence.shape:
        raise ValueError(f"{time.size} times, {power.size} powers, {cadence.size} cadences; expected as many of each")
    if time.size < 3 or not np.all(np.diff(time) > 0):
        raise ValueError(f"time_s has {time.size} entries that must rise; expected three or more, each after the last")
    step_s = float(np.median(np.diff(time)))
    problems = _problems(power, cadence, step_s)
    if problems:
        return SprintFile((), f"a power file without this: {'; '.join(problems)}")
    spikes = _spikes(time, power)
    efforts = tuple(_effort(time, power, cadence, run, step_s, spikes) for run in _runs(time, power, spikes))
    notes = tuple(f"spike of {power[i]:.0f} W at {time[i]:.1f} s" for i in spikes) + _gaps(time, power, step_s)
    wanted = f"a sprint; nothing in the file stays above half of its highest for {LONGEST_S:g} s or less"
    return SprintFile(efforts, None if efforts else wanted, notes)


def _problems(power: np.ndarray, cadence: np.ndarray, step_s: float) -> list[str]:
    """Return what speaks for another unit or too coarse samples, in words."""
    problems = []
    if not step_s <= 1.5:
        problems.append(f"samples are {step_s:g} s apart; expected 1 or less. In milliseconds or minutes?")
    if not np.isfinite(power).any():
        return [*problems, "no sample has a power"]
    highest = float(np.nanmax(power))
    if not highest >= LEAST_W:
        problems.append(f"the highest power is {highest:g} W; expected {LEAST_W:g} to {GREATEST_W:g}. In W/kg or kW?")
    above = float(np.mean(power[np.isfinite(power)] > GREATEST_W))
    if above > 0.01:
        problems.append(f"{above:.0%} of the samples are above {GREATEST_W:g} W; expected none. In another unit?")
    if not np.isfinite(cadence).any():
        return problems
    fastest = float(np.nanmax(cadence))
    found = f"the highest cadence is {fastest:g}; expected"
    if not fastest <= GREATEST_CADENCE_RPM:
        problems.append(f"{found} up to {GREATEST_CADENCE_RPM:g} turns a minute")
    elif not fastest >= LEAST_CADENCE_RPM:
        problems.append(f"{found} {LEAST_CADENCE_RPM:g} turns a minute or more. In turns or radians a second?")
    return problems


def _spikes(time: np.ndarray, power: np.ndarray) -> list[int]:
    """Return the samples no rider made: above 2600 W, or alone more than 2.5 times and 400 W above both neighbours.

    House choice, no source.
    """
    level = np.nan_to_num(power, nan=0.0)
    beside = np.maximum(level[:-2], level[2:])
    seen = np.isfinite(power[:-2]) & np.isfinite(power[2:]) & (time[2:] - time[:-2] <= 2.5)
    lone = np.concatenate([[False], seen & (level[1:-1] > 2.5 * beside) & (level[1:-1] > beside + 400), [False]])
    return [int(i) for i in np.flatnonzero(lone | (level > GREATEST_W))]


def _runs(time: np.ndarray, power: np.ndarray, spikes: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and last sample of each sprint: above half of the highest, short dips bridged, not too long."""
    level = np.nan_to_num(power, nan=0.0)
    level[list(spikes)] = 0.0
    if not level.max() > 0:
        return []
    high = np.flatnonzero(level >= SHARE_OF_BEST * level.max())
    parts = np.split(high, np.flatnonzero(np.diff(time[high]) > JOINED_S) + 1)
    return [(int(part[0]), int(part[-1])) for part in parts if time[part[-1]] - time[part[0]] <= LONGEST_S]


def _effort(
    time: np.ndarray,
    power: np.ndarray,
    cadence: np.ndarray,
    run: tuple[int, int],
    step_s: float,
    spikes: Sequence[int],
) -> Effort:
    first, last = run
    inside = [i for i in spikes if first - 1 <= i <= last + 1]
    if inside:
        wanted = "a sprint without a spike"
        needs = f"{wanted}; found {power[inside[0]]:.0f} W at {time[inside[0]]:.1f} s"
        return Effort(float(time[first]), None, None, None, TorqueCadence(needs=wanted), needs)
    smooth = _over_a_turn(time, power, cadence, run, step_s)
    at = first + int(np.nanargmax(smooth))
    peak = float(np.nanmax(smooth))
    start_s, begin = _start(time, power, at, peak, step_s)
    if begin is None:
        note = "its start is not in the file: no time to the peak"
        return Effort(start_s, peak, None, None, TorqueCadence(needs="its start in the file"), notes=(note,))
    line = _line_of(time, power, cadence, start_s)
    if step_s > FINEST_NEEDED_S:
        note = f"samples {step_s:g} s apart give no time to the peak; it needs {FINEST_NEEDED_S:g} s or finer"
        return Effort(start_s, peak, None, None, line, notes=(note,))
    to_peak_s = _not_below_0(Interval.about(time[at] - start_s, step_s))
    return Effort(start_s, peak, to_peak_s, _strokes(time, cadence, begin, at, start_s, step_s), line)


def _over_a_turn(
    time: np.ndarray, power: np.ndarray, cadence: np.ndarray, run: tuple[int, int], step_s: float
) -> np.ndarray:
    """Return the mean power over one turn about each sample of a run, the sample itself where they are coarser."""
    smooth = []
    for i in range(run[0], run[1] + 1):
        turns_s = 60 / cadence[i] if cadence[i] > LEAST_CADENCE_RPM else 0.0
        half = int(round(turns_s / step_s) - 1) // 2
        part = power[max(i - half, 0) : i + half + 1] if half > 0 else power[i : i + 1]
        smooth.append(part.mean())  # a missing sample stays missing
    return np.array(smooth)


def _start(time: np.ndarray, power: np.ndarray, at: int, peak: float, step_s: float) -> tuple[float, int | None]:
    """Return when power last rose through a quarter of the peak, and the first sample above; None if not seen."""
    level = SHARE_AT_START * peak
    below = np.flatnonzero(power[: at + 1] < level)
    if not below.size:
        return float(time[0]), None
    i = int(below[-1])
    if time[i + 1] - time[i] > 1.5 * step_s or not np.isfinite(power[i + 1 : at + 1]).all():
        return float(time[i + 1]), None
    return float(np.interp(level, power[i : i + 2], time[i : i + 2])), i + 1


def _strokes(
    time: np.ndarray, cadence: np.ndarray, begin: int, at: int, start_s: float, step_s: float
) -> Interval | None:
    from scipy import integrate  # few visits come this far, and its import makes each form wait

    turning = cadence[begin : at + 1]
    if not np.isfinite(turning).all():
        return None
    when = np.concatenate([[start_s], time[begin : at + 1]])
    a_second = 2 * np.concatenate([turning[:1], turning]) / 60
    return _not_below_0(Interval.about(integrate.trapezoid(a_second, when), step_s * float(a_second.mean())))


def _not_below_0(interval: Interval) -> Interval:
    return Interval(interval.value, max(interval.low, 0.0), interval.high)


def _gaps(time: np.ndarray, power: np.ndarray, step_s: float) -> tuple[str, ...]:
    unseen = int(np.count_nonzero(~np.isfinite(power)))
    wide = np.flatnonzero(np.diff(time) > 1.5 * step_s)
    notes = [f"{unseen} samples without power; nothing was put in their place"] if unseen else []
    said = [f"no samples from {time[i]:.1f} to {time[i + 1]:.1f} s" for i in wide[:LISTED_GAPS]]
    more = [f"{len(wide)} gaps in all"] if len(wide) > LISTED_GAPS else []
    return (*notes, *said, *more)


def _line_of(time: np.ndarray, power: np.ndarray, cadence: np.ndarray, start_s: float) -> TorqueCadence:
    inside = (time >= start_s) & (time <= start_s + LINE_S) & np.isfinite(power) & (cadence > LEAST_CADENCE_RPM)
    return torque_cadence_line(cadence_rpm=cadence[inside], power_w=power[inside])


def torque_cadence_line(*, cadence_rpm: Sequence[float], power_w: Sequence[float]) -> TorqueCadence:
    """Return the line of torque over cadence of a sprint's first three seconds.

    There is none where there are fewer than six samples, where cadence spans less than 30 turns a minute, or where
    torque does not surely fall.

    Parameters
    ----------
    cadence_rpm, power_w : sequence of float
        Samples [turns a minute, W], with no others than those of the first 3 s.

    Notes
    -----
    P(f) = T0 (1 - f / f0) 2 pi f / 60, so that torque P / (2 pi f / 60) is a straight line over cadence; best cadence
    f0 / 2, highest power T0 2 pi f0 / 240. Intervals of f0 and the highest power by the law of propagation (JCGM
    100:2008, 5.2.2) from the line's covariance.

    References
    ----------
    Martin, Wagner, Coyle 1997, MSSE 29:1505; the first 3 s only: Dunst 2022.
    """
    cadence, power = np.asarray(cadence_rpm, dtype=float), np.asarray(power_w, dtype=float)
    if cadence.size < LINE_POINTS:
        wanted = f"{LINE_POINTS} samples in its first {LINE_S:g} s; found {cadence.size}"
        return TorqueCadence(points=cadence.size, needs=wanted)
    if not np.ptp(cadence) >= LINE_SPAN_RPM:
        wanted = f"a sprint over {LINE_SPAN_RPM:g} turns a minute or more in its first {LINE_S:g} s"
        return TorqueCadence(points=cadence.size, needs=f"{wanted}; found {np.ptp(cadence):.0f}")
    torque = power / (2 * math.pi * cadence / 60)
    (slope, rest), covariance = np.polyfit(cadence, torque, 1, cov=True)
    t = float(special.stdtrit(cadence.size - 2, 0.975))
    if not slope + t * math.sqrt(covariance[0, 0]) < 0 < rest:
        wanted = "torque that falls with cadence; it did not, beyond its scatter"
        return TorqueCadence(points=cadence.size, needs=wanted)
    no_load, highest = -rest / slope, -math.pi / 120 * rest**2 / slope
    by_no_load = np.array([rest / slope**2, -1 / slope])
    by_highest = math.pi / 120 * np.array([rest**2 / slope**2, -2 * rest / slope])
    spread = [t * math.sqrt(max(by @ covariance @ by, 0.0)) for by in (by_no_load, by_highest)]
    cadence_at_no_load = Interval.about(no_load, spread[0])
    return TorqueCadence(
        Interval.about(rest, t * math.sqrt(covariance[1, 1])),
        cadence_at_no_load,
        cadence_at_no_load.times(0.5),
        Interval.about(highest, spread[1]),
        cadence.size,
    )
