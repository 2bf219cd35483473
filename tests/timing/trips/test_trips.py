"""What a plan of trips does with bookings, full days, closed days and needs that cannot be kept."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.errors import FollowupError
from followup.timing import trip_reasons
from followup.timing.calendar import Calendar, parse_calendar
from followup.timing.trips import BookedTrip, GapRule, Since, TripNeed, TripsPlan, plan_trips

START = date(2027, 3, 1)  # a Monday


def on(day: int) -> date:
    return START + timedelta(days=day)


def need(key: str, earliest: int, target: int, latest: int, service: str = "review", **more: Any) -> TripNeed:
    return TripNeed(key, service, on(earliest), on(target), on(latest), **more)


def calendar(**fields: Any) -> Calendar:
    return parse_calendar(fields)


def plan(*needs: TripNeed, **more: Any) -> TripsPlan:
    return plan_trips(needs, **{"calendar": Calendar(), "horizon_start": START, **more})


def days(planned: TripsPlan) -> list[int]:
    return [(trip.day - START).days for trip in planned.trips]


def test_nothing_to_look_at_takes_no_trip() -> None:
    planned = plan()
    assert (planned.trips, planned.impossible, planned.missed, planned.cost.trips) == ((), (), (), 0)


def test_fewer_trips_come_before_target_days() -> None:
    assert days(plan(need("a", 1, 1, 9), need("b", 9, 20, 20))) == [9]


def test_weight_decides_whose_target_is_met() -> None:
    assert days(plan(need("a", 1, 2, 9, weight=3), need("b", 1, 8, 9))) == [2]
    assert days(plan(need("a", 1, 2, 9), need("b", 1, 8, 9, weight=3))) == [8]


def test_among_equal_days_the_earliest_is_taken() -> None:
    assert days(plan(need("a", 1, 2, 9), need("b", 1, 8, 9))) == [2]


def test_a_need_is_served_by_the_first_trip_that_can() -> None:
    planned = plan(need("early", 1, 1, 1), need("wide", 0, 30, 40), need("late", 30, 30, 30))
    assert [trip.serves for trip in planned.trips] == [("early", "wide"), ("late",)]
    assert planned.cost.deviation == 29


def test_crowded_days_are_avoided_only_after_targets() -> None:
    taken = [{"service": "review", "date": str(on(3)), "places": 9}]
    crowded = calendar(places_taken=taken)
    assert days(plan(need("a", 1, 3, 5), calendar=crowded)) == [3]
    tied = plan(need("a", 1, 3, 5), need("b", 1, 4, 5), calendar=crowded)
    assert (days(tied), tied.cost.crowding) == ([4], 0)


def test_a_booked_day_is_kept_before_a_target_day() -> None:
    planned = plan(need("a", 1, 2, 9), booked=[BookedTrip(on(8))])
    assert (days(planned), planned.given_up, planned.cost.deviation) == ([8], (), 6)


def test_a_booked_day_that_costs_a_trip_is_given_up() -> None:
    planned = plan(need("a", 1, 2, 3), booked=[BookedTrip(on(8))])
    assert (days(planned), planned.given_up, planned.cost.given_up) == ([2], (on(8),), 1)


def test_a_booking_already_past_is_not_given_up() -> None:
    assert plan(need("a", 1, 2, 3), booked=[BookedTrip(on(-1))]).given_up == ()


def test_a_trip_that_cannot_move_stays_though_it_serves_nothing() -> None:
    planned = plan(need("a", 1, 2, 3), booked=[BookedTrip(on(8)), BookedTrip(on(8), cannot_move=True)])
    assert days(planned) == [2, 8]
    idle = planned.trips[-1]
    assert (idle.serves, idle.services, idle.window_start, idle.window_end) == ((), (), on(8), on(8))


def test_a_trip_that_cannot_move_on_a_closed_day_is_reported() -> None:
    shut = calendar(holidays=[str(on(8))])
    planned = plan(booked=[BookedTrip(on(8), cannot_move=True)], calendar=shut)
    assert planned.trips == ()
    assert planned.given_up == (on(8),)
    (problem,) = planned.impossible
    assert (problem.need, problem.reason) == (f"trip:{on(8)}", trip_reasons.FIXED_ON_CLOSED_DAY)
    assert (problem.before, problem.after) == (on(7), on(9))


def test_a_full_day_is_left_alone_by_a_need_that_can_wait() -> None:
    full = calendar(services=[{"name": "review", "capacity": 0}])
    (problem,) = plan(need("a", 1, 2, 3), calendar=full).impossible
    assert (problem.reason, problem.before, problem.after) == (trip_reasons.FULL, None, None)


def test_an_urgent_need_overbooks_by_name_and_takes_its_service_along() -> None:
    full = calendar(services=[{"name": "review", "capacity": 0}])
    both = plan(need("right", 1, 2, 3, urgent=True), need("left", 1, 3, 3), calendar=full)
    (trip,) = both.trips
    assert (trip.serves, trip.services, trip.overbooked) == (("left", "right"), ("review",), ("review",))
    assert not both.impossible


def test_an_urgent_need_does_not_open_a_closed_day() -> None:
    shut = calendar(holidays=[str(on(1))])
    (problem,) = plan(need("a", 1, 1, 1, urgent=True), calendar=shut).impossible
    assert (problem.reason, problem.before, problem.after) == (trip_reasons.CLOSED, on(0), on(2))


def test_no_day_before_the_plan_begins_is_offered() -> None:
    shut = calendar(holidays=[str(on(0)), str(on(1))])
    (problem,) = plan(need("a", 1, 1, 1), calendar=shut).impossible
    assert (problem.before, problem.after) == (None, on(2))


def test_an_impossible_need_names_the_nearest_offered_days_and_relaxes_nothing_else() -> None:
    tuesdays = calendar(services=[{"name": "macula", "weekdays": ["tuesday"]}])
    planned = plan(need("macula", 9, 10, 14, "macula"), need("wound", 5, 7, 9), calendar=tuesdays)
    (problem,) = planned.impossible
    assert (problem.need, problem.reason) == ("macula", trip_reasons.NOT_OFFERED)
    assert (problem.before, problem.after) == (on(8), on(15))
    assert [trip.serves for trip in planned.trips] == [("wound",)]


def test_a_need_whose_time_ran_out_before_the_plan_is_a_question() -> None:
    planned = plan(need("first", -5, -5, -1), need("next", -5, -5, 0))
    assert planned.missed == ("first",)
    assert not planned.impossible
    assert [trip.serves for trip in planned.trips] == [("next",)]


def test_what_hangs_on_a_missed_need_keeps_its_own_window() -> None:
    after = (Since("first", 30, 30, 30),)
    planned = plan(need("first", -5, -5, -1), need("again", 3, 4, 5, after=after))
    assert (planned.missed, days(planned)) == (("first",), [4])


def test_what_hangs_on_an_impossible_need_is_still_seen() -> None:
    shut = calendar(holidays=[str(on(1))])
    planned = plan(need("first", 1, 1, 1), need("again", 3, 4, 5, after=(Since("first", 9),)), calendar=shut)
    assert ([p.need for p in planned.impossible], days(planned)) == (["first"], [4])


def test_a_done_need_is_not_planned_again_but_moves_what_hangs_on_it() -> None:
    needs = [need("first", 0, 1, 9), need("again", 1, 2, 30, after=(Since("first", 10, 12),))]
    planned = plan(*needs, served={"first": on(-2)})
    assert days(planned) == [10]
    assert planned.windows["again"] == (on(8), on(10), on(30))
    assert planned.windows["first"] == (on(0), on(1), on(9))


def test_edges_move_only_where_a_day_count_is_given() -> None:
    """A target pushed past the end is drawn back to it; an earliest day past the end raises the end."""
    pushed = plan(need("again", 1, 2, 30, after=(Since("first", 10, 90),)), served={"first": on(0)})
    assert pushed.windows["again"] == (on(10), on(30), on(30))
    late = plan(need("again", 1, 2, 30, after=(Since("first", 50),)), served={"first": on(0)})
    assert late.windows["again"] == (on(50), on(50), on(50))


def test_one_trip_serves_a_need_and_what_may_follow_the_same_day() -> None:
    planned = plan(need("b", 0, 3, 9, after=(Since("a", 0),)), need("a", 3, 3, 4))
    assert [trip.serves for trip in planned.trips] == [("a", "b")]


def test_the_day_of_one_need_is_chosen_so_that_what_hangs_on_it_finds_an_open_day() -> None:
    """The stitch comes out on day 3, not on its target: four days later is the only open one."""
    opened = calendar(open_weekdays=[], extra_days=[str(on(d)) for d in (2, 3, 4, 7)])
    needs = [need("stitch", 2, 2, 4), need("glasses", 5, 6, 6, after=(Since("stitch", 4, 4, 4),))]
    planned = plan(*needs, calendar=opened)
    assert (days(planned), planned.impossible) == ([3, 7], ())


def test_needs_that_exclude_each_other_are_named_and_the_urgent_one_is_kept() -> None:
    """The fixed trip serves the stitch on day 2, so the glasses would fall on closed days."""
    opened = calendar(open_weekdays=[], extra_days=[str(on(d)) for d in (2, 3, 7, 12)])
    needs = [
        need("stitch", 2, 3, 3, urgent=True),
        need("glasses", 5, 6, 6, after=(Since("stitch", 4, 4, 4),)),
    ]
    planned = plan(*needs, calendar=opened, booked=[BookedTrip(on(2), cannot_move=True)])
    (problem,) = planned.impossible
    assert (problem.need, problem.reason) == ("glasses", trip_reasons.CLOSED)
    assert (problem.before, problem.after) == (on(3), on(7))
    assert [trip.serves for trip in planned.trips] == [("stitch",)]


def test_a_check_that_closed_days_make_late_is_named_and_comes_on_the_first_day_with_room() -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(1, 29)), 14)
    shut = calendar(holidays=[str(on(d)) for d in range(2, 18)])
    planned = plan(need("first", 1, 1, 1), gaps=[rule], calendar=shut)
    (problem,) = planned.impossible
    assert (problem.need, problem.reason) == ("steroid", trip_reasons.NO_CHECK_IN_TIME)
    assert (problem.before, problem.after) == (None, on(18))
    assert days(planned) == [1, 18]


@pytest.mark.parametrize("opens", [20, 21, 22, 150, 366], ids=lambda day: f"opens on day {day}")
def test_a_check_for_which_nobody_is_there_while_the_drops_last_comes_on_the_first_day_somebody_is(
    opens: int,
) -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(0, 20)), 14)
    shut = calendar(holidays=[str(on(d)) for d in range(opens)])
    planned = plan(gaps=[rule], calendar=shut)
    assert [problem.need for problem in planned.impossible] == ["steroid"]
    assert days(planned) == [opens], "the late check is missing, or not on the first day it can be"


def test_a_check_overdue_from_drops_that_ended_before_the_plan_begins_is_due_on_its_first_day() -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(-20, -1)), 14)
    planned = plan(gaps=[rule])
    assert (planned.missed, days(planned)) == (("steroid",), [0])
    shut = calendar(holidays=[str(on(0)), str(on(1))])
    assert days(plan(gaps=[rule], calendar=shut)) == [2]


def test_a_check_overdue_before_the_plan_begins_is_a_question_and_due_at_once() -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(-20, 5)), 14)
    shut = calendar(holidays=[str(on(0))])
    planned = plan(gaps=[rule], calendar=shut)
    assert (planned.missed, planned.impossible, days(planned)) == (("steroid",), (), [1])
    assert plan(gaps=[rule], calendar=shut, last_check=on(-1)).trips == ()


def test_a_pressure_trip_needs_the_pressure_service() -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(0, 20)), 14)
    mondays = calendar(services=[{"name": "pressure", "weekdays": ["monday"]}])
    planned = plan(gaps=[rule], calendar=mondays)
    assert [(trip.day.weekday(), trip.services) for trip in planned.trips] == [(0, ("pressure",))]


def test_a_trip_may_be_moved_as_far_as_its_needs_and_the_checks_allow() -> None:
    rule = GapRule("steroid", frozenset(on(d) for d in range(1, 40)), 14)
    planned = plan(need("a", 1, 1, 1), need("b", 5, 16, 30), need("c", 29, 29, 29), gaps=[rule])
    middle = planned.trips[1]
    assert (days(planned)[1], middle.window_start, middle.window_end) == (16, on(14), on(16))


WIDE = need("a", 1, 2, 3)


@pytest.mark.parametrize(
    ("needs", "more", "code", "words"),
    [
        ([WIDE, WIDE], {}, "trips.need", "need a: stands twice"),
        ([need("a", 3, 2, 4)], {}, "trips.need", "not in order"),
        ([need("a", 1, 2, 3, weight=-1)], {}, "trips.need", "negative weight"),
        ([need("a", 1, 2, 3, after=(Since("b", 1),))], {}, "trips.after", "neither needed nor served"),
        ([WIDE, need("b", 1, 2, 3, after=(Since("a", -1),))], {}, "trips.after", "below 0"),
        ([need("a", 1, 2, 3, after=(Since("a", 1),))], {}, "trips.after", "circle"),
        ([need("a", 1, 2, 99_999)], {}, "trips.reach", "more than ten years"),
        ([], {"gaps": [GapRule("g", frozenset(), -1)]}, "trips.gap", "below 0"),
        ([], {"gaps": [GapRule("g", frozenset(), 1)] * 2}, "trips.gap", "one key"),
        ([], {"gaps": [GapRule("g", frozenset({on(99_999)}), 1)]}, "trips.reach", "more than ten years"),
    ],
)
def test_input_that_contradicts_itself_is_refused_in_one_line(
    needs: list[TripNeed], more: dict[str, Any], code: str, words: str
) -> None:
    with pytest.raises(FollowupError, match=words) as refused:
        plan(*needs, **more)
    assert refused.value.code == code
    assert "\n" not in refused.value.line
