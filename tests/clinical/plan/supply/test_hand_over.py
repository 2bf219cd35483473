"""Which trip hands over each bottle: early enough even if the patient comes on the last day."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.clinical.plan.supply import Margin, simulate

# 6x7 5x7 4x7 3x7 2x7 1x7 with 100 drops a bottle opens the second one on day 20.
EVENT = ((6, 7), (5, 7), (4, 7), (3, 7), (2, 7), (1, 7))


def second_bottle(course, day, trips, today=0):
    _, second = simulate(course(*EVENT), 100, 28, today=day(today), trips=trips)
    assert second.opened == day(20)
    return second


def test_the_first_bottle_is_handed_over_today(course, day, trip):
    first, _ = simulate(course(*EVENT), 100, 28, today=day(0), trips=[trip(1, 1, 1)])
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
    first, second = simulate(course(*EVENT), 100, 28, today=day(30))
    assert (first.handed_over, second.handed_over) == (day(1), day(20))


def test_the_order_in_which_trips_are_listed_does_not_matter(course, day, trip):
    trips = [trip(3, 14, 14), trip(1, 1, 1), trip(2, 7, 9)]
    assert second_bottle(course, day, trips).handed_over_trip == 3


# 100 drops by the rule of 20 a ml, but no more than 78 of the largest drops: a fifth of these is 15.6,
# and by the evening of day 12 only 12 are left.
TIGHT = Margin(left=0.2, sure_drops=78)


def with_margin(course, day, trips, margin=TIGHT, today=0):
    _, second = simulate(course(*EVENT), 100, 28, today=day(today), trips=trips, margin=margin)
    assert second.opened == day(20)
    return second.handed_over_trip


def test_the_next_bottle_is_handed_over_before_the_visit_at_which_a_fifth_is_left(course, day, trip):
    visits = [trip(1, 1, 1), trip(2, 7, 9), trip(3, 14, 14), trip(4, 19, 19)]
    assert with_margin(course, day, visits) == 2
    assert with_margin(course, day, visits, Margin(0.2, 100)) == 3
    assert with_margin(course, day, visits, Margin(0, 78)) == 3


@pytest.mark.parametrize(("on", "number"), [(11, 2), (12, 1), (13, 1)])
def test_a_visit_in_whose_evening_less_than_a_fifth_is_left_comes_too_late(course, day, trip, on, number):
    assert with_margin(course, day, [trip(1, 7, 7), trip(2, on, on)]) == number


def test_without_a_visit_before_it_runs_low_the_next_bottle_is_in_hand_today(course, day, trip):
    assert with_margin(course, day, [trip(1, 14, 14)]) is None


def test_a_bottle_that_grows_old_before_it_is_empty_leaves_nothing_behind(course, day, trip):
    """Twice a day is 56 drops in 28 days: never low, but gone on the 28th evening."""
    _, second, _ = simulate(
        course((2, 60)),
        100,
        28,
        today=day(0),
        trips=[trip(1, 27, 27), trip(2, 28, 28)],
        margin=Margin(0.2, 100),
    )
    assert (second.opened, second.handed_over_trip) == (day(29), 2)


def test_a_visit_at_another_place_hands_over_nothing(course, day, trip):
    visits = [trip(1, 5, 5), trip(2, 7, 7, place="District eye unit")]
    assert with_margin(course, day, visits) == 1


@pytest.mark.parametrize(
    ("steps", "goes_on", "last"), [(((4, 7),), False, 7), (((4, 7),), True, 28), (((1, 40),), False, 28)]
)
def test_a_bottle_is_thrown_away_when_it_is_old_or_its_course_is_over(course, day, steps, goes_on, last):
    first, *_ = simulate(course(*steps), 100, 28, today=day(0), goes_on=goes_on)
    assert first.discard == day(last)


COURSES = st.lists(st.tuples(st.integers(1, 16), st.integers(1, 30)), min_size=1, max_size=6)
VISITS = st.lists(st.integers(0, 90), unique=True, max_size=8)
MARGINS = st.builds(Margin, st.sampled_from([0.0, 0.1, 0.2, 0.5]), st.integers(60, 100))


@given(COURSES, VISITS, MARGINS, st.integers(5, 28))
@settings(deadline=None, max_examples=200)
def test_no_bottle_is_handed_over_later_than_the_fifth_allows(course, day, trip, steps, visits, margin, life):
    """Counted afresh from the steps: on the evening of the visit that hands over, and on every evening
    before it, enough was left of the bottle in use; and no later visit would do."""
    trips = [trip(number, on, on) for number, on in enumerate(sorted(visits), 1)]
    bottles = simulate(course(*steps), 100, life, today=day(0), trips=trips, margin=margin)
    counts = [count for count, days in steps for _ in range(days)]
    doses = [number for number, count in enumerate(counts, 1) for _ in range(count)]
    used = 0
    for present, following in pairwise(bottles):
        mine = doses[used : used + present.drops]
        used += present.drops
        good = [
            on
            for on in sorted(visits)
            if on <= mine[0] + life - 1
            and day(on) < following.opened
            and margin.sure_drops - sum(one <= on for one in mine) >= margin.left * margin.sure_drops
        ]
        assert following.handed_over == (day(good[-1]) if good else day(0))
        assert present.discard <= day(mine[0] + life - 1)
