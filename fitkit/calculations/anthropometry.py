"""Published models of the body: the distance between the hip joint centres, and a leg's segments from stature.

Models of hip spacing stand side by side and are spanned. A segment that was measured always goes first; one from
stature is graded "published" and is wide on purpose: people of one stature differ by centimetres in thigh and shank,
and the sources differ in where they put the joints.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit import constants
from fitkit.calculations.readings import Quantity
from fitkit.constants import SECOND, Published
from fitkit.vocabulary import Population

MODELS_SHARE_INPUTS = "Models that share an input agree by construction: that is no evidence."


@dataclass(frozen=True)
class SpacingRow:
    """Hip spacing by one model with its 95 % interval [mm]; None while `needs` names what is not measured."""

    name: str
    value_mm: float | None
    low_mm: float | None
    high_mm: float | None
    source: str
    needs: str | None = None


@dataclass(frozen=True)
class HipSpacing:
    """Hip spacing [mm]: the CT line's value, spanned over all rows; None while `needs` names what is missing."""

    value_mm: float | None
    low_mm: float | None
    high_mm: float | None
    needs: str | None
    rows: tuple[SpacingRow, ...]


def half_spacing_bell(inter_asis_mm):
    """Return the hip centre's distance from mid-pelvis [mm] from inter-ASIS distance [mm], floats or arrays.

    References
    ----------
    Bell, Pedersen, Brand 1990, J Biomech 23:617.
    """
    return constants.HIP_BELL_PER_WIDTH.value * inter_asis_mm


def half_spacing_harrington(inter_asis_mm, pelvic_depth_mm):
    """Return the hip centre's distance from mid-pelvis [mm] from inter-ASIS distance and pelvic depth [mm].

    References
    ----------
    Harrington et al. 2007, J Biomech 40:595.
    """
    return (
        constants.HIP_HARRINGTON_PER_DEPTH.value * pelvic_depth_mm
        + constants.HIP_HARRINGTON_PER_WIDTH.value * inter_asis_mm
        + constants.HIP_HARRINGTON_CONSTANT_MM.value
    )


def half_spacing_harrington_width_only(inter_asis_mm):
    """Return the hip centre's distance from mid-pelvis [mm] from inter-ASIS distance alone [mm].

    References
    ----------
    Harrington et al. 2007, J Biomech 40:595.
    """
    return (
        constants.HIP_HARRINGTON_WIDTH_ONLY_PER_WIDTH.value * inter_asis_mm
        + constants.HIP_HARRINGTON_WIDTH_ONLY_CONSTANT_MM.value
    )


def half_spacing_hara(leg_length_mm):
    """Return the hip centre's distance from mid-pelvis [mm] from leg length, ASIS to inner ankle bone [mm].

    References
    ----------
    Hara et al. 2016, Sci Rep 6:37707.
    """
    return constants.HIP_HARA_PER_LEG_LENGTH.value * leg_length_mm + constants.HIP_HARA_CONSTANT_MM.value


def spacing_ct_line(inter_asis_mm):
    """Return the whole hip spacing [mm] expected on CT from inter-ASIS distance [mm], floats or arrays.

    Notes
    -----
    Derived: the regression line of the published means, SDs and correlation; slope r SD / SD.

    References
    ----------
    Skeletal Radiology, doi 10.1007/s00256-009-0791-x: 200 adults.
    """
    above_mean_mm = np.subtract(inter_asis_mm, constants.INTER_ASIS_CT_MM.value)
    return constants.HIP_SPACING_CT_MM.value + constants.HIP_SPACING_CT_SLOPE.value * above_mean_mm


def hip_spacing(
    *, inter_asis_mm: float | None, pelvic_depth_mm: float | None, leg_length_mm: float | None
) -> HipSpacing:
    """Return the distance between the hip centres by the CT line and the published models [mm], side by side, spanned.

    `MODELS_SHARE_INPUTS` belongs beside it.

    Parameters
    ----------
    inter_asis_mm, pelvic_depth_mm : float or None
        Between the front upper spines; from their middle to that of the rear ones [mm].
    leg_length_mm : float or None
        Mean of both legs, ASIS to inner ankle bone [mm].

    Raises
    ------
    ValueError
        For a length that is not above 0.

    Notes
    -----
    Value: the CT line. Low and high: the furthest of the CT line with its 95 % and of each model with the CT line's
    residual SD of 7.5 mm.

    Examples
    --------
    >>> hip_spacing(inter_asis_mm=227, pelvic_depth_mm=None, leg_length_mm=None).value_mm
    160.0
    """
    given = {"inter_asis_mm": inter_asis_mm, "pelvic_depth_mm": pelvic_depth_mm, "leg_length_mm": leg_length_mm}
    for name, value in given.items():
        if value is not None and not 0 < value < math.inf:
            raise ValueError(f"{name} is {value}; expected above 0. Measure it again.")
    width, depth, leg = given.values()
    if depth is None:
        harrington, of_pelvis = ("Harrington, width only", half_spacing_harrington_width_only), (width,)
    else:
        harrington, of_pelvis = ("Harrington", half_spacing_harrington), (width, depth)
    needs, within_mm = "inter-ASIS distance", constants.HIP_MODEL_HALF_WIDTH_MM.value
    ct, ct_within_mm = constants.HIP_SPACING_CT_MM, constants.HIP_SPACING_CT_HALF_WIDTH_MM.value
    rows = (
        _row("CT line", spacing_ct_line, (width,), ct_within_mm, ct.source, needs, times=1),
        _row("Bell", half_spacing_bell, (width,), within_mm, constants.HIP_BELL_PER_WIDTH.source, needs),
        _row(*harrington, of_pelvis, within_mm, constants.HIP_HARRINGTON_PER_WIDTH.source, needs),
        _row("Hara", half_spacing_hara, (leg,), within_mm, constants.HIP_HARA_PER_LEG_LENGTH.source, "leg length"),
    )
    if width is None:
        return HipSpacing(None, None, None, needs, rows)
    known = [row for row in rows if row.needs is None]
    return HipSpacing(rows[0].value_mm, min(row.low_mm for row in known), max(row.high_mm for row in known), None, rows)


def _row(
    name: str, model: Callable, lengths: tuple, within_mm: float, source: str, needs: str, *, times: int = 2
) -> SpacingRow:
    """Return the row of a model of the half spacing; no number where a length it goes by is not measured."""
    if None in lengths:
        return SpacingRow(name, None, None, None, source, needs)
    value_mm = float(times * model(*lengths))
    return SpacingRow(name, value_mm, value_mm - within_mm, value_mm + within_mm, source)


def spacing_draws(spacing: HipSpacing, standard_normals: np.ndarray) -> np.ndarray:
    """Return draws of hip spacing whose 95 % interval is the span, which need not lie evenly about the value.

    Parameters
    ----------
    spacing : HipSpacing
        With a value [mm].
    standard_normals : ndarray
        Standard normal draws [1].

    Notes
    -----
    Derived: value + z u, u = (value - low) / z95 below and (high - value) / z95 above, where z95 is the CT line's
    half-width over its SD. Where no model reaches beyond the CT line this is a normal with the CT line's SD.
    """
    z95 = constants.HIP_SPACING_CT_HALF_WIDTH_MM.value / constants.HIP_SPACING_CT_RESIDUAL_SD_MM.value
    below, above = spacing.value_mm - spacing.low_mm, spacing.high_mm - spacing.value_mm
    return spacing.value_mm + standard_normals * np.where(standard_normals < 0, below, above) / z95


def trouser_size_words() -> str:
    """Return why a trouser size is not taken for hip spacing, with the published correlations."""
    men, women = constants.BI_ILIAC_WAIST_CORRELATION_MEN, constants.BI_ILIAC_WAIST_CORRELATION_WOMEN
    left = [
        (1 - r.value**2) ** 0.5 * sd.uncertainty
        for r, sd in ((men, constants.BI_ILIAC_MEN_MM), (women, constants.BI_ILIAC_WOMEN_MM))
    ]
    return (
        "A trouser size is no measure of hip spacing. Waist girth and the pelvis's own width go together only with "
        f"r {men.value:.2f} in men and {women.value:.2f} in women ({men.source}): knowing the waist leaves the pelvis "
        f"uncertain by {left[0]:.0f} and {left[1]:.0f} mm (1 SD). And on CT the hips follow the pelvis's width with "
        f"r {constants.HIP_SPACING_CT_CORRELATION.value:.2f} only."
    )


Segment = Literal["thigh_mm", "shank_mm", "ankle_height_mm"]

_ANSUR = "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012), as quoted by an open code"
THIGH_LINK_MEN_MM = Published(409.3, "mm", 28.4, _ANSUR, SECOND, "trochanterion to lateral femoral epicondyle")
THIGH_LINK_WOMEN_MM = Published(379.4, "mm", 24.0, _ANSUR, SECOND, "trochanterion to lateral femoral epicondyle")
CALF_LINK_MEN_MM = Published(418.8, "mm", 24.6, _ANSUR, SECOND, "lateral femoral epicondyle to lateral malleolus")
CALF_LINK_WOMEN_MM = Published(403.2, "mm", 25.9, _ANSUR, SECOND, "lateral femoral epicondyle to lateral malleolus")

# Each segment's shares of stature, and its length in the survey with its spread, by population.
_THIGH = constants.THIGH_SHARE_DRILLIS, constants.THIGH_SHARE_DE_LEVA
_SHANK = constants.SHANK_SHARE_DRILLIS, constants.SHANK_SHARE_DE_LEVA
SEGMENTS = {
    "thigh_mm": {"men": (_THIGH, THIGH_LINK_MEN_MM), "women": (_THIGH, THIGH_LINK_WOMEN_MM)},
    "shank_mm": {"men": (_SHANK, CALF_LINK_MEN_MM), "women": (_SHANK, CALF_LINK_WOMEN_MM)},
    "ankle_height_mm": {
        "men": ((constants.MALLEOLUS_HEIGHT_SHARE_MEN,), constants.MALLEOLUS_HEIGHT_MEN_MM),
        "women": ((constants.MALLEOLUS_HEIGHT_SHARE_WOMEN,), constants.MALLEOLUS_HEIGHT_WOMEN_MM),
    },
}

# Trochanter height over inseam: 1.10 by the published shares of stature. The limits are a house choice.
LEAST_LEG_PER_INSEAM, GREATEST_LEG_PER_INSEAM = 1.00, 1.20


@dataclass(frozen=True)
class Proportion:
    """A length from published proportions [mm], its sources and what must be said beside it."""

    length: Quantity
    source: str
    note: str


def segment_of_stature(segment: Segment, stature: Quantity, population: Population | None) -> Proportion:
    """Return a segment's length [mm] from stature [mm], by every published share of stature; ankle height unshod.

    Notes
    -----
    The middle of what is published, with the standard uncertainty of lying anywhere between (GUM 4.3.7), and the
    spread of the whole survey: people of every stature differ more than people of one, so it is never too narrow.
    """
    published = [SEGMENTS[segment][who] for who in ("men", "women") if population in (who, None)]
    shares = tuple(dict.fromkeys(share for shares, _ in published for share in shares))
    spread = max((spread for _, spread in published), key=lambda each: each.uncertainty)
    low, high = min(share.value for share in shares), max(share.value for share in shares)
    share, between = (low + high) / 2, (high - low) / math.sqrt(12)
    own = tuple((share * u, df) for u, df in stature.components)
    added = (between * stature.value, math.inf), (spread.uncertainty, math.inf)
    note = f"{share:.4g} of stature; the spread is that of people of every stature, so never too narrow"
    source = "; ".join(dict.fromkeys(each.source for each in (*shares, spread)))
    return Proportion(Quantity(share * stature.value, (*own, *added)), source, note)


def inseam_contradiction(*, thigh_mm: float, shank_mm: float, ankle_height_mm: float, inseam_mm: float) -> str | None:
    """Say when segment lengths and inseam [mm] cannot belong to one leg, found and expected; None when they can.

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
