"""Pelvis, hips and leg."""

from fitkit.constants.published import COMPUTED, READ, SECOND, Published

# --- Hip spacing on CT, 200 adults ---------------------------------------------------------------------------------
_CT = "Skeletal Radiology, doi 10.1007/s00256-009-0791-x"

HIP_SPACING_CT_MM = Published(160.0, "mm", 8.0, _CT, READ, "between the hip joint centres, 200 adults")
INTER_ASIS_CT_MM = Published(227.0, "mm", 16.0, _CT, READ, "the same people")
HIP_SPACING_CT_CORRELATION = Published(0.35, "1", None, _CT, READ, "with inter-ASIS")
HIP_SPACING_CT_SLOPE = Published(0.175, "1", None, f"r SD / SD; {_CT}", COMPUTED, "spacing per inter-ASIS")
HIP_SPACING_CT_RESIDUAL_SD_MM = Published(7.5, "mm", None, f"SD sqrt(1 - r squared); {_CT}", COMPUTED)
HIP_SPACING_CT_HALF_WIDTH_MM = Published(14.7, "mm", None, f"1.96 residual SD; {_CT}", COMPUTED, "95 %")

# --- Hip joint centre models: half-spacing from mid-pelvis ---------------------------------------------------------
_BELL = "Bell, Pedersen, Brand 1990, J Biomech 23:617"
_HARRINGTON = "Harrington et al. 2007, J Biomech 40:595"
_HARA = "Hara et al. 2016, Sci Rep 6:37707"

HIP_BELL_PER_WIDTH = Published(0.36, "1", None, f"{_BELL}; Bell et al. 1989, abstract", SECOND, "of inter-ASIS")
HIP_HARRINGTON_PER_DEPTH = Published(0.28, "1", None, _HARRINGTON, SECOND, "three open codes agree")
HIP_HARRINGTON_PER_WIDTH = Published(0.16, "1", None, _HARRINGTON, SECOND, "three open codes agree")
HIP_HARRINGTON_CONSTANT_MM = Published(7.9, "mm", None, _HARRINGTON, SECOND, "three open codes agree")
HIP_HARRINGTON_WIDTH_ONLY_PER_WIDTH = Published(0.33, "1", None, _HARRINGTON, SECOND)
HIP_HARRINGTON_WIDTH_ONLY_CONSTANT_MM = Published(7.3, "mm", None, _HARRINGTON, SECOND)
HIP_HARA_PER_LEG_LENGTH = Published(0.086, "1", None, _HARA, SECOND, "of ASIS to medial malleolus")
HIP_HARA_CONSTANT_MM = Published(8.0, "mm", None, _HARA, SECOND, "three open codes agree")
HIP_MODEL_HALF_WIDTH_MM = Published(
    7.5,
    "mm",
    None,
    f"as wide as the CT line's residual SD; {_CT}",
    COMPUTED,
    "for each model's spacing; they report 3.2 to 3.8 a side",
)

# --- Pelvis and waist: why trouser size is no measure of hip spacing -----------------------------------------------
_BDIMS = "openintro bdims, computed from the data"
_ANSUR = "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012), computed from its data files"

BI_ILIAC_MEN_MM = Published(280.9, "mm", 20.7, _BDIMS, COMPUTED)
BI_ILIAC_WOMEN_MM = Published(275.8, "mm", 23.1, _BDIMS, COMPUTED)
BI_ILIAC_WAIST_CORRELATION_MEN = Published(0.494, "1", None, _BDIMS, COMPUTED, "with waist girth")
BI_ILIAC_WAIST_CORRELATION_WOMEN = Published(0.482, "1", None, _BDIMS, COMPUTED, "with waist girth")

# --- Leg segments as shares of stature -----------------------------------------------------------------------------
_DRILLIS = "Drillis & Contini 1966, as quoted by Winter"
_DE_LEVA = "De Leva 1996"

THIGH_SHARE_DRILLIS = Published(0.245, "1", None, _DRILLIS, SECOND, "of stature")
SHANK_SHARE_DRILLIS = Published(0.246, "1", None, _DRILLIS, SECOND, "of stature")
THIGH_SHARE_DE_LEVA = Published(0.2425, "1", None, _DE_LEVA, SECOND, "of stature")
SHANK_SHARE_DE_LEVA = Published(0.2493, "1", None, _DE_LEVA, SECOND, "of stature")
MALLEOLUS_HEIGHT_SHARE_MEN = Published(0.0415, "1", None, _ANSUR, COMPUTED, "of stature")
MALLEOLUS_HEIGHT_SHARE_WOMEN = Published(0.0385, "1", None, _ANSUR, COMPUTED, "of stature")

__all__ = [name for name, value in list(globals().items()) if isinstance(value, Published)]
