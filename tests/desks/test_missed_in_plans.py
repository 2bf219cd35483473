"""A plan made again knows the visits that reception has marked as missed."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

from followup.care.plans.planning import with_visits
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.demo.cast import case_data


def _visit(day: date, status: str, *serves: str) -> Any:
    seen_on = day if status == "fulfilled" else None
    served = serves if status == "fulfilled" else ()
    return SimpleNamespace(
        day=day, seen_on=seen_on, status=status, cannot_move=False, served=served, serves=serves
    )


def test_a_look_missed_by_a_marked_visit_is_planned_again_and_not_asked_about() -> None:
    record = parse_record(case_data("01-wanjiru"))
    day0 = record.last_operation_day
    told = [
        _visit(day0 + timedelta(days=1), "fulfilled", "right:first-look"),
        _visit(day0 + timedelta(days=7), "noshow", "right:wound"),
    ]
    as_of = day0 + timedelta(days=12)
    plan = build_plan(with_visits(record, told, as_of), load_protocol(), as_of=as_of)
    assert plan.questions == ()
    wound = next(need for need in plan.needs if need.key == "right:wound")
    assert (wound.earliest, wound.latest) == (as_of, as_of + timedelta(days=2))
    assert any("right:wound" in trip.serves for trip in plan.trips if trip.date >= as_of)
