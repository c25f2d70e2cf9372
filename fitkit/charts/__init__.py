"""Drawings: plain tables in, a figure with its own words out; knows no sessions."""
