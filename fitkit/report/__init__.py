"""Tables and sentences of the record and of the rider's sheet.

``Record`` is what a notebook uses; ``rider_sheet`` and ``pages`` make the papers.
"""

from fitkit.report.record import Record
from fitkit.report.sheet import rider_sheet

__all__ = ["Record", "rider_sheet"]
