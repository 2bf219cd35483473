"""Which trip hands over each bottle: early enough even if the patient comes on the last day."""

from __future__ import annotations

import pytest

from followup.clinical.supply import simulate

# 6x7 5x7 4x7 3x7 2x7 1x7 with 100 drops a bottle opens the second one on day 20.
EVENT = ((6, 7), (5, 7), (4, 7), (3, 7), (2, 7), (1, 7))


def second_bottle(course, day, trips, today=0):
    _, second = simulate(course(*EVENT), 100, today=day(today), trips=trips)
    assert second.opened == day(20)
    return second


def test_the_first_bottle_is_handed_over_today(course, day, trip):
    first, _ = simulate(course(*EVENT), 100, today=day(0), trips=[trip(1, 1, 1)])
    assert (first.handed_over, first.handed_over_trip) == (day(0), None)


def test_the_last_trip_before_the_opening_day_hands_over_the_next_bottle(course, day, trip):
    trips = [trip(1, 1, 1), trip(2, 7, 9), trip(3, 14, 14), trip(4, 35, 42)]
    bottle = second_bottle(course, day, trips)
    assert (bottle.handed_over, bottle.handed_over_trip) == (day(14), 3)


@pytest.mark.parametrize(("window_end", "number"), [(18, 2), (19, 2), (20, 1), (21, 1)])
def test_a_trip_whose_window_reaches_the_opening_day_comes_too_late(course, day, trip, window_end, number):
    assert second_bottle(course, day, [trip(1, 7, 9), trip(2, 15, window_end)]).handed_over_trip == number


def test_without_a_trip_in_time_all_bottles_are_handed_over_today(course, day, trip):
    bottle = second_bottle(course, day, [trip(1, 19, 25)])
    assert (bottle.handed_over, bottle.handed_over_trip) == (day(0), None)


@pytest.mark.parametrize("status", ["noshow", "cancelled"])
def test_a_missed_or_cancelled_trip_hands_over_nothing(course, day, trip, status):
    trips = [trip(1, 7, 9, status="booked"), trip(2, 14, 14, status=status)]
    assert second_bottle(course, day, trips).handed_over_trip == 1


@pytest.mark.parametrize(("today", "on", "number"), [(13, 14, 2), (14, 14, 2), (15, 15, None)])
def test_a_trip_that_is_over_hands_over_nothing_more(course, day, trip, today, on, number):
    bottle = second_bottle(course, day, [trip(1, 7, 9), trip(2, 14, 14)], today)
    assert (bottle.handed_over, bottle.handed_over_trip) == (day(on), number)


def test_a_bottle_opened_before_today_was_in_hand_on_its_opening_day(course, day):
    first, second = simulate(course(*EVENT), 100, today=day(30))
    assert (first.handed_over, second.handed_over) == (day(1), day(20))


def test_the_order_in_which_trips_are_listed_does_not_matter(course, day, trip):
    trips = [trip(3, 14, 14), trip(1, 1, 1), trip(2, 7, 9)]
    assert second_bottle(course, day, trips).handed_over_trip == 3
