"""Differences between two plans: what a change does, as values and in words, said before it is signed."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from followup.clinical.adjustments import CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import Caution, Step
from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record
from followup.clinical.words.differences import (
    BottlesDiffer,
    CautionDiffers,
    CourseDiffers,
    HandDiffers,
    NeedDiffers,
    QuestionDiffers,
    TimesDiffer,
    VisitDiffers,
    compare_plans,
)
from followup.clinical.words.differences_told import English, in_english, said

DAY7 = date(2026, 3, 9)
NAME = "Dexamethasone 0.1%, right eye"


@pytest.fixture
def plans(someone, protocol):
    """``plans(edit)``: a routine plan on day 7 and what adjustments or another record make of it."""

    def by(*edits, data=None, other=None):
        record = parse_record(data or someone())
        old = build_plan(record, protocol, as_of=DAY7)
        new = build_plan(parse_record(other) if other else record, protocol, as_of=DAY7, edits=edits)
        return old, new

    return by


@pytest.fixture
def changed(plans):
    """The differences between the two."""
    return lambda *edits, **records: compare_plans(*plans(*edits, **records))


@pytest.fixture
def texts(protocol):
    """Differences of one kind in words."""

    def of(differences, kind=object):
        return [said(d, English(protocol)).text for d in differences if isinstance(d, kind)]

    return of


def edit(*steps, starts=date(2026, 3, 17)):
    return CourseEdit(course="right:steroid", starts=starts, steps=steps, reason="worse", by="Dr Sen")


def test_the_same_plan_twice_has_no_differences(changed):
    assert changed() == ()


@pytest.mark.parametrize(
    ("was", "now", "said_impossible"),
    [
        ("open", "open", False),
        ("open", "impossible", True),
        ("served", "impossible", True),
        ("impossible", "impossible", False),
        ("impossible", "open", False),
        (None, "open", False),
        (None, "impossible", True),
        ("impossible", None, False),
    ],
)
def test_a_look_without_a_day_is_said_where_it_became_so_and_not_again(plans, was, now, said_impossible):
    """Before and after: the state of the look; None: no such look in that plan."""
    plan, _ = plans()
    look = next(need for need in plan.needs if need.kind == "wound")

    def with_state(state):
        needs = () if state is None else (look.model_copy(update={"state": state}),)
        return plan.model_copy(update={"needs": needs})

    found = [d.impossible for d in compare_plans(with_state(was), with_state(now))]
    new_or_gone = [False] if None in (was, now) else []
    assert found == new_or_gone + [True] * said_impossible


def test_more_drops_a_later_end_and_moved_windows_are_said(changed, texts, protocol):
    found = changed(edit((3, 14), (2, 7), (1, 7)))
    assert texts(found, CourseDiffers) == [
        f"{NAME}: 42 drops more, 112 in all.",
        f"{NAME}: the last day is 13 April 2026, 14 days later.",
    ]
    steps, end = (d for d in found if isinstance(d, CourseDiffers))
    assert (end.was.last_day, end.now.last_day) == (date(2026, 3, 30), date(2026, 4, 13))
    assert said(steps, English(protocol)).now == (
        "4 a day for 7 days, 3 a day for 21 days, 2 a day for 7 days, 1 a day for 7 days"
    )
    windows = [said(d, English(protocol)) for d in found if isinstance(d, NeedDiffers)]
    (refraction,) = [w for w in windows if "refraction" in w.text.lower()]
    assert refraction.was.startswith("31 March 2026")
    assert refraction.now.startswith("14 April 2026")
    assert texts(found, BottlesDiffer) == [f"{NAME}: 1 bottle more."]
    assert texts(found, VisitDiffers)


def test_fewer_drops_and_an_earlier_end_are_said(changed, texts):
    assert texts(changed(edit((1, 7))), CourseDiffers) == [
        f"{NAME}: 14 drops fewer, 56 in all.",
        f"{NAME}: the last day is 23 March 2026, 7 days earlier.",
    ]


def test_one_drop_and_one_day_are_said_in_the_singular(changed, texts):
    found = texts(changed(edit((2, 7), (1, 6))), CourseDiffers)
    assert found == [
        f"{NAME}: 1 drop fewer, 69 in all.",
        f"{NAME}: the last day is 29 March 2026, 1 day earlier.",
    ]


def test_a_visit_more_and_a_new_look_are_said(changed, texts):
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
    assert "A new visit on 17 March 2026." in texts(found, VisitDiffers)
    (need,) = [d for d in found if isinstance(d, NeedDiffers) and d.was is None]
    assert (need.now.earliest, need.now.latest) == (date(2026, 3, 16), date(2026, 3, 18))


@pytest.mark.parametrize("came_on", [0, 1])
def test_a_visit_that_took_place_meanwhile_did_not_move(plans, texts, came_on):
    old = plans()[0]
    first = old.trips[0]
    came = first.model_copy(update={"status": "fulfilled", "date": first.date + timedelta(days=came_on)})
    late = old.trips[-1].model_copy(update={"date": old.trips[-1].date + timedelta(days=40)})
    new = old.model_copy(update={"trips": (came, *old.trips[1:], late)})
    said_of_visits = texts(compare_plans(old, new), VisitDiffers)
    assert len(said_of_visits) == 1
    assert said_of_visits[0].startswith("A new visit on ")


def test_a_course_more_is_said_with_its_steps(changed, protocol):
    added = CourseAdded(
        eye="right", medicine="dorzolamide-2", starts=DAY7, steps=((3, 28),), reason="pressure", by="Dr Sen"
    )
    lines = in_english(changed(added), protocol)
    assert "Dorzolamide 2%, right eye: new in the plan. Now: 3 a day for 28 days." in lines


def test_a_held_course_and_its_question_are_said(changed, someone, texts):
    herpes = someone(eye={"herpetic_keratitis": {"year": 2019}})
    found = changed(other=herpes)
    assert f"{NAME}: held until its question is answered." in texts(found, CourseDiffers)
    asked = texts(found, QuestionDiffers)
    assert any(re.match(r"A new question: Herpetic keratitis in the past.*\(right eye\)", t) for t in asked)
    back = changed(data=herpes, other=someone())
    assert f"{NAME}: no longer held, now runs." in texts(back, CourseDiffers)
    assert any(t.startswith("No longer asked: Herpetic") for t in texts(back, QuestionDiffers))


def test_a_caution_more_one_that_is_gone_and_one_that_now_stops_are_said(changed, plans, someone, texts):
    thin = someone(conditions={"blood_thinner": True})
    assert any(t.startswith("A new caution:") for t in texts(changed(other=thin), CautionDiffers))
    gone = texts(changed(data=thin, other=someone()), CautionDiffers)
    assert any(t.startswith("A caution that is gone:") for t in gone)
    plan, _ = plans()
    mild, hard = (
        plan.model_copy(update={"cautions": (Caution(id="c", text="Mind it.", eye="right", level=level),)})
        for level in ("warn", "stop")
    )
    assert texts(compare_plans(mild, hard)) == ["This caution now stops the signature: Mind it. (right eye)"]
    assert texts(compare_plans(hard, mild)) == [
        "This caution no longer stops the signature: Mind it. (right eye)"
    ]


def test_a_clock_time_that_is_new_is_said(changed, texts):
    found = changed(edit((6, 7), (3, 7), (2, 7), (1, 7)))
    (times,) = [d for d in found if isinstance(d, TimesDiffer)]
    assert times.new
    assert all(time in texts(found, TimesDiffer)[0] for time in times.new)


def test_a_plan_that_must_be_made_by_hand_is_said_first(plans, texts):
    plan, _ = plans()
    refusal = Caution(id="child", text="A child.", eye=None, level="stop")
    by_hand = plan.model_copy(update={"refused": (refusal,), "courses": ()})
    assert texts(compare_plans(plan, by_hand), HandDiffers) == ["The plan must now be made by hand."]
    assert isinstance(compare_plans(plan, by_hand)[0], HandDiffers)
    assert texts(compare_plans(by_hand, plan), HandDiffers) == ["The plan is no longer made by hand."]


def test_another_strength_of_tablets_is_told_apart_from_other_days(plans, texts):
    plan, _ = plans()
    steroid = plan.course("right:steroid")

    def tablets(*steps):
        given = {"key": "mouth:prednisolone", "eye": None, "role": "steroid tablet", "steps": steps}
        return plan.model_copy(update={"courses": (steroid.model_copy(update=given),)})

    one = Step(start=DAY7, days=7, count=1, mg=20)
    assert texts(compare_plans(tablets(one), tablets(one.model_copy(update={"mg": 40})))) == [
        "Dexamethasone 0.1%, by mouth: another dose a day."
    ]
    later = one.model_copy(update={"start": DAY7 + timedelta(days=1)})
    assert texts(compare_plans(tablets(one), tablets(later)), CourseDiffers) == [
        "Dexamethasone 0.1%, by mouth: the same number of tablets, on other days.",
        "Dexamethasone 0.1%, by mouth: the last day is 16 March 2026, 1 day later.",
    ]
    assert (
        "2 tablets more, 9 in all"
        in texts(compare_plans(tablets(one), tablets(one.model_copy(update={"days": 9}))))[0]
    )


def test_whatever_differs_both_ways_round_names_the_same_things(changed, plans):
    old, new = plans(edit((3, 14), (2, 7), (1, 7)))
    there, back = compare_plans(old, new), compare_plans(new, old)
    assert [type(d) for d in there] == [type(d) for d in back]
    courses = [
        [(d.about, d.course.key) for d in way if isinstance(d, CourseDiffers)] for way in (there, back)
    ]
    assert courses[0] == courses[1]


def test_every_change_of_the_twelve_plans_to_themselves_is_nothing(case, protocol):
    for name in ("wanjiru", "amina", "lakshmi", "grace", "li"):
        record = parse_record(case(name))
        plan = build_plan(record, protocol, as_of=record.last_operation_day)
        assert compare_plans(plan, plan) == ()


def test_tablets_that_go_on_are_not_told_as_changed_where_the_plan_only_looks_further(plans, texts):
    plan, _ = plans()

    def goes_on(days, mg=20.0, count=1):
        step = Step(start=DAY7, days=days, count=count, mg=mg, tablets=4)
        given = {"key": "mouth:p", "eye": None, "goes_on": True, "steps": (step,)}
        return plan.model_copy(
            update={"courses": (plan.course("right:steroid").model_copy(update=given),), "supply": ()}
        )

    assert texts(compare_plans(goes_on(119), goes_on(159))) == []
    assert texts(compare_plans(goes_on(119), goes_on(159, mg=10.0))) == [
        "Dexamethasone 0.1%, by mouth: another dose a day."
    ]
    ended = goes_on(10)
    ended = ended.model_copy(update={"courses": (ended.courses[0].model_copy(update={"goes_on": False}),)})
    assert texts(compare_plans(goes_on(119), ended)) == [
        "Dexamethasone 0.1%, by mouth: the last day is 18 March 2026."
    ]


def test_tablets_are_counted_as_they_are_swallowed_and_not_as_times(plans, protocol):
    plan, _ = plans()

    def tablets(days):
        step = Step(start=DAY7, days=days, count=1, mg=20, tablets=4)
        given = {"key": "mouth:p", "eye": None, "steps": (step,)}
        return plan.model_copy(update={"courses": (plan.course("right:steroid").model_copy(update=given),)})

    line = in_english(compare_plans(tablets(7), tablets(9)), protocol)[0]
    assert line == (
        "Dexamethasone 0.1%, by mouth: 8 tablets more, 36 in all. "
        "Now: 20 mg a day (tablets each time: 4, 1 a day) for 9 days."
    )


def test_a_pause_between_two_steps_is_told_as_one(plans, protocol):
    plan, _ = plans()
    steps = (Step(start=DAY7, days=2, count=4), Step(start=DAY7 + timedelta(days=5), days=7, count=4))
    course = plan.course("right:steroid").model_copy(update={"steps": steps})
    new = plan.model_copy(update={"courses": (course,)})
    lines = in_english(compare_plans(plan, new), protocol)
    assert any("Now: 4 a day for 2 days, none for 3 days, 4 a day for 7 days." in line for line in lines)


def test_a_look_on_one_day_only_is_told_with_that_day_alone(plans, protocol):
    day = date(2026, 3, 20)
    only = NeedAdded(
        eye="right", need="leak", earliest=day, target=day, latest=day, reason="x", by="a surgeon"
    )
    lines = in_english(compare_plans(*plans(only)), protocol)
    assert "New to look at: leak, right eye. Now: 20 March 2026." in lines
