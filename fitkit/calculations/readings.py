"""Measurement uncertainty: from raw readings to a value with a 95 % interval, never better than it should be.

A value carries its standard uncertainties as components, each with its degrees of freedom, so that sums and
differences keep them apart until the interval is asked for. A house choice counts as known (infinite degrees
of freedom). Published: JCGM 100:2008 (GUM), 4.2, 5.1 and G.4.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scipy import special

HOUSE_WEIGHT = 4  # the house spread counts as much as a sample with four degrees of freedom


@dataclass(frozen=True)
class StandardDeviation:
    """Standard deviation of one reading [the reading's unit] and its degrees of freedom."""

    sd: float
    df: float


@dataclass(frozen=True)
class Interval:
    """A value with the ends of its 95 % interval [its unit], where these need not lie evenly about it."""

    value: float
    low: float
    high: float

    @classmethod
    def about(cls, value: float, half_width: float) -> Interval:
        """Return the even interval `half_width` to either side of `value` [its unit]."""
        return cls(float(value), float(value - half_width), float(value + half_width))

    def times(self, factor: float) -> Interval:
        """Return the interval with value and ends multiplied by a factor above 0 [1]."""
        return Interval(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True)
class Quantity:
    """A value with its standard measurement uncertainty kept as independent components.

    References
    ----------
    JCGM 100:2008, 5.1.2 (sum in quadrature) and G.4.1 (Welch-Satterthwaite).
    """

    value: float  # [its unit]
    components: tuple[tuple[float, float], ...] = ()  # standard uncertainty [unit] and degrees of freedom of each

    @property
    def u(self) -> float:
        """Combined standard uncertainty [unit]."""
        return math.sqrt(sum(u * u for u, _ in self.components))

    @property
    def df(self) -> float:
        """Effective degrees of freedom, infinite when every component counts as known."""
        below = sum(u**4 / df for u, df in self.components if not math.isinf(df))
        return math.inf if below == 0 else self.u**4 / below

    def half_width(self, level: float = 0.95) -> float:
        """Expanded uncertainty: half of the interval's width [unit] at `level`."""
        if self.u == 0:
            return 0.0
        t = special.stdtrit(self.df, 0.5 + level / 2)
        return float(t) * self.u

    def plus(self, *components: tuple[float, float]) -> Quantity:
        """Return the same value with further components of standard uncertainty [unit]."""
        return Quantity(self.value, (*self.components, *components))


def exact(value: float) -> Quantity:
    """Return a count or a typed table value, which has no uncertainty of its own."""
    return Quantity(float(value))


def as_quantity(value: Quantity | float) -> Quantity:
    """Return a quantity as it is, and a plain number as one without uncertainty."""
    return value if isinstance(value, Quantity) else exact(value)


def linear(terms: Iterable[tuple[float, Quantity]]) -> Quantity:
    """Return the sum of coefficient times quantity, the quantities being independent.

    Parameters
    ----------
    terms : iterable of (float, Quantity)
        Coefficient [1] and quantity [unit]. A quantity that stands in two terms must be put in one.

    References
    ----------
    JCGM 100:2008, 5.1.2, equation (10).
    """
    terms = list(terms)
    parts = tuple((abs(c) * u, df) for c, quantity in terms for u, df in quantity.components if c * u != 0)
    return Quantity(sum(c * quantity.value for c, quantity in terms), parts)


def sample_variance(readings: Sequence[float]) -> float:
    """Return the sample variance [unit squared] of two or more readings, 0 for one."""
    mean = math.fsum(readings) / len(readings)
    return math.fsum((r - mean) ** 2 for r in readings) / (len(readings) - 1) if len(readings) > 1 else 0.0


def pooled_spread(
    groups: Iterable[Sequence[float]], *, house_sd: float, study_sd: float | None = None, study_df: float | None = None
) -> StandardDeviation:
    """Return the spread of one reading, pooled over groups of repeats, the house and the fitter's own study.

    It has a floor: three readings alike never give 0.

    Parameters
    ----------
    groups : iterable of sequences of float
        Repeats of one thing each, for example the readings of either foot [unit]; empty ones are left out.
    house_sd : float
        House spread of one reading of this kind [unit], weighted as four degrees of freedom.
    study_sd, study_df : float, optional
        Spread of one reading [unit] and its degrees of freedom in the fitter's own study.

    Raises
    ------
    ValueError
        If `house_sd` is not above 0.

    Notes
    -----
    s2 = (4 s0^2 + sum (n - 1) s_i^2) / (4 + sum (n - 1)): the pooled variance of JCGM 100:2008, H.3.3 and
    H.5.2.5, with the house choice as one more sample.

    Examples
    --------
    >>> round(pooled_spread([(11, 11, 12), (13, 14, 13)], house_sd=1.0).sd, 4)
    0.8165
    """
    if not house_sd > 0:
        raise ValueError(f"house_sd is {house_sd}; expected above 0")
    above, df = HOUSE_WEIGHT * house_sd**2, float(HOUSE_WEIGHT)
    for readings in groups:
        if len(readings) > 1:
            above += (len(readings) - 1) * sample_variance(readings)
            df += len(readings) - 1
    if study_sd is not None and study_df:
        above += study_df * study_sd**2
        df += study_df
    return StandardDeviation(math.sqrt(above / df), df)


def mean_of(
    readings: Sequence[float], spread: StandardDeviation, *, place: StandardDeviation | None = None
) -> Quantity:
    """Return the mean of readings with the reading's error, which falls with n, and the mark's, which does not.

    Parameters
    ----------
    readings : sequence of float
        One or more readings [unit].
    spread : StandardDeviation
        Spread of one reading [unit], from `pooled_spread`.
    place : StandardDeviation, optional
        The mark's own error [unit]; left out where no mark is involved.

    Raises
    ------
    ValueError
        If there is no reading.
    """
    if not readings:
        raise ValueError("readings is empty; expected one or more")
    components = ((spread.sd / math.sqrt(len(readings)), spread.df),)
    if place is not None:
        components = ((place.sd, place.df), *components)
    return Quantity(math.fsum(readings) / len(readings), components)
