"""The one table of a plan: its rows by dates, its columns by the clock, its marks by bottle."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from followup.clinical.plan.course_table import DaysRow, VisitRow, course_table


def _rows(told, **more) -> list[str]:
    """Each row with its days after the operation: "1-7" with what goes in at each hour, or a visit."""
    return [_row(told, row) for row in course_table(told.plan, **more).rows]


def _row(told, row: DaysRow | VisitRow) -> str:
    if isinstance(row, VisitRow):
        bottles = "".join(f" + {bottle.course} {bottle.number}" for bottle in row.bottles)
        return f"{told.number(row.trip.date)} visit{bottles}"
    cells = (f"{time[:2]} {'+'.join(m.course.key for m in row.at(time))}" for time in row.times)
    return f"{_day(told, row.start)}-{_day(told, row.end)} " + ", ".join(cells)


def _steps(told, key: str, **more) -> list[str]:
    return [
        f"{_day(told, line.since)}-{_day(told, line.until)} {line.step.count}: "
        + " ".join(time[:2] for time in line.times)
        for line in course_table(told.plan, **more).course(key).steps
    ]


def _day(told, day: date | None) -> str:
    return "" if day is None else str(told.number(day))


TIMOLOL = {"medicine": "timolol-0-5", "eye": "both", "count_a_day": 2}
AT_NIGHT = {"rise": "14:00", "bedtime": "06:00"}


def test_a_quiet_eye_is_a_staircase_of_four_rows_with_its_visits_between(case, told):
    assert _rows(told(case("wanjiru"))) == [
        "1-7 06 right:steroid+right:nsaid+right:antibiotic, 11 right:steroid+right:antibiotic, "
        "17 right:steroid+right:nsaid+right:antibiotic, 22 right:steroid+right:antibiotic",
        "1 visit",
        "7 visit",
        "8-14 06 right:steroid+right:nsaid, 17 right:steroid+right:nsaid, 22 right:steroid",
        "15-21 06 right:steroid, 17 right:steroid",
        "22-28 06 right:steroid",
        "29 visit",
    ]


def test_the_columns_are_the_clock_times_of_the_whole_plan(case, told):
    assert course_table(told(case("wanjiru")).plan).times == ("06:00", "11:00", "17:00", "22:00")


def test_a_course_has_its_steps_with_their_times(case, told):
    wanjiru = told(case("wanjiru"))
    assert _steps(wanjiru, "right:steroid") == [
        "1-7 4: 06 11 17 22",
        "8-14 3: 06 17 22",
        "15-21 2: 06 17",
        "22-28 1: 06",
    ]
    assert _steps(wanjiru, "right:nsaid") == ["1-14 2: 06 17"]


def test_a_new_bottle_stands_in_the_row_of_the_visit_that_hands_it_over(case, told):
    tom = told(case("tom"))
    visits = [row for row in _rows(tom) if "visit" in row]
    assert visits == ["1 visit", "7 visit + left:nsaid 2", "35 visit + left:nsaid 3", "84 visit"]
    assert [bottle.number for bottle in course_table(tom.plan).course("left:nsaid").bottles] == [1, 2, 3]


def test_what_goes_on_past_the_plan_has_the_last_row_without_an_end(someone, told):
    plan = told(someone(in_use=[TIMOLOL]))
    *_, last = _rows(plan)
    assert last.startswith("29- 06 right:timolol-0-5+left:timolol-0-5, ")
    assert [key for key in plan.courses() if course_table(plan.plan).course(key).goes_on] == [
        "right:timolol-0-5",
        "left:timolol-0-5",
    ]
    assert not [row for row in course_table(plan.plan, going_on=()).days if row.end is None]


def test_a_medicine_from_before_has_neither_first_day_nor_last(someone, told):
    (step,) = _steps(told(someone(in_use=[TIMOLOL])), "right:timolol-0-5")
    assert step.startswith("- 2: ")


def test_hours_after_midnight_are_the_last_columns_of_a_night_workers_table(someone, told):
    table = course_table(told(someone(waking=AT_NIGHT)).plan)
    assert table.times == ("14:00", "19:00", "01:00", "06:00")


def test_a_row_of_tablets_says_how_many_make_a_dose(someone, told):
    tablets = {"medicine": "prednisolone-5-tablet", "route": "mouth", "mg": 20.0, "count_a_day": 1}
    plan = told(someone(in_use=[tablets | {"ordered_by": "Dr Osei"}]))
    marks = [mark for row in course_table(plan.plan).days for mark in row.marks if mark.course.eye is None]
    assert {mark.tablets for mark in marks} == {4}


def test_a_row_ends_where_the_dose_of_tablets_changes_though_its_times_stay(someone, told):
    lower = [{"starts": "2026-03-05", "mg": 10}]
    tablets = {"medicine": "prednisolone-5-tablet", "route": "mouth", "mg": 20.0, "mg_steps": lower}
    plan = told(someone(in_use=[tablets | {"ordered_by": "Dr Osei"}]))
    found = [
        (plan.number(row.start), plan.number(row.end), mark.times, mark.tablets)
        for row in course_table(plan.plan).days[:3]
        for mark in row.marks
        if mark.course.eye is None
    ]
    assert found == [(1, 2, ("06:00",), 4), (3, 7, ("06:00",), 2), (8, 14, ("06:00",), 2)]


@pytest.mark.parametrize(
    ("times", "hours"),
    [
        (("06:00", "07:00", "08:00", "09:00"), 1),
        (("20:00", "22:00", "00:00", "02:00"), 2),
        (("06:00", "07:30", "09:00"), None),
        (("06:00", "07:00", "09:00"), None),
        (("06:00",), None),
    ],
)
def test_times_that_lie_equally_far_apart_are_every_so_many_hours(case, told, times, hours):
    mark = course_table(told(case("wanjiru")).plan).days[0].marks[0]
    assert replace(mark, times=times).every == hours


def test_two_eyes_share_rows_and_each_keeps_its_own_mark(someone, told):
    other = {"eye": "left", "eye_drawn": "left", "date": "2026-03-12"}
    rows = _rows(told(someone(more_operations=[other])))
    assert rows[0].startswith("1-4 06 right:steroid+right:nsaid+left:steroid+left:nsaid+left:antibiotic, ")
    assert rows[2].startswith("5-7 06 right:steroid+left:steroid+left:nsaid+left:antibiotic, ")


def test_a_held_course_has_its_steps_and_no_place_among_the_rounds(someone, told):
    drop = {"medicine": "dorzolamide-2", "eye": "right"}
    plan = told(someone(in_use=[drop], eye={"glaucoma": True}))
    assert plan.courses()["right:dorzolamide-2"] == "held"
    table = course_table(plan.plan)
    assert [step.times for step in table.course("right:dorzolamide-2").steps] == [()]
    assert "right:dorzolamide-2" not in {mark.course.key for row in table.days for mark in row.marks}


def test_a_visit_that_was_missed_or_called_off_has_no_row(someone, told):
    trips = [{"date": "2026-03-03", "status": "noshow"}, {"date": "2026-03-04", "status": "cancelled"}]
    plan = told(someone(trips=trips), as_of=3)
    shown = {row.trip.date for row in course_table(plan.plan).visits}
    missed = {t.date for t in plan.plan.trips if t.status in ("noshow", "cancelled")}
    assert missed
    assert shown
    assert not missed & shown


def test_the_row_in_force_is_that_of_the_day(case, told):
    wanjiru = told(case("wanjiru"))
    table = course_table(wanjiru.plan)
    found = [table.on(wanjiru.day0 + timedelta(days=n)) for n in (0, 1, 7, 8, 28, 29)]
    assert [row and wanjiru.number(row.start) for row in found] == [None, 1, 1, 8, 22, None]


def test_what_a_row_holds_at_one_time_is_a_mark_a_bottle_and_nothing_at_a_time_of_other_rows(case, told):
    *_, last = course_table(told(case("wanjiru")).plan).days
    assert [mark.course.key for mark in last.at("06:00")] == ["right:steroid"]
    assert last.at("22:00") == ()


def test_a_plan_without_drops_has_no_rows_of_days_and_no_columns(case, told):
    plan = told(case("wanjiru")).plan
    table = course_table(plan.model_copy(update={"courses": (), "rounds": (), "supply": ()}))
    assert (table.times, table.days, table.courses) == ((), (), ())
    assert len(table.visits) == len(plan.trips)
