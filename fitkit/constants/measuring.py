"""Errors of measurement, sprints, and things of known size."""

from fitkit.constants.published import COMPUTED, READ, SECOND, Published

# --- Repeats -------------------------------------------------------------------------------------------------------
_COUCH = "doi 10.1055/a-2321-0516, 92 patients on a couch, three devices"
_CHI = "chi-square interval of a variance, n degrees of freedom for n pairs"

TEM_INTERVAL_5_PAIRS = Published((0.62, 2.45), "1", None, _CHI, COMPUTED, "of the estimate, 95 %")
TEM_INTERVAL_10_PAIRS = Published((0.70, 1.75), "1", None, _CHI, COMPUTED, "of the estimate, 95 %")
TEM_INTERVAL_20_PAIRS = Published((0.77, 1.44), "1", None, _CHI, COMPUTED, "of the estimate, 95 %")

# --- Sprints -------------------------------------------------------------------------------------------------------
_MARTIN = "Martin, Wagner, Coyle 1997, MSSE 29:1505"
_MDC = f"1.96 sqrt(2) CV, over sqrt(4) for means of four; {_MARTIN}"

SPRINT_PEAK_W = Published(1317.0, "W", 66.0, _MARTIN, READ, "13 men, peak of a revolution")
SPRINT_BEST_CADENCE_RPM = Published(122.0, "rpm", None, _MARTIN, READ)
SPRINT_CV_PERCENT = Published(3.3, "%", None, _MARTIN, READ)
SPRINT_MDC_SINGLE_PERCENT = Published(9.1, "%", None, _MDC, COMPUTED, "95 %, single trials")
SPRINT_MDC_OF_FOUR_PERCENT = Published(4.6, "%", None, _MDC, COMPUTED, "95 %, means of four trials")
SPRINT_FAMILIARISATION_SPRINTS = Published(2.0, "sprints", None, "read beside Watt et al. 2002", SECOND, "before")

# --- Things of known size, for scale -------------------------------------------------------------------------------

__all__ = [name for name, value in list(globals().items()) if isinstance(value, Published)]
