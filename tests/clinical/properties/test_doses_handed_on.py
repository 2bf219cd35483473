"""Whatever the record: the doses that a program counts from the exported Timing are those of the rounds."""

from __future__ import annotations

from fhir_rules import broken_rules, of_kind, repeats
from fhir_told import bundle, counted, rounds_of
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from followup.clinical.record import parse_record

few = settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
WAKING = ({}, {"rise": "05:30", "bedtime": "20:30"}, {"rise": "16:00", "bedtime": "09:00"})


@few
@given(data=st.data())
def test_the_exported_doses_are_those_of_the_rounds(data, made, told):
    drawn = data.draw(made.records())
    drawn["patient"]["waking"] = data.draw(st.sampled_from(WAKING))
    plan, record = told(drawn).plan, parse_record(drawn)
    assume(plan.rounds)
    out = bundle(record, plan)
    assert [broken_rules(repeat) for repeat in repeats(out) if broken_rules(repeat)] == []
    for course, request in zip(plan.courses, of_kind(out, "MedicationRequest"), strict=True):
        assert counted(request, course, plan) == rounds_of(plan, course.key, record.patient.waking.rise)
