"""The clock of a time zone as a VTIMEZONE: each change of it in a span of years, one by one.

The library's own maker looks at a zone in steps and misses changes of it (Casablanca in February 2027).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Component, Timezone, TimezoneDaylight, TimezoneStandard

_SECOND, _DAY = timedelta(seconds=1), timedelta(days=1)


@lru_cache(maxsize=64)
def clock_of(zone: str, first: int, last: int) -> Timezone:
    """From the year before ``first`` to the end of the year after ``last``."""
    clock = Timezone()
    clock.add("tzid", zone)
    known, begin = ZoneInfo(zone), datetime(first - 1, 1, 1, tzinfo=UTC)
    clock.add_component(_observance(known, begin, begin))
    for before, after in _changes(known, begin, datetime(last + 2, 1, 1, tzinfo=UTC)):
        clock.add_component(_observance(known, before, after))
    return clock


def _changes(zone: ZoneInfo, begin: datetime, end: datetime) -> Iterator[tuple[datetime, datetime]]:
    """The last second before each change, and the first after it. No zone changes twice within a day."""
    at = begin
    while at < end:
        low, high = at, at + _DAY
        if _offset(zone, low) != _offset(zone, high):
            while high - low > _SECOND:
                middle = low + timedelta(seconds=(high - low) // _SECOND // 2)
                low, high = (middle, high) if _offset(zone, middle) == _offset(zone, low) else (low, middle)
            yield low, high
        at += _DAY


def _observance(zone: ZoneInfo, before: datetime, after: datetime) -> Component:
    """What holds from ``after`` on; it begins, by the clock of ``before``, at this time."""
    local = after.astimezone(zone)
    part = TimezoneDaylight() if local.dst() else TimezoneStandard()
    part.add("dtstart", (after + _offset(zone, before)).replace(tzinfo=None))
    part.add("tzoffsetfrom", _offset(zone, before))
    part.add("tzoffsetto", _offset(zone, after))
    part.add("tzname", local.tzname() or "")
    return part


def _offset(zone: ZoneInfo, at: datetime) -> timedelta:
    offset = at.astimezone(zone).utcoffset()
    assert offset is not None
    return offset
