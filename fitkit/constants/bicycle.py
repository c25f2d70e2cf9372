"""Saddle height and joint angles, stance width, threads, bolts and clearances."""

from fitkit.constants.published import COMPUTED, READ, SECOND, Published

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

# --- Joint angles on the bicycle, knee 0 straight ------------------------------------------------------------------
_SWART = "Swart & Holliday 2019, Curr Sports Med Rep 18:490"
_BINI = "Bini & Hume, 30 cyclists"
_FERRER = "Ferrer-Roca et al. 2014, JSCR 28:784"
_ERICSON = "Ericson et al. 1988, n = 6"
_BMC = "BMC Musculoskelet Disord 2021 22:1044, n = 31"
_LINK = "locked ankle, two links of 430: 430 sin(knee / 2) per radian"

KNEE_STATIC_DEG = Published(
    (25.0, 35.0), "deg", None, "Holmes et al. 1994, Clin Sports Med 13:187, as later papers cite it", SECOND
)
KNEE_DYNAMIC_EASY_DEG = Published((33.0, 43.0), "deg", None, _SWART, READ)
KNEE_DYNAMIC_HARD_DEG = Published((30.0, 40.0), "deg", None, _SWART, READ)
SADDLE_SHIFT_STUDIED_PERCENT = Published(2.0, "%", None, _FERRER, READ, "of saddle height, up and down")
KNEE_CHANGE_LOW_TO_HIGH_SADDLE_DEG = Published(7.0, "deg", None, _FERRER, READ)
LOCKED_ANKLE_KNEE_DEG = Published((25.0, 30.0, 35.0, 40.0), "deg", None, _LINK, COMPUTED, "knee of the row below")
LOCKED_ANKLE_MM_PER_DEG = Published(
    (1.62, 1.94, 2.26, 2.57), "mm/deg", None, _LINK, COMPUTED, "overstates the knee change by about two: ankles share"
)
JOINT_RANGES_DEG = Published((43.9, 75.2, 26.9), "deg", None, _BMC, READ, "range of hip, knee, ankle")

# --- Stance width --------------------------------------------------------------------------------------------------
_WIDER = "J Sports Sci 39:768, doi 10.1080/02640414.2020.1845440"
_THORSEN = "Thorsen 2020, doi 10.1016/j.jshs.2019.07.011"
_WILBERT = "Wilbert et al. 2024, Bioengineering 11:879"
_TRAVEL = "conference abstract, 8 cyclists, 2-D"
_BADII = "Badii 2014"

Q_FACTOR_WIDENED_BY_MM = Published(
    (20.0, 40.0, 60.0), "mm", None, _WIDER, READ, "22 riders: the narrowest was best whatever the pelvis width"
)
KNEE_TRAVEL_PAIN_FREE_MM = Published(8.0, "mm", 3.0, _TRAVEL, READ, "a 50-rider study found no link: Branco 2023")
KNEE_TRAVEL_KNEECAP_PAIN_MM = Published(14.0, "mm", 5.0, _TRAVEL, READ, "a 50-rider study found no link: Branco 2023")

# --- Threads and bolts ---------------------------------------------------------------------------------------------
_JIS = "JIS B 0225-1960, table"
_ISO_CRANK = "ISO 4210-8, force arm at the crank face"

PEDAL_THREAD_DIAMETER_MM = Published(14.2875, "mm", None, _JIS, READ, "9/16 in; the left pedal's is left-handed")
PEDAL_THREADS_PER_INCH = Published(20.0, "1/in", None, _JIS, READ)
PEDAL_THREAD_PITCH_MM = Published(1.270, "mm", None, _JIS, READ)
PEDAL_TURNS_PER_MM = Published(0.787, "turns/mm", None, f"1 / pitch; {_JIS}", COMPUTED, "what 1 mm of washer costs")
PEDAL_TORQUE_IN_WORDS = Published(
    "34.7 to 39.5 N m in one owner's manual, 30 to 40 in others; the maker's figure rules",
    "in words",
    None,
    "an owner's-manual table",
    SECOND,
    "never printed as a setting",
)
CLEAT_BOLT_TORQUE_IN_WORDS = Published(
    "5 to 6 N m is met; the maker's figure rules",
    "in words",
    None,
    "quoted without naming one",
    SECOND,
    "never a setting",
)
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

# --- Leg length, wedges, cranks ------------------------------------------------------------------------------------
LEG_LENGTH_ICC_TAPE = Published(0.477, "1", None, _BADII, READ)
LEG_LENGTH_ICC_BLOCKS = Published(0.737, "1", None, _BADII, READ)
LEG_LENGTH_WRONG_SIDE_TAPE = Published((7.0, 20.0), "people", None, _BADII, READ, "wrong side, of all")
LEG_LENGTH_WRONG_SIDE_BLOCKS = Published((1.0, 20.0), "people", None, _BADII, READ, "wrong side, of all")
LEG_LENGTH_CORRECTED_MM = Published(
    5.4, "mm", 2.9, "Macdermid & Mann 2015", READ, "small gain of symmetry, efficiency lower at once; no dose follows"
)
WEDGES_IN_WORDS = Published(
    "no significant or systematic effect", "in words", None, "Dinsdale & Williams, n 6; O'Neill 2011", READ, "no dose"
)

__all__ = [name for name, value in list(globals().items()) if isinstance(value, Published)]
