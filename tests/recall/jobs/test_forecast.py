"""What is expected a day against all places, on calendars that nobody has seen."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_record
from followup.recall.jobs.forecast import (
    Coming,
    DayLoad,
    ServiceLoad,
    expected_visits,
    load_of_days,
    one_more_day,
    visits_after,
)
from followup.records.people.oplist import ListLine, put_operation_list
from followup.timing.calendar import WEEKDAYS, Calendar, parse_calendar

MONDAY = date(2027, 3, 1)
SERVICES = ("review", "pressure", "macula", "a service of their own")
DAYS = st.integers(0, 20).map(lambda n: MONDAY + timedelta(days=n))


@st.composite
def calendars(draw) -> Calendar:
    """Any clinic: open days, holidays, half-days, services with and without places, places held elsewhere."""
    listed = draw(st.lists(st.sampled_from(SERVICES), unique=True))
    open_days = draw(st.lists(st.sampled_from(WEEKDAYS), unique=True))
    holidays = draw(st.lists(DAYS, unique=True, max_size=4))
    weekdays = st.lists(st.sampled_from(WEEKDAYS), unique=True)
    data = {
        "open_weekdays": open_days,
        "holidays": [day.isoformat() for day in holidays],
        "services": [
            {"name": name}
            | ({"capacity": draw(st.integers(0, 9))} if draw(st.booleans()) else {})
            | ({"weekdays": draw(weekdays)} if draw(st.booleans()) else {})
            for name in listed
        ],
        "half_days": [{"weekday": day} for day in draw(weekdays)],
        "places_taken": [
            {"service": name, "date": draw(DAYS).isoformat(), "places": draw(st.integers(1, 5))}
            for name in draw(st.lists(st.sampled_from(SERVICES), unique=True, max_size=2))
        ],
    }
    return parse_calendar(data)


visits = st.lists(
    st.builds(
        Coming,
        DAYS,
        st.lists(st.sampled_from(SERVICES), min_size=1, max_size=3, unique=True).map(tuple),
        st.booleans(),
    ),
    max_size=60,
)


@settings(max_examples=150, deadline=None)
@given(calendars(), visits)
def test_nobody_is_lost_and_a_day_is_over_exactly_where_places_are_fewer_than_people(calendar, coming):
    days = load_of_days(coming, MONDAY, 21, calendar)
    assert [day.day for day in days] == [MONDAY + timedelta(days=n) for n in range(21)]
    assert sum(day.expected for day in days) == len(coming)
    for day in days:
        here = [one for one in coming if one.day == day.day]
        assert (day.visits, day.after_operations) == (
            sum(not one.listed for one in here),
            sum(one.listed for one in here),
        )
        for load in day.services:
            held = calendar.taken(day.day, load.service)
            assert load.expected == held + sum(load.service in one.services for one in here)
            assert load.over == (load.places is not None and load.expected > load.places)
        too_many = any(load.over for load in day.services)
        assert day.over == (too_many or (bool(here) and not calendar.is_open(day.day)))


@settings(max_examples=100, deadline=None)
@given(calendars())
def test_places_are_those_of_the_calendar_and_not_what_is_left_of_them(calendar):
    """Booked places are people who are expected: taken off the places as well they would count twice."""
    emptied = calendar.model_copy(update={"places_taken": ()})
    for day in load_of_days([], MONDAY, 21, calendar):
        for load in day.services:
            places = emptied.room(load.service, day.day)
            assert load.places == places
            left = calendar.room(load.service, day.day)
            assert left == (None if places is None else max(0, places - load.expected))


def test_a_half_day_has_half_its_places_rounded_down_and_a_closed_day_none():
    calendar = parse_calendar(
        {
            "open_weekdays": ["monday", "saturday"],
            "services": [{"name": "review", "capacity": 5}],
            "half_days": [{"weekday": "saturday"}],
        }
    )
    coming = [Coming(MONDAY + timedelta(days=n), ("review",)) for n in (0, 1, 5, 5, 5)]
    days = load_of_days(coming, MONDAY, 7, calendar)
    monday, tuesday, saturday = days[0], days[1], days[5]
    assert [(s.expected, s.places) for s in monday.services] == [(1, 5)]
    assert not monday.over
    assert (tuesday.open, tuesday.over, tuesday.services[0].places) == (False, True, 0)
    assert (saturday.half, saturday.over, saturday.services[0].places) == (True, True, 2)


@pytest.mark.parametrize(
    ("expected", "places", "shown"),
    [(3, None, False), (0, 5, True), (5, 5, True), (1, 0, True), (0, 0, False)],
)
def test_a_service_is_counted_where_its_places_are_or_where_people_come_though_it_is_not_offered(
    expected, places, shown
):
    load = ServiceLoad("review", expected, places)
    day = DayLoad(MONDAY, open=True, half=False, visits=0, after_operations=0, services=(load,))
    assert (day.limited == (load,)) is shown
    assert day.over is (places == 0 and expected == 1)


def _routine(operated: date) -> Record:
    return parse_record(
        {
            "patient": {"code": "R-1", "name": "Invented Person", "birth_year": 1957},
            "operations": [
                {"eye": "right", "eye_drawn": "right", "date": operated.isoformat()}
                | {"procedure": "phacoemulsification"}
            ],
        }
    )


@pytest.mark.parametrize("weekday", range(7))
def test_a_routine_operation_is_first_looked_at_within_two_days_even_where_no_day_is_open(weekday):
    """Common practice, no source: the first look after a routine operation is on day 1 or 2."""
    calendar = parse_calendar(
        {"open_weekdays": ["monday", "tuesday", "wednesday", "thursday"], "services": [{"name": "review"}]}
    )
    operated = MONDAY + timedelta(days=weekday)
    coming = visits_after(_routine(operated), calendar, load_protocol())
    assert all(one.listed for one in coming)
    assert 1 <= (min(one.day for one in coming) - operated).days <= 2


def test_the_forecast_reads_the_days_asked_for_and_operations_from_the_day_before_on(sqlite_ward):
    """Visits in force and of drafts by their day; an operation without a plan from the day before on."""
    ward, protocol = sqlite_ward, load_protocol()
    ward.signed("K-1")
    ward.draft(ward.enter(ward.record("K-2")), ward.body("K-2"))
    with ward.store.write(ward.counsellor, ward.now) as unit:
        for day in (4, 5, 6, 9, 10):
            put_operation_list(unit, day=ward.day(day), lines=[ListLine(f"L-{day}", "Invented", "right")])

    def routine(operated: date) -> Record:
        asked.append((operated - ward.day0).days)
        return ward.record("ROUTINE")

    asked: list[int] = []
    with ward.store.read() as session:
        coming = expected_visits(session, ward.day(6), 4, parse_calendar({}), protocol, routine)
    loads = load_of_days(coming, ward.day(6), 4, parse_calendar({}))
    assert [(load.day - ward.day0).days for load in loads] == [6, 7, 8, 9]
    assert [load.visits for load in loads] == [0, 2, 0, 0]
    # The window is day 6 to 9: operations of the days 5 to 9 are looked after in it.
    assert asked == [5, 6, 9]


def test_one_more_operating_day_brings_its_visits_and_names_the_days_that_only_then_have_too_few_places():
    calendar = parse_calendar({"services": [{"name": "pressure", "capacity": 5}]})
    protocol = load_protocol()
    tuesdays = [MONDAY + timedelta(days=1 + 7 * week) for week in range(8)]
    # Full on the third Tuesday by others, and too full already on the day after it.
    there = [Coming(tuesdays[2] + timedelta(days=days), ("pressure",)) for days in (0,) * 5 + (1,) * 6]
    loads = load_of_days(there, MONDAY, 56, calendar)
    found = one_more_day(loads, there, (1, 4), calendar, protocol, _routine)
    assert found.operations == 4 * 8
    brought = [one for day in tuesdays for one in visits_after(_routine(day), calendar, protocol)] * 4
    within = [one for one in brought if one.day < MONDAY + timedelta(days=56)]
    assert dict(found.visits) == Counter(name for one in within for name in one.services)
    asked = Counter(one.day for one in [*there, *within] if "pressure" in one.services)
    assert found.over == tuple(sorted(day for day in asked if asked[day] > 5 and day not in _over(loads)))
    assert found.over
    assert tuesdays[2] + timedelta(days=1) not in found.over


def _over(loads) -> set[date]:
    return {load.day for load in loads if load.over}
