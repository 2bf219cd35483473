"""No line of any plan is without its reasons."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record
from followup.clinical.words.why import explainable, why

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def test_every_course_bottle_visit_need_caution_and_question_of_any_plan_is_explained(made, protocol):
    @SLOW
    @given(made.records(), st.sampled_from([0, 0, 3, 12, 40]))
    def holds(told: Any, later: int) -> None:
        record = parse_record(told)
        day: date = record.last_operation_day + timedelta(days=later)
        plan = build_plan(record, protocol, as_of=day)
        known = set(explainable(plan, protocol))
        names = [c.key for c in plan.courses] + [n.key for n in plan.needs] + [g.key for g in plan.gaps]
        names += [q.id for q in plan.questions] + [c.id for c in (*plan.refused, *plan.cautions)]
        names += [str(t.number) for t in plan.trips] + [f"{b.course}#{b.number}" for b in plan.supply]
        assert set(names) <= known
        for name in names:
            lines = why(plan, protocol, name)
            if "#" not in name:
                assert any(line.startswith("Rule ") for line in lines), name
                assert any(line.startswith("Source: ") for line in lines), name
                assert any(line.startswith("It would change if ") for line in lines), name

    holds()
