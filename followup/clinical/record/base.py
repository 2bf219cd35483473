"""What every part of the operative record shares: frozen, closed to unknown fields."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    StringConstraints,
    model_validator,
)

from followup.said import say

NOT_RECORDED = "not recorded"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")

Eye = Literal["right", "left"]
BOTH_EYES: tuple[Eye, Eye] = ("right", "left")
UNSEEN = (None, "not seen", "not done")
"""What stands in a look for what nobody saw: it never counts as good."""


class RecordPart(BaseModel):
    """A part of the record. ``null``, absence and the words "not recorded" mean the same.

    A number is a number or, from a form, its digits; true and false are none.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    @model_validator(mode="before")
    @classmethod
    def _words_for_nothing(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        if NOT_RECORDED in data.values():
            data = {key: value for key, value in data.items() if value != NOT_RECORDED}
        # Yes for a number would be read as 1; as a word it is refused where the number is read.
        words = {key: str(data[key]) for key in _numbers(cls) if isinstance(data.get(key), bool)}
        return data | words if words else data


@cache
def _numbers(part: type[RecordPart]) -> tuple[str, ...]:
    """The fields that hold a number and no yes or no."""
    kinds = {name: set(_kinds(field.annotation)) for name, field in part.model_fields.items()}
    return tuple(name for name, found in kinds.items() if found & {int, float} and bool not in found)


def _kinds(annotation: Any) -> Iterator[Any]:
    """The types that an annotation is made of; the words of a ``Literal`` are values, not types."""
    inner = () if get_origin(annotation) is Literal else get_args(annotation)
    if not inner:
        yield annotation
    for part in inner:
        yield from _kinds(part)


def _whole_day(value: Any) -> Any:
    """Refuse whatever is not plainly a calendar day: pydantic would guess one from digits and instants."""
    plain = isinstance(value, date) and not isinstance(value, datetime)
    if plain or (isinstance(value, str) and _DAY.fullmatch(value.strip())):
        return value
    raise ValueError(say("write a day as YYYY-MM-DD"))


def _within_reach(day: date) -> date:
    """A year that nobody alive can mean is a slip of the pen, and no plan can be counted from it."""
    if not 1890 <= day.year <= 2200:
        raise ValueError(say("the year must lie between 1890 and 2200; correct it"))
    return day


def _has_a_letter(text: str) -> str:
    """A name of spaces, signs or invisible characters names nobody."""
    if any(unicodedata.category(character).startswith("L") for character in text):
        return text
    raise ValueError(say("holds no letter that can be read; write it in letters"))


Day = Annotated[date, BeforeValidator(_whole_day), AfterValidator(_within_reach)]
Short = Annotated[str, StringConstraints(min_length=1, max_length=120)]
Name = Annotated[Short, AfterValidator(_has_a_letter)]
Text = Annotated[str, StringConstraints(max_length=4000)]
MedicineId = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9-]{1,59}$")]


MedicineRole = Literal[
    "steroid",
    "nsaid",
    "antibiotic",
    "cycloplegic",
    "pressure",
    "lubricant",
    "salt",
    "antiviral",
    "steroid tablet",
    "other",
]
