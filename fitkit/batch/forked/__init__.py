"""Kernels copied from a warm one, and charts drawn by a warm process: the same records in less time.

``template`` is the process that has imported everything and is copied for each kernel; ``provisioner`` starts such
a copy for jupyter_client; ``manager`` spares the waiting that a fresh kernel needs; ``renderer`` draws charts;
``helpers`` starts and ends both for a worker. Where a system cannot do this, the worker uses plain kernels.
"""
