"""Days, zones and holidays against libraries that were written apart from this program."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import holidays
import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import DAILY, rrule
from dateutil.tz import datetime_exists, gettz, resolve_imaginary

from followup.recall.reach.lateness import day_begins
from followup.timing.calendar import Calendar


def days_from(first: date, last: date) -> list[date]:
    """Every date from ``first`` to ``last``, counted by dateutil."""
    start, until = (datetime.combine(day, time()) for day in (first, last))
    return [found.date() for found in rrule(DAILY, dtstart=start, until=until)]


# Where clocks change at midnight, at two, by half an hour, twice a year in Ramadan, or never.
ZONES = (
    *("Asia/Kolkata", "Asia/Kathmandu", "Asia/Beirut", "Africa/Cairo", "Africa/Casablanca"),
    *("America/Havana", "America/Santiago", "America/Sao_Paulo", "America/Lima", "Europe/London"),
    *("Australia/Lord_Howe", "Pacific/Kiritimati", "Pacific/Apia", "Pacific/Pago_Pago", "UTC"),
)


@pytest.mark.parametrize("zone", ZONES)
def test_tz_database_every_day_of_two_years_begins_when_another_reader_says_so(zone):
    other = gettz(zone)
    for day in days_from(date(2026, 1, 1), date(2027, 12, 31)):
        midnight = datetime.combine(day, time(), other)
        if not datetime_exists(midnight):
            # The clocks jump over midnight: the day begins where they land.
            midnight = resolve_imaginary(midnight)
        assert day_begins(day, ZoneInfo(zone)) == midnight.astimezone(UTC), day


# Published transitions of the tz database (IANA), for 2027: the instants in UTC at which clocks change.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        *(("Europe/London", date(2027, 3, 28), 23), ("Europe/London", date(2027, 10, 31), 25)),
        *(("America/New_York", date(2027, 3, 14), 23), ("America/New_York", date(2027, 11, 7), 25)),
        *(("Australia/Lord_Howe", date(2027, 4, 4), 24.5), ("Australia/Lord_Howe", date(2027, 10, 3), 23.5)),
        *(("Asia/Kolkata", date(2027, 3, 28), 24), ("Pacific/Kiritimati", date(2027, 3, 28), 24)),
    ],
)
def test_tz_database_a_day_of_change_lasts_as_long_as_published(zone, day, hours):
    length = day_begins(day + timedelta(days=1), ZoneInfo(zone)) - day_begins(day, ZoneInfo(zone))
    assert length == timedelta(hours=hours)


@pytest.mark.parametrize("country", ["IN", "KE", "BD", "NP", "EG", "GB", "BR"])
def test_a_year_of_public_holidays_closes_exactly_those_days(country):
    closed = holidays.country_holidays(country, years=2027)
    assert len(closed) >= 5
    week = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday")
    calendar = Calendar(open_weekdays=week, holidays=tuple(sorted(closed)))
    year = days_from(date(2027, 1, 1), date(2027, 12, 31))
    assert [day for day in year if calendar.is_open(day)] == [
        day for day in year if day not in closed and day.isoweekday() != 7
    ]


# What an operation tells: a quiet eye; an old uveitis, quiet; one that is active. 28, 77 and 84 days.
LONG_AGO, LAST_WEEK = {"kind": "anterior", "last_active": "2022-01-01"}, {"kind": "anterior"}
TAPERS = [
    ({}, 28, 70),
    ({"eye": {"uveitis": LONG_AGO}}, 77, 297),
    ({"eye": {"uveitis": LAST_WEEK | {"last_active": "2024-01-25"}}}, 84, 385),
]


@pytest.mark.parametrize(("told", "days", "drops"), TAPERS)
def test_every_day_of_a_plan_has_the_drops_that_another_calendar_counts_from_its_steps(
    made, told, days, drops
):
    # Tapers R, U and UA: common practice; over 29 February 2024.
    plan = made(told).plan
    (steroid,) = [course for course in plan.courses if course.role == "steroid"]
    counted = Counter()
    for step in steroid.steps:
        for day in days_from(step.start, step.start + relativedelta(days=step.days - 1)):
            counted[day] += step.count
    assert (len(counted), counted.total()) == (days, drops)
    first, last = date(2024, 2, 1) + relativedelta(days=1), date(2024, 2, 1) + relativedelta(days=days)
    assert (min(counted), max(counted), steroid.last_day) == (first, last, last)
    drawn = Counter()
    for phase in plan.rounds:
        doses = [len(dose.times) for dose in phase.doses if dose.course == steroid.key]
        for day in days_from(phase.start, phase.end):
            drawn[day] += sum(doses)
    assert +drawn == counted
