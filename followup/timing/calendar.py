"""The clinic's calendar: which day offers which service, and how much room is left.

A calendar is JSON. Every field may be left out; an empty calendar is open every day, offers
every service and has no limit::

    {
      "open_weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"],
      "holidays": ["2027-01-01"],
      "extra_days": ["2027-01-03"],
      "services": [
        {"name": "review", "capacity": 20},
        {"name": "macula", "weekdays": ["tuesday"], "dates": ["2027-01-07"], "capacity": 6}
      ],
      "half_days": [{"weekday": "saturday", "services": ["review"], "capacity": "half"}],
      "closed_days": {"first_look": "on call", "place": "Ward 3", "opens": "09:00", "closes": "11:00"},
      "places_taken": [{"service": "review", "date": "2027-01-05", "places": 11}]
    }

A service that the calendar does not list follows the open days and has no limit, unless
``only_listed_services`` is true: a clinic that has listed one bottleneck must not thereby lose
every pressure check, and a clinic that wants the strict reading says so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, timedelta
from functools import cached_property
from typing import Any, Self, TypeVar

from pydantic import Field, ValidationError, model_validator

from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar_entries import (
    WEEKDAYS,
    AWeekday,
    CalendarEntry,
    ClosedDays,
    HalfDay,
    PlacesTaken,
    Service,
    SomeDays,
)
from followup.validation import problem_words

__all__ = ["WEEKDAYS", "Calendar", "ClosedDays", "HalfDay", "PlacesTaken", "Service", "parse_calendar"]


def every_day(first: date, last: date) -> Iterator[date]:
    """The days from ``first`` to ``last``, both included; none where ``last`` is earlier."""
    return (first + timedelta(days=n) for n in range((last - first).days + 1))


class Calendar(CalendarEntry):
    """When the clinic is open, what it offers, and which places are already taken.

    ``places_taken`` counts the places of *other* patients: a patient who is planned again must not
    find his own booking in his way, so whoever fills it leaves that booking out.
    """

    open_weekdays: tuple[AWeekday, ...] = Field(
        default=WEEKDAYS, max_length=7, description="Weekdays on which the clinic is open."
    )
    holidays: SomeDays = Field(default=(), description="Dates on which it is closed all the same.")
    extra_days: SomeDays = Field(
        default=(), description="Dates on which it is open though their weekday is closed."
    )
    services: tuple[Service, ...] = Field(default=(), max_length=200)
    only_listed_services: bool = Field(
        default=False, description="True: a service that is not listed is not offered at all."
    )
    half_days: tuple[HalfDay, ...] = Field(default=(), max_length=4000)
    closed_days: ClosedDays | None = Field(
        default=None,
        description="What happens to a first look on days without it; left out: someone decides.",
    )
    places_taken: tuple[PlacesTaken, ...] = Field(
        default=(), max_length=100_000, description="Places that other patients already hold."
    )

    @model_validator(mode="after")
    def _does_not_contradict_itself(self) -> Self:
        for problem in self._contradictions():
            raise ValueError(problem)
        return self

    def is_open(self, day: date) -> bool:
        """Whether the clinic is open on ``day`` for anything at all."""
        if day in self._closed:
            return False
        return day in self._extra or WEEKDAYS[day.weekday()] in self.open_weekdays

    def offers(self, service: str, day: date) -> bool:
        """Whether ``service`` is offered on ``day``, full or not."""
        if not self.is_open(day):
            return False
        half = self._half_day(day)
        if half is not None and half.services is not None and service not in half.services:
            return False
        listed = self._by_name.get(service)
        return not self.only_listed_services if listed is None else listed.falls_on(day)

    def places(self, service: str, day: date) -> int | None:
        """Places in all for ``service`` on ``day``: None without limit, 0 where it is not offered."""
        return self._capacity(service, day) if self.offers(service, day) else 0

    def room(self, service: str, day: date) -> int | None:
        """Places left for ``service`` on ``day``: None without limit, 0 where it is not offered."""
        left = self.left(service, day)
        return None if left is None else max(0, left)

    def left(self, service: str, day: date) -> int | None:
        """The same, but -1 where it is not offered."""
        if not self.offers(service, day):
            return -1
        places = self._capacity(service, day)
        return None if places is None else max(0, places - self.taken(day, service))

    def is_half_day(self, day: date) -> bool:
        """Whether the clinic is open on ``day``, with fewer services or places than on other days."""
        return self.is_open(day) and self._half_day(day) is not None

    def taken(self, day: date, service: str | None = None) -> int:
        """Places already taken on ``day``, for one service or over all of them."""
        if service is not None:
            return self._places.get((service, day), 0)
        return self._places_a_day.get(day, 0)

    def open_days(self, start: date, end: date) -> tuple[date, ...]:
        """The open days from ``start`` to ``end``, both included."""
        return tuple(day for day in every_day(start, end) if self.is_open(day))

    def with_taken(self, places: Mapping[tuple[str, date], int]) -> Calendar:
        """This calendar with ``places`` (service and date to count) added to those taken."""
        total = Counter(self._places)
        total.update(places)
        entries = tuple(
            PlacesTaken(service=service, date=day, places=count)
            for (service, day), count in sorted(total.items())
            if count > 0
        )
        return Calendar.model_validate({**dict(self), "places_taken": entries})

    @cached_property
    def _closed(self) -> frozenset[date]:
        return frozenset(self.holidays)

    @cached_property
    def _extra(self) -> frozenset[date]:
        return frozenset(self.extra_days)

    @cached_property
    def _by_name(self) -> dict[str, Service]:
        return {service.name: service for service in self.services}

    @cached_property
    def _halves(self) -> dict[str | date, HalfDay]:
        return {half.key: half for half in self.half_days}

    @cached_property
    def _places(self) -> dict[tuple[str, date], int]:
        return {(entry.service, entry.date): entry.places for entry in self.places_taken}

    @cached_property
    def _places_a_day(self) -> Counter[date]:
        total: Counter[date] = Counter()
        for (_, day), places in self._places.items():
            total[day] += places
        return total

    def _capacity(self, service: str, day: date) -> int | None:
        listed = self._by_name.get(service)
        if listed is None or listed.capacity is None:
            return None
        half = self._half_day(day)
        return listed.capacity // 2 if half is not None and half.capacity == "half" else listed.capacity

    def _half_day(self, day: date) -> HalfDay | None:
        return self._halves.get(day) or self._halves.get(WEEKDAYS[day.weekday()])

    def _contradictions(self) -> Iterable[str]:
        """What cannot hold together, each as one sentence that says what to correct."""
        for day in sorted(self._closed & self._extra):
            yield say("{day} is both a holiday and an extra day; keep one", day=day)
        for name in _doubles(service.name for service in self.services):
            yield say('the service "{name}" is listed twice; join the two entries', name=name)
        for key in _doubles(half.key for half in self.half_days):
            yield say("{key} has two half-day entries; join them", key=key)
        for name, day in _doubles((entry.service, entry.date) for entry in self.places_taken):
            yield say('places taken for "{name}" on {day} stand twice; add them up', name=name, day=day)
        for service in self.services:
            for day in service.dates or ():
                if not self.is_open(day):
                    yield say(
                        '"{name}" names {day}, a closed day; open it in extra_days or take it out',
                        name=service.name,
                        day=day,
                    )
        for half in self.half_days:
            if half.date is not None and not self.is_open(half.date):
                yield say(
                    "{day} is a half-day and closed; open it in extra_days or take it out", day=half.date
                )
        if self.only_listed_services:
            for name in sorted(self._mentioned() - set(self._by_name)):
                yield say('"{name}" is used but not listed under services; list it', name=name)

    def _mentioned(self) -> set[str]:
        halves = {name for half in self.half_days for name in half.services or ()}
        return halves | {entry.service for entry in self.places_taken}


_T = TypeVar("_T")


def _doubles(items: Iterable[_T]) -> list[_T]:
    return [item for item, count in Counter(items).items() if count > 1]


def parse_calendar(data: dict[str, Any], source: str = "calendar") -> Calendar:
    """The calendar in ``data``, or a FollowupError ("calendar.field") that names the first bad field."""
    try:
        return Calendar.model_validate(data)
    except ValidationError as exc:
        problems = exc.errors(include_url=False, include_input=False)
    first = problems[0]
    field = ".".join(str(part) for part in first["loc"])
    more = len(problems) - 1
    raise FollowupError(
        "calendar.field",
        problem_words(first),
        where=f"{source}: {field}" if field else source,
        fix=say("correct this field (and {more} more)", more=more) if more else say("correct this field"),
    )
