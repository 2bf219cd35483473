"""Nothing in a plan without its reason; nothing that was asked goes without a word."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from followup.clinical.careplan import CarePlan, Caution, Question, Reason
from followup.clinical.record import Record

few = settings(max_examples=20, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def lines_with_reasons(plan: CarePlan) -> Iterator[tuple[str, tuple[Reason, ...]]]:
    for name in (
        "courses",
        "needs",
        "before_leaving",
        "first_drop_days",
        "gaps",
        "questions",
        "cautions",
        "refused",
    ):
        for line in getattr(plan, name):
            yield f"{name} {line}", line.reasons
    for lost in plan.overridden:
        yield f"overridden {lost.rule}", (lost.reason,)
    for trip in plan.trips:
        if not trip.serves and trip.status == "proposed":
            yield f"trip {trip.date}", trip.reasons


def leads_into_the_record(path: str) -> bool:
    """Walk the record's types along "operations.0.cut_mm"; numbers are places in a list."""
    models: list[type] = [Record]
    for name in path.split("."):
        if name.isdigit():
            continue
        inner = [m.model_fields[name].annotation for m in models if name in m.model_fields]
        if not inner:
            return False
        models = [m for annotation in inner for m in _models(annotation)]
    return True


def _models(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _models(part)


def test_the_walk_along_the_record_tells_a_field_from_a_misspelling():
    assert leads_into_the_record("patient.eyes.left.uveitis.last_active")
    assert leads_into_the_record("operations.0.steroid.1.fate")
    assert not leads_into_the_record("patient.eyes.left.uveitis.last_actve")


@few
@given(data=st.data())
def test_every_line_says_which_rule_why_from_where_and_how_sure(data, made, told):
    plan = told(data.draw(made.records(adult=False))).plan
    for line, reasons in lines_with_reasons(plan):
        assert reasons, line
        for reason in reasons:
            assert reason.rule, line
            assert reason.because, line
            assert reason.source, line
            assert reason.mark in ("P", "S", "M", "C"), line


@few
@given(data=st.data())
def test_every_field_that_a_plan_names_stands_in_the_record(data, made, told):
    plan = told(data.draw(made.records(adult=False))).plan
    named = {
        path
        for _, reasons in lines_with_reasons(plan)
        for r in reasons
        for fact in r.facts
        for path in fact.fields
    }
    named |= {path for question in plan.questions for path in question.fields}
    assert [path for path in sorted(named) if not leads_into_the_record(path)] == []


@few
@given(data=st.data())
def test_what_lost_names_a_rule_that_is_in_the_plan(data, made, told):
    plan = told(data.draw(made.records())).plan
    winners = {name for lost in plan.overridden for name in lost.lost_to.split(", ")}
    fired = {reason.rule for _, reasons in lines_with_reasons(plan) for reason in reasons}
    assert {w for w in winners if not w.startswith("no taper")} <= fired


def items(plan: CarePlan) -> dict[tuple[str, str, str | None], Question | Caution]:
    found: dict[tuple[str, str, str | None], Question | Caution] = {}
    found |= {("question", q.id, q.eye): q for q in plan.questions}
    found |= {("caution", c.id, c.eye): c for c in plan.cautions}
    return found


def fields_of(item: Question | Caution) -> set[str]:
    named = {path for reason in item.reasons for fact in reason.facts for path in fact.fields}
    return named | set(getattr(item, "fields", ()))


def touches(path: str, named: set[str]) -> bool:
    return any(n == path or n.startswith(f"{path}.") or path.startswith(f"{n}.") for n in named)


@dataclasses.dataclass(frozen=True)
class Change:
    before: CarePlan
    after: CarePlan
    path: str

    def explains(self, item: Question | Caution) -> bool:
        """The new fact answers it by name, names a graver one in its place, or ends its course."""
        if touches(self.path, fields_of(item)):
            return True
        mine = items(self.before)
        instead = [i for key, i in items(self.after).items() if key not in mine]
        if any(touches(self.path, fields_of(i)) for i in instead):
            return True
        before, after = (
            {(c.medicine, c.eye) for c in plan.courses if c.state != "stopped"}
            for plan in (self.before, self.after)
        )
        return bool(before - after)


@settings(few, max_examples=50)
@given(data=st.data())
def test_a_new_fact_may_answer_a_question_by_name_but_none_goes_silently(data, made, told):
    record = data.draw(made.records(eyes=(1,)))
    place = data.draw(st.sampled_from(sorted(made.places)))
    told_already, path = made.home(record, place)
    open_fields = sorted(set(made.places[place]) - set(told_already))
    field = data.draw(st.sampled_from(open_fields))
    more = made.with_facts(record, place, **{field: data.draw(made.places[place][field])})
    change = Change(told(record).plan, told(more).plan, f"{path}.{field}")
    gone = set(items(change.before)) - set(items(change.after))
    assert [key for key in gone if not change.explains(items(change.before)[key])] == []


@pytest.mark.parametrize("seed", ["1", "2"])
def test_the_plan_does_not_hang_on_the_order_of_hashes(seed, case, told, in_another_process):
    record = case("amina")
    here = told(record).plan.model_dump_json()
    assert json.loads(in_another_process(record, seed)) == json.loads(here)
    assert in_another_process(record, seed) == here
