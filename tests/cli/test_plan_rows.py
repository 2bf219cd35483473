"""The table of a plan in fixed columns: what stands in a cell, in whose line, and what is told in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import two_eyes

from followup.care.plans.plan_table import PlanTable, plan_table
from followup.cli.plan_rows import WIDTH, table_lines
from followup.cli.words import DayNumbers
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.load import load_protocol

PROTOCOL = load_protocol()
_NAMES = {"chloramphenicol-ointment": "chloramphenicol-1-ointment", "prednisolone-5": "prednisolone-5-tablet"}


def _both(**changes: Any) -> CarePlan:
    """Two eyes a week apart, ointment at night and tablets."""
    made = two_eyes.plan(**changes)
    courses = (c.model_copy(update={"medicine": _NAMES.get(c.medicine, c.medicine)}) for c in made.courses)
    return made.model_copy(update={"courses": tuple(courses)})


def _table(plan: CarePlan, **more: Any) -> PlanTable:
    return plan_table(plan, PROTOCOL.formulary, **more)


def _drawn(plan: CarePlan) -> list[str]:
    return table_lines(_table(plan), DayNumbers(two_eyes.record()), PlanNames(plan, PROTOCOL))


def _often(plan: CarePlan, **times: Any) -> CarePlan:
    """The first days with ten rounds: one of the left steroid's at each."""
    hours = tuple(f"{hour:02}:00" for hour in times.get("left", range(6, 16)))
    first = plan.rounds[0]
    dose = next(d for d in first.doses if d.course == "left:steroid")
    now = first.model_copy(
        update={"times": hours, "doses": (dose.model_copy(update={"count": len(hours), "times": hours}),)}
    )
    return plan.model_copy(update={"rounds": (now, *plan.rounds[1:])})


def test_a_plan_of_both_eyes_has_a_line_per_eye_and_one_by_mouth() -> None:
    assert _drawn(_both())[:7] == [
        "Drops, o visits, + bottles  day right / left  eye    06:00       11:00 14:00 17:00 22:00 01:00",
        "  Tue 2 Jun to Fri 5 Jun    8–11 / 1–4        right  N S               S           N S",
        "                                              left   A S         A S         A S   A S   A2",
        "                                              mouth  T 4 tablets",
        "                                                     (20 mg)",
        "o Tue 2 Jun                 8 / 1             visit 1: first look after surgery (left eye); any day",
        "                                                from Tue 2 Jun to Wed 3 Jun",
    ]


def test_a_visit_says_its_hour_and_the_letters_of_what_it_hands_over() -> None:
    (line,) = [line for line in _drawn(_both()) if line.startswith("o Mon 8 Jun, 10:30")]
    assert "visit 2 + S T: " in line


@pytest.mark.parametrize("hours", [range(6, 16), range(6, 22)])
def test_a_row_of_more_than_nine_rounds_is_told_in_words_and_adds_no_column(hours: range) -> None:
    plan = _often(_both(), left=hours)
    told = _drawn(plan)
    assert told[0].split()[-6:] == ["06:00", "11:00", "14:00", "17:00", "22:00", "01:00"]
    assert f"S every hour from 06:00 to {hours[-1]:02}:00" in " ".join(told)


def test_few_or_uneven_times_are_listed() -> None:
    plan = _often(_both(), left=(6, 7, 8, 9, 10, 11, 12, 13, 15, 17))
    assert "S 06:00, 07:00, 08:00, 09:00, 10:00" in " ".join(_drawn(plan))


def test_a_row_is_told_in_words_where_its_columns_have_no_room() -> None:
    ten = tuple(f"{hour:02}:{minute}" for hour in range(6, 20, 2) for minute in ("00", "30"))
    phases = []
    for phase, times in zip(_both().rounds, (ten[:9], ten[5:]), strict=False):
        doses = [
            d.model_copy(update={"times": times, "count": 9}) for d in phase.doses if "left:s" in d.course
        ]
        phases.append(phase.model_copy(update={"times": times, "doses": tuple(doses)}))
    other = _both().rounds[2]
    drawn = _drawn(_both(rounds=(*phases, other)))
    assert all(len(line) <= WIDTH for line in drawn)
    assert drawn[0].split()[-5:] == ["eye", "06:00", "14:00", "22:00", "01:00"]
    assert "S 06:00, 06:30, 08:00, 08:30" in " ".join(drawn)


def test_what_goes_on_stands_last_and_has_no_day() -> None:
    courses = tuple(
        course.model_copy(update={"goes_on": True, "from_before": True}) if course.eye is None else course
        for course in _both().courses
    )
    *_, last, mg = _drawn(_both().model_copy(update={"courses": courses}))
    assert last.split() == ["after", "that", "mouth", "T", "4", "tablets"]
    assert mg.split() == ["(20", "mg)"]


def test_a_course_that_no_row_tells_is_asked_for_its_steps() -> None:
    table = _table(_both())
    untold = {course.key: [line.step.count for line in table.untold(course)] for course in table.plan.courses}
    # The right eye's drops began before the plan's first day.
    assert {key: steps for key, steps in untold.items() if steps} == {}
    held = [course.model_copy(update={"steps": table.plan.courses[0].steps}) for course in table.plan.courses]
    waiting = _table(table.plan.model_copy(update={"courses": tuple(held)}))
    (drop,) = [course for course in waiting.plan.courses if course.state == "held"]
    assert [line.step.count for line in waiting.untold(drop)] == [3, 2, 1]


def test_a_letter_is_that_of_the_sheets_before() -> None:
    plan = _both()
    assert _table(plan).letter(plan.course("left:ointment")) == "A2"
    alone = plan.model_copy(update={"courses": (plan.course("left:ointment"),)})
    assert _table(plan, earlier=(alone,)).letter(plan.course("left:ointment")) == "A"
    unknown = plan.course("left:ointment").model_copy(update={"medicine": "no such drop"})
    assert _table(plan).letter(unknown) == "?"


def test_the_table_and_its_letters_of_seven_steps_and_seven_visits_stand_on_one_screen(
    inside: Callable[..., Any], record_file: Callable[..., Any]
) -> None:
    said = inside("plan", str(record_file("03-amina"))).stdout.split("\n")
    assert said.index("Questions for the surgeon") <= 45
    assert max(map(len, said)) <= WIDTH


def test_reasons_are_told_where_they_are_asked_for(
    inside: Callable[..., Any], record_file: Callable[..., Any]
) -> None:
    record = str(record_file())
    plain, why, one = (inside("plan", record, *more).stdout for more in ((), ("--why",), ("--why", "3")))
    assert "Every operated eye gets the routine course" not in plain
    assert "Every operated eye gets the routine course" in why
    assert set(plain.split("\n")) <= set(why.split("\n"))
    assert one.startswith("Visit 3 is on")
    assert inside("plan", record, "--json", "--why").stdout == inside("plan", record, "--json").stdout
