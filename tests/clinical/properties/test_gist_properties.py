"""What lists say of a plan comes back from the store as it was made, sentence by sentence."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record
from followup.clinical.words.gist import PlanGist, gist_of, gist_to_store, read_gist
from followup.said import as_data

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def _sentences(gist: PlanGist) -> list[Any]:
    """A sentence is equal to its English: here as the template and values that it is."""
    reasons = [as_data(check.text) for check in gist.before_leaving]
    courses = [as_data(course.above_label) for course in gist.courses if course.above_label]
    return [*reasons, *courses, *(as_data(text) for need in gist.needs for text in need.because)]


def test_the_gist_of_any_plan_comes_back_as_it_was(made, protocol):
    told = []

    @SLOW
    @given(made.records(), st.sampled_from([0, 3, 40]))
    def holds(record: Any, later: int) -> None:
        read = parse_record(record)
        plan = build_plan(read, protocol, as_of=read.last_operation_day + timedelta(days=later))
        gist = gist_of(plan)
        back = read_gist(gist_to_store(gist))
        assert back == gist
        assert _sentences(back) == _sentences(gist)
        assert (back.signable, len(back.needs)) == (plan.signable, len(plan.needs))
        told.extend(one for one in _sentences(gist) if isinstance(one, dict))

    holds()
    assert told, "no sentence of ours was looked at"
