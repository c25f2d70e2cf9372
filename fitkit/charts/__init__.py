"""Drawings: plain tables in, a figure with its own words out; knows no sessions."""

from fitkit.charts.image import Figure, from_altair
from fitkit.charts.sole import soles
from fitkit.charts.sole_foot import SoleFoot, sole_table

__all__ = ["Figure", "SoleFoot", "from_altair", "sole_table", "soles"]
