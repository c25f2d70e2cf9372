"""How a field of the session is declared: title, unit, how it is measured, possible and usual limits, kind."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StrictStr, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError, core_schema

Kind = Literal["cleat_setback", "length", "pelvis", "angle", "gap", "calliper"]
Readings = tuple[float, ...]
Number = float | None
SCORE = (0, 10)  # from nothing to the worst, or best, there is


@dataclass(frozen=True)
class Measured:
    """Declaration of a number, beside its name in the model."""

    title: str  # what it is called on screens and papers
    how: str  # how it is measured
    possible: tuple[float, float]  # outside these a value is refused [unit]
    # outside these a value is asked again [unit]; None where nothing can be said
    usual: tuple[float, float] | None = None
    unit: str = "1"  # "mm", "deg", "kg", "N m" or "1"
    # kind of reading, for the spread the clinic's rules give it; None for counts and typed table values
    kind: Kind | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        """Give the field its limits; a list stays strict inside and becomes a tuple."""
        low, high = self.possible
        number = core_schema.float_schema(strict=True, allow_inf_nan=False, ge=low, le=high)
        if source == Readings:
            return core_schema.tuple_schema([number], variadic_item_index=0, strict=False)
        return core_schema.nullable_schema(number) if source == Number else number

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: Any) -> dict:
        """Add what a reader of the schema needs to know."""
        found = handler(schema)
        found.update({"title": self.title, "description": self.how, "unit": self.unit})
        if self.usual:
            found["usual"] = list(self.usual)
        return found


def number(title: str, how: str, *limits: tuple[float, float], default: Any = None, **options: Any) -> FieldInfo:
    """Declare a field of one number: possible and usual limits, then unit and kind where it has them.

    A field that its group cannot be without has the default `...`.
    """
    field = Field(default)
    field.metadata.append(Measured(title, how, *limits, **options))
    return field


def asked(title: str, how: str | None = None, default: Any = None, **options: Any) -> FieldInfo:
    """Declare a field of words, a choice, or yes or no: what it is called and what is meant."""
    return Field(default, title=title, description=how, **options)


needed = partial(asked, default=...)  # a field that its group cannot be without
listed = partial(asked, default=(), strict=False)  # a list of entries, which becomes a tuple
readings = partial(number, default=())
mm = partial(number, unit="mm", kind="length")
readings_mm = partial(readings, unit="mm", kind="length")
degrees = partial(number, unit="deg", kind="angle")
readings_deg = partial(readings, unit="deg", kind="angle")


class Part(BaseModel):
    """A group of fields: closed, strict, frozen; null, absent and [] alike mean not measured."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _drop_unmeasured(cls, data: Any) -> Any:
        values = data.values() if isinstance(data, dict) else ()
        if None not in values and [] not in values and () not in values:
            return data
        # Only known names are dropped: an unknown one is refused even when it is null.
        known = cls.__pydantic_fields__
        return {
            name: value for name, value in data.items() if not (name in known and (value is None or value in ([], ())))
        }


def _written(pattern: str, read: Callable[[str], Any]) -> AfterValidator:
    """Return a check that a text is written like the pattern and can be read; its field says what was expected."""

    def check(text: str) -> str:
        try:
            is_fine = re.fullmatch(pattern, text, re.ASCII | re.DOTALL) is not None and read(text) is not None
        except ValueError:
            is_fine = False
        if not is_fine:
            raise PydanticCustomError("not_as_worded", "said by the field's own words")
        return text

    return AfterValidator(check)


def _first_day(text: str) -> date:
    return date.fromisoformat(text + "-01-01"[len(text) - 4 :])


@dataclass(frozen=True)
class Worded:
    """What a field of words expects: its sort, for forms, and in words, for messages."""

    sort: str
    expected: str


Text = Annotated[StrictStr, Field(pattern=r"^[^\x00]*$"), Worded("text", "text without NUL characters")]
SaidText = Annotated[
    StrictStr,
    Field(pattern=r"^[^\x00]*[^\x00\s][^\x00]*$"),
    Worded("text", "text that says something, without NUL characters"),
]
Identifier = Annotated[
    StrictStr,
    Field(pattern=r"^[a-z0-9-]{1,40}$"),
    Worded("identifier", "1 to 40 of the characters a-z, 0-9 and -"),
]
Day = Annotated[
    StrictStr,
    _written(r"\d{4}-\d{2}-\d{2}", date.fromisoformat),
    Field(json_schema_extra={"format": "date"}),
    Worded("date", "a real date, written 2026-03-04"),
]
PartialDay = Annotated[
    StrictStr,
    _written(r"\d{4}(-\d{2}){0,2}", _first_day),
    Field(json_schema_extra={"pattern": r"^\d{4}(-\d{2}){0,2}$"}),
    Worded("partial date", "a real date, written 2026-03-04, 2026-03 or 2026"),
]
Moment = Annotated[
    StrictStr,
    _written(r"\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}[0-9:.+Z-]*)?", datetime.fromisoformat),
    Worded("moment", "a real date and time, written 2026-03-04T15:10:00+00:00"),
]
RelativeFile = Annotated[
    SaidText,
    _written(r"(?![/\\]|[A-Za-z]:|[A-Za-z][A-Za-z0-9+.-]*://).*", str),
    Worded("file", "a file name relative to the session file, like pictures/left.png"),
]
PhotographedAt = Annotated[
    StrictStr,
    Field(pattern=r"^(as_found|decided|as_left|trials\.(0|[1-9][0-9]{0,3}))$"),
    Worded("text", "as_found, decided, as_left, or a trial as in trials.0"),
]
