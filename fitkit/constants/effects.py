"""What moving the cleat back has been shown to do; nothing here supports an optimum in millimetres."""

from fitkit.constants.published import READ, TRADE, Published

_VAN_SICKLE = "Van Sickle & Hull 2007, J Biomech 40:1262, n = 11"
_PATON = "Paton & Jardine 2012, J Sci Cycl 1(1):15, n = 12"
_MILLOUR = "Millour et al. 2020, J Sci Cycl, n = 7"
_TRADE = "common practice, no source"

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
    (1200.0, 1150.0), "W", None, _TRADE, TRADE, "order of size; four sprints can barely show the difference"
)

__all__ = [name for name, value in list(globals().items()) if isinstance(value, Published)]
