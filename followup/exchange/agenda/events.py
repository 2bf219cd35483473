"""Events as an iCalendar object, with the clock of the clinic's time zone beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from followup.exchange.agenda.clock import clock_of

PRODUCT = "-//followup//followup//EN"


@dataclass(frozen=True)
class AgendaEvent:
    """One event. ``stamp``: when it became what it says; ``sequence`` counts its changes from 0.

    Without ``hour`` it is of the whole ``day``, or between the hours of ``opens`` where its place has some.
    """

    uid: str
    sequence: int
    stamp: datetime
    day: date
    summary: str
    description: str = ""
    place: str = ""
    hour: str | None = None
    opens: tuple[str, str] | None = None
    cancelled: bool = False


def calendar_file(events: Sequence[AgendaEvent], *, name: str, zone: str) -> bytes:
    """The events as a file. ``zone`` is an IANA name; the same events give the same bytes."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", _clean(name))
    days = [event.day for event in events]
    if days:
        calendar.add_component(clock_of(zone, min(days).year, max(days).year))
    for event in events:
        calendar.add_component(_event(event, ZoneInfo(zone)))
    return bytes(calendar.to_ical())


def _event(told: AgendaEvent, zone: ZoneInfo) -> Event:
    event = Event()
    event.add("uid", told.uid)
    event.add("sequence", told.sequence)
    event.add("dtstamp", told.stamp.astimezone(UTC).replace(microsecond=0))
    for name, when in _when(told, zone).items():
        event.add(name, when)
    event.add("summary", _clean(told.summary))
    for field, text in (("description", told.description), ("location", told.place)):
        if _clean(text):
            event.add(field, _clean(text))
    event.add("status", "CANCELLED" if told.cancelled else "CONFIRMED")
    event.add("class", "PRIVATE")
    return event


def _when(told: AgendaEvent, zone: ZoneInfo) -> dict[str, date | datetime]:
    """A day ends where the next one begins; how long a visit at an hour takes nobody wrote down."""
    if told.hour is not None:
        return {"dtstart": _at(told.day, told.hour, zone)}
    if told.opens is not None:
        opens, closes = told.opens
        return {"dtstart": _at(told.day, opens, zone), "dtend": _at(told.day, closes, zone)}
    return {"dtstart": told.day, "dtend": told.day + timedelta(days=1)}


def _at(day: date, hour: str, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.fromisoformat(hour), zone)


def _clean(text: str) -> str:
    """Without what no line of the standard may hold; the ends of lines stay, and marks of direction."""
    return "".join(c for c in text if c == "\n" or c.isprintable() or ord(c) > 0x9F).strip()
