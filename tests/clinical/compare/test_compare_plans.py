"""Differences between two plans in words: what a change does, said before it is signed."""

from __future__ import annotations

from datetime import date

import pytest

from followup.clinical.careplan import CourseAdded, CourseEdit, NeedAdded
from followup.clinical.compare import compare_plans
from followup.clinical.plan import build_plan
from followup.clinical.record import parse_record

DAY7 = date(2026, 3, 9)


@pytest.fixture
def changed(someone, protocol):
    """``changed(edit)``: the differences that adjustments on day 7 make in a routine plan, by text."""

    def by(*edits, data=None, other=None):
        record = parse_record(data or someone())
        old = build_plan(record, protocol, as_of=DAY7)
        new = build_plan(parse_record(other) if other else record, protocol, as_of=DAY7, edits=edits)
        return compare_plans(old, new, protocol)

    return by


def texts(differences, about=None):
    return [d.text for d in differences if about in (None, d.about)]


def edit(*steps, starts=date(2026, 3, 17)):
    return CourseEdit(course="right:steroid", starts=starts, steps=steps, reason="worse", by="Dr Sen")


def test_the_same_plan_twice_has_no_differences(changed):
    assert changed() == ()


def test_more_drops_a_later_end_and_moved_windows_are_said(changed):
    found = changed(edit((3, 14), (2, 7), (1, 7)))
    assert texts(found, "drops") == [
        "Dexamethasone 0.1%, right eye: 42 drops more; now 4 a day for 7 days, 3 a day for 21 days, "
        "2 a day for 7 days, 1 a day for 7 days."
    ]
    assert texts(found, "end") == ["Dexamethasone 0.1%, right eye ends 13 April 2026, 14 days later."]
    (end,) = [d for d in found if d.about == "end"]
    assert (end.was, end.now, end.key) == ("2026-03-30", "2026-04-13", "right:steroid")
    assert any(
        "Refraction, right eye: first day 14 April 2026 instead of 31 March 2026" in t for t in texts(found)
    )
    assert texts(found, "bottle") == ["Dexamethasone 0.1%, right eye: 1 bottle more."]
    assert texts(found, "visit")


def test_fewer_drops_and_an_earlier_end_are_said(changed):
    found = changed(edit((1, 7)))
    assert texts(found, "drops")[0].startswith("Dexamethasone 0.1%, right eye: 14 drops fewer")
    assert texts(found, "end") == ["Dexamethasone 0.1%, right eye ends 23 March 2026, 7 days earlier."]


def test_a_visit_more_and_a_new_look_are_said(changed):
    look = NeedAdded(
        eye="right",
        need="inflammation",
        earliest=date(2026, 3, 16),
        target=date(2026, 3, 17),
        latest=date(2026, 3, 18),
        reason="cells",
        by="Dr Sen",
    )
    found = changed(look)
    assert "One visit more, on 17 March 2026." in " ".join(texts(found, "visit")) or len(
        texts(found, "visit")
    )
    assert any("is new: 16 March 2026 to 18 March 2026" in t for t in texts(found, "need"))


def test_a_course_more_is_said_with_its_steps(changed):
    added = CourseAdded(
        eye="right", medicine="dorzolamide-2", starts=DAY7, steps=((3, 28),), reason="pressure", by="Dr Sen"
    )
    found = changed(added)
    assert texts(found, "course") == ["Dorzolamide 2%, right eye is new: 3 a day for 28 days."]


def test_a_held_course_and_its_question_are_said(changed, someone):
    found = changed(other=someone(eye={"herpetic_keratitis": {"year": 2019}}))
    assert "Dexamethasone 0.1%, right eye is held by herpes-answers and herpes-cover." in texts(
        found, "course"
    )
    assert any(
        t.startswith("A question more: Herpetic keratitis in the past") for t in texts(found, "question")
    )
    back = changed(data=someone(eye={"herpetic_keratitis": {"year": 2019}}), other=someone())
    assert "Dexamethasone 0.1%, right eye is let go." in texts(back, "course")
    assert any(t.startswith("No longer asked: Herpetic") for t in texts(back, "question"))


def test_a_caution_more_and_one_that_is_gone_are_said(changed, someone):
    thin = someone(conditions={"blood_thinner": True})
    assert any(t.startswith("A caution more:") for t in texts(changed(other=thin), "caution"))
    assert any(t.startswith("No longer said:") for t in texts(changed(data=thin, other=someone()), "caution"))


def test_a_clock_time_that_is_new_is_said(changed):
    found = changed(edit((6, 7), (3, 7), (2, 7), (1, 7)))
    assert any(t.startswith("There is now a round at") for t in texts(found, "day"))


def test_every_change_of_the_twelve_plans_to_themselves_is_nothing(case, protocol):
    for name in ("wanjiru", "amina", "lakshmi", "grace", "li"):
        record = parse_record(case(name))
        plan = build_plan(record, protocol, as_of=record.last_operation_day)
        assert compare_plans(plan, plan, protocol) == ()
