"""A published value with its unit, uncertainty and source in one object."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.estimate import Grade

__all__ = ["COMPUTED", "MEMORY", "READ", "SECOND", "STATUSES", "TRADE", "Published"]

READ = "read in the publication"
SECOND = "read in a second source"
COMPUTED = "computed from published"
MEMORY = "from memory"
TRADE = "common practice, no source"
STATUSES: tuple[str, ...] = (READ, SECOND, COMPUTED, MEMORY, TRADE)


@dataclass(frozen=True)
class Published:
    """One published value, or a few that belong together, and how far it may be trusted."""

    # the value; a tuple for a range or a row; words where the number must not be taken for a setting
    value: float | tuple[float, ...] | str
    unit: str  # its unit: "mm", "deg", "1", "%" and so on; "in words" for words
    # one standard deviation [unit] as the source prints it; None where it prints none or the value is exact
    uncertainty: float | None
    source: str  # author, year and place; for a computed value also the computation
    status: str  # how the value was come by, one of `STATUSES`
    note: str = ""  # what must be known before it is used

    def __post_init__(self) -> None:
        if not self.unit.strip():
            raise ValueError(f"the value {self.value} has no unit; expected one, '1' for a ratio")
        if not self.source.strip():
            raise ValueError(f"the value {self.value} {self.unit} has no source; expected author, year and place")
        if self.status not in STATUSES:
            raise ValueError(f"status is {self.status!r}; expected one of: {'; '.join(STATUSES)}")
        if (self.unit == "in words") != isinstance(self.value, str):
            raise ValueError(f"the value {self.value!r} has the unit {self.unit!r}; expected 'in words' for words only")
        numbers = self.value if isinstance(self.value, tuple) else (self.value,)
        if not isinstance(self.value, str) and not (numbers and all(map(math.isfinite, numbers))):
            raise ValueError(f"the value is {self.value}; expected finite numbers")
        if self.uncertainty is not None and not 0 < self.uncertainty < math.inf:
            raise ValueError(f"uncertainty is {self.uncertainty}; expected above 0, or None")

    @property
    def is_from_memory(self) -> bool:
        """Whether nobody has read it anywhere: it may stand in prose and say so, and no check may rest on it."""
        return self.status == MEMORY

    @property
    def grade(self) -> Grade:
        """The grade of a result that rests on this value alone."""
        return {MEMORY: "from memory", TRADE: "common practice"}.get(self.status, "published")
