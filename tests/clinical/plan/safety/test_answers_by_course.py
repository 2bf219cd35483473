"""An answer belongs to one caution and one course; leaving the steroid out is a decision of its own."""

from __future__ import annotations

import pytest

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.errors import FollowupError

ALLERGIC = {"allergies": [{"to": "benzalkonium", "reaction": "rash"}]}
DECIDED = {"why": "a depot acts inside the eye", "decided_by": "Dr Osei"}


def told(eye=None, conditions=None, answers=(), in_use=(), **more):
    record = parse_record(
        {
            "patient": {
                "code": "T-1",
                "name": "Invented Person",
                "birth_date": "1955-01-01",
                "sex": "male",
                "language": "en",
                "drops_by": {"who": "self"},
                "eyes": {"right": eye or {}},
                "conditions": conditions or {},
                **{key: more.pop(key) for key in ("allergies",) if key in more},
            },
            "operations": [
                {
                    "eye": "right",
                    "eye_drawn": "right",
                    "date": "2026-03-02",
                    "procedure": "phacoemulsification",
                    "pad": True,
                    "cut_mm": 2.4,
                    "stitches": 0,
                    "watertight": True,
                    "chamber": "normal",
                    "viscoelastic": {"removed": "all"},
                    "lens": "bag",
                    "antibiotic_in_chamber": True,
                    "answers": list(answers),
                    **more,
                }
            ],
            "in_use": list(in_use),
        }
    )
    return build_plan(record, load_protocol(), as_of=record.last_operation_day)


def state(plan):
    return {course.key: course.state for course in plan.courses}


def asked(plan, id_):
    return {q.course: q for q in plan.questions if q.id == id_}


def no(course, caution="benzalkonium.allergy", **more):
    return {"caution": caution, "course": course, "decision": "do not give", **more}


def test_a_question_names_one_medicine_and_its_answer_decides_that_one():
    first = told(**ALLERGIC)
    questions = asked(first, "benzalkonium.allergy")
    assert set(questions) == {"right:steroid", "right:nsaid", "right:antibiotic"}
    assert questions["right:nsaid"].medicine == "bromfenac-0-09"
    assert "Bromfenac" in questions["right:nsaid"].text
    assert "Dexamethasone" not in questions["right:nsaid"].text
    answered = told(**ALLERGIC, answers=[no("right:nsaid")])
    assert state(answered) == state(first) | {"right:nsaid": "stopped"}
    assert set(asked(answered, "benzalkonium.allergy")) == {"right:steroid", "right:antibiotic"}


def test_an_older_answer_without_a_course_counts_only_where_one_course_can_be_meant():
    plain = {"caution": "benzalkonium.allergy", "decision": "do not give"}
    assert state(told(**ALLERGIC, answers=[plain]))["right:nsaid"] == "held"
    alone = {"caution": "nsaid.dry-eye", "decision": "give"}
    assert state(told({"surface_disease": "severe dry eye"}, answers=[alone]))["right:nsaid"] == "active"


def test_an_answer_about_one_medicine_is_none_about_another_product_of_the_course():
    about = no("right:nsaid", medicine="bromfenac-0-09")
    other = [{"role": "nsaid", "medicine": "nepafenac-0-1"}]
    plan = told(**ALLERGIC, answers=[about], products=other)
    assert state(plan)["right:nsaid"] == "held"
    assert asked(plan, "benzalkonium.allergy")["right:nsaid"].medicine == "nepafenac-0-1"


def test_do_not_give_to_the_steroid_is_not_accepted_alone():
    plan = told(**ALLERGIC, answers=[no("right:steroid")])
    assert state(plan)["right:steroid"] == "held"
    question = next(q for q in plan.questions if q.id == "no-steroid-drop")
    assert question.blocks
    assert question.holds == ("right:steroid",)
    assert question.fields == ("operations.0.products", "operations.0.no_steroid_drop")
    assert not plan.signable


def test_another_product_takes_the_place_of_the_steroid():
    other = [{"role": "steroid", "medicine": "difluprednate-0-05"}]
    plan = told(**ALLERGIC, answers=[no("right:steroid")], products=other)
    assert plan.course("right:steroid").medicine == "difluprednate-0-05"
    assert state(plan)["right:steroid"] == "active"


def test_no_steroid_drop_is_a_stop_with_a_name_a_reason_and_as_many_looks():
    draft = told(**ALLERGIC)
    others = [no("right:nsaid"), no("right:antibiotic")]
    decided = told(**ALLERGIC, answers=others, no_steroid_drop=DECIDED)
    caution = next(c for c in decided.cautions if c.id == "no-steroid-drop")
    assert (caution.level, caution.decided_by) == ("stop", "Dr Osei")
    assert "a depot acts inside the eye" in caution.text
    assert state(decided)["right:steroid"] == "stopped"
    assert [(n.key, n.earliest, n.latest) for n in decided.needs] == [
        (n.key, n.earliest, n.latest) for n in draft.needs
    ]
    assert [t.date for t in decided.trips] == [t.date for t in draft.trips]
    assert decided.gaps == draft.gaps
    assert decided.signable, [q.text for q in decided.questions]
    assert decided.stops == ()


def test_a_course_that_is_left_out_has_no_steps_that_anybody_could_read_a_dose_from():
    plan = told(**ALLERGIC, answers=[no("right:nsaid")], no_steroid_drop=DECIDED)
    for course in plan.courses:
        assert (course.steps == ()) is (course.state == "stopped"), course.key
    assert plan.last_steroid_day == {}


def test_a_choice_answers_one_caution_and_not_every_one_that_it_could():
    choose = {"choices": {"nsaid": "give"}}
    one = told({"surface_disease": "severe dry eye"}, **choose)
    assert state(one)["right:nsaid"] == "active"
    two = told({"surface_disease": "severe dry eye"}, {"rheumatoid": True}, **choose)
    assert state(two)["right:nsaid"] == "held"
    assert {q.id for q in two.questions} == {"nsaid.dry-eye", "nsaid.joint-disease"}


def test_an_nsaid_that_the_surgeon_declines_keeps_its_looks():
    draft, declined = (told(capsule_torn=True, choices={"nsaid": n}) for n in ("give", "do not give"))
    assert state(declined)["right:nsaid"] == "stopped"
    assert len(declined.trips) >= len(draft.trips)
    assert declined.gaps == draft.gaps


STEROID_BEFORE = {"medicine": "prednisolone-acetate-1", "eye": "right", "count_a_day": 2}


def test_of_two_steroids_the_one_that_is_answered_is_left_out():
    old = "right:prednisolone-acetate-1"
    draft = told(in_use=[STEROID_BEFORE])
    assert set(asked(draft, "duplicate.steroid")) == {old, "right:steroid"}
    plan = told(in_use=[STEROID_BEFORE], answers=[no(old, "duplicate.steroid")])
    assert state(plan)[old] == "stopped"
    assert state(plan)["right:steroid"] == "active"
    assert asked(plan, "duplicate.steroid") == {}


def test_two_steroids_are_both_given_only_where_both_are_answered_so():
    both = [
        {"caution": "duplicate.steroid", "course": key, "decision": "give"}
        for key in ("right:steroid", "right:prednisolone-acetate-1")
    ]
    assert set(asked(told(in_use=[STEROID_BEFORE], answers=both[:1]), "duplicate.steroid")) == {
        "right:prednisolone-acetate-1"
    }
    assert asked(told(in_use=[STEROID_BEFORE], answers=both), "duplicate.steroid") == {}


@pytest.mark.parametrize("course", ["left:steroid", "right:nsaidd", "nose:steroid", "steroid", "right:"])
def test_an_answer_to_a_course_that_no_plan_of_this_record_has_is_one_clear_line(course):
    with pytest.raises(FollowupError) as caught:
        told(answers=[no(course)])
    line = caught.value.line
    assert "\n" not in line
    assert f'"{course}"' in line
    assert "operations.0.answers.0.course" in line
    assert "right:steroid" in line


def test_an_answer_to_a_course_that_this_plan_does_not_have_is_named():
    plan = told(answers=[no("right:cycloplegic", "cycloplegic.urine")])
    assert any('"right:cycloplegic"' in notice for notice in plan.notices)


def test_one_caution_may_be_answered_once_a_course_and_never_twice():
    two = [no("right:steroid"), no("right:nsaid")]
    assert state(told(**ALLERGIC, answers=two))["right:nsaid"] == "stopped"
    with pytest.raises(FollowupError, match="twice"):
        told(**ALLERGIC, answers=[no("right:nsaid"), no("right:nsaid")])
