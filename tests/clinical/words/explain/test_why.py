"""Every line of a plan says where it comes from: field, fact, rule, source, what lost, what changes it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from followup.clinical.adjustments import CourseEdit
from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record
from followup.clinical.words.why import explainable, why
from followup.errors import FollowupError
from followup.typed import typed


@pytest.fixture
def asked(
    case: Callable[[str], dict[str, Any]], told: Callable[..., Any], protocol: Any
) -> Callable[..., str]:
    """``asked("amina", "left:steroid")``: the answer in one text."""

    def ask(name: str, target: str, **more: Any) -> str:
        return "\n".join(why(told(case(name), **more).plan, protocol, target))

    return ask


def test_a_course_tells_field_fact_rule_source_what_lost_and_what_would_change_it(asked):
    text = asked("amina", "left:steroid")
    assert "8 a day for 7 days, 6 a day for 7 days" in text
    assert "The last day is 18 May 2026." in text
    assert "patient.eyes.left.uveitis.last_active" in text
    assert "Rule steroid-uveitis-washed: Steroid was washed through the chamber" in text
    assert "Source: common practice, no source (C: common practice or our judgement)." in text
    assert "Rule steroid-routine was set aside. Routine course." in text
    assert "Set aside for: Steroid was washed through the chamber" in text
    assert "or if this were so: crystals were seen after rinsing" in text


def test_a_held_course_tells_the_question_and_where_it_is_answered(asked):
    text = asked("amina", "left:cycloplegic")
    assert "It is held: The angle is at risk" in text
    assert "operations.0.choices.cycloplegic" in text


def test_a_visit_tells_what_it_serves_and_what_closes_it_in(asked):
    text = asked("wanjiru", "trip 2")
    assert "Visit 2 is on 9 March 2026." in text
    assert "It is for this: wound, pressure and inflammation" in text
    assert (
        "It can't be before 7 March 2026 (wound, pressure and inflammation) nor after 11 March 2026" in text
    )
    assert asked("wanjiru", "2") == text


def test_a_visit_that_only_a_gap_asks_for_names_the_gap(told, protocol, someone):
    lately = someone(eye={"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}})
    plan = told(lately).plan
    alone = [t for t in plan.trips if not t.serves]
    assert alone
    for trip in alone:
        text = "\n".join(why(plan, protocol, str(trip.number)))
        assert "may pass after the visit on" in text
        assert "Rule tier-B" in text


def test_a_bottle_tells_why_it_is_opened_and_where_it_is_handed_over(asked):
    second = asked("amina", "left:steroid#2")
    assert "The bottle before it has no drop left after 100." in second
    third = asked("amina", "left:steroid#3")
    assert "no drop left" in third
    assert "It is handed over at visit" in second


def test_a_caution_tells_the_record_field_that_made_it(told, protocol, someone):
    asthma = someone(
        conditions={"asthma": True}, in_use=[{"medicine": "timolol-0-5", "eye": "right", "count_a_day": 2}]
    )
    text = "\n".join(why(told(asthma).plan, protocol, "beta-blocker.asthma"))
    assert "patient.conditions.asthma" in text
    assert "It would change if the record says otherwise in" in text
    assert "S: seen in a secondary copy" in text


def test_a_change_of_the_surgeon_is_told_by_name(case, protocol):
    record = parse_record(case("wanjiru"))
    edit = CourseEdit(
        course="right:steroid", starts=date(2026, 3, 16), steps=((4, 7),), reason="More cells.", by="Dr Sen"
    )
    plan = build_plan(record, protocol, as_of=date(2026, 3, 15), edits=(edit,))
    text = "\n".join(why(plan, protocol, "right:steroid"))
    assert f"Rule surgeon: {typed('More cells.')}" in text
    assert f"changed by {typed('Dr Sen')}" in text
    assert "only a later signature changes it" in text


def test_a_refused_plan_tells_why_it_is_refused(asked):
    assert "under 18 on the day of surgery" in asked("li", "child").lower()


def test_a_name_that_is_not_in_the_plan_is_answered_with_those_that_are(told, case, protocol):
    plan = told(case("wanjiru")).plan
    with pytest.raises(FollowupError) as error:
        why(plan, protocol, "left:steroid")
    assert error.value.code == "why.unknown"
    assert "right:steroid" in error.value.line


def test_every_line_of_all_twelve_plans_is_explained(case, told, protocol):
    names = "wanjiru tom amina peter lakshmi ibrahim grace rafiq devika joao fatuma li".split()  # noqa: SIM905
    for name in names:
        plan = told(case(name)).plan
        known = set(explainable(plan, protocol))
        assert {c.key for c in plan.courses} <= known
        assert {str(t.number) for t in plan.trips} <= known
        for target in known:
            lines = why(plan, protocol, target)
            assert all(line.strip() and line.endswith((".", "?")) for line in lines), (name, target)
