"""Sprints of several settings side by side: the screen before, which sprints count, what they can show.

Nothing here says that a setting makes a rider faster: a difference stands beside the smallest one that so many
sprints can show, and the trade's own figure is held to the same measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fitkit import constants
from fitkit.calculations.readings import HOUSE_WEIGHT, Interval, StandardDeviation, mean_of, pooled_spread

LEAST_SPRINTS = 4  # house choice, fixed with the published reproducibility: fewer show only differences above 5 %

A_YES = "clinician: a yes in the exertion screen"
ORDER_WORDS = (
    "The order of riding is not taken out: unless the settings were ridden in turn (A B B A), tiredness, warming up "
    "and practice are part of any difference."
)


@dataclass(frozen=True)
class SettingSprints:
    """The sprints of one setting that count: peak powers [W], their mean with interval, or what is needed."""

    setting: str
    peaks_w: tuple[float, ...]
    mean_w: Interval | None
    needs: str | None = None


@dataclass(frozen=True)
class Difference:
    """Second setting less first [W and % of the first] with 95 % intervals, beside the smallest detectable [%].

    `is_within_noise` says whether the difference's interval holds 0.
    """

    difference_w: Interval | None
    difference_percent: Interval | None
    smallest_detectable_percent: float | None
    is_within_noise: bool | None
    needs: str | None = None


def exertion_screen(nothing_against: bool | None, *, signs: Sequence[str] = ()) -> str | None:
    """Return what is needed before sprints may be ridden; None where nothing speaks against them.

    Parameters
    ----------
    nothing_against : bool or None
        Whether each question before hard effort was answered no; None where they were not asked.
    signs : sequence of str
        Signs of the visit that no licensed role has cleared.

    Notes
    -----
    Standard medicine, from memory. It clears nobody medically: one yes ends the plan to sprint, not more.
    """
    if signs:
        return f"clinician: {signs[0]}"
    if nothing_against is None:
        return "exertion screen"
    return None if nothing_against else A_YES


def by_setting(ridden: Sequence[tuple[str, float | None]]) -> tuple[SettingSprints, ...]:
    """Return each setting's sprints that count, in the order first ridden.

    Parameters
    ----------
    ridden : sequence of (str, float or None)
        Setting and peak power [W] of every sprint of the visit in the order ridden; None where it has no peak. The
        first two are for getting used to it and never count.

    Notes
    -----
    Two familiarisation sprints: read beside Watt et al. 2002. The spread of one sprint is this rider's own pooled with
    the published one, weighted as in `readings.pooled_spread`, so that peaks alike never look exact.
    """
    familiar = int(constants.SPRINT_FAMILIARISATION_SPRINTS.value)
    counted: dict[str, list[float]] = {setting: [] for setting, _ in ridden}
    for setting, peak_w in ridden[familiar:]:
        if peak_w is not None:
            counted[setting].append(float(peak_w))
    return tuple(_of_setting(setting, tuple(peaks)) for setting, peaks in counted.items())


def _of_setting(setting: str, peaks: tuple[float, ...]) -> SettingSprints:
    if len(peaks) < LEAST_SPRINTS:
        wanted = f"{LEAST_SPRINTS} sprints after the two for getting used to it; found {len(peaks)}"
        return SettingSprints(setting, peaks, None, wanted)
    relative = _relative_spread(peaks)
    mean = mean_of(peaks, StandardDeviation(relative.sd * float(np.mean(peaks)), relative.df))
    return SettingSprints(setting, peaks, Interval.about(mean.value, mean.half_width()))


def _relative_spread(*settings: Sequence[float]) -> StandardDeviation:
    """Return the spread of one sprint as a part of its setting's mean [1], the published one pooled in."""
    parts = [tuple(float(peak / np.mean(peaks)) for peak in peaks) for peaks in settings]
    return pooled_spread(parts, house_sd=constants.SPRINT_CV_PERCENT.value / 100)


def compare(first_w: Sequence[float], second_w: Sequence[float]) -> Difference:
    """Return how much more peak power the second setting gave than the first, and whether that can be told.

    Parameters
    ----------
    first_w, second_w : sequence of float
        Peak powers of the sprints that count [W], four or more of each.

    Notes
    -----
    One spread of a sprint, in parts of its setting's mean, serves both settings: this rider's own pooled with the
    published one. The smallest detectable change is the half-width that it gives, by t, for so many sprints. The
    order of riding is not in it.
    """
    for peaks in (first_w, second_w):
        if len(peaks) < LEAST_SPRINTS:
            return Difference(None, None, None, None, f"{LEAST_SPRINTS} sprints for each setting; found {len(peaks)}")
    means = float(np.mean(first_w)), float(np.mean(second_w))
    if not min(means) > 0:
        raise ValueError(f"mean peak powers are {means[0]:g} and {means[1]:g} W; expected above 0")
    spread, counts = _relative_spread(first_w, second_w), (len(first_w), len(second_w))
    t = float(special.stdtrit(spread.df, 0.975))
    half_w = t * spread.sd * math.hypot(*(mean / math.sqrt(n) for mean, n in zip(means, counts, strict=True)))
    found = Interval.about(means[1] - means[0], half_w)
    ratio = means[1] / means[0]
    detectable = smallest_detectable_percent(100 * spread.sd, *counts, df=spread.df)
    percent = Interval.about(100 * (ratio - 1), detectable * ratio)
    return Difference(found, percent, detectable, found.low <= 0 <= found.high)


def smallest_detectable_percent(cv_percent: float, first: int, second: int, *, df: float = math.inf) -> float:
    """Return the smallest change between two means that so many sprints can show [%], at 95 %.

    Parameters
    ----------
    cv_percent : float
        Variation between sprints [%].
    first, second : int
        Number of sprints of each setting.
    df : float
        Degrees of freedom of the variation; infinite where it counts as known.

    Notes
    -----
    t CV sqrt(1 / n1 + 1 / n2); with a known variation that is 1.96 sqrt(2) CV for single sprints.

    Examples
    --------
    >>> round(smallest_detectable_percent(3.3, 4, 4), 1)
    4.6
    """
    if not (cv_percent > 0 and first >= 1 and second >= 1):
        raise ValueError(f"cv_percent is {cv_percent}, sprints are {first} and {second}; expected above 0, 1 or more")
    return float(special.stdtrit(df, 0.975)) * cv_percent * math.sqrt(1 / first + 1 / second)


def trade_figure_words() -> str:
    """Return in words what four sprints can say of the trade's own figure for a cleat further back."""
    forward, back = constants.SPRINT_PEAK_FORWARD_AND_BACK_W.value
    counts, df = (LEAST_SPRINTS, LEAST_SPRINTS), HOUSE_WEIGHT + 2 * (LEAST_SPRINTS - 1)
    detectable = smallest_detectable_percent(constants.SPRINT_CV_PERCENT.value, *counts, df=df)
    return (
        f"Common practice, no source: a cleat further back costs peak power of the order of {forward:g} to {back:g} W, "
        f"that is {100 * (forward - back) / forward:.1f} %. Four sprints for each setting, which scatter as "
        f"published, show {detectable:.1f} % and more, so that this figure lies below what they can show."
    )
