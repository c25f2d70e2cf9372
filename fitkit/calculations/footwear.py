"""Shoe sizes each way, and where the first MTP joint is expected in a foot of known length.

Every system's size is a straight line over foot length. A label tells a foot's length only roughly.
"""

from __future__ import annotations

import math

from fitkit import constants
from fitkit.calculations.readings import Quantity, linear
from fitkit.vocabulary import Population, SizeSystem

LEAST_FOOT_MM, GREATEST_FOOT_MM = 150.0, 350.0

_UK_AT_NO_FOOT: float = constants.UK_AT_NO_FOOT.value
# Each system's step [mm of foot a size] and its size at no foot.
_SYSTEMS: dict[str, tuple[float, float]] = {
    "eu": (constants.PARIS_POINT_MM.value, constants.LAST_ALLOWANCE_PARIS_POINTS.value),
    "uk": (constants.BARLEYCORN_MM.value, _UK_AT_NO_FOOT),
    "us_men": (constants.BARLEYCORN_MM.value, _UK_AT_NO_FOOT + constants.US_MEN_ABOVE_UK.value),
    "us_women": (constants.BARLEYCORN_MM.value, _UK_AT_NO_FOOT + constants.US_WOMEN_ABOVE_UK.value),
    "mondopoint": (1.0, 0.0),
}
# Each population's intercept [mm], slope [1], standard error of estimate [mm] and its degrees of freedom.
_REGRESSIONS = {
    "men": (
        constants.FIRST_MTP_INTERCEPT_MEN_MM.value,
        constants.FIRST_MTP_SLOPE_MEN.value,
        constants.FIRST_MTP_SEE_MEN_MM.value,
        constants.ANSUR_MEN_N.value - 2,
    ),
    "women": (
        constants.FIRST_MTP_INTERCEPT_WOMEN_MM.value,
        constants.FIRST_MTP_SLOPE_WOMEN.value,
        constants.FIRST_MTP_SEE_WOMEN_MM.value,
        constants.ANSUR_WOMEN_N.value - 2,
    ),
}


def size_from_foot(foot_length_mm: float, system: SizeSystem) -> float:
    """Return the size of a foot in a system, not rounded to a size that is sold.

    Parameters
    ----------
    foot_length_mm : float
        Foot length [mm], 150 to 350.
    system : SizeSystem
        "eu" [Paris points], "uk", "us_men", "us_women" [barleycorns] or "mondopoint" [mm].

    Raises
    ------
    ValueError
        If the foot length is not possible.

    Notes
    -----
    EU: the last is two Paris points longer than the foot, and the size is its length in Paris points. UK: one size is
    one barleycorn, a third of an inch; quoted tables differ from the formula by half a size here and there.

    Examples
    --------
    >>> round(size_from_foot(270, "eu"), 2), round(size_from_foot(254, "uk"), 2)
    (42.5, 7.0)

    References
    ----------
    ISO/TS 19407:2015, by an open implementation of it; US sizes from memory, see `label_note`.
    """
    step_mm, at_no_foot = _SYSTEMS[system]
    return _foot(foot_length_mm) / step_mm + at_no_foot


def eu_from_label(size: float, system: SizeSystem) -> float:
    """Return the EU size [Paris points] of a shoe's label, not rounded, by way of the nominal foot length.

    Parameters
    ----------
    size : float
        Size on the label [sizes of its system; mm for Mondopoint].
    system : SizeSystem
        Its system.

    Raises
    ------
    ValueError
        If the system is unknown, or no foot of 150 to 350 mm has that size in it.

    Examples
    --------
    >>> round(eu_from_label(270, "mondopoint"), 2)
    42.5

    References
    ----------
    As `size_from_foot`.
    """
    foot_length_mm = _nominal_foot_mm(size, system)
    return float(size) if system == "eu" else size_from_foot(foot_length_mm, "eu")


def label_note(system: SizeSystem) -> str:
    """Return what must be said beside a size of this system, "" where nothing must."""
    if system in ("us_men", "us_women"):
        return "US sizes are converted from memory: one size either way"
    return ""


def sizes_differ(label_eu: float, foot_length_mm: float) -> float:
    """Return by how many EU sizes the label is larger than the measured foot; negative: smaller.

    Parameters
    ----------
    label_eu : float
        EU size of the label [Paris points], from `eu_from_label`.
    foot_length_mm : float
        Measured foot length [mm], 150 to 350.

    Raises
    ------
    ValueError
        If either is not possible.

    Examples
    --------
    >>> round(sizes_differ(44, 270), 2)
    1.5

    References
    ----------
    As `size_from_foot`.
    """
    return eu_from_label(label_eu, "eu") - size_from_foot(foot_length_mm, "eu")


def expected_first_mtp(foot: Quantity, population: Population | None) -> tuple[float, float, float]:
    """Return where the first MTP joint is expected, from the heel along the foot [mm]: value, low, high at 95 %.

    Parameters
    ----------
    foot : Quantity
        Foot length [mm] with its reading error.
    population : Population or None
        Whose regression: "men" or "women"; None: the value is the mean of both, the interval their span.

    Raises
    ------
    ValueError
        If the foot length is not possible or the population unknown.

    Notes
    -----
    intercept + slope x foot length; the regression's standard error and the foot's reading error in quadrature.
    The interval is wide also for a foot without error: the joint must be felt.

    Examples
    --------
    >>> [round(place, 1) for place in expected_first_mtp(Quantity(270.0), "men")]
    [200.1, 192.3, 207.9]

    References
    ----------
    Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012): regressions computed from its data files.
    """
    _foot(foot.value)
    if population is not None and population not in _REGRESSIONS:
        raise ValueError(f"population is {population!r}; expected men, women or None")
    places = [_first_mtp(foot, name) for name in ([population] if population else _REGRESSIONS)]
    value = math.fsum(place.value for place in places) / len(places)
    low = min(place.value - place.half_width() for place in places)
    high = max(place.value + place.half_width() for place in places)
    return value, low, high


def _first_mtp(foot: Quantity, population: str) -> Quantity:
    intercept_mm, slope, see_mm, df = _REGRESSIONS[population]
    along = linear([(slope, foot)]).plus((see_mm, df))
    return Quantity(intercept_mm + along.value, along.components)


def _foot(foot_length_mm: float) -> float:
    if not _is_foot(foot_length_mm):
        raise ValueError(
            f"foot_length_mm is {foot_length_mm}; expected {LEAST_FOOT_MM:.0f} to {GREATEST_FOOT_MM:.0f}."
            f"{_unit_slip(foot_length_mm)}"
        )
    return float(foot_length_mm)


def _is_foot(foot_length_mm: float) -> bool:
    # A size converted there and back may miss an end by a rounding error.
    return LEAST_FOOT_MM - 1e-9 <= foot_length_mm <= GREATEST_FOOT_MM + 1e-9


def _unit_slip(length_mm: float) -> str:
    for unit, factor in (("cm", 10.0), ("inches", 25.4), ("m", 1000.0)):
        if _is_foot(length_mm * factor):
            return f" Entered in {unit}?"
    return ""


def _nominal_foot_mm(size: float, system: str) -> float:
    """Return the foot length [mm] a size of this system stands for; refuse a size no foot has."""
    if system not in _SYSTEMS:
        *others, last = _SYSTEMS
        raise ValueError(f"system is {system!r}; expected {', '.join(others)} or {last}")
    nominal_mm = {name: (size - at_no_foot) * step_mm for name, (step_mm, at_no_foot) in _SYSTEMS.items()}
    if _is_foot(nominal_mm[system]):
        return nominal_mm[system]
    least, greatest = (size_from_foot(end, system) for end in (LEAST_FOOT_MM, GREATEST_FOOT_MM))
    # Only systems whose sizes cannot be mistaken for each other; UK and US run side by side.
    fits = [name for name in ("eu", "uk", "mondopoint") if _is_foot(nominal_mm[name])]
    hint = f" Is it {fits[0]}?" if fits else ""
    if system == "mondopoint":
        hint = _unit_slip(size) or hint
    raise ValueError(f"size is {size} in the system {system}; expected {least:.1f} to {greatest:.1f}.{hint}")
