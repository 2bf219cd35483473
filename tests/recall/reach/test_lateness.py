"""Lateness: just before, exactly at and just after each boundary, in three kinds of time zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.recall.reach.lateness import VisitDays, became_at, day_begins, days_overdue, lateness

TICK = timedelta(microseconds=1)
ZONES = ["UTC", "Asia/Kolkata", "Europe/London", "America/New_York", "Australia/Lord_Howe"]
ORDER = ["upcoming", "due today", "late", "overdue"]

# Local midnights in UTC, worked out by hand from the zone's offset on that day.
MIDNIGHTS = [
    ("UTC", date(2027, 3, 2), datetime(2027, 3, 2, 0, 0, tzinfo=UTC)),
    ("Asia/Kolkata", date(2027, 3, 2), datetime(2027, 3, 1, 18, 30, tzinfo=UTC)),
    ("Asia/Kolkata", date(2028, 2, 29), datetime(2028, 2, 28, 18, 30, tzinfo=UTC)),
    ("Asia/Kolkata", date(2028, 3, 1), datetime(2028, 2, 29, 18, 30, tzinfo=UTC)),
    # London changes at 01:00 UTC on 28 March and 31 October 2027.
    ("Europe/London", date(2027, 3, 28), datetime(2027, 3, 28, 0, 0, tzinfo=UTC)),
    ("Europe/London", date(2027, 3, 29), datetime(2027, 3, 28, 23, 0, tzinfo=UTC)),
    ("Europe/London", date(2027, 10, 31), datetime(2027, 10, 30, 23, 0, tzinfo=UTC)),
    ("Europe/London", date(2027, 11, 1), datetime(2027, 11, 1, 0, 0, tzinfo=UTC)),
    # New York changes at 07:00 UTC on 14 March and 06:00 UTC on 7 November 2027.
    ("America/New_York", date(2027, 3, 14), datetime(2027, 3, 14, 5, 0, tzinfo=UTC)),
    ("America/New_York", date(2027, 3, 15), datetime(2027, 3, 15, 4, 0, tzinfo=UTC)),
    ("America/New_York", date(2027, 11, 7), datetime(2027, 11, 7, 4, 0, tzinfo=UTC)),
    ("America/New_York", date(2027, 11, 8), datetime(2027, 11, 8, 5, 0, tzinfo=UTC)),
    ("America/New_York", date(2028, 2, 29), datetime(2028, 2, 29, 5, 0, tzinfo=UTC)),
    # Lord Howe's clocks go by half an hour, back at 15:00 UTC on 3 April 2027.
    ("Australia/Lord_Howe", date(2027, 4, 4), datetime(2027, 4, 3, 13, 0, tzinfo=UTC)),
    ("Australia/Lord_Howe", date(2027, 4, 5), datetime(2027, 4, 4, 13, 30, tzinfo=UTC)),
    # Cairo's clocks went from 24:00 to 01:00 at the start of 26 April 2024: the day begins at 01:00.
    ("Africa/Cairo", date(2024, 4, 26), datetime(2024, 4, 25, 22, 0, tzinfo=UTC)),
    # Havana's went back from 01:00 to 00:00 on 1 November 2026: the day begins at the first midnight.
    ("America/Havana", date(2026, 11, 1), datetime(2026, 11, 1, 4, 0, tzinfo=UTC)),
]


@pytest.mark.parametrize(("zone", "day", "begins"), MIDNIGHTS)
def test_a_day_begins_at_its_local_midnight(zone, day, begins):
    assert day_begins(day, ZoneInfo(zone)) == begins
    assert begins.astimezone(ZoneInfo(zone)).date() == day
    assert (begins - TICK).astimezone(ZoneInfo(zone)).date() < day


@pytest.mark.parametrize(("zone", "day", "begins"), MIDNIGHTS)
def test_a_visit_turns_overdue_exactly_when_the_day_after_its_window_begins(zone, day, begins):
    visit = VisitDays(day - timedelta(days=3), day - timedelta(days=1))
    states = [lateness(visit, begins + step, ZoneInfo(zone)) for step in (-TICK, timedelta(0), TICK)]
    assert states == ["late", "overdue", "overdue"]


@pytest.mark.parametrize(("zone", "day", "begins"), MIDNIGHTS)
def test_a_visit_turns_late_exactly_when_the_day_after_it_begins(zone, day, begins):
    visit = VisitDays(day - timedelta(days=1), day + timedelta(days=5))
    states = [lateness(visit, begins + step, ZoneInfo(zone)) for step in (-TICK, timedelta(0), TICK)]
    assert states == ["due today", "late", "late"]


@pytest.mark.parametrize(("zone", "day", "begins"), MIDNIGHTS)
def test_a_visit_is_due_from_the_first_to_the_last_instant_of_its_day(zone, day, begins):
    visit = VisitDays(day, day + timedelta(days=1))
    states = [lateness(visit, begins + step, ZoneInfo(zone)) for step in (-TICK, timedelta(0), TICK)]
    assert states == ["upcoming", "due today", "due today"]


def test_the_day_of_a_spring_change_is_due_for_23_hours_and_of_an_autumn_change_for_25():
    london = ZoneInfo("Europe/London")
    for day, hours in ((date(2027, 3, 28), 23), (date(2027, 10, 31), 25)):
        begins = day_begins(day, london)
        visit = VisitDays(day, day)
        assert lateness(visit, begins + timedelta(hours=hours) - TICK, london) == "due today"
        assert lateness(visit, begins + timedelta(hours=hours), london) == "overdue"


def test_a_visit_on_the_last_day_of_its_window_turns_overdue_and_never_late():
    visit = VisitDays(date(2027, 3, 2), date(2027, 3, 2))
    turns = became_at(visit, ZoneInfo("Asia/Kolkata"))
    assert turns.late_at is None
    assert turns.overdue_at == datetime(2027, 3, 2, 18, 30, tzinfo=UTC)


def test_a_visit_on_the_twenty_ninth_of_february_is_late_on_the_first_of_march():
    visit = VisitDays(date(2028, 2, 29), date(2028, 3, 1))
    utc = ZoneInfo("UTC")
    assert lateness(visit, datetime(2028, 2, 29, 23, 59, 59, tzinfo=UTC), utc) == "due today"
    assert lateness(visit, datetime(2028, 3, 1, tzinfo=UTC), utc) == "late"
    assert lateness(visit, datetime(2028, 3, 2, tzinfo=UTC), utc) == "overdue"


@pytest.mark.parametrize("status", ["proposed", "booked", "noshow"])
def test_proposed_booked_and_missed_visits_are_late_alike(status):
    visit = VisitDays(date(2027, 3, 2), date(2027, 3, 4), status)
    assert lateness(visit, datetime(2027, 3, 5, tzinfo=UTC), ZoneInfo("UTC")) == "overdue"


@pytest.mark.parametrize(
    ("status", "state"), [("arrived", "here"), ("fulfilled", "done"), ("cancelled", "cancelled")]
)
def test_a_visit_that_is_over_is_never_late(status, state):
    visit = VisitDays(date(2027, 3, 2), date(2027, 3, 4), status)
    assert lateness(visit, datetime(2037, 3, 5, tzinfo=UTC), ZoneInfo("UTC")) == state
    assert became_at(visit, ZoneInfo("UTC")).late_at is None
    assert became_at(visit, ZoneInfo("UTC")).overdue_at is None


DAYS = st.dates(date(2020, 1, 1), date(2040, 12, 31))


@given(DAYS, st.integers(0, 60), st.sampled_from(ZONES), st.integers(-10, 100), st.integers(0, 400))
def test_a_visit_never_becomes_less_late_while_time_passes(day, window, zone, start, hours):
    visit = VisitDays(day, day + timedelta(days=window))
    first = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(days=start)
    then = first + timedelta(hours=hours)
    before, after = (lateness(visit, moment, ZoneInfo(zone)) for moment in (first, then))
    assert ORDER.index(before) <= ORDER.index(after)


@given(DAYS, st.integers(0, 60), st.sampled_from(ZONES), st.integers(-40, 100 * 24))
def test_lateness_is_what_the_instants_at_which_it_turned_say(day, window, zone, hours):
    visit = VisitDays(day, day + timedelta(days=window))
    now = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(hours=hours)
    turns = became_at(visit, ZoneInfo(zone))
    state = lateness(visit, now, ZoneInfo(zone))
    assert (state == "overdue") == (now >= turns.overdue_at)
    assert (state == "late") == (turns.late_at is not None and turns.late_at <= now < turns.overdue_at)


@given(DAYS, st.integers(0, 60), st.integers(-10, 100))
def test_the_days_overdue_count_from_the_last_day_of_the_window(day, window, later):
    end = day + timedelta(days=window)
    assert days_overdue(VisitDays(day, end), end + timedelta(days=later)) == max(0, later)
