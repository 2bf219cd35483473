"""What the clinic's calendar says about a day, and how it refuses to contradict itself."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.errors import FollowupError
from followup.timing.calendar import Calendar, parse_calendar

MONDAY = date(2027, 1, 4)
TUESDAY = date(2027, 1, 5)
SATURDAY = date(2027, 1, 9)
SUNDAY = date(2027, 1, 10)

CLINIC: dict[str, Any] = {
    "open_weekdays": ["Monday", "tuesday", "wednesday", "thursday", "friday", "saturday"],
    "holidays": ["2027-01-06"],
    "extra_days": ["2027-01-10"],
    "services": [
        {"name": "review", "capacity": 21},
        {"name": "macula", "weekdays": ["tuesday"], "dates": ["2027-01-07"], "capacity": 6},
        {"name": "retina", "dates": ["2027-01-08"]},
    ],
    "half_days": [
        {"weekday": "saturday", "services": ["review"]},
        {"date": "2027-01-16", "capacity": "whole"},
    ],
    "places_taken": [
        {"service": "review", "date": "2027-01-05", "places": 11},
        {"service": "macula", "date": "2027-01-05", "places": 9},
    ],
}


def test_an_empty_calendar_is_always_open_and_offers_everything_without_limit() -> None:
    calendar = Calendar()
    assert calendar.is_open(SUNDAY)
    assert calendar.offers("anything", SUNDAY)
    assert calendar.room("anything", SUNDAY) is None
    assert calendar.taken(SUNDAY) == 0


def test_holidays_close_and_extra_days_open() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.open_days(MONDAY, date(2027, 1, 17)) == tuple(
        date(2027, 1, n) for n in (4, 5, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16)
    )


def test_places_are_counted_before_any_is_taken_and_a_half_day_is_known_as_one() -> None:
    calendar = parse_calendar(CLINIC)
    assert (calendar.places("review", TUESDAY), calendar.room("review", TUESDAY)) == (21, 10)
    assert (calendar.places("macula", TUESDAY), calendar.room("macula", TUESDAY)) == (6, 0)
    assert (calendar.places("review", SATURDAY), calendar.places("macula", SATURDAY)) == (10, 0)
    assert calendar.places("anything", TUESDAY) is None
    assert calendar.is_half_day(SATURDAY)
    assert not calendar.is_half_day(TUESDAY)


def test_a_service_follows_its_weekdays_and_its_dates() -> None:
    calendar = parse_calendar(CLINIC)
    days = calendar.open_days(MONDAY, SUNDAY)
    assert [d.day for d in days if calendar.offers("macula", d)] == [5, 7]
    assert [d.day for d in days if calendar.offers("retina", d)] == [8]
    assert [d.day for d in days if calendar.offers("review", d)] == [4, 5, 7, 8, 9, 10]


def test_a_service_that_is_not_listed_follows_the_open_days() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.offers("pressure", MONDAY)
    assert not calendar.offers("pressure", date(2027, 1, 6))
    strict = parse_calendar({**CLINIC, "only_listed_services": True})
    assert not strict.offers("pressure", MONDAY)
    assert strict.offers("review", MONDAY)


def test_room_is_what_the_capacity_leaves_and_never_below_nothing() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.room("review", MONDAY) == 21
    assert calendar.room("review", TUESDAY) == 10
    assert calendar.room("macula", TUESDAY) == 0
    assert calendar.room("macula", MONDAY) == 0
    assert calendar.room("retina", date(2027, 1, 8)) is None


def test_a_half_day_halves_the_places_rounded_down_and_offers_only_some_services() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.room("review", SATURDAY) == 10
    assert not calendar.offers("pressure", SATURDAY)


def test_a_half_day_by_date_outranks_its_weekday() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.room("review", date(2027, 1, 16)) == 21
    assert calendar.offers("pressure", date(2027, 1, 16))


def test_places_taken_are_summed_over_services_or_given_for_one() -> None:
    calendar = parse_calendar(CLINIC)
    assert calendar.taken(TUESDAY) == 20
    assert calendar.taken(TUESDAY, "macula") == 9
    assert calendar.taken(MONDAY, "macula") == 0


def test_places_can_be_added_to_those_taken() -> None:
    calendar = parse_calendar(CLINIC).with_taken({("review", TUESDAY): 10, ("review", MONDAY): 1})
    assert calendar.room("review", TUESDAY) == 0
    assert calendar.taken(MONDAY, "review") == 1
    assert parse_calendar(CLINIC).taken(MONDAY) == 0


def test_a_calendar_survives_being_written_and_read() -> None:
    calendar = parse_calendar(CLINIC)
    assert parse_calendar(json.loads(calendar.model_dump_json())) == calendar


def test_the_published_schema_accepts_what_the_parser_accepts() -> None:
    schema = Calendar.model_json_schema()
    jsonschema.validate(json.loads(parse_calendar(CLINIC).model_dump_json()), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"opening": []}, schema)


@pytest.mark.parametrize(
    ("data", "where", "what"),
    [
        ({"open_weekdays": ["funday"]}, "open_weekdays.0", "monday"),
        ({"holidays": ["2027-02-30"]}, "holidays.0", "must be a day"),
        ({"holidays": ["20270101"]}, "holidays.0", "YYYY-MM-DD"),
        ({"holidays": ["2027-01-01T00:00"]}, "holidays.0", "YYYY-MM-DD"),
        ({"holidays": [20270101]}, "holidays.0", "YYYY-MM-DD"),
        ({"holidays": [datetime(2027, 1, 1, 8)]}, "holidays.0", "YYYY-MM-DD"),  # noqa: DTZ001
        ({"opening": []}, "opening", "is not known"),
        ({"services": [{"name": "macula", "capacity": -1}]}, "services.0.capacity", "must be 0 or more"),
        (
            {"services": [{"name": "macula", "capacity": "6"}]},
            "services.0.capacity",
            "must be a whole number",
        ),
        ({"services": [{"name": ""}]}, "services.0.name", "at least 1"),
        ({"services": [{"name": "macula"}, {"name": "macula"}]}, "cal.json", "listed twice"),
        (
            {"services": [{"name": "macula", "dates": ["2027-01-01"]}], "holidays": ["2027-01-01"]},
            "cal.json",
            "a closed day",
        ),
        (
            {"holidays": ["2027-01-01"], "extra_days": ["2027-01-01"]},
            "cal.json",
            "both a holiday and an extra",
        ),
        ({"half_days": [{}]}, "half_days.0", "weekday or date"),
        ({"half_days": [{"weekday": "monday", "date": "2027-01-04"}]}, "half_days.0", "weekday or date"),
        ({"half_days": [{"weekday": "monday"}] * 2}, "cal.json", "two half-day entries"),
        (
            {"half_days": [{"date": "2027-01-01"}], "holidays": ["2027-01-01"]},
            "cal.json",
            "half-day and closed",
        ),
        (
            {"places_taken": [{"service": "a", "date": "2027-01-01", "places": 1}] * 2},
            "cal.json",
            "stand twice",
        ),
        (
            {
                "only_listed_services": True,
                "places_taken": [{"service": "a", "date": "2027-01-01", "places": 1}],
            },
            "cal.json",
            "not listed",
        ),
        (
            {"only_listed_services": True, "half_days": [{"weekday": "monday", "services": ["a"]}]},
            "cal.json",
            "not listed",
        ),
        ({"places_taken": [{"service": "a", "date": "2027-01-01", "places": -1}]}, "places_taken.0", "0"),
    ],
)
def test_a_calendar_that_cannot_be_is_refused_in_one_line(
    data: dict[str, Any], where: str, what: str
) -> None:
    with pytest.raises(FollowupError) as refused:
        parse_calendar(data, "cal.json")
    error = refused.value
    assert error.code == "calendar.field"
    assert error.where.startswith("cal.json")
    assert where in error.where
    assert what in error.what
    assert "\n" not in error.line


def test_further_problems_are_counted() -> None:
    with pytest.raises(FollowupError, match="and 1 more"):
        parse_calendar({"opening": [], "closing": []})


# How fast examples come depends on what else the machine does; neither is what is tested here.
UNHURRIED = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def read(data: dict[str, Any]) -> Calendar | str:
    try:
        return parse_calendar(data)
    except FollowupError as error:
        return error.line


@UNHURRIED
@given(st.dictionaries(st.sampled_from(sorted(Calendar.model_fields)), json_values, max_size=4))
def test_any_json_gives_a_calendar_or_one_line(data: dict[str, Any]) -> None:
    found = read(data)
    assert isinstance(found, Calendar) or (found and "\n" not in found)


@UNHURRIED
@given(st.dates(), st.sampled_from(["review", "macula", "retina", "pressure"]))
def test_what_has_room_is_offered_and_what_is_offered_is_on_an_open_day(day: date, service: str) -> None:
    calendar = parse_calendar(CLINIC)
    if calendar.room(service, day) != 0:
        assert calendar.offers(service, day)
    if calendar.offers(service, day):
        assert calendar.is_open(day)
