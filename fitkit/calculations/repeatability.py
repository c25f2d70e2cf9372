"""How far a measurement may be trusted: error of repeats, bias, agreement, smallest detectable change.

Against a reference (another fitter, a device) or against oneself, earlier numbers hidden. All in the unit of the
readings, mostly mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fitkit.calculations.readings import Interval, StandardDeviation


@dataclass(frozen=True)
class LimitsOfAgreement:
    """Mean difference and the two limits within which 95 % of differences are expected, each with its interval."""

    bias: Interval
    lower: Interval
    upper: Interval
    sd: float
    pairs: int


def repeat_spread(repeats: Sequence[Sequence[float]]) -> StandardDeviation:
    """Return the spread of one reading and its degrees of freedom.

    Parameters
    ----------
    repeats : sequence of sequences of float
        Repeats of one thing each, two or more of some of them [unit].

    Raises
    ------
    ValueError
        If nothing was measured twice, or a reading is not finite.

    Notes
    -----
    Pooled variance within things, sum (n - 1) degrees of freedom: JCGM 100:2008, H.5.2.5.
    """
    groups = [np.asarray(group, dtype=float) for group in repeats]
    for group in groups:
        if not np.isfinite(group).all():
            raise ValueError(f"repeats hold {group.tolist()}; expected finite numbers")
    df = sum(max(group.size - 1, 0) for group in groups)
    if not df:
        raise ValueError(f"{len(groups)} things, none measured twice; expected repeats")
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in groups if group.size)
    return StandardDeviation(math.sqrt(within / df), float(df))


def technical_error(repeats: Sequence[Sequence[float]]) -> Interval:
    """Return the technical error of measurement with its 95 % interval [unit].

    Parameters
    ----------
    repeats : sequence of sequences of float
        As for `repeat_spread`, by the same or by several observers: a constant difference between them is part of it.

    Notes
    -----
    sqrt(sum d^2 / 2n) for pairs; for K observers sqrt((sum_i (sum_k M^2 - (sum_k M)^2 / K)) / (N (K - 1))): both are
    the pooled spread within things. Interval by chi-square with its degrees of freedom.

    Examples
    --------
    >>> round(technical_error([(14, 15), (12, 12), (16, 14)]).value, 4)
    0.9129
    """
    spread = repeat_spread(repeats)
    low, high = (math.sqrt(spread.df / special.chdtri(spread.df, p)) for p in (0.025, 0.975))
    return Interval(spread.sd, spread.sd * low, spread.sd * high)


def smallest_detectable_change(error: Interval) -> Interval:
    """Return the smallest change between two single readings that is more than error, at 95 % [unit].

    It is 1.96 sqrt(2) times the technical error, or standard error of measurement; its interval is that of the error.
    """
    return error.times(1.96 * math.sqrt(2))


def bias(own: Sequence[float], other: Sequence[float]) -> Interval:
    """Return the mean of own less other readings with its 95 % interval.

    Parameters
    ----------
    own, other : sequence of float
        Readings of the same things in the same order [unit]: against a reference, or second against first.

    Raises
    ------
    ValueError
        If they differ in length, are fewer than two, or hold a number that is not finite.

    Notes
    -----
    Paired t, n - 1 degrees of freedom.
    """
    difference = _differences(own, other)
    half_width = special.stdtrit(difference.size - 1, 0.975) * difference.std(ddof=1) / math.sqrt(difference.size)
    return Interval.about(float(difference.mean()), float(half_width))


def limits_of_agreement(own: Sequence[float], other: Sequence[float]) -> LimitsOfAgreement:
    """Return bias and limits of agreement [unit]; parameters and errors as for `bias`.

    Notes
    -----
    Limits: mean difference -+ 1.96 s. Standard error of a limit: s sqrt(1 / n + 1.96^2 / (2 (n - 1))), t with n - 1.

    References
    ----------
    Bland and Altman 1986, Lancet 327:307; 1999, Stat Methods Med Res 8:135 (the standard error).
    """
    difference = _differences(own, other)
    n, mean, sd = difference.size, float(difference.mean()), float(difference.std(ddof=1))
    half_width = float(special.stdtrit(n - 1, 0.975)) * sd * math.sqrt(1 / n + 1.96**2 / (2 * (n - 1)))
    lower, upper = (Interval.about(mean + side * 1.96 * sd, half_width) for side in (-1, 1))
    return LimitsOfAgreement(bias(own, other), lower, upper, sd, n)


def _differences(own: Sequence[float], other: Sequence[float]) -> np.ndarray:
    first, second = np.asarray(own, dtype=float), np.asarray(other, dtype=float)
    if first.shape != second.shape or first.size < 2:
        raise ValueError(f"{first.size} own and {second.size} other readings; expected two or more of each, as many")
    difference = first - second
    if not np.isfinite(difference).all():
        raise ValueError(f"reading {int(np.flatnonzero(~np.isfinite(difference))[0]) + 1} is missing; expected both")
    return difference


def icc(readings: Sequence[Sequence[float]]) -> Interval:
    """Return the intraclass correlation of a full table of readings, form (2,1) [1], with its 95 % interval.

    It asks for agreement of single readings by observers drawn from many; a fitter's own rounds count as such, since a
    drift from round to round is error.

    Parameters
    ----------
    readings : sequence of sequences of float
        One row a target, one column an observer or a round [unit]; no cell missing.

    Raises
    ------
    ValueError
        If there are fewer than two targets or observers, a cell is missing, or all readings are alike.

    References
    ----------
    Shrout and Fleiss 1979, Psychol Bull 86:420; interval as there, with Satterthwaite's degrees of freedom.
    """
    is_full = len({len(row) for row in readings}) == 1
    table = np.array([list(row) for row in readings], dtype=float) if is_full else np.empty((0, 0))
    n, k = table.shape
    if n < 2 or k < 2 or not np.isfinite(table).all():
        raise ValueError(f"{len(readings)} targets; expected two or more, each with as many readings, none missing")
    mean = table.mean()
    between = k * float(((table.mean(axis=1) - mean) ** 2).sum()) / (n - 1)
    observers = n * float(((table.mean(axis=0) - mean) ** 2).sum()) / (k - 1)
    total = float(((table - mean) ** 2).sum())
    residual = (total - between * (n - 1) - observers * (k - 1)) / ((n - 1) * (k - 1))
    for scatter, found in (
        (residual, "no scatter about the observers' means"),
        (between, "the targets are alike on the mean"),
    ):
        if not scatter > 1e-12 * total:
            wanted = "expected targets that differ and readings that scatter: no correlation can be told"
            raise ValueError(f"{found}; {wanted}")
    value = (between - residual) / (between + (k - 1) * residual + k * (observers - residual) / n)
    ratio = observers / residual
    weight = n * (1 + (k - 1) * value) - k * value
    df = (n - 1) * (k - 1) * (k * value * ratio + weight) ** 2
    df /= (n - 1) * k**2 * value**2 * ratio**2 + weight**2
    upper, lower = special.fdtri(n - 1, df, 0.975), special.fdtri(df, n - 1, 0.975)
    other = k * observers + (k * n - k - n) * residual
    low = n * (between - upper * residual) / (upper * other + n * between)
    high = n * (lower * between - residual) / (other + n * lower * between)
    return Interval(float(value), float(low), float(high))


def mark_place_spread(
    found_anew: Sequence[Sequence[float]], tape_left_on: Sequence[Sequence[float]] | None
) -> StandardDeviation:
    """Return the spread of the mark's own place [mm], for a fitter's study.

    Parameters
    ----------
    found_anew : sequence of sequences of float
        Readings of one shoe each, the joint found and marked anew every time [mm].
    tape_left_on : sequence of sequences of float or None
        Readings of one shoe each from a mark left in place [mm]; None where that was not done.

    Notes
    -----
    Variance of the readings found anew less that of reading alone; degrees of freedom by Satterthwaite (JCGM
    100:2008, G.4.1). Without `tape_left_on`, or where the marks scatter no more than the ruler, the reading's error is
    left in: an error is never made smaller than was seen. Repeats show how marks scatter, never that all of them lie
    off the joint.
    """
    anew = repeat_spread(found_anew)
    if tape_left_on is None:
        return anew
    ruler = repeat_spread(tape_left_on)
    variance = anew.sd**2 - ruler.sd**2
    if not variance > 0:
        return anew
    df = variance**2 / (anew.sd**4 / anew.df + ruler.sd**4 / ruler.df)
    # A small difference of two variances has hardly any degrees of freedom; below one no interval can be formed.
    return StandardDeviation(math.sqrt(variance), df) if df >= 1 else anew
