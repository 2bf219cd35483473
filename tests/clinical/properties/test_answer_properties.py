"""No answer, allergy or finding leaves an operated eye with fewer looks, or one with uveitis with less.

The only way there is a decision that stands on the plan as a stop, with the name of whoever decided.
"""

from __future__ import annotations

import copy

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.record import parse_record

few = settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
DECIDED = {"why": "a depot acts inside the eye", "decided_by": "Dr Osei"}


def decided(plan):
    """The eyes for which the plan says as a stop that somebody decided, and who."""
    return {c.eye for c in plan.plan.cautions if c.level == "stop" and c.decided_by}


def looks(plan):
    return {need.key for need in plan.plan.needs}


def limits(plan):
    return {(gap.eye, gap.kind, gap.from_count, gap.limit) for gap in plan.plan.gaps}


def never_less(before, after, record):
    """Looks, limits and tiers of every eye; steroid of every eye with uveitis; by a decision alone less."""
    assert looks(before) <= looks(after)
    assert limits(before) <= limits(after)
    assert len(after.plan.trips) >= len(before.plan.trips)
    for eye, tier in before.plan.tiers.items():
        assert after.plan.tiers[eye] <= tier
    for eye in {o["eye"] for o in record["operations"]}:
        if "uveitis" not in record["patient"]["eyes"][eye] or eye in decided(after):
            continue
        with_it = after.steroid(eye)
        assert all(with_it.get(day, 0) >= count for day, count in before.steroid(eye).items()), eye
        states = after.courses()
        assert not [key for key in states if key.startswith(f"{eye}:steroid") and states[key] == "stopped"]


def answered(record, plan, decisions):
    """The record with an answer to each question about a course, where one was drawn."""
    more = copy.deepcopy(record)
    asked = [q for q in plan.plan.questions if q.course is not None]
    for question, decision in zip(asked, decisions, strict=False):
        place = next(f for f in question.fields if f.endswith(".answers"))
        answer = {"caution": question.id, "course": question.course, "decision": decision, "why": "asked"}
        told = more["operations"][int(place.split(".")[1])].setdefault("answers", [])
        told.append(answer | {"medicine": question.medicine})
    return more


DECISIONS = st.lists(st.sampled_from(["give", "do not give", "given"]), min_size=12, max_size=12)


@few
@given(data=st.data())
def test_no_answer_to_a_caution_means_fewer_looks_or_less_for_uveitis(data, made, told):
    record = data.draw(made.records())
    before = told(record)
    more = answered(record, before, data.draw(DECISIONS))
    parse_record(more)
    never_less(before, told(more), record)


@few
@given(data=st.data())
def test_a_decision_against_steroid_drops_keeps_every_look_and_names_who_decided(data, made, told):
    record = data.draw(made.records(eyes=(1,)))
    before = told(record)
    more = made.with_facts(record, "operation", no_steroid_drop=DECIDED)
    after = told(more)
    never_less(before, after, record)
    if not after.plan.refused:
        assert record["operations"][0]["eye"] in decided(after)


@few
@given(data=st.data())
def test_no_choice_of_the_surgeon_means_fewer_visits_or_less_for_uveitis(data, made, told):
    """A choice among the protocol's courses moves the looks that hang on the course; none of them goes, and
    no limit between two."""
    record = made.without(data.draw(made.records(eyes=(1,))), "operation", "choices")
    place = record["operations"][0]["eye"]
    if data.draw(st.booleans()):
        record = made.with_facts(record, "eye", steroid_responder=True)
    if data.draw(st.booleans()):
        record = made.with_facts(record, "operation", steroid=[data.draw(made.steroid)])
    choices = data.draw(made.choices)
    before, after = told(record), told(made.with_facts(record, "operation", choices=choices))
    assert looks(before) <= looks(after)
    assert limits(before) <= limits(after)
    assert len(after.plan.trips) >= len(before.plan.trips)
    assert after.plan.tiers == before.plan.tiers
    if "uveitis" in record["patient"]["eyes"][place]:
        with_it = after.steroid(place)
        assert all(with_it.get(day, 0) >= count for day, count in before.steroid(place).items())


@few
@given(data=st.data())
def test_no_allergy_in_the_list_or_in_words_means_fewer_looks_or_less_for_uveitis(data, made, told):
    record = made.without(data.draw(made.records()), "patient", "allergies")
    record = made.without(record, "patient", "allergy_text")
    reaction = st.sampled_from(["rash", "severe", "wheeze", "not known"])
    entry = {"to": data.draw(st.sampled_from(made.allergens)), "reaction": data.draw(reaction)}
    facts = data.draw(st.sampled_from([{"allergies": [entry]}, {"allergy_text": "words"}]))
    if "allergy_text" in facts:
        facts = {"allergy_text": data.draw(st.sampled_from(made.words))}
    never_less(told(record), told(made.with_facts(record, "patient", **facts)), record)


@few
@given(data=st.data())
def test_no_finding_of_a_look_takes_a_look_away_or_treats_a_uveitis_less(data, made, told):
    record, _ = data.draw(made.followed())
    day0 = max(o["date"] for o in record["operations"])
    record["reviews"] = [r for r in record["reviews"] if r["date"] <= day0]
    record["trips"] = []
    more = copy.deepcopy(record)
    look = data.draw(made.review)
    look |= {"eye": record["operations"][-1]["eye"], "date": day0}
    look = {k: v for k, v in look.items() if k != "stitches_out"}
    more["reviews"] = [*record["reviews"], look]
    before, after = told(record, as_of=1), told(more, as_of=1)
    assert looks(before) <= looks(after)
    for eye in {o["eye"] for o in record["operations"]}:
        if "uveitis" in record["patient"]["eyes"][eye]:
            with_it = after.steroid(eye)
            assert all(with_it.get(day, 0) >= count for day, count in before.steroid(eye).items()), eye
