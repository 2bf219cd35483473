"""Every question and stop that a rule can raise has an answer: on the plan's page, over JSON, in the record.

The page and JSON answer by the same names, those of ``answer_fields``, and both store the record's own
fields; so a question without such a name, or one that stays whatever is answered, could never be signed.
"""

from __future__ import annotations

from datetime import date

import pytest

from followup.care.plans.answers import answer_fields, with_answers
from followup.clinical.careplan import Course, Question, Step
from followup.clinical.plan.build import build_plan
from followup.clinical.plan.safety import check_courses
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record

PROTOCOL = load_protocol()
DAY0 = date(2026, 3, 2)
OPERATION = {
    "eye": "right",
    "eye_drawn": "right",
    "date": DAY0.isoformat(),
    "procedure": "phacoemulsification",
    "pad": True,
}
ILLNESSES = [
    *("asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"),
    *("kidney_disease", "liver_disease", "sickle_cell", "rheumatoid", "sjogren", "nasal_polyps"),
    *("tuberculosis", "urine_retention", "blood_thinner", "breast_feeding"),
]
ILL = dict.fromkeys(ILLNESSES, True)
BAD_EYE = {
    "uveitis": {"kind": "anterior", "last_active": "2025-03-01"},
    "glaucoma": True,
    "steroid_responder": True,
    "macular_oedema": True,
    "weak_endothelium": True,
    "corneal_feeling": "absent",
    "surface_disease": "severe dry eye",
}
HERPES = {"herpetic_keratitis": {"active_epithelial_disease": True}}
BAD_DAY = {"bandage_lens": True, "capsule_torn": True, "chamber": "shallow", "epithelium_scraped": True}
ALLERGENS = [
    *("sulfonamide", "sulphite", "benzalkonium", "aspirin"),
    *("penicillin", "cephalosporin", "quinolone"),
]


def allergic(reaction):
    return {"allergies": [{"to": to, "reaction": reaction} for to in ALLERGENS]}


SEEN = [{"eye": "right", "date": DAY0.isoformat(), "cells": "2+", "cornea": "clear"}]
# Each a person, an eye, an operation and what a look saw: together they raise every caution there is.
CASES = {
    "nothing told": ({}, {}, {}, []),
    "ill": ({"conditions": ILL | {"pregnancy": "third trimester"}}, BAD_EYE, BAD_DAY, []),
    "early in a pregnancy": ({"conditions": {"pregnancy": "first trimester"}}, {}, {}, []),
    "antiviral medicine": ({"conditions": {"cyp3a4_inhibitor": "ritonavir or cobicistat"}}, HERPES, {}, []),
    "strong inhibitor": ({"conditions": {"cyp3a4_inhibitor": "other strong inhibitor"}}, HERPES, {}, []),
    "severe allergies": (allergic("severe"), {}, {}, []),
    "rashes": (allergic("rash"), {}, {}, []),
    "allergies, untold how": (allergic("not known"), {}, {}, []),
    "named in the list": (
        {"allergies": [{"to": "medicine", "medicine": "diclofenac-0-1"}]},
        {},
        {},
        [],
    ),
    "words": ({"allergy_text": "diclofenac, sulphur"}, {}, {}, []),
    "severe words": ({"allergy_text": "levofloxacin anaphylaxis"}, {}, {}, []),
    "inflamed": ({}, {}, {}, SEEN),
}


def record_of(person, eye, operation, reviews, **more):
    patient = {"code": "T-1", "name": "Invented Person", "birth_date": "1990-06-11", "sex": "female"}
    return parse_record(
        {
            "patient": patient | person | {"eyes": {"right": eye, "left": {}}},
            "operations": [OPERATION | operation],
            "reviews": reviews,
            **more,
        }
    )


def every_course(from_before):
    """One course of every medicine that the formulary knows for the eye or by mouth."""
    step = Step(start=DAY0, count=4, days=20)
    return [
        Course(
            key=f"{'mouth' if m.route == 'mouth' else 'right'}:{m.id}",
            role=m.role,
            medicine=m.id,
            eye=None if m.route == "mouth" else "right",
            from_before=from_before,
            steps=(step,),
        )
        for m in PROTOCOL.formulary.values()
        if m.route != "injection"
    ]


def some_at_a_time(from_before):
    """Few enough for one record's answers; a drop and its kin by mouth together too."""
    every = every_course(from_before)
    yield from (every[i : i + 4] for i in range(0, len(every), 4))
    yield [c for c in every if c.medicine in ("dorzolamide-2", "acetazolamide-250-tablet")]


def asked(record, courses):
    return check_courses(record, PROTOCOL, courses, DAY0).questions


def answered(record, questions, pick):
    """The record after the page's form: of the decisions offered to each question, the one picked."""
    posted = {}
    for question in questions:
        fields = [f for f in answer_fields(question, record, DAY0) if f.operation is not None]
        decision = next((f for f in fields if f.name.endswith(".decision")), None)
        assert decision is not None, f"no way to answer {question.id} about {question.course}"
        posted[decision.name] = [decision.member.choices[pick]]
        posted[decision.name.replace(".decision", ".why")] = ["decided"]
    return parse_record(with_answers(questions, record, posted, DAY0))


@pytest.mark.parametrize("from_before", [False, True])
@pytest.mark.parametrize("case", CASES)
def test_every_caution_about_every_medicine_is_answered_by_a_decision(case, from_before):
    record = record_of(*CASES[case])
    for courses in some_at_a_time(from_before):
        questions = asked(record, courses)
        for pick in (0, -1) if questions else ():
            left = [q for q in asked(answered(record, questions, pick), courses) if q.blocks]
            assert [(q.id, q.course) for q in left] == []


def test_the_cases_raise_every_caution_and_pair_that_asks_or_stops():
    raised = {
        question.id
        for case in CASES.values()
        for from_before in (False, True)
        for question in asked(record_of(*case), every_course(from_before))
    }
    rules = [*PROTOCOL.cautions.cautions, *PROTOCOL.cautions.duplicates]
    wanted = {rule.id for rule in rules if rule.level in ("stop", "ask")}
    at_surgery = {"steroid.inhibitor-depot"}
    injected = {id_ for id_ in wanted if id_.startswith("cephalosporin.")}
    assert wanted - raised <= at_surgery | injected, "raised by what is put in at surgery alone"


@pytest.mark.parametrize(
    "case", ["severe allergies", "rashes", "allergies, untold how", "antiviral medicine"]
)
def test_what_was_put_in_at_surgery_is_answered_by_what_is_done_about_it(case):
    steroid = {"medicine": "dexamethasone-depot", "place": "behind the iris", "fate": "left"}
    person, eye, operation, reviews = CASES[case]
    given = {"antibiotic_in_chamber": True, "antibiotic": "cefuroxime-chamber", "steroid": [steroid]}
    record = record_of(person, eye, operation | given, reviews)

    def at_surgery(one):
        questions = build_plan(one, PROTOCOL, as_of=DAY0).questions
        return tuple(q for q in questions if q.course and ":at-surgery:" in q.course)

    questions = at_surgery(record)
    assert questions
    assert at_surgery(answered(record, questions, 0)) == ()


@pytest.mark.parametrize("rule", [r for r in PROTOCOL.rules if r.ask], ids=lambda r: r.id)
def test_every_field_that_a_rule_asks_for_stands_on_the_page(rule):
    record = record_of({}, {"uveitis": {}, "herpetic_keratitis": {}}, {}, [])
    heads = (("eye.", "patient.eyes.right."), ("operation.", "operations.0."))
    for path in rule.ask.fields:
        full = next((new + path.removeprefix(old) for old, new in heads if path.startswith(old)), path)
        question = Question(id=rule.id, text="asked", eye="right", fields=(full,))
        assert answer_fields(question, record, DAY0), f"{path} has no field on the page"


def test_a_drop_that_the_formulary_does_not_know_can_be_answered_by_saying_that_it_does_not_go_on():
    record = record_of({}, {}, {}, [], in_use=[{"described": "a yellow bottle", "eye": "right"}])
    questions = build_plan(record, PROTOCOL, as_of=DAY0).questions
    question = next(q for q in questions if q.id == "in-use-name-0")
    names = {f.name for f in answer_fields(question, record, DAY0)}
    assert {"in_use.0.medicine", "in_use.0.continues"} <= names
    posted = {"in_use.0.continues": ["no"]}
    after = build_plan(parse_record(with_answers(questions, record, posted, DAY0)), PROTOCOL, as_of=DAY0)
    assert "in-use-name-0" not in {q.id for q in after.questions}
    assert any("does not go on" in notice for notice in after.notices)


def test_an_unnamed_antibiotic_in_the_chamber_can_be_answered_by_saying_that_there_was_none():
    record = record_of(allergic("severe"), {}, {"antibiotic_in_chamber": True}, [])
    questions = build_plan(record, PROTOCOL, as_of=DAY0).questions
    question = next(q for q in questions if q.id == "antibiotic-at-surgery")
    name = "operations.0.antibiotic_in_chamber"
    assert name in {f.name for f in answer_fields(question, record, DAY0)}
    posted = {name: ["no"]}
    after = build_plan(parse_record(with_answers(questions, record, posted, DAY0)), PROTOCOL, as_of=DAY0)
    assert "antibiotic-at-surgery" not in {q.id for q in after.questions}
