"""The one result type: a value with its interval, grade and source, or what is missing for it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Literal, get_args

Unit = Literal["mm", "deg", "1", "turns"]
Grade = Literal["measured here", "derived", "published", "common practice", "house rule", "this clinic", "from memory"]
UNITS: tuple[str, ...] = get_args(Unit)
GRADES: tuple[str, ...] = get_args(Grade)


@dataclass(frozen=True)
class Estimate:
    """A number a person may question: value, 95 % interval, unit, grade, source; or what it needs."""

    value: float | None  # [unit]; None when not assessed, and for a bracket of trials, which has its ends alone
    low: float | None  # ends of its 95 % interval [unit]
    high: float | None
    unit: Unit
    grade: Grade | None  # kind of evidence; None when not assessed
    source: str | None  # where the number comes from, in words
    needs: str | None = None  # what is missing, when there is no value
    notes: tuple[str, ...] = ()  # what must be said beside the number

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"unit is {self.unit!r}; expected one of {', '.join(UNITS)}")
        if self.value is None:
            if not self.needs and not self.is_bracket:
                raise ValueError("an estimate without a value must say what it needs")
            if self.is_bracket and not self.low < self.high:
                raise ValueError(f"bracket {self.low} to {self.high}; expected its low end below its high end")
            return
        if not self.low <= self.value <= self.high:
            raise ValueError(f"interval {self.low} to {self.high} does not hold the value {self.value}")
        if self.grade not in GRADES:
            raise ValueError(f"grade is {self.grade!r}; expected one of {', '.join(GRADES)}")
        if not self.source:
            raise ValueError(f"the value {self.value} {self.unit} has no source")

    @property
    def is_known(self) -> bool:
        """Whether there is a value."""
        return self.value is not None

    @property
    def is_bracket(self) -> bool:
        """Whether it holds both ends of a bracket of trials, which has no value and needs nothing more."""
        return self.value is None and not self.needs and self.low is not None and self.high is not None

    @property
    def half_width(self) -> float | None:
        """Half of the interval's width [unit], None when not assessed."""
        return None if self.value is None else (self.high - self.low) / 2

    def noting(self, *notes: str) -> Estimate:
        """Return the same estimate with further notes; empty ones are left out."""
        return replace(self, notes=(*self.notes, *(note for note in notes if note)))

    def as_result(self, name: str) -> dict:
        """Return the estimate as one entry of the results file, under `name`."""
        return {"name": name, **asdict(self), "notes": list(self.notes)}
