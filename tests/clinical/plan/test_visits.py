"""From windows to visits: closed days, full days, booked visits, and what no day can serve."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest

from followup.timing.calendar import Calendar, parse_calendar

DAY0 = date(2026, 3, 2)


def dates(*numbers):
    return [(DAY0 + timedelta(days=n)).isoformat() for n in numbers]


def calendar(**parts):
    return parse_calendar(parts, "calendar")


def test_an_open_calendar_limits_nothing(someone, told):
    assert told(someone(), calendar=Calendar()).trip_days() == told(someone()).trip_days() == [1, 7, 29]


def test_a_closed_day_moves_a_visit_inside_its_window(someone, told):
    plan = told(someone(), calendar=calendar(holidays=dates(1, 7)))
    assert plan.trip_days()[:2] == [2, 6]
    assert plan.plan.impossible == ()


def test_every_visit_falls_on_an_open_day(someone, told):
    week = calendar(open_weekdays=["monday", "thursday"])
    plan = told(someone(operation={"chamber": "normal"}), calendar=week)
    assert {t.date.weekday() for t in plan.plan.trips} <= {0, 3}


def test_a_need_that_no_day_can_serve_is_named_with_the_nearest_days(someone, told):
    plan = told(someone(eye={"glaucoma": True}), calendar=calendar(holidays=dates(1)))
    (broken,) = (i for i in plan.plan.impossible if i.need == "right:first-look")
    assert broken.text
    assert plan.number(broken.after) == 2
    assert plan.need("right:first-look").state == "impossible"
    assert not plan.plan.signable


def test_only_the_broken_need_is_given_up_and_the_rest_still_stands(someone, told):
    plan = told(someone(eye={"glaucoma": True}), calendar=calendar(holidays=dates(1)))
    served = {key for t in plan.plan.trips for key in t.serves}
    assert served == set(plan.windows()) - {"right:first-look"}


def test_a_service_is_given_only_on_its_own_days(someone, told):
    tuesdays = calendar(services=[{"name": "refraction", "weekdays": ["tuesday"]}])
    plan = told(someone(), calendar=tuesdays)
    glasses = next(t for t in plan.plan.trips if "right:refraction" in t.serves)
    assert glasses.date.weekday() == 1


def test_a_full_day_is_left_alone_unless_the_look_is_urgent(someone, told):
    full = calendar(
        services=[{"name": "review", "capacity": 1}],
        places_taken=[{"service": "review", "date": day, "places": 1} for day in dates(1, 7)],
    )
    routine = told(someone(), calendar=full)
    assert routine.trip_days()[0] == 2
    assert 7 not in routine.trip_days()
    urgent = told(someone(operation={"capsule_torn": True}), calendar=full)
    assert urgent.trip_days()[0] == 1
    assert urgent.trip(1).overbooked == ("review",)


def test_a_booked_visit_is_kept_where_it_serves(someone, told, on_day):
    plan = told(someone(trips=[{"date": on_day(8), "status": "booked"}]))
    assert plan.trip_days("booked") == [8]
    assert "right:wound" in plan.trip(8).serves


def test_a_booked_visit_of_no_use_is_given_up_in_words_and_one_that_cannot_move_is_kept(
    someone, told, on_day
):
    useless = {"date": on_day(20), "status": "booked"}
    given_up = told(someone(trips=[useless, {"date": on_day(29), "status": "booked"}]))
    assert any("22 March 2026 is given up" in notice for notice in given_up.plan.notices)
    kept = told(someone(trips=[useless | {"cannot_move": True}]))
    assert 20 in kept.trip_days("booked")
    assert kept.trip(20).cannot_move


def test_the_steroid_dates_between_two_checks_never_exceed_the_tiers_limit(someone, told):
    for eye, limit in (({}, 28), ({"pseudoexfoliation": True}, 28), ({"glaucoma": True}, 14)):
        plan = told(someone(eye=eye, operation={"cornea_touched": True}))
        days = sorted(plan.steroid())
        checks = [0, *plan.trip_days(), 999]
        for one, two in pairwise(checks):
            assert sum(one < day < two for day in days) <= limit


def test_an_nsaid_past_its_label_is_looked_at_every_four_weeks(someone, told):
    plan = told(someone(conditions={"diabetes": "with retinopathy"}))
    days = sorted(plan.by_day("right:nsaid"))
    assert len(days) == 60
    checks = [0, *plan.trip_days(), 999]
    for one, two in pairwise(checks):
        assert sum(one < day < two for day in days) <= 28


def test_a_visit_that_serves_no_look_says_which_gap_it_keeps(someone, told):
    plan = told(someone(eye={"uveitis": {"last_active": "2025-01-01"}}))
    bare = [t for t in plan.plan.trips if not t.serves]
    assert bare
    assert all(t.reasons and t.services for t in bare)
    assert all(not t.reasons for t in plan.plan.trips if t.serves)


@pytest.mark.parametrize("calendar_days", [(), (1, 7)])
def test_the_numbers_of_the_visits_run_from_one(someone, told, calendar_days):
    plan = told(someone(), calendar=calendar(holidays=dates(*calendar_days)))
    assert [t.number for t in plan.plan.trips] == list(range(1, len(plan.plan.trips) + 1))
