"""Cleat and stance notebooks: the helper package behind the notebooks.

Importing it costs nothing; import the module you need, for example ``from fitkit import session``.
"""

__version__ = "0.1.0"
