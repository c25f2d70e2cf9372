"""Shoe sizes and feet."""

from fitkit.constants.published import COMPUTED, MEMORY, READ, SECOND, Published

# --- Sizes ---------------------------------------------------------------------------------------------------------
_ISO_EXTRACT = "PD ISO/TS 19407:2015, extract"
_ISO_OPEN = "open implementation of ISO 19407:2015, with which all its EU rows agree"
_JURCA = "Jurca et al. 2019, Sci Rep, introduction"
_JIS = "JIS B 0225-1960, table"

PARIS_POINT_MM = Published(20 / 3, "mm", None, f"{_ISO_EXTRACT}; {_JURCA}", READ, "of last length, scale from zero")
LAST_ALLOWANCE_PARIS_POINTS = Published(2.0, "Paris points", None, _ISO_OPEN, SECOND, "last length less foot length")
INCH_MM = Published(25.4, "mm", None, f"9/16 in is 14.2875 mm in {_JIS}", COMPUTED)
BARLEYCORN_MM = Published(25.4 / 3, "mm", None, _JURCA, SECOND, "one third of an inch, one UK size")
UK_AT_NO_FOOT = Published(-23.0, "UK sizes", None, _ISO_OPEN, SECOND, "UK adult = 3 foot_in - 23")
US_MEN_ABOVE_UK = Published(1.0, "UK sizes", None, "none found", MEMORY, "one size either way")
US_WOMEN_ABOVE_UK = Published(2.0, "UK sizes", None, "none found", MEMORY, "one size either way")
US_SIZE_HALF_WIDTH = Published(1.0, "UK sizes", None, "none found", MEMORY, "how far the two above may be out")
LABEL_FOOT_HALF_WIDTH_MM = Published(
    5.0,
    "mm",
    None,
    f"half a size and the maker's allowance, from the sizes of {_ISO_EXTRACT}",
    COMPUTED,
    "foot length read back from a label, taken as a 95 % half-width",
)

# --- Foot length and the first MTP joint ---------------------------------------------------------------------------
_ANSUR = "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012), computed from its data files"
_MEDIAL = "heel to the medial side of the first MTP joint (ball-of-foot length)"

ANSUR_MEN_N = Published(4082.0, "people", None, _ANSUR, COMPUTED)
ANSUR_WOMEN_N = Published(1986.0, "people", None, _ANSUR, COMPUTED)
FOOT_LENGTH_MEN_MM = Published(271.18, "mm", 13.10, _ANSUR, COMPUTED)
FOOT_LENGTH_WOMEN_MM = Published(246.29, "mm", 12.44, _ANSUR, COMPUTED)
FIRST_MTP_MEN_MM = Published(200.94, "mm", 10.47, _ANSUR, COMPUTED, _MEDIAL)
FIRST_MTP_WOMEN_MM = Published(182.05, "mm", 9.64, _ANSUR, COMPUTED, _MEDIAL)
FIRST_MTP_SHARE_MEN = Published(0.7410, "1", 0.0147, _ANSUR, COMPUTED, "of foot length; does not change with size")
FIRST_MTP_SHARE_WOMEN = Published(0.7392, "1", 0.0134, _ANSUR, COMPUTED, "of foot length; does not change with size")
FIRST_MTP_SHARE_P5_P95_MEN = Published((0.715, 0.764), "1", None, _ANSUR, COMPUTED)
FIRST_MTP_SHARE_P5_P95_WOMEN = Published((0.717, 0.761), "1", None, _ANSUR, COMPUTED)
FIRST_MTP_INTERCEPT_MEN_MM = Published(0.46, "mm", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_INTERCEPT_WOMEN_MM = Published(2.61, "mm", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SLOPE_MEN = Published(0.7393, "1", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SLOPE_WOMEN = Published(0.7286, "1", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SEE_MEN_MM = Published(3.98, "mm", None, _ANSUR, COMPUTED, "standard error of that regression")
FIRST_MTP_SEE_WOMEN_MM = Published(3.30, "mm", None, _ANSUR, COMPUTED, "standard error of that regression")
MALLEOLUS_HEIGHT_MEN_MM = Published(72.90, "mm", 5.67, _ANSUR, COMPUTED, "lateral malleolus above the floor")
MALLEOLUS_HEIGHT_WOMEN_MM = Published(62.75, "mm", 5.11, _ANSUR, COMPUTED, "lateral malleolus above the floor")
FOOT_TIP_AHEAD_OF_JOINT_MM = Published(
    (69.0, 71.0, 78.0), "mm", None, f"nominal feet of EU 42, 43, 47 less the men's regression; {_ANSUR}", COMPUTED
)

# --- Other findings on feet ----------------------------------------------------------------------------------------
_DUMAS = "Dumas et al. 2007, J Biomech 40:543"
_RAMOS = "Ramos-Ortega et al. 2012, Science & Sports 27:e55"

FIFTH_MTP_SHARE = Published((0.62, 0.65), "1", None, "none found", MEMORY, "of foot length; a measured input only")

__all__ = [name for name, value in list(globals().items()) if isinstance(value, Published)]
