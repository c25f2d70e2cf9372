"""Drawings: what they show comes in, a figure with its rows and words goes out; knows no sessions."""

from fitkit import quick_imports  # noqa: F401 - before altair
from fitkit.charts.figure import Figure

__all__ = ["Figure"]
