"""Published values as objects with unit, uncertainty, source and status: ``constants.PARIS_POINT_MM.value``."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.estimate import Grade

READ = "read in the publication"
SECOND = "read in a second source"
COMPUTED = "computed from published"
MEMORY = "from memory"
TRADE = "common practice, no source"
STATUSES: tuple[str, ...] = (READ, SECOND, COMPUTED, MEMORY, TRADE)


@dataclass(frozen=True)
class Published:
    """One published value, or a few that belong together, and how far it may be trusted."""

    # the value; a tuple for a range or a row; words where the number must not be taken for a setting
    value: float | tuple[float, ...] | str
    unit: str  # its unit: "mm", "deg", "1", "%" and so on; "in words" for words
    # one standard deviation [unit] as the source prints it; None where it prints none or the value is exact
    uncertainty: float | None
    source: str  # author, year and place; for a computed value also the computation
    status: str  # how the value was come by, one of `STATUSES`
    note: str = ""  # what must be known before it is used

    def __post_init__(self) -> None:
        if not self.unit.strip():
            raise ValueError(f"the value {self.value} has no unit; expected one, '1' for a ratio")
        if not self.source.strip():
            raise ValueError(f"the value {self.value} {self.unit} has no source; expected author, year and place")
        if self.status not in STATUSES:
            raise ValueError(f"status is {self.status!r}; expected one of: {'; '.join(STATUSES)}")
        if (self.unit == "in words") != isinstance(self.value, str):
            raise ValueError(f"the value {self.value!r} has the unit {self.unit!r}; expected 'in words' for words only")
        numbers = self.value if isinstance(self.value, tuple) else (self.value,)
        if not isinstance(self.value, str) and not (numbers and all(map(math.isfinite, numbers))):
            raise ValueError(f"the value is {self.value}; expected finite numbers")
        if self.uncertainty is not None and not 0 < self.uncertainty < math.inf:
            raise ValueError(f"uncertainty is {self.uncertainty}; expected above 0, or None")

    @property
    def grade(self) -> Grade:
        """The grade of a result that rests on this value alone."""
        return {MEMORY: "from memory", TRADE: "common practice"}.get(self.status, "published")


# --- Shoe sizes ----------------------------------------------------------------------------------------------------
_ISO_EXTRACT = "PD ISO/TS 19407:2015, extract"
_ISO_OPEN = "open implementation of ISO 19407:2015, with which all its EU rows agree"
_JURCA = "Jurca et al. 2019, Sci Rep, introduction"
_JIS = "JIS B 0225-1960, table"

PARIS_POINT_MM = Published(20 / 3, "mm", None, f"{_ISO_EXTRACT}; {_JURCA}", READ, "of last length, scale from zero")
LAST_ALLOWANCE_PARIS_POINTS = Published(2.0, "Paris points", None, _ISO_OPEN, SECOND, "last length less foot length")
BARLEYCORN_MM = Published(25.4 / 3, "mm", None, _JURCA, SECOND, "one third of an inch, one UK size")
UK_AT_NO_FOOT = Published(-23.0, "UK sizes", None, _ISO_OPEN, SECOND, "UK adult = 3 foot_in - 23")
US_MEN_ABOVE_UK = Published(1.0, "UK sizes", None, "none found", MEMORY, "one size either way")
US_WOMEN_ABOVE_UK = Published(2.0, "UK sizes", None, "none found", MEMORY, "one size either way")

# --- Foot length and the first MTP joint ---------------------------------------------------------------------------
_ANSUR = "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II 2012), computed from its data files"

ANSUR_MEN_N = Published(4082.0, "people", None, _ANSUR, COMPUTED)
ANSUR_WOMEN_N = Published(1986.0, "people", None, _ANSUR, COMPUTED)
FIRST_MTP_INTERCEPT_MEN_MM = Published(0.46, "mm", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_INTERCEPT_WOMEN_MM = Published(2.61, "mm", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SLOPE_MEN = Published(0.7393, "1", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SLOPE_WOMEN = Published(0.7286, "1", None, _ANSUR, COMPUTED, "regression on foot length")
FIRST_MTP_SEE_MEN_MM = Published(3.98, "mm", None, _ANSUR, COMPUTED, "standard error of that regression")
FIRST_MTP_SEE_WOMEN_MM = Published(3.30, "mm", None, _ANSUR, COMPUTED, "standard error of that regression")
MALLEOLUS_HEIGHT_MEN_MM = Published(72.90, "mm", 5.67, _ANSUR, COMPUTED, "lateral malleolus above the floor")
MALLEOLUS_HEIGHT_WOMEN_MM = Published(62.75, "mm", 5.11, _ANSUR, COMPUTED, "lateral malleolus above the floor")


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

# --- Saddle height -------------------------------------------------------------------------------------------------
_PEVELER = "Peveler et al. 2005, JEPonline 8(1):51"
_GATTI = "Gatti et al. 2021, Eur J Sport Sci, doi 10.1080/17461391.2021.1902570"
_GATTI_NOTE = "cm and degrees, height to the pedal spindle; never turns degrees into millimetres"

SADDLE_PER_INSEAM_HAMLEY = Published(
    1.09,
    "1",
    None,
    f"Hamley & Thomas 1967, multiplier in the abstract of {_PEVELER}",
    READ,
    "pedal spindle to saddle top, crank in line with the seat tube; measuring points from a second source",
)
SADDLE_PER_INSEAM_FROM_CRANK_CENTRE = Published(
    0.883, "1", None, f"quoted beside {_PEVELER}", SECOND, "bottom bracket to saddle top; measuring point from memory"
)
SADDLE_GATTI_CONSTANT_CM = Published(7.41, "cm", None, _GATTI, READ, _GATTI_NOTE)
SADDLE_GATTI_PER_INSEAM = Published(0.82, "1", None, _GATTI, READ, _GATTI_NOTE)
SADDLE_GATTI_PER_KNEE_CM_PER_DEG = Published(-0.1, "cm/deg", None, _GATTI, READ, "dynamic least flexion; one digit")
SADDLE_GATTI_PER_INSEAM_AND_ANGLE = Published(0.003, "1/deg", None, _GATTI, READ, "seat-tube angle; one digit")
SADDLE_GATTI_RMSE_CM = Published(1.15, "cm", None, _GATTI, READ, "40 riders")
SADDLE_GATTI_ROUNDING_MM = Published(20.0, "mm", None, f"the coefficients' rounding; {_GATTI}", COMPUTED, "1 u")

# --- Stance width --------------------------------------------------------------------------------------------------
_WIDER = "J Sports Sci 39:768, doi 10.1080/02640414.2020.1845440"
_TRAVEL = "conference abstract, 8 cyclists, 2-D"

Q_FACTOR_WIDENED_BY_MM = Published(
    (20.0, 40.0, 60.0), "mm", None, _WIDER, READ, "22 riders: the narrowest was best whatever the pelvis width"
)
KNEE_TRAVEL_PAIN_FREE_MM = Published(8.0, "mm", 3.0, _TRAVEL, READ, "a 50-rider study found no link: Branco 2023")
KNEE_TRAVEL_KNEECAP_PAIN_MM = Published(14.0, "mm", 5.0, _TRAVEL, READ, "a 50-rider study found no link: Branco 2023")

# --- Leg length ----------------------------------------------------------------------------------------------------
_BADII = "Badii 2014"

LEG_LENGTH_ICC_TAPE = Published(0.477, "1", None, _BADII, READ)
LEG_LENGTH_ICC_BLOCKS = Published(0.737, "1", None, _BADII, READ)
LEG_LENGTH_WRONG_SIDE_TAPE = Published((7.0, 20.0), "people", None, _BADII, READ, "wrong side, of all")
LEG_LENGTH_WRONG_SIDE_BLOCKS = Published((1.0, 20.0), "people", None, _BADII, READ, "wrong side, of all")

# --- Threads and bolts ---------------------------------------------------------------------------------------------
_ISO_CRANK = "ISO 4210-8, force arm at the crank face"

PEDAL_THREAD_PITCH_MM = Published(1.270, "mm", None, _JIS, READ)
CRANK_FORCE_ARM_MM = Published(65.0, "mm", None, _ISO_CRANK, COMPUTED, "a longer arm bends the crank by the ratio")

# --- Clearances ----------------------------------------------------------------------------------------------------
LEAST_LEAN_DEG = Published(
    25.0,
    "deg",
    None,
    "16 CFR 1512.17(c)",
    READ,
    "pedal horizontal, crank lowest, before anything but a tyre touches; track and one-of-a-kind bicycles are exempt",
)
LEAST_TOE_CLEARANCE_MM = Published(
    89.0,
    "mm",
    None,
    "16 CFR 1512.17(d)",
    READ,
    "pedal centre to tyre or mudguard, only for bicycles without foot retention; does not exclude contact of a shoe",
)


# --- What moving the cleat back has been shown to do; nothing here supports an optimum in millimetres ----------------
_VAN_SICKLE = "Van Sickle & Hull 2007, J Biomech 40:1262, n = 11"
_PATON = "Paton & Jardine 2012, J Sci Cycl 1(1):15, n = 12"
_MILLOUR = "Millour et al. 2020, J Sci Cycl, n = 7"

CLEAT_BACK_OXYGEN_SHIFTS_MM = Published((0.0, 50.0, 100.0), "mm", None, _VAN_SICKLE, READ, "about; of the row below")
CLEAT_BACK_OXYGEN_ML_PER_MIN = Published((2705.0, 2696.0, 2747.0), "ml/min", None, _VAN_SICKLE, READ, "p = .31")
CLEAT_BACK_RUN_GAIN_PERCENT = Published(
    2.2,
    "%",
    None,
    _PATON,
    READ,
    "run after 30 min of it; contradicted by Viker & Richardson 2013, 13 triathletes",
)
CLEAT_BACK_RUN_GAIN_90_PERCENT = Published((0.8, 3.6), "%", None, _PATON, READ, "its 90 % interval")
CLEAT_SHIFT_SOLEUS_PERCENT = Published(-7.0, "%", None, _MILLOUR, READ, "5 mm, submaximal; no change in performance")
CLEAT_SHIFT_SOLEUS_SPRINT_PERCENT = Published(8.8, "%", None, _MILLOUR, READ, "5 mm, sprint; no change in performance")
CLEAT_BACK_CALF_PERCENT = Published(
    -20.0, "%", None, "Litzenberger et al. 2008, 12 non-cyclists", READ, "joint to tarsus; up to this and more"
)
SPRINT_PEAK_FORWARD_AND_BACK_W = Published(
    (1200.0, 1150.0), "W", None, TRADE, TRADE, "order of size; four sprints can barely show the difference"
)


# --- Sprints -------------------------------------------------------------------------------------------------------
_MARTIN = "Martin, Wagner, Coyle 1997, MSSE 29:1505"

SPRINT_CV_PERCENT = Published(3.3, "%", None, _MARTIN, READ)
SPRINT_FAMILIARISATION_SPRINTS = Published(2.0, "sprints", None, "read beside Watt et al. 2002", SECOND, "before")
