"""The entries of the clinic's calendar: services, half-days, places taken; and what a day is."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator

from followup.said import say

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
WEEKDAYS: tuple[Weekday, ...] = (
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
)


_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def _whole_day(value: Any) -> Any:
    """Refuse whatever is not plainly a calendar day: pydantic would guess one from numbers and instants."""
    plain = isinstance(value, date) and not isinstance(value, datetime)
    if plain or (isinstance(value, str) and _DAY.fullmatch(value)):
        return value
    raise ValueError(say("write a day as YYYY-MM-DD"))


Day = Annotated[date, BeforeValidator(_whole_day)]
AnyCase = BeforeValidator(lambda value: value.lower() if isinstance(value, str) else value)
AWeekday = Annotated[Weekday, AnyCase]
ServiceName = Annotated[str, StringConstraints(min_length=1, max_length=60)]
Places = Annotated[int, Field(ge=0, le=100_000, strict=True)]
SomeDays = Annotated[tuple[Day, ...], Field(max_length=4000)]


class CalendarEntry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Service(CalendarEntry):
    """One service: on which days it is offered and how many places a day it has."""

    name: ServiceName = Field(description='The word that review needs use, such as "macula".')
    weekdays: tuple[AWeekday, ...] | None = Field(
        default=None,
        max_length=7,
        description="Weekdays on which it is offered. Without weekdays and dates: every open day.",
    )
    dates: SomeDays | None = Field(
        default=None, description="Single dates on which it is offered, beyond the weekdays."
    )
    capacity: Places | None = Field(default=None, description="Places a day; left out: no limit.")

    def falls_on(self, day: date) -> bool:
        """Whether the service's own weekdays and dates hold ``day``, be the clinic open or not."""
        if self.weekdays is None and self.dates is None:
            return True
        return WEEKDAYS[day.weekday()] in (self.weekdays or ()) or day in (self.dates or ())


class HalfDay(CalendarEntry):
    """A weekday or a single date on which the clinic works half the day."""

    weekday: AWeekday | None = Field(default=None, description="Every such weekday; or give date.")
    date: Day | None = Field(default=None, description="One date; it outranks an entry for its weekday.")
    services: tuple[ServiceName, ...] | None = Field(
        default=None, max_length=200, description="The only services offered; left out: all of them."
    )
    capacity: Literal["half", "whole"] = Field(
        default="half", description="Half the places of each service, rounded down, or all of them."
    )

    @model_validator(mode="after")
    def _names_one_kind_of_day(self) -> Self:
        if (self.weekday is None) == (self.date is None):
            raise ValueError(say("give either weekday or date"))
        return self

    @property
    def key(self) -> str | Day:
        """The weekday or the date that this entry is about."""
        return self.weekday or self.date or ""


ClockTime = Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]


class ClosedDays(CalendarEntry):
    """What happens to a first look after surgery that falls on days without its service.

    "on call": whoever is on call looks, at ``place``, between ``opens`` and ``closes``. "another day":
    it waits for the next day of the clinic, and the pressure is measured on the day of surgery.
    """

    first_look: Literal["on call", "another day"]
    place: Annotated[str, StringConstraints(min_length=2, max_length=120)] | None = Field(
        default=None, description="Where whoever is on call looks, as a patient would be told."
    )
    opens: ClockTime | None = Field(default=None, description="From when on, such as 09:00.")
    closes: ClockTime | None = Field(default=None, description="Until when, such as 11:00.")

    @model_validator(mode="after")
    def _says_where_and_when(self) -> Self:
        told = (self.place, self.opens, self.closes)
        if self.first_look == "on call" and None in told:
            raise ValueError(say("a look by whoever is on call needs its place and hours (opens, closes)"))
        if self.first_look == "another day" and told != (None, None, None):
            raise ValueError(say("place and hours belong to a look by whoever is on call; take them out"))
        if self.opens is not None and self.closes is not None and self.opens >= self.closes:
            raise ValueError(say("it closes before it opens; correct the hours"))
        return self


class PlacesTaken(CalendarEntry):
    """Places that other patients already hold."""

    service: ServiceName
    date: Day
    places: Places
