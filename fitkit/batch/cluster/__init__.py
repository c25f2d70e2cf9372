"""The same work on a running Dask cluster of the clinic's own machines.

``connection`` refuses what is not safe or not the same kit, ``parcel`` is what travels, ``pool`` hands the visits out
and takes the records in, ``remote`` is what a Dask worker runs, ``lane`` the process it keeps for that.
"""
