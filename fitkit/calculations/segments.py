"""Segment lengths of a leg that was not measured: published proportions of stature with their spread.

A measured segment always goes first. What is returned here is graded "published" and is wide on purpose: people of
one stature differ by centimetres in thigh and shank, and the sources differ in where they put the joints.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from fitkit import constants
from fitkit.calculations.readings import Quantity
from fitkit.constants import SECOND, Published

__all__ = [
    "Proportion",
    "ankle_height_of_stature",
    "inseam_contradiction",
    "shank_of_stature",
    "thigh_of_stature",
]

Population = Literal["men", "women"]

_ANSUR = "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012), as quoted by an open code"
THIGH_LINK_MEN_MM = Published(409.3, "mm", 28.4, _ANSUR, SECOND, "trochanterion to lateral femoral epicondyle")
THIGH_LINK_WOMEN_MM = Published(379.4, "mm", 24.0, _ANSUR, SECOND, "trochanterion to lateral femoral epicondyle")
CALF_LINK_MEN_MM = Published(418.8, "mm", 24.6, _ANSUR, SECOND, "lateral femoral epicondyle to lateral malleolus")
CALF_LINK_WOMEN_MM = Published(403.2, "mm", 25.9, _ANSUR, SECOND, "lateral femoral epicondyle to lateral malleolus")

# Trochanter height over inseam: 1.10 by the published shares of stature. The limits are a house choice.
LEAST_LEG_PER_INSEAM, GREATEST_LEG_PER_INSEAM = 1.00, 1.20


@dataclass(frozen=True)
class Proportion:
    """A length from published proportions [mm], its sources and what must be said beside it."""

    length: Quantity
    source: str
    note: str


def thigh_of_stature(stature: Quantity, population: Population | None) -> Proportion:
    """Return the thigh [mm] from stature [mm], by both published shares of stature."""
    shares = constants.THIGH_SHARE_DRILLIS, constants.THIGH_SHARE_DE_LEVA
    return _share_of(stature, shares, _spread(THIGH_LINK_MEN_MM, THIGH_LINK_WOMEN_MM, population))


def shank_of_stature(stature: Quantity, population: Population | None) -> Proportion:
    """Return the shank [mm] from stature [mm], by both published shares of stature."""
    shares = constants.SHANK_SHARE_DRILLIS, constants.SHANK_SHARE_DE_LEVA
    return _share_of(stature, shares, _spread(CALF_LINK_MEN_MM, CALF_LINK_WOMEN_MM, population))


def ankle_height_of_stature(stature: Quantity, population: Population | None) -> Proportion:
    """Return the ankle's height above the barefoot sole [mm] from stature [mm]; both shares when no population."""
    shares = _of(constants.MALLEOLUS_HEIGHT_SHARE_MEN, constants.MALLEOLUS_HEIGHT_SHARE_WOMEN, population)
    spread = _spread(constants.MALLEOLUS_HEIGHT_MEN_MM, constants.MALLEOLUS_HEIGHT_WOMEN_MM, population)
    return _share_of(stature, shares, spread)


def inseam_contradiction(*, thigh_mm: float, shank_mm: float, ankle_height_mm: float, inseam_mm: float) -> str | None:
    """Say when segment lengths and inseam cannot belong to one leg; None when they can.

    Parameters
    ----------
    thigh_mm, shank_mm, ankle_height_mm : float
        Segments as measured [mm].
    inseam_mm : float
        Inseam [mm].

    Returns
    -------
    str or None
        A sentence with what was found and what was expected.

    Notes
    -----
    Their sum is the trochanter's height, which stands above the crotch: by a tenth of the inseam by the shares of
    Drillis & Contini 1966 and of crotch height in Gordon et al. 2014. From 1.00 to 1.20 passes.
    """
    height = thigh_mm + shank_mm + ankle_height_mm
    low, high = LEAST_LEG_PER_INSEAM * inseam_mm, GREATEST_LEG_PER_INSEAM * inseam_mm
    if low <= height <= high:
        return None
    return (
        f"thigh, shank and ankle height make {height:.0f} mm; expected {low:.0f} to {high:.0f} for an inseam of "
        f"{inseam_mm:.0f} mm. Measure all four again"
    )


def _of(men: Published, women: Published, population: Population | None) -> tuple[Published, ...]:
    return {"men": (men,), "women": (women,), None: (men, women)}[population]


def _spread(men: Published, women: Published, population: Population | None) -> Published:
    # The whole survey's: people of every stature differ more than people of one, so it is never too narrow.
    return max(_of(men, women, population), key=lambda published: published.uncertainty)


def _middle(values: tuple[Published, ...]) -> tuple[float, float]:
    # The middle of what is published, and the standard uncertainty of lying anywhere between (GUM 4.3.7).
    low, high = min(v.value for v in values), max(v.value for v in values)
    return (low + high) / 2, (high - low) / math.sqrt(12)


def _share_of(stature: Quantity, shares: tuple[Published, ...], spread: Published) -> Proportion:
    share, between = _middle(shares)
    own = tuple((share * u, df) for u, df in stature.components)
    added = (between * stature.value, math.inf), (spread.uncertainty, math.inf)
    note = f"{share:.4g} of stature; the spread is that of people of every stature, so never too narrow"
    return Proportion(Quantity(share * stature.value, (*own, *added)), _sources(*shares, spread), note)


def _sources(*published: Published) -> str:
    return "; ".join(dict.fromkeys(value.source for value in published))
