"""What must hold of the one table of every plan: nothing is missing in it, and nothing is added."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.plan.course_table import course_table

few = settings(max_examples=20, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@few
@given(data=st.data())
def test_each_course_bottle_and_visit_of_a_plan_stands_in_its_table_once(data, made, told):
    plan = told(data.draw(made.records())).plan
    table = course_table(plan)
    assert [row.course for row in table.courses] == list(plan.courses)
    assert Counter(b for row in table.courses for b in row.bottles) == Counter(plan.supply)
    assert sorted(row.trip.number for row in table.visits) == [
        t.number for t in plan.trips if t.status not in ("noshow", "cancelled")
    ]
    by_visit = [b for row in table.visits for b in row.bottles]
    assert Counter(by_visit) == Counter(b for b in plan.supply if b.handed_over_trip is not None)


@few
@given(data=st.data())
def test_every_day_with_drops_has_one_row_and_as_many_marks_as_the_plan_counts(data, made, told):
    plan = told(data.draw(made.records())).plan
    table = course_table(plan, going_on=())
    timed = [c for c in plan.courses if c.state == "active" and not c.as_needed and c.steps]
    if not timed or not plan.rounds:
        assert table.days == ()
        return
    first, last = plan.rounds[0].start, max(c.last_day for c in timed)
    for day in (first + timedelta(days=n) for n in range((last - first).days + 1)):
        due = {c.key: c.count_on(day) for c in timed if c.count_on(day)}
        rows = [row for row in table.days if row.holds_on(day)]
        assert len(rows) == bool(due)
        put_in = Counter(mark.course.key for row in rows for time in row.times for mark in row.at(time))
        assert put_in == due


@few
@given(data=st.data())
def test_rows_are_in_order_of_dates_and_their_times_in_order_of_the_columns(data, made, told):
    table = course_table(told(data.draw(made.records())).plan)
    ended = [getattr(row, "start", None) or row.trip.date for row in table.rows if getattr(row, "end", 1)]
    assert ended == sorted(ended)
    assert [row for row in table.days if row.end is None] == list(table.days[-1:] if _goes_on(table) else ())
    for row in table.days:
        assert [time for time in table.times if time in row.times] == list(row.times)
        assert all(row.at(time) for time in row.times)
    assert {time for row in table.days for time in row.times} == set(table.times)


def _goes_on(table) -> bool:
    return any(row.goes_on and row.course.state == "active" and row.steps for row in table.courses)


@few
@given(data=st.data())
def test_a_step_has_as_many_times_as_its_count_where_it_has_a_place_in_the_rounds(data, made, told):
    plan = told(data.draw(made.records())).plan
    for row in course_table(plan).courses:
        assert tuple(line.step for line in row.steps) == row.course.steps
        for line in row.steps:
            assert len(line.times) in (0, line.step.count)
            due = plan.rounds and line.step.end >= plan.rounds[0].start and row.course.state == "active"
            assert bool(line.times) == bool(due and not row.course.as_needed)


@few
@given(data=st.data())
def test_what_goes_on_goes_on_as_in_its_last_row_with_an_end(data, made, told):
    plan = told(data.draw(made.records())).plan
    *_, last = course_table(plan).days or (None,)
    if last is None or last.end is not None:
        return
    assert {mark.course.key for mark in last.marks} == {
        c.key for c in plan.courses if c.goes_on and c.key in {d.course for d in plan.rounds[-1].doses}
    }
    doses = {dose.course: dose.times for dose in plan.rounds[-1].doses}
    assert all(mark.times == doses[mark.course.key] for mark in last.marks)
