"""The very day, minute or number at which something turns."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from followup.clinical.careplan import Course, Step
from followup.clinical.facts.eye_rules import apply_rules
from followup.clinical.plan.rounds import spans
from followup.clinical.plan.trips import gap_rules
from followup.clinical.protocol.protocol import AboveLabel
from followup.clinical.record import parse_record
from followup.clinical.record.eye import followed_eyes

DAY0 = date(2026, 3, 2)


@pytest.mark.parametrize(("day", "tier"), [(89, "A"), (90, "A"), (91, "C")])
def test_an_only_eye_stands_high_on_the_list_to_reach_up_to_day_90(someone, protocol, day, tier):
    record = parse_record(someone(eye={"only_seeing": True}))
    (context,) = followed_eyes(record, DAY0)
    assert apply_rules(context, protocol).recall_tier(DAY0 + timedelta(days=day)) == tier


@pytest.mark.parametrize(("days", "drops", "owned"), [(77, 16, True), (76, 16, False), (77, 15, False)])
def test_a_course_above_its_label_is_owned_only_as_dense_and_as_long_as_signed(
    someone, told, protocol, days, drops, owned
):
    signed = AboveLabel(
        medicine="prednisolone-acetate-1",
        drops_a_day=drops,
        days=days,
        owner="Dr Sen",
        reason="severe uveitis",
    )
    dense = someone(
        eye={"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}},
        operation={"products": [{"role": "steroid", "medicine": "prednisolone-acetate-1"}]},
    )
    plan = told(dense, protocol=replace(protocol, above_label=(signed,)))
    assert ("above-label" in plan.cautions()) is not owned
    assert (plan.course("right:steroid").above_label is not None) is owned


def test_the_day_of_a_check_does_not_count_between_two_checks(someone, told, protocol, on_day):
    data = someone(eye={"pseudoexfoliation": True}, reviews=[{"date": on_day(7), "pressure": 14}])
    record = parse_record(data)
    as_of = DAY0 + timedelta(days=8)
    eyes = [apply_rules(context, protocol) for context in followed_eyes(record, as_of)]
    rules, _ = gap_rules(record, protocol, eyes, told(data, as_of=8).plan.courses, as_of)
    assert rules
    assert {min(rule.days) for rule in rules if "pressure" in rule.key and rule.limit == 28} == {as_of}


@pytest.mark.parametrize(("end", "left"), [("10:59", 3), ("11:00", 2), ("11:01", 2), ("22:30", 0)])
def test_on_the_day_of_surgery_only_the_rounds_after_its_end_are_still_to_come(someone, told, end, left):
    today = someone(operation={"pad": False, "drops_from_today": True, "end": end})
    plan = told(today)
    assert plan.rounds()[0][2] == "06 11 17 22"
    assert sum(b.drops for b in plan.plan.supply if b.course == "right:steroid") == 70 - 4 + left


def test_days_without_a_drop_part_two_phases_of_the_same_count():
    steps = (Step(start=DAY0, days=3, count=4), Step(start=DAY0 + timedelta(days=5), days=2, count=4))
    course = Course(key="right:steroid", role="steroid", medicine="m", eye="right", steps=steps)
    found = [(span.start, span.days) for span in spans([course], DAY0)]
    assert found == [(DAY0, 3), (DAY0 + timedelta(days=5), 2)]
