"""From named steps to counts a day, and from several tapers to the one that covers them all."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from followup.clinical.careplan import Course, Step
from followup.clinical.plan.taper import as_steps, cut_from, daily_counts, envelope, merged_by_mouth, winners
from followup.clinical.protocol.rule import StepDef, Taper

MONDAY = date(2026, 3, 2)


def taper(*steps):
    return Taper(id="T", steps=steps, because="A test.", source="invented", mark="C")


@pytest.mark.parametrize("hours", range(12, 19))
def test_hourly_is_once_an_hour_awake_and_at_most_sixteen(protocol, hours):
    assert daily_counts([StepDef(count="hourly", days=1)], protocol.hourly.drops(hours)) == (min(16, hours),)


@pytest.mark.parametrize(("hours", "count"), [(12, 6), (13, 7), (14, 7), (15, 8), (16, 8), (17, 8), (18, 8)])
def test_two_hourly_is_half_of_that_rounded_up_and_at_most_eight(protocol, hours, count):
    assert daily_counts([StepDef(count="2-hourly", days=1)], protocol.hourly.drops(hours)) == (count,)


@pytest.mark.parametrize("hours", range(12, 19))
def test_two_hourly_is_never_fewer_than_the_step_after_it(protocol, hours):
    steps = [StepDef(count="2-hourly", days=1), StepDef(count=7, days=1)]
    counts = daily_counts(steps, protocol.hourly.drops(hours))
    assert counts[0] >= 7


@pytest.mark.parametrize("hours", range(12, 19))
@pytest.mark.parametrize("name", ["R", "E", "U", "UW", "UA", "V", "D", "RA", "RB"])
def test_no_taper_of_the_sample_rises_however_long_the_day(protocol, name, hours):
    counts = daily_counts(protocol.tapers[name].steps, protocol.hourly.drops(hours))
    assert all(later <= earlier for earlier, later in pairwise(counts))


@pytest.mark.parametrize(
    ("name", "drops", "days"),
    [("R", 70, 28), ("E", 147, 42), ("U", 297, 77), ("UW", 273, 77), ("UA", 385, 84)],
)
def test_the_named_tapers_have_the_drops_and_days_of_the_protocol(protocol, name, drops, days):
    counts = daily_counts(protocol.tapers[name].steps, 16)
    assert (sum(counts), len(counts)) == (drops, days)


def test_a_taper_that_rises_is_refused():
    with pytest.raises(ValidationError, match="rises along the taper"):
        taper([2, 7], [3, 7])
    with pytest.raises(ValidationError, match="rises along the taper"):
        taper(["2-hourly", 7], ["hourly", 7])


COUNTS = st.lists(st.integers(0, 16), max_size=12).map(tuple)


@given(st.lists(COUNTS, max_size=5))
def test_the_envelope_is_on_every_day_the_highest_and_never_the_sum(courses):
    top = envelope(courses)
    for day, count in enumerate(top):
        assert count == max(c[day] for c in courses if day < len(c))
    assert len(top) == max((len(c) for c in courses), default=0)


@given(st.lists(st.lists(st.integers(1, 16), max_size=12).map(lambda c: tuple(sorted(c, reverse=True)))))
def test_the_envelope_of_falling_courses_falls(courses):
    assert all(later <= earlier for earlier, later in pairwise(envelope(courses)))


@given(st.lists(COUNTS, min_size=1, max_size=5))
def test_the_winners_alone_make_the_whole_envelope(courses):
    assert envelope([courses[i] for i in winners(courses)]) == envelope(courses)


def test_two_tapers_that_cross_both_win():
    assert winners([(8, 1, 1), (2, 2, 2)]) == (0, 1)
    assert winners([(4, 3), (4, 3, 2)]) == (1,)


@given(COUNTS)
def test_steps_say_the_same_as_the_counts_day_by_day(counts):
    course = Course(
        key="right:steroid", role="steroid", medicine="x", eye="right", steps=as_steps(counts, MONDAY)
    )
    days = [date.fromordinal(MONDAY.toordinal() + i) for i in range(len(counts))]
    assert [course.count_on(day) for day in days] == list(counts)
    assert course.drops == sum(counts)
    assert all(one.count != two.count or one.end < two.start for one, two in pairwise(course.steps))


def test_a_course_is_cut_within_a_step_and_before_its_start():
    steps = as_steps((4, 4, 4, 3, 3), MONDAY)
    assert [(s.count, s.days) for s in cut_from(steps, date(2026, 3, 4))] == [(4, 2)]
    assert [(s.count, s.days) for s in cut_from(steps, date(2026, 3, 6))] == [(4, 3), (3, 1)]
    assert cut_from(steps, MONDAY) == ()
    assert cut_from(steps, date(2026, 4, 1)) == steps


def test_one_medicine_by_mouth_for_two_eyes_is_taken_once_from_first_to_last_day():
    def tablets(day, days):
        return Course(
            key="mouth:antiviral",
            role="antiviral",
            medicine="aciclovir-400-tablet",
            eye=None,
            steps=(Step(start=date(2026, 3, day), days=days, count=2),),
        )

    (one,) = merged_by_mouth([tablets(2, 10), tablets(9, 10)])
    assert [(s.start.day, s.days, s.count) for s in one.steps] == [(2, 17, 2)]
    assert one.drops == 34
