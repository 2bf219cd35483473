"""No sentence of a plan contradicts the values beside it: each number and each day that a line of a plan is
told with stands in that line of the JSON, or in the one that the sentence points to."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

from hypothesis import HealthCheck, given, settings
from pydantic import BaseModel

from followup.cli.plan_text import render_plan
from followup.clinical.careplan import CarePlan, CheckGap, Course, Reason
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import text_of
from followup.clinical.record import Record, parse_record
from followup.clinical.words.why import why
from followup.clinical.words.why_reasons import reason_words
from followup.said import MONTHS
from followup.typed import plain

PROTOCOL = load_protocol()
few = settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))

DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(MONTHS)}|{'|'.join(m[:3] for m in MONTHS)}) (\d{{4}})\b")
CLOCK = re.compile(r"\b\d{2}:\d{2}\b")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
SENTENCES = ("text", "because", "source", "holds", "wanted", "reasons", "title", "above_label")
ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
MONTH = {name: i for i, full in enumerate(MONTHS, 1) for name in (full, full[:3])}


def days_said(text: str) -> set[str]:
    return {date(int(y), MONTH[m], int(d)).isoformat() for d, m, y in DAY.findall(text)}


def values(line: object) -> Iterator[str]:
    """Every value of a line of the plan as it stands in the JSON, its own sentences left out."""
    if isinstance(line, BaseModel):
        yield from values(line.model_dump(mode="json"))
    elif isinstance(line, dict):
        for key, inner in line.items():
            yield from values(inner) if key not in SENTENCES else ()
    elif isinstance(line, list | tuple):
        for inner in line:
            yield from values(inner)
    elif line is not None and not isinstance(line, bool):
        yield f"{line:g}" if isinstance(line, int | float) else str(line)


def numbers_of(*lines: object) -> set[str]:
    told = [value for line in lines for value in values(line)]
    return {n for value in told if not ISO.fullmatch(value) for n in NUMBER.findall(value)}


def days_of(*lines: object) -> set[str]:
    return {value for line in lines for value in values(line) if ISO.fullmatch(value)}


def without_reasons(told: tuple[str, ...], reasons: tuple[Reason, ...]) -> str:
    """The sentences about the line itself."""
    given_reasons = {" ".join(reason_words(reason)) for reason in reasons}
    return plain(" ".join(line for line in told if line not in given_reasons))


def unproved(text: str, names: set[str], *beside: object) -> list[str]:
    """Days and numbers of the text that none of the lines beside it holds; names are no numbers."""
    wrong = sorted(days_said(text) - days_of(*beside))
    rest = DAY.sub("", text)
    for name in sorted(names, key=len, reverse=True):
        rest = rest.replace(name, "")
    rest = rest.replace("½", ".5")
    return wrong + sorted(set(NUMBER.findall(rest)) - numbers_of(*beside))


def lines(plan: CarePlan) -> Iterator[tuple[str, tuple[Reason, ...], list[object]]]:
    """Each line by its name, with its reasons and what its sentences speak of."""
    for course in plan.courses:
        medicine = PROTOCOL.formulary.get(course.medicine)
        asked = [q for q in plan.questions if q.id in course.held_by]
        # A question and a caution are told in their own words where a course waits for one.
        words = [{"said": q.text} for q in (*asked, *(c for c in plan.cautions if c.id in course.held_by))]
        above = [{"said": course.above_label}] if course.above_label else []
        runs = [p for p in plan.rounds if any(d.course == course.key for d in p.doses)]
        tapers = [t.words for n in (course.taper or "").split(" and ") if (t := PROTOCOL.tapers.get(n))]
        beside = [course, worked_out(course), {"mg": medicine.tablet_mg if medicine else None}, words]
        yield course.key, course.reasons, [*beside, above, runs, {"said": tapers}]
    for bottle in plan.supply:
        course, medicine = plan.course(bottle.course), PROTOCOL.formulary[plan.course(bottle.course).medicine]
        mine = [b for b in plan.supply if b.course == bottle.course]
        held = {"holds": 0, "drops": medicine.drops_per_bottle, "open": medicine.open_days}
        told = [{"said": f"{PROTOCOL.supply.because} {medicine.source}"}]
        yield f"{bottle.course}#{bottle.number}", (), [mine, course, worked_out(course), held, told]
    for need in plan.needs:
        serving = [trip for trip in plan.trips if need.key in trip.serves]
        broken = [{"said": b.text} for b in plan.impossible if b.need == need.key]
        yield need.key, need.reasons, [need, serving, broken]
    for gap in plan.gaps:
        # Between two looks lie as many days less one as from the one to the other.
        more = {"all": gap.limit + 1} if gap.first is not None else {}
        yield gap.key, gap.reasons, [gap, more, plan.trips, [n for n in plan.needs if n.eye == gap.eye]]


def worked_out(course: Course) -> dict[str, Any]:
    """What follows from the steps: their last days, and as one the days of those with one count in a row."""
    return {
        "ends": [step.end.isoformat() for step in course.steps],
        "days": [sum(s.days for s in course.steps if s.count == step.count) for step in course.steps],
    }


def named(plan: CarePlan) -> set[str]:
    """Names that hold figures: medicines with their strength, and kinds of looks."""
    medicines = {label_of(course.medicine, PROTOCOL.formulary) for course in plan.courses}
    return medicines | {text_of(need.kind, PROTOCOL.kinds) for need in plan.needs} | {"once a day"}


def planned(data: dict[str, Any]) -> tuple[CarePlan, Record]:
    record = parse_record(data, "generated")
    return build_plan(record, PROTOCOL, as_of=record.last_operation_day), record


def test_every_day_and_number_a_line_is_told_with_stands_in_the_json_beside_it(made):
    @few
    @given(data=made.records())
    def holds(data: dict[str, Any]) -> None:
        plan, _ = planned(data)
        for name, reasons, beside in lines(plan):
            told = without_reasons(why(plan, PROTOCOL, name, traced=False), reasons)
            assert unproved(told, named(plan), *beside) == [], (name, told)

    holds()


def test_every_day_and_clock_time_of_the_whole_text_stands_in_the_json(made):
    """And the head counts the questions that are listed."""

    @few
    @given(data=made.records())
    def holds(data: dict[str, Any]) -> None:
        plan, record = planned(data)
        text = " ".join(render_plan(plan, record, PROTOCOL, reasons=True).split())
        dumped, recorded = plan.model_dump(mode="json"), record.model_dump(mode="json")
        known = days_of(dumped, recorded) | {d for v in values(dumped) for d in ISO.findall(v)}
        ends = {s.end.isoformat() for c in plan.courses for s in c.steps}
        # What gave way stands in no other value: its words are all that is kept of it.
        wanted = days_said(" ".join(lost.wanted for lost in plan.overridden))
        assert days_said(text) <= known | ends | wanted
        times = {t for line in (dumped, recorded) for v in values(line) for t in CLOCK.findall(v)}
        assert set(CLOCK.findall(text)) <= times
        blocking = sum(q.blocks for q in plan.questions)
        waiting = len(plan.questions) - blocking
        if plan.status != "on-hold" and not plan.signable and blocking:
            assert re.search(rf"can't be signed yet: {blocking} questions?\b", text)
            assert (f"; {waiting} more may wait." in text) is bool(waiting)
        for count, length in re.findall(r"(\d+) a day for (\d+) days?: ", text):
            assert any((s.count, s.days) == (int(count), int(length)) for c in plan.courses for s in c.steps)

    holds()


def test_a_sentence_with_a_number_of_its_own_would_be_found():
    gap = CheckGap(key="right:pressure", kind="pressure", eye="right", limit=14, from_count=1, reasons=())
    assert unproved("No more than 28 days on steroid without one (last on 3 March 2026).", set(), gap) == [
        "2026-03-03",
        "28",
    ]
    assert unproved("No more than 14 days on steroid without one.", set(), gap) == []
