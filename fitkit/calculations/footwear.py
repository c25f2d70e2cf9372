"""Shoe sizes each way, and where the first MTP joint is expected in a foot of known length.

A size label tells a foot's length only roughly; what is read back from it carries the label's own uncertainty.
"""

from __future__ import annotations

import math
from typing import Literal

from scipy import special

from fitkit import constants
from fitkit.calculations.readings import Quantity, linear

__all__ = [
    "Population",
    "SizeSystem",
    "eu_from_foot",
    "eu_from_label",
    "expected_first_mtp",
    "foot_from_label",
    "label_foot_half_width_mm",
    "label_note",
    "last_from_eu",
    "sizes_differ",
    "uk_from_foot",
]

SizeSystem = Literal["eu", "uk", "us_men", "us_women", "mondopoint"]
Population = Literal["men", "women"]

LEAST_FOOT_MM, GREATEST_FOOT_MM = 150.0, 350.0

label_foot_half_width_mm: float = constants.LABEL_FOOT_HALF_WIDTH_MM.value

_PARIS_POINT_MM: float = constants.PARIS_POINT_MM.value
_ALLOWANCE: float = constants.LAST_ALLOWANCE_PARIS_POINTS.value
_BARLEYCORN_MM: float = constants.BARLEYCORN_MM.value
_UK_AT_NO_FOOT: float = constants.UK_AT_NO_FOOT.value
_ABOVE_UK = {"uk": 0.0, "us_men": constants.US_MEN_ABOVE_UK.value, "us_women": constants.US_WOMEN_ABOVE_UK.value}
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


def eu_from_foot(foot_length_mm: float) -> float:
    """Return the EU size of a foot.

    Parameters
    ----------
    foot_length_mm : float
        Foot length [mm], 150 to 350.

    Returns
    -------
    float
        EU size [Paris points], not rounded to a size that is sold.

    Raises
    ------
    ValueError
        If the foot length is not possible.

    Notes
    -----
    The last is two Paris points longer than the foot, and the size is its length in Paris points.

    Examples
    --------
    >>> round(eu_from_foot(270), 2)
    42.5

    References
    ----------
    ISO/TS 19407:2015, by an open implementation of it.
    """
    return _foot(foot_length_mm) / _PARIS_POINT_MM + _ALLOWANCE


def uk_from_foot(foot_length_mm: float) -> float:
    """Return the UK adult size of a foot.

    Parameters
    ----------
    foot_length_mm : float
        Foot length [mm], 150 to 350.

    Returns
    -------
    float
        UK adult size [barleycorns], not rounded.

    Raises
    ------
    ValueError
        If the foot length is not possible.

    Notes
    -----
    One size is one barleycorn, a third of an inch. Quoted tables differ from the formula by half a size here
    and there.

    Examples
    --------
    >>> round(uk_from_foot(254), 2)
    7.0

    References
    ----------
    ISO/TS 19407:2015, by an open implementation of it.
    """
    return _foot(foot_length_mm) / _BARLEYCORN_MM + _UK_AT_NO_FOOT


def last_from_eu(size_eu: float) -> float:
    """Return the last length [mm] of an EU size: that many Paris points.

    Raises
    ------
    ValueError
        If no foot of 150 to 350 mm has that size.

    References
    ----------
    ISO/TS 19407:2015.
    """
    _nominal_foot_mm(size_eu, "eu")
    return size_eu * _PARIS_POINT_MM


def eu_from_label(size: float, system: SizeSystem) -> float:
    """Return the EU size of a shoe's label.

    Parameters
    ----------
    size : float
        Size on the label [sizes of its system; mm for Mondopoint].
    system : SizeSystem
        Its system: "eu", "uk", "us_men", "us_women" or "mondopoint".

    Returns
    -------
    float
        EU size [Paris points], not rounded.

    Raises
    ------
    ValueError
        If the system is unknown, or no foot of 150 to 350 mm has that size in it.

    Notes
    -----
    By way of the nominal foot length. How far the label's foot may be from the rider's says `foot_from_label`.

    Examples
    --------
    >>> round(eu_from_label(270, "mondopoint"), 2)
    42.5

    References
    ----------
    ISO/TS 19407:2015 for EU, UK and Mondopoint; US sizes from memory, see `label_note`.
    """
    foot_length_mm = _nominal_foot_mm(size, system)
    return float(size) if system == "eu" else eu_from_foot(foot_length_mm)


def foot_from_label(size: float, system: SizeSystem) -> Quantity:
    """Return the foot length [mm] read back from a shoe's label, with the label's uncertainty.

    Parameters
    ----------
    size : float
        Size on the label [sizes of its system; mm for Mondopoint].
    system : SizeSystem
        Its system.

    Raises
    ------
    ValueError
        As `eu_from_label` does.

    Notes
    -----
    The label's half-width, and for US sizes that of the conversion too, are taken as 95 %.

    Examples
    --------
    >>> round(foot_from_label(42, "eu").half_width(), 2)
    5.0

    References
    ----------
    Derived: half a size and the maker's allowance, from the sizes of ISO/TS 19407:2015.
    """
    half_widths_mm = [label_foot_half_width_mm]
    foot_length_mm = _nominal_foot_mm(size, system)
    if system in ("us_men", "us_women"):
        half_widths_mm.append(constants.US_SIZE_HALF_WIDTH.value * _BARLEYCORN_MM)
    per_half_width = 1 / float(special.ndtri(0.975))
    return Quantity(foot_length_mm, tuple((half_mm * per_half_width, math.inf) for half_mm in half_widths_mm))


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
    ISO/TS 19407:2015, by an open implementation of it.
    """
    _nominal_foot_mm(label_eu, "eu")
    return label_eu - eu_from_foot(foot_length_mm)


def expected_first_mtp(foot: Quantity, population: Population | None) -> tuple[float, float, float]:
    """Return where the first MTP joint is expected, from the heel along the foot [mm]: value, low, high at 95 %.

    Parameters
    ----------
    foot : Quantity
        Foot length [mm] with its reading error, or from `foot_from_label`.
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
    foot_length_mm = _unchecked_foot_mm(size, system)
    if _is_foot(foot_length_mm):
        return foot_length_mm
    least, greatest = (_size_of_foot(end, system) for end in (LEAST_FOOT_MM, GREATEST_FOOT_MM))
    # Only systems whose sizes cannot be mistaken for each other; UK and US run side by side.
    fits = [name for name in ("eu", "uk", "mondopoint") if _is_foot(_unchecked_foot_mm(size, name))]
    hint = f" Is it {fits[0]}?" if fits else ""
    if system == "mondopoint":
        hint = _unit_slip(size) or hint
    raise ValueError(f"size is {size} in the system {system}; expected {least:.1f} to {greatest:.1f}.{hint}")


def _unchecked_foot_mm(size: float, system: str) -> float:
    if system == "eu":
        return (size - _ALLOWANCE) * _PARIS_POINT_MM
    if system == "mondopoint":
        return float(size)
    if system in _ABOVE_UK:
        return (size - _ABOVE_UK[system] - _UK_AT_NO_FOOT) * _BARLEYCORN_MM
    raise ValueError(f"system is {system!r}; expected eu, uk, us_men, us_women or mondopoint")


def _size_of_foot(foot_length_mm: float, system: str) -> float:
    if system == "eu":
        return eu_from_foot(foot_length_mm)
    return foot_length_mm if system == "mondopoint" else uk_from_foot(foot_length_mm) + _ABOVE_UK[system]
