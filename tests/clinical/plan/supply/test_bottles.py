"""Bottles counted drop by drop: opened, run out, thrown away."""

from __future__ import annotations

from bisect import bisect_left
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.clinical.careplan import Course, Step
from followup.clinical.plan.supply import last_usable_day, simulate
from followup.errors import FollowupError


def opened_on(bottles, day):
    return [(bottle.opened - day(0)).days for bottle in bottles]


def test_a_bottle_that_runs_out_in_the_middle_of_a_day_is_followed_on_that_day(course, day):
    # 3 drops of the fourth day come from the first bottle and the fourth from the second.
    bottles = simulate(course((4, 7)), 15, 28, today=day(0))
    assert opened_on(bottles, day) == [1, 4]
    assert [bottle.drops for bottle in bottles] == [15, 13]


def test_a_bottle_that_runs_out_with_the_last_dose_of_a_day_is_followed_the_next_morning(course, day):
    assert opened_on(simulate(course((4, 7)), 16, 28, today=day(0)), day) == [1, 5]


def test_no_bottle_is_opened_for_a_course_that_ends_with_the_last_drop(course, day):
    assert opened_on(simulate(course((4, 7)), 28, 28, today=day(0)), day) == [1]
    assert opened_on(simulate(course((4, 7)), 27, 28, today=day(0)), day) == [1, 7]


def test_one_round_more_on_the_first_day_empties_the_bottle_one_dose_earlier(course, day):
    # 4 a day for 25 days are 100 drops; with the first of a night worker they are 101.
    assert [b.drops for b in simulate(course((4, 25)), 100, 28, today=day(0))] == [100]
    bottles = simulate(course((4, 25)), 100, 28, today=day(0), rounds_more=1)
    assert [(b.drops, (b.opened - day(0)).days) for b in bottles] == [(100, 1), (1, 25)]


@pytest.mark.parametrize(("days", "bottles"), [(27, 1), (28, 1), (29, 2)])
def test_a_bottle_serves_28_days_counting_the_opening_day(course, day, days, bottles):
    assert len(simulate(course((1, days)), 100, 28, today=day(0))) == bottles


def test_a_bottle_is_thrown_away_on_the_evening_of_its_last_usable_day_across_a_leap_day(course, day):
    # Surgery on 1 February 2024: day 28 is 29 February 2024.
    bottle, _ = simulate(course((1, 40)), 100, 28, today=day(0))
    assert bottle.discard.isoformat() == "2024-02-29"
    assert bottle.discard == last_usable_day(bottle.opened, 28) == day(28)


def test_the_makers_shorter_limit_holds(course, day):
    assert opened_on(simulate(course((1, 28)), 100, 7, today=day(0)), day) == [1, 8, 15, 22]


def test_a_bottle_for_one_day_is_opened_afresh_every_morning(course, day):
    bottles = simulate(course((4, 3)), 10, 1, today=day(0))
    assert opened_on(bottles, day) == [1, 2, 3]
    assert [bottle.discard for bottle in bottles] == [bottle.opened for bottle in bottles]


def test_a_pause_in_a_course_does_not_stop_the_bottles_days(day):
    steps = (Step(start=day(1), days=3, count=1), Step(start=day(40), days=3, count=1))
    paused = Course(key="left:other", role="other", medicine="drops", eye="left", steps=steps)
    assert opened_on(simulate(paused, 100, 28, today=day(0)), day) == [1, 40]


@pytest.mark.parametrize(("left", "second"), [(4, 3), (3, 3), (2, 3), (1, 4), (0, 4)])
def test_a_first_day_that_has_begun_loses_only_the_rounds_already_past(course, day, left, second):
    bottles = simulate(course((4, 7), first=0), 13, 28, today=day(0), first_day_doses=left)
    assert opened_on(bottles, day)[:2] == [0 if left else 1, second]
    assert sum(bottle.drops for bottle in bottles) == 24 + left


def test_a_first_day_never_gains_rounds(course, day):
    whole, more = (simulate(course((4, 7)), 9, 28, today=day(0), first_day_doses=left) for left in (None, 99))
    assert more == whole


def test_a_dose_that_a_bottle_cannot_finish_opens_the_next(course, day):
    bottles = simulate(course((2, 4)), 5, 28, today=day(0), drops_a_dose=2)
    assert opened_on(bottles, day) == [1, 2, 3, 4]
    assert [bottle.drops for bottle in bottles] == [5, 5, 5, 1]


def test_an_as_needed_course_counts_at_its_maximum(course, day):
    (first, *later) = simulate(course((6, 28), as_needed=True), 100, 28, today=day(0))
    assert first.drops + sum(bottle.drops for bottle in later) == 168
    assert len(later) == 1


@pytest.mark.parametrize("fields", [{"state": "held"}, {"state": "stopped"}, {"eye": None}])
def test_a_held_or_stopped_course_and_a_tablet_take_no_bottle(course, day, fields):
    assert simulate(course((4, 7)), 100, 28, today=day(0)) != ()
    assert simulate(course((4, 7), **fields), 100, 28, today=day(0)) == ()


def test_a_course_without_steps_takes_no_bottle(course, day):
    assert simulate(course(), 100, 28, today=day(0)) == ()


@pytest.mark.parametrize(("drops", "days", "dose"), [(0, 28, 1), (100, 0, 1), (100, 28, 0), (2, 28, 3)])
def test_a_bottle_that_serves_no_dose_is_refused_by_course(course, day, drops, days, dose):
    with pytest.raises(FollowupError) as refused:
        simulate(course((4, 7)), drops, days, today=day(0), drops_a_dose=dose)
    assert (refused.value.code, refused.value.where) == ("supply.bottle", "right:steroid")


STEPS = st.lists(st.tuples(st.integers(1, 16), st.integers(1, 40)), min_size=1, max_size=6)


@given(STEPS, st.integers(1, 200), st.integers(1, 40))
def test_bottles_follow_one_another_as_their_doses_and_days_run_out(course, day, steps, capacity, open_days):
    """An independent count: each bottle takes the next ``capacity`` doses within its days."""
    made = course(*steps)
    doses = [s.start + timedelta(days=n) for s in made.steps for n in range(s.days) for _ in range(s.count)]
    expected, at = [], 0
    while at < len(doses):
        expired = bisect_left(doses, doses[at] + timedelta(days=open_days))
        until = min(at + capacity, expired, len(doses))
        expected.append((doses[at], until - at))
        at = until
    bottles = simulate(made, capacity, open_days, today=day(0))
    assert [(bottle.opened, bottle.drops) for bottle in bottles] == expected
    assert [bottle.number for bottle in bottles] == list(range(1, len(expected) + 1))


@given(STEPS, st.integers(10, 120), st.integers(1, 60))
def test_the_drop_size_changes_the_bottles_and_never_the_drops(course, day, steps, capacity, more):
    made = course(*steps)
    large, small = (simulate(made, drops, 28, today=day(0)) for drops in (capacity, capacity + more))
    assert sum(b.drops for b in large) == sum(b.drops for b in small) == made.drops
    assert len(small) <= len(large)
