"""Trips of operations as a surgeon would tell them; all days count from the operation (day 0).

Windows and limits are those of the sample protocol: first drop day 1, L the last steroid day.
Routine course R: four, three, two, one a day for a week each (PREMED pattern, Wielders,
J Cataract Refract Surg 2018;44:429), so L = 28. The other windows: common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.timing.calendar import Calendar
from followup.timing.trips import GapRule, Since, TripNeed, TripsPlan, plan_trips

OPERATION = date(2027, 5, 3)


def on(day: int) -> date:
    return OPERATION + timedelta(days=day)


def need(key: str, window: str, *after: Since, service: str = "review") -> TripNeed:
    """A need from a window written as earliest-target-latest."""
    earliest, target, latest = (on(int(day)) for day in window.split("-"))
    return TripNeed(key, service, earliest, target, latest, after=after)


def gap(key: str, first: int, last: int, limit: int) -> GapRule:
    return GapRule(key, frozenset(on(day) for day in range(first, last + 1)), limit)


def days(plan: TripsPlan) -> list[int]:
    return [(trip.day - OPERATION).days for trip in plan.trips]


def serves(plan: TripsPlan) -> dict[int, set[str]]:
    return {(trip.day - OPERATION).days: set(trip.serves) for trip in plan.trips}


ROUTINE = [
    need("first", "1-1-2"),
    need("wound", "5-7-9"),
    need("pressure", "10-29-35", service="pressure"),
    need("refraction", "29-35-56", service="refraction"),
]


def test_a_routine_eye_takes_three_trips() -> None:
    plan = plan_trips(ROUTINE, gaps=[gap("steroid", 1, 28, 28)], calendar=Calendar(), horizon_start=on(0))
    assert serves(plan) == {1: {"first"}, 7: {"wound"}, 29: {"pressure", "refraction"}}
    last = plan.trips[-1]
    assert (last.window_start, last.window_end) == (on(29), on(35))
    assert last.services == ("pressure", "refraction")


def test_a_uveitic_eye_takes_seven_trips() -> None:
    """77 days of steroid (L = 77), 35 of them on four or more a day; NSAID for 42 days."""
    needs = [
        need("first", "1-1-1"),
        need("leak", "1-1-1"),
        need("leak again", "5-7-9"),
        need("wound", "5-7-9"),
        need("pressure", "10-14-14", service="pressure"),
        need("macula", "28-35-42", service="macula"),
        need("macula again", "60-84-90", Since("macula", 28), service="macula"),
        need("taper end", "78-81-84"),
        need("refraction", "78-84-105", service="refraction"),
        need("rebound", "91-98-112"),
    ]
    dense, all_steroid, nsaid = gap("dense", 1, 35, 14), gap("steroid", 1, 77, 28), gap("stain", 1, 42, 28)
    plan = plan_trips(needs, gaps=[dense, all_steroid, nsaid], calendar=Calendar(), horizon_start=on(0))
    assert days(plan) == [1, 7, 14, 29, 49, 84, 98]
    assert serves(plan)[49] == set(), "only the limit between pressure checks asks for day 49"
    assert serves(plan)[98] == {"rebound"}


def test_a_second_eye_ten_days_after_the_first_shares_its_three_trips() -> None:
    right = [
        need("right pressure", "0-19-25", service="pressure"),
        need("right refraction", "19-25-46", service="refraction"),
    ]
    plan = plan_trips(
        [*ROUTINE, *right],
        gaps=[gap("left", 1, 28, 28), gap("right", -9, 18, 28)],
        calendar=Calendar(),
        horizon_start=on(0),
        last_check=on(-3),
    )
    assert len(plan.trips) == 3
    assert {"refraction", "right refraction"} <= set(plan.trips[-1].serves)


def test_a_known_responder_on_four_weeks_of_steroid_takes_four_trips() -> None:
    needs = [
        need("first", "1-1-1"),
        need("wound", "5-7-9"),
        need("pressure", "10-14-14", service="pressure"),
        need("pressure at the end", "29-29-35", service="pressure"),
        need("refraction", "29-35-56", service="refraction"),
    ]
    plan = plan_trips(needs, gaps=[gap("steroid", 1, 28, 14)], calendar=Calendar(), horizon_start=on(0))
    assert days(plan) == [1, 7, 14, 29]


def test_an_eye_with_herpes_in_the_past_takes_four_trips() -> None:
    looks = [need("stain 1", "5-7-9"), need("stain 2", "14-18-21"), need("stain 3", "29-35-42")]
    plan = plan_trips(
        [*ROUTINE, *looks], gaps=[gap("steroid", 1, 28, 28)], calendar=Calendar(), horizon_start=on(0)
    )
    assert len(plan.trips) == 4
    assert days(plan)[:2] == [1, 7]


def test_a_steroid_depot_is_looked_at_four_times() -> None:
    needs = [
        *(need(f"check {w}", w, service="pressure") for w in ("1-1-1", "5-7-9", "19-21-23", "33-35-37")),
        need("wound", "5-7-9"),
        need("refraction", "31-37-58", service="refraction"),
    ]
    plan = plan_trips(needs, calendar=Calendar(), horizon_start=on(0))
    assert days(plan) == [1, 7, 21, 35]


def test_glasses_wait_for_the_stitch_to_have_been_out_two_weeks() -> None:
    stitched = [
        need("stitch", "21-28-42", service="stitches"),
        need("refraction", "28-35-56", Since("stitch", 14, 21, 42), service="refraction"),
    ]
    plan = plan_trips(stitched, calendar=Calendar(), horizon_start=on(0))
    assert days(plan) == [28, 49]
    assert plan.windows["refraction"] == (on(42), on(49), on(70))


def test_a_stitch_taken_out_late_moves_the_glasses() -> None:
    glasses = need("refraction", "28-35-56", Since("stitch", 14, 21, 42), service="refraction")
    plan = plan_trips([glasses], calendar=Calendar(), horizon_start=on(50), served={"stitch": on(50)})
    assert days(plan) == [71]
    assert plan.windows["refraction"] == (on(64), on(71), on(92))


@pytest.mark.parametrize(("limit", "checks"), [(14, [6, 21]), (28, [7]), (35, [])])
def test_a_limit_between_checks_alone_asks_for_trips(limit: int, checks: list[int]) -> None:
    """Steroid from day 1 to day 35, nothing else to look at: the earliest days that keep the limit."""
    plan = plan_trips([], gaps=[gap("steroid", 1, 35, limit)], calendar=Calendar(), horizon_start=on(0))
    assert days(plan) == checks
    assert all(trip.serves == () and trip.services == ("pressure",) for trip in plan.trips)
