"""What a sheet says of a day it says to the end of that day, and not the day after."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from leaf_rows import plain, rows_of_visits, visit_days

from followup.clinical.careplan import FirstDropDay, Step

OPERATED = date(2026, 6, 1)  # a Monday
MONDAY_13_JULY = date(2026, 7, 13)


def _on(day: int) -> date:
    return OPERATED + timedelta(days=day)


def _news(make_content, new, old, printed: int) -> list[str]:
    return list(make_content(plan=new, previous=old, printed_on=_on(printed)).changes)


@pytest.mark.parametrize(("printed", "told"), [(13, True), (14, True), (15, False)])
def test_a_drop_that_is_taken_away_is_called_off_to_its_old_last_day(make_content, make_plan, printed, told):
    old = make_plan(approved=True)
    new = old.model_copy(update={"courses": old.courses[:2], "rounds": ()})
    said = ["Left eye, Bromfenac 0.09%: do not use it any more."]
    assert _news(make_content, new, old, printed) == (said if told else [])


@pytest.mark.parametrize(("printed", "told"), [(27, True), (28, True), (29, False)])
def test_an_earlier_end_is_told_to_the_old_last_day(make_content, make_plan, printed, told):
    old = make_plan(approved=True)
    steroid = old.courses[0].model_copy(update={"steps": old.courses[0].steps[:3]})
    new = old.model_copy(update={"courses": (steroid, *old.courses[1:])})
    said = ["Left eye, Prednisolone acetate 1%: the new last day is Monday 22 June 2026."]
    assert _news(make_content, new, old, printed) == (said if told else [])


@pytest.mark.parametrize(("printed", "day"), [(7, 8), (8, 8), (9, 9), (14, 14), (15, None)])
def test_another_count_is_told_from_its_first_day_that_is_still_to_come(
    make_content, make_plan, printed, day
):
    old = make_plan(approved=True)
    first, second, *rest = old.courses[0].steps
    more = Step(start=second.start, days=second.days, count=6)
    steroid = old.courses[0].model_copy(update={"steps": (first, more, *rest)})
    new = old.model_copy(update={"courses": (steroid, *old.courses[1:])})
    said = {
        8: "Left eye, Prednisolone acetate 1%: from Tuesday 9 June 2026 on 6 times a day.",
        9: "Left eye, Prednisolone acetate 1%: from Wednesday 10 June 2026 on 6 times a day.",
        14: "Left eye, Prednisolone acetate 1%: from Monday 15 June 2026 on 6 times a day.",
    }
    assert _news(make_content, new, old, printed) == ([] if day is None else [said[day]])


@pytest.mark.parametrize(("printed", "days"), [(34, 1), (36, 1), (42, 1), (43, 0)])
def test_a_moved_visit_is_marked_to_its_new_day_and_its_old_day_is_gone(
    make_content, make_plan, printed, days
):
    old = make_plan(approved=True)
    moved = old.trips[2].model_copy(update={"date": MONDAY_13_JULY})
    new = old.model_copy(update={"trips": (*old.trips[:2], moved)})
    content = make_content(plan=new, previous=old, printed_on=_on(printed))
    assert [(plain(v.day), v.new) for v in rows_of_visits(content)] == [("Mon 13 July", True)] * days


@pytest.mark.parametrize("status", ["arrived", "fulfilled", "cancelled", "noshow"])
def test_a_visit_that_took_place_or_will_not_has_no_row_and_is_nothing_new(make_content, make_plan, status):
    old = make_plan(approved=True)
    today = old.trips[2].model_copy(update={"status": status})
    new = old.model_copy(update={"trips": (*old.trips[:2], today)})
    content = make_content(plan=new, previous=old, printed_on=_on(7))
    assert visit_days(content) == ["Mon 8 June"]
    assert content.next_visit.day == "Monday 8 June 2026"
    assert not any(row.new for row in content.table.rows)
    assert content.table.new is None
    assert content.changes == ()


@pytest.mark.parametrize(
    ("printed", "days"),
    [
        (1, ["Tuesday 2 June 2026", "Monday 8 June 2026", "Monday 6 July 2026"]),
        (2, ["Monday 8 June 2026", "Monday 6 July 2026"]),
        (7, ["Monday 8 June 2026", "Monday 6 July 2026"]),
        (8, ["Monday 6 July 2026"]),
        (35, ["Monday 6 July 2026"]),
        (36, []),
    ],
)
def test_the_visits_and_the_one_for_the_phone_are_the_soonest_first_to_their_own_day(
    make_content, make_plan, issue, printed, days
):
    plan = make_plan(approved=True)
    plan = plan.model_copy(update={"trips": plan.trips[::-1]})
    content = make_content(plan=plan, issue=issue, printed_on=_on(printed))
    assert visit_days(content) == [day[:3] + day[day.index(" ") :].removesuffix(" 2026") for day in days]
    assert (content.next_visit.day if content.next_visit else None) == next(iter(days), None)
    assert [one.words for one in content.squares if one.id == "visit"] == days[:1]


@pytest.mark.parametrize(("printed", "told"), [(0, True), (1, True), (2, False)])
def test_the_first_drops_of_a_night_worker_are_told_to_the_end_of_their_day(
    make_content, make_plan, printed, told
):
    first = FirstDropDay(eye="left", day=_on(1), at="07:00")
    plan = make_plan(approved=True).model_copy(update={"first_drop_days": (first,)})
    content = make_content(plan=plan, printed_on=_on(printed))
    lines = content.cautions.lines if content.cautions else ()
    said = [line for line in lines if "Put in the first drops on Tuesday 2 June 2026 at 07:00" in line]
    assert len(said) == told


def test_the_visit_for_the_phone_has_its_hour_by_the_clinics_clock(make_content, make_plan, issue, clinic):
    plan = make_plan(approved=True)
    first, *later = plan.trips
    plan = plan.model_copy(update={"trips": (first.model_copy(update={"hour": "14:30"}), *later)})
    lima = replace(clinic, time_zone="America/Lima")
    content = make_content(plan=plan, issue=issue, clinic=lima)
    (square,) = [one for one in content.squares if one.id == "visit"]
    assert "DTSTART:20260602T193000Z" in square.payload.split("\r\n")


def test_another_count_on_the_very_last_day_is_told(make_content, make_plan):
    old = make_plan(approved=True)
    *first, last = old.courses[0].steps
    end = (Step(start=last.start, days=6, count=1), Step(start=_on(28), days=1, count=2))
    steroid = old.courses[0].model_copy(update={"steps": (*first, *end)})
    new = old.model_copy(update={"courses": (steroid, *old.courses[1:])})
    said = ["Left eye, Prednisolone acetate 1%: from Monday 29 June 2026 on 2 times a day."]
    assert _news(make_content, new, old, 7) == said
    assert _news(make_content, new, old, 28) == said


def test_a_look_at_an_eye_without_steroid_drops_does_not_speak_of_the_other_eyes_drops(
    make_content, make_plan
):
    plan = make_plan(approved=True)
    first, *later = plan.needs
    said = {}
    for eye in ("left", "right"):
        look = first.model_copy(update={"key": "left:first-look", "kind": "pressure", "eye": eye})
        content = make_content(plan=plan.model_copy(update={"needs": (look, *later)}))
        said[eye] = content.next_visit.reasons
    assert said == {
        "left": ("Eye pressure: the steroid can raise it",),
        "right": ("Eye pressure: you cannot feel it",),
    }
