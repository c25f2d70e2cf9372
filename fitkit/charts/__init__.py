"""Drawings: plain tables in, a figure with its words out; knows no sessions."""

from fitkit import quick_imports  # noqa: F401 - before altair
from fitkit.charts.agreement import AgreementLine, agreement_plot, agreement_table
from fitkit.charts.knee_track import KneePlace, KneeSide, knee_track_table, knee_tracks
from fitkit.charts.rider_soles import RiderSole, rider_soles
from fitkit.charts.sole import soles
from fitkit.charts.sole_foot import SoleFoot, sole_table
from fitkit.charts.sprints import DetectableBand, SprintPoint, sprint_points, sprint_table
from fitkit.charts.svg import Figure, from_altair
from fitkit.charts.trial_line import TrialLine, TrialPoint, trial_lines, trial_table

__all__ = [
    "AgreementLine",
    "DetectableBand",
    "Figure",
    "KneePlace",
    "KneeSide",
    "RiderSole",
    "SoleFoot",
    "SprintPoint",
    "TrialLine",
    "TrialPoint",
    "agreement_plot",
    "agreement_table",
    "from_altair",
    "knee_track_table",
    "knee_tracks",
    "rider_soles",
    "sole_table",
    "soles",
    "sprint_points",
    "sprint_table",
    "trial_lines",
    "trial_table",
]
