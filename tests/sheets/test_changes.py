"""A new sheet says first what is new, one sentence each."""

from __future__ import annotations

from datetime import date

import pypdfium2
import pytest
from leaf_rows import plain, rows_of_visits

from followup.clinical.careplan import CarePlan, Step
from followup.clinical.record import parse_record
from followup.sheets.paper.pdf import render_pdf


def _with_steroid(plan: CarePlan, **update) -> CarePlan:
    courses = tuple(c.model_copy(update=update) if c.role == "steroid" else c for c in plan.courses)
    return plan.model_copy(update={"courses": courses})


def _lines(make_content, new, old) -> tuple[str, ...]:
    return make_content(plan=new, previous=old, printed_on=date(2026, 6, 8)).changes


def test_the_same_plan_has_nothing_new(make_content, make_plan):
    plan = make_plan(approved=True)
    assert _lines(make_content, plan, plan) == ()
    assert make_content(plan=plan).changes == ()


def test_a_raised_count_is_told_from_its_first_day(make_content, make_plan):
    old = make_plan(approved=True)
    first, *rest = old.courses[0].steps
    new = _with_steroid(old, steps=(first, Step(start=date(2026, 6, 9), days=7, count=8), *rest[1:]))
    assert _lines(make_content, new, old) == (
        "Left eye, Prednisolone acetate 1%: from Tuesday 9 June 2026 on 8 times a day.",
    )


def test_an_earlier_end_a_stop_and_a_start_are_told(make_content, make_plan):
    old = make_plan(approved=True)
    new = _with_steroid(old, steps=old.courses[0].steps[:3])
    assert _lines(make_content, new, old) == (
        "Left eye, Prednisolone acetate 1%: the new last day is Monday 22 June 2026.",
    )
    without = old.model_copy(update={"courses": old.courses[1:], "rounds": ()})
    assert (
        _lines(make_content, without, old)[0] == "Left eye, Prednisolone acetate 1%: do not use it any more."
    )
    assert _lines(make_content, old, without)[0] == "Left eye, Prednisolone acetate 1%: start it now."


def _from_before(plan: CarePlan, days: int) -> CarePlan:
    """``plan`` with a glaucoma drop from before the operation, as far as a plan of so many days speaks."""
    drop = plan.courses[0].model_copy(
        update={
            "key": "left:dorzolamide-2",
            "role": "pressure",
            "medicine": "dorzolamide-2",
            "from_before": True,
            "steps": (Step(start=date(2026, 6, 2), days=days, count=2),),
        }
    )
    return plan.model_copy(update={"courses": (*plan.courses, drop)})


@pytest.mark.parametrize(("before", "after"), [(28, 7), (7, 28), (28, 28)])
def test_a_drop_from_before_the_operation_is_never_told_to_end_or_start_where_a_plan_does(
    make_content, make_plan, before, after
):
    plan = make_plan(approved=True)
    assert _lines(make_content, _from_before(plan, after), _from_before(plan, before)) == ()


def test_a_drop_from_before_the_operation_that_the_surgeon_ends_is_told(make_content, make_plan, record):
    plan = make_plan(approved=True)
    entry = {"described": "a pressure drop", "medicine": "dorzolamide-2", "eye": "left", "count_a_day": 2}
    told = record.model_dump(mode="json", exclude_none=True)
    record = parse_record(told | {"in_use": [{**entry, "continues": True, "until": "2026-06-15"}]})
    content = make_content(
        plan=_from_before(plan, 14),
        previous=_from_before(plan, 28),
        record=record,
        printed_on=date(2026, 6, 8),
    )
    assert content.changes == ("Left eye, Dorzolamide 2%: the new last day is Monday 15 June 2026.",)


def test_another_medicine_in_its_place_is_named_with_the_old_one(make_content, make_plan):
    old = make_plan(approved=True)
    new = _with_steroid(old, medicine="bromfenac-0-09")
    assert _lines(make_content, new, old) == (
        "Left eye: use Bromfenac 0.09% instead of Prednisolone acetate 1%.",
    )


def test_a_moved_visit_is_marked_in_its_row_and_no_other_is(make_content, make_plan):
    old = make_plan(approved=True)
    moved = (*old.trips[:2], old.trips[2].model_copy(update={"date": date(2026, 7, 13)}))
    content = make_content(
        plan=old.model_copy(update={"trips": moved}), previous=old, printed_on=date(2026, 6, 8)
    )
    assert [(plain(row.day), row.new) for row in rows_of_visits(content)] == [
        ("Mon 8 June", False),
        ("Mon 13 July", True),
    ]
    assert content.table.new == "Rows with a black bar at the edge are new."
    assert content.changes == ()


def test_the_visit_at_which_the_plan_was_changed_is_not_called_off(make_content, make_plan):
    old = make_plan(approved=True)
    today = next(trip for trip in old.trips if trip.date == date(2026, 6, 8))
    seen = today.model_copy(update={"status": "fulfilled"})
    new = old.model_copy(update={"trips": tuple(seen if trip == today else trip for trip in old.trips)})
    assert _lines(make_content, new, old) == ()


def test_one_change_stands_on_page_one_before_the_signs(make_content, make_plan):
    old = make_plan(approved=True)
    first, *rest = old.courses[0].steps
    new = _with_steroid(old, steps=(first, Step(start=date(2026, 6, 9), days=7, count=8), *rest[1:]))
    content = make_content(plan=new, previous=old, printed_on=date(2026, 6, 8))
    document = pypdfium2.PdfDocument(render_pdf(content))
    try:
        page = " ".join(document[0].get_textpage().get_text_bounded().split())
    finally:
        document.close()
    (news,) = content.changes
    assert page.count(news) == 1
    assert page.index(news) < page.index(content.alarm.heading)


def _several(plan: CarePlan, *medicines: str, **more) -> CarePlan:
    """``plan`` with a drop of the left eye of each of these medicines beside its own."""
    first = plan.courses[0].steps[0]
    drops = tuple(
        plan.courses[2].model_copy(update={"key": f"left:{m}", "medicine": m, "steps": (first,), **more})
        for m in medicines
    )
    return plan.model_copy(update={"courses": (*plan.courses, *drops)})


def test_several_bottles_that_stop_or_start_stand_in_one_sentence(make_content, make_plan):
    plan = make_plan(approved=True)
    more = _several(plan, "dorzolamide-2", "chloramphenicol-ointment")
    (stopped,) = _lines(make_content, plan, _several(more))
    assert stopped == "Do not use any more: Dorzolamide 2% (Left eye), Chloramphenicol 1% (Left eye)."
    (started,) = _lines(make_content, more, plan)
    assert started == "Start now: Dorzolamide 2% (Left eye), Chloramphenicol 1% (Left eye)."


def test_what_stops_is_said_before_what_takes_its_place_and_that_before_what_starts(make_content, make_plan):
    plan = make_plan(approved=True)
    old = _several(plan, "dorzolamide-2")
    new = _several(_with_steroid(plan, medicine="bromfenac-0-09"), "chloramphenicol-ointment")
    assert _lines(make_content, new, old) == (
        "Left eye, Dorzolamide 2%: do not use it any more.",
        "Left eye: use Bromfenac 0.09% instead of Prednisolone acetate 1%.",
        "Left eye, Chloramphenicol 1%: start it now.",
    )


def test_of_many_changes_three_are_said_and_none_that_may_harm_is_the_one_left_out(make_content, make_plan):
    plan = make_plan(approved=True)
    steroid, antibiotic, nsaid = plan.courses
    first, second, *rest = steroid.steps
    raised = steroid.model_copy(update={"steps": (first, second.model_copy(update={"count": 8}), *rest)})
    short = nsaid.model_copy(update={"steps": (nsaid.steps[0].model_copy(update={"days": 10}),)})
    changed = plan.model_copy(update={"courses": (raised, antibiotic, short)})
    assert _lines(make_content, changed, plan) == (
        "Left eye, Bromfenac 0.09%: the new last day is Thursday 11 June 2026.",
        "Left eye, Prednisolone acetate 1%: from Tuesday 9 June 2026 on 8 times a day.",
    )
    lines = _lines(
        make_content, _several(changed, "chloramphenicol-ointment"), _several(plan, "dorzolamide-2")
    )
    assert lines == (
        "Left eye, Dorzolamide 2%: do not use it any more.",
        "Left eye, Chloramphenicol 1%: start it now.",
        "Left eye, Bromfenac 0.09%: the new last day is Thursday 11 June 2026.",
    )
