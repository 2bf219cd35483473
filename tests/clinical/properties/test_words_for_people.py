"""What a person reads of a plan: the words of the trade, no ids, no keys, no raw values, and no number
that the plan itself does not hold."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from followup.care.plans.plan_table import plan_table
from followup.cli.plan_text import render_plan
from followup.cli.words import table_days
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.plan.course_table import course_table
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_record
from followup.clinical.words.why import explainable, why
from followup.typed import plain

PROTOCOL = load_protocol()
few = settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
CASES = sorted(p.name for p in (files("followup") / "demo" / "cases").iterdir() if p.name.endswith(".json"))
IDS = frozenset(
    [rule.id for rule in PROTOCOL.rules]
    + [need.id for rule in PROTOCOL.rules for need in rule.need]
    + [fact.name for fact in PROTOCOL.facts]
    + list(PROTOCOL.formulary)
    + [caution.id for caution in PROTOCOL.cautions.cautions]
)
# Keys that are words of the language as well can't be told from them.
KEYS = {key for key in IDS if re.search(r"[-_.]", key)} - {"long-eye"}
# Sentences of the protocol may have a hyphen where a key has one: "day-1", "mid-dose".
WORDS = re.compile(r"[A-Za-z0-9]+(?:[-_.:][A-Za-z0-9]+)+")
RAW = (
    (r"\d{4}-\d{2}-\d{2}", "an ISO date"),
    (r"\b[a-z]+_[a-z_]+\b", "a name of the program"),
    (r"\b(True|False|None)\b", "a value of the program"),
    (r"\b(left|right|mouth):[a-z]", "a key"),
    (r"\b(patient|operations|reviews|in_use)\.[a-z0-9]", "a field of the record"),
    (r"\b(recorded|yes|no): (yes|no)\b", "a raw value"),
    (r": (yes|no|recorded|not recorded)[,.;)]", "a raw value"),
    (r"\b[Tt]ier\b", "the tier under a second name"),
    (r"\[[PSMC]\]|; [PSMC]\]|\([PSMC]\)", "a mark"),
    (r"\{\w+\}", "an unfilled place"),
)


def _raw(text: str) -> list[str]:
    found = [f"{what}: {m[0]}" for pattern, what in RAW for m in re.finditer(pattern, text)]
    return found + [f"an id: {word}" for word in WORDS.findall(text) if word in KEYS]


def _texts(plan: CarePlan, record: Record) -> Iterator[str]:
    """Everything that a person reads of a plan: the text, and the reasons that fold out on the pages."""
    yield " ".join(render_plan(plan, record, PROTOCOL, reasons=True).split())
    for name in explainable(plan, PROTOCOL):
        yield plain(" ".join(why(plan, PROTOCOL, name, traced=False)))


def _case(name: str) -> tuple[CarePlan, Record]:
    record = parse_record(json.loads((files("followup") / "demo" / "cases" / name).read_text("utf-8")), name)
    return build_plan(record, PROTOCOL, as_of=record.last_operation_day), record


@pytest.mark.parametrize("name", CASES)
def test_no_id_key_field_or_raw_value_is_left_in_what_people_read_of_the_told_operations(name):
    plan, record = _case(name)
    for text in _texts(plan, record):
        assert _raw(text) == [], text


def test_no_id_key_field_or_raw_value_is_left_in_what_people_read_of_any_record(made):
    @few
    @given(data=made.records())
    def holds(data: dict[str, Any]) -> None:
        record = parse_record(data, "generated")
        plan = build_plan(record, PROTOCOL, as_of=record.last_operation_day)
        for text in _texts(plan, record):
            assert _raw(text) == [], text

    holds()


def test_a_text_with_ids_and_raw_values_would_be_found():
    told = "left:steroid tier B [P] on 2026-03-02, starts_today: no; patient.eyes, None, steroid-routine"
    assert len(_raw(told)) >= 7


# Numbers of sentences: each stands in the plan's own values, or is a figure of the protocol's data.
_FIGURES = re.compile(r"(?<![\w.,])\d+(?:\.\d+)?(?![\w%])")


def _numbers(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _numbers(inner) if key not in ("text", "because", "source", "holds", "wanted") else ()
    elif isinstance(value, list):
        for inner in value:
            yield from _numbers(inner)
    elif isinstance(value, bool) or value is None:
        return
    elif isinstance(value, int | float):
        yield f"{value:g}"
    else:
        yield from re.findall(r"\d+(?:\.\d+)?", str(value))


def _said_of(part: dict[str, Any], keys: tuple[str, ...]) -> str:
    return " ".join(str(part[key]) for key in keys if part.get(key))


@pytest.mark.parametrize("name", CASES)
def test_every_count_of_the_text_stands_in_the_json_beside_it(name):
    plan, record = _case(name)
    text = " ".join(render_plan(plan, record, PROTOCOL).split())
    for course in plan.courses:
        if course.eye and course.last_day and not course.goes_on:
            assert f"{course.drops} drop" in text
    counted = re.findall(r"(\d+) a day for (\d+) days?: ", text)
    known = {(str(s.count), str(s.days)) for c in plan.courses for s in c.steps}
    assert set(counted) <= known
    limits = {str(gap.limit + (gap.first is not None)) for gap in plan.gaps}
    assert set(re.findall(r"no more than (\d+) days? (?:on|between)[^.]*without one", text)) <= limits


@pytest.mark.parametrize("name", CASES)
def test_every_dose_of_the_json_stands_in_its_row_of_the_table(name):
    plan, record = _case(name)
    _, *after = render_plan(plan, record, PROTOCOL).split("Drops, o visits, + bottles")
    rows = re.split(r"\n(?=  \w|o )", after[0].split("\n\n")[0]) if after else []
    letters = plan_table(plan, PROTOCOL.formulary).letters
    found = 0
    for phase in plan.rounds:
        due = Counter(dict.fromkeys(letters.values(), 0))
        for dose in phase.doses:
            due[letters[plan.course(dose.course).medicine]] += dose.count if len(phase.times) <= 9 else 1
        for row in rows:
            if row.startswith(f"  {table_days(phase.start, phase.end)}  "):
                found += 1
                assert Counter(re.findall(r"(?<= )[A-Z]\d?(?= |$)", row, re.MULTILINE)) == +due
    assert found == sum(row.end is not None for row in course_table(plan).days)


@pytest.mark.parametrize("name", CASES)
def test_the_numbers_of_a_facts_statement_are_those_of_its_fields(name):
    """A statement read off the record holds no number but the record's own and the fact's own limit."""
    plan, record = _case(name)
    dumped = record.model_dump(mode="json", exclude_none=True)
    mine = set(_numbers(dumped))
    for fact, limit in _facts_used(plan):
        for number in _FIGURES.findall(re.sub(r"\d{1,2} [A-Z][a-z]+ \d{4}", "", fact.holds)):
            derived = fact.value if fact.value not in ("yes", "no", "not recorded") else ""
            assert number in mine | set(limit) or number in derived or _derived(record, number), fact


def _facts_used(plan: CarePlan) -> Iterator[tuple[Any, list[str]]]:
    limits = {f.name: [f"{x:g}" for x in (f.at_least, f.over, f.under, f.up_to) if x is not None]
              for f in PROTOCOL.facts}  # fmt: skip
    lists = (plan.courses, plan.needs, plan.questions, plan.cautions, plan.gaps, plan.before_leaving)
    for line in (one for lines in lists for one in lines):
        for reason in line.reasons:
            for fact in reason.facts:
                yield fact, limits.get(fact.fact, []) + [n for all_ in limits.values() for n in all_]


def _derived(record: Record, number: str) -> bool:
    """Ages, days since and minutes, worked out by hand."""
    days = [o.date for o in record.operations]
    eyes = (record.patient.eyes.right, record.patient.eyes.left)
    since = {str((day - eye.uveitis.last_active).days) for day in days for eye in eyes
             if eye.uveitis and eye.uveitis.last_active}  # fmt: skip
    born = record.patient.birth_date.year if record.patient.birth_date else record.patient.birth_year
    ages = {str(day.year - (born or 0) - more) for day in days for more in (0, 1)}
    minutes = {str(o.minutes) for o in record.operations}
    return number in since | ages | minutes
