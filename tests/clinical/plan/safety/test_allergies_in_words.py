"""Allergies in any words count like those of the list; what nobody understands is a question that blocks."""

from __future__ import annotations

import pytest

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record

PROTOCOL = load_protocol()


def levels(found):
    return {id_: finding.level for id_, finding in found.items()}


def planned(allergies=(), text=None, **operation):
    record = parse_record(
        {
            "patient": {
                "code": "T-1",
                "name": "Invented Person",
                "birth_date": "1955-01-01",
                "sex": "male",
                "language": "en",
                "allergies": list(allergies),
                "allergy_text": text,
            },
            "operations": [
                {
                    "eye": "right",
                    "eye_drawn": "right",
                    "date": "2026-03-02",
                    "procedure": "phacoemulsification",
                    "pad": True,
                    "cut_mm": 2.4,
                    "watertight": True,
                    "chamber": "normal",
                    "viscoelastic": {"removed": "all"},
                    "lens": "bag",
                    "antibiotic_in_chamber": True,
                    "antibiotic": "moxifloxacin-chamber",
                    **operation,
                }
            ],
        }
    )
    return build_plan(record, PROTOCOL, as_of=record.last_operation_day)


def asked(plan):
    return {q.id: q for q in plan.questions}


@pytest.mark.parametrize(
    ("text", "medicine", "expected"),
    [
        ("sulfa - came out in blisters", "dorzolamide-2", {"sulfonamide.severe-drop": "stop"}),
        ("came out in blisters after SULPHA tablets", "dorzolamide-2", {"sulfonamide.severe-drop": "stop"}),
        ("co-trimoxazole: rash", "brinzolamide-1", {"sulfonamide.rash": "ask"}),
        ("ciprofloxacin rash", "levofloxacin-0-5", {"allergy.class-mild": "ask"}),
        ("Rash, Ciprofloxacin", "levofloxacin-0-5", {"allergy.class-mild": "ask"}),
        ("quinolones", "levofloxacin-0-5", {"allergy.class-unknown": "ask"}),
        ("moxifloxacin - collapse", "levofloxacin-0-5", {"allergy.class-severe": "stop"}),
        ("penicillin anaphylaxis", "cefuroxime-chamber", {"cephalosporin.penicillin-severe": "stop"}),
        ("AMOXICILLIN. Lips swelled up.", "cefuroxime-chamber", {"cephalosporin.penicillin-severe": "stop"}),
        ("amoxycillin, rash", "cefuroxime-chamber", {"cephalosporin.penicillin-mild": "ask"}),
        ("penicillins", "cefuroxime-chamber", {"cephalosporin.penicillin-unknown": "ask"}),
        ("diclofenac wheeze", "bromfenac-0-09", {"nsaid.aspirin-wheeze": "stop"}),
        ("swelling with ibuprofen", "nepafenac-0-1", {"nsaid.aspirin-wheeze": "stop"}),
        (
            "dexamethasone sodium phosphate: swollen face",
            "dexamethasone-0-1",
            {"allergy.in-words-severe": "stop"},
        ),
        ("penicillin anaphylaxis", "levofloxacin-0-5", {}),
        ("none known", "levofloxacin-0-5", {}),
        ("NKDA", "bromfenac-0-09", {}),
    ],
)
def test_words_are_matched_whole_in_any_order_and_case(check, text, medicine, expected):
    assert levels(check(medicine, allergy_text=text)) == expected


@pytest.mark.parametrize("more", ["", "penicillin rash, ", "latex, penicillin rash, "])
def test_a_word_of_sulfur_is_unclear_whatever_else_is_told(check, more):
    assert "sulfur-word.sulfonamide" in check("dorzolamide-2", allergy_text=f"{more}sulfur")


def test_a_word_inside_another_word_is_not_matched(check):
    assert check("prednisolone-acetate-1", allergy_text="methylprednisolone rash").keys() == {
        "allergy.class-mild"
    }


@pytest.mark.parametrize("to", ["quinolone", "penicillin", "cephalosporin"])
def test_the_list_has_the_classes_too(check, to):
    medicine = {"quinolone": "levofloxacin-0-5"}.get(to, "cefuroxime-chamber")
    severe = check(medicine, allergies=[{"to": to, "reaction": "severe"}])
    assert set(levels(severe).values()) == {"stop"}
    mild = check(medicine, allergies=[{"to": to, "reaction": "rash"}])
    assert set(levels(mild).values()) == {"ask"}


def test_a_listed_medicine_speaks_for_its_class(check):
    allergies = [{"to": "medicine", "medicine": "ciprofloxacin-0-3", "reaction": "severe"}]
    assert levels(check("levofloxacin-0-5", allergies=allergies)) == {"allergy.class-severe": "stop"}


def test_words_never_soften_what_the_list_says_nor_the_list_graver_words(check):
    listed = [{"to": "sulfonamide", "reaction": "rash"}]
    assert levels(check("dorzolamide-2", allergies=listed, allergy_text="sulfa")) == {
        "sulfonamide.rash": "ask"
    }
    graver = check("dorzolamide-2", allergies=listed, allergy_text="sulfa: blisters")
    assert graver["sulfonamide.severe-drop"].level == "stop"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("blarg", "blarg"),
        ("penicillin, wobbulin", "wobbulin"),
        ("not allergic to penicillin", "not allergic to penicillin"),
        ("NKDA but ciprofloxacin rash", "NKDA but ciprofloxacin rash"),
        ("allergic to tablets", "allergic to tablets"),
        ("rash", "rash"),
        ("penicilline? حساسية", "حساسية"),
    ],
)
def test_words_that_no_rule_understood_are_a_question_that_blocks(text, words):
    question = asked(planned(text=text))["allergy-words"]
    assert question.blocks
    assert words in question.text
    assert question.fields == ("patient.allergies", "patient.allergy_text")


@pytest.mark.parametrize(
    "text",
    ["none known", "NKDA", "No known drug allergies.", "nil", "peanuts, cat hair", "penicillin rash", ""],
)
def test_words_that_are_understood_are_not_asked_about_again(text):
    assert "allergy-words" not in asked(planned(text=text))


def test_none_known_beside_a_listed_allergy_is_asked_about():
    listed = [{"to": "sulphite", "reaction": "rash"}]
    assert "allergy-words" in asked(planned(listed, "none known"))
    assert "allergy-words" not in asked(planned(listed, "no other allergies"))


def test_a_strange_word_is_settled_by_an_entry_of_the_list():
    listed = [{"to": "other", "described": "wobbulin", "reaction": "rash"}]
    assert "allergy-words" not in asked(planned(listed, "wobbulin"))


def test_every_allergy_stands_on_the_plan_as_it_is_recorded():
    listed = [{"to": "sulfonamide", "reaction": "severe"}, {"to": "other", "described": "wobbulin"}]
    lines = planned(listed, "sulfa - came out in blisters").allergies
    assert [(a.to, a.described, a.reaction, a.words) for a in lines] == [
        ("sulfonamide", None, "severe", None),
        ("other", "wobbulin", "not known", None),
        (None, None, None, "sulfa - came out in blisters"),
    ]


# ---- given at surgery -------------------------------------------------------------------------------
def test_an_allergy_to_what_was_given_at_surgery_is_a_stop_until_it_is_said_what_is_done():
    given = {"antibiotic": "cefuroxime-chamber"}
    plan = planned([], "penicillin anaphylaxis", **given)
    stop = next(c for c in plan.cautions if c.id == "cephalosporin.penicillin-severe")
    assert stop.level == "stop"
    assert not plan.signable
    question = asked(plan)["cephalosporin.penicillin-severe"]
    assert question.course == "right:at-surgery:cefuroxime-chamber"
    answer = {"caution": question.id, "course": question.course, "decision": "given"}
    answers = [answer | {"why": "watched for two hours, no reaction"}]
    settled = planned([], "penicillin anaphylaxis", **given, answers=answers)
    assert question.id not in asked(settled)
    told = next(c for c in settled.cautions if c.id == question.id)
    assert told.level == "warn"
    assert "watched for two hours, no reaction" in told.text


def test_even_a_mild_allergy_to_what_was_given_is_a_stop_and_is_not_asked_as_if_it_were_still_to_be_given():
    plan = planned([], "ciprofloxacin rash", antibiotic="moxifloxacin-chamber")
    given = [q for q in plan.questions if q.course == "right:at-surgery:moxifloxacin-chamber"]
    assert ["It was given at surgery" in q.text for q in given] == [True]
    stops = [c for c in plan.cautions if c.level == "stop" and "Moxifloxacin" in c.text]
    assert len(stops) == 1


@pytest.mark.parametrize("decision", ["give", "do not give"])
def test_what_was_given_cannot_be_answered_as_if_it_were_still_to_be_given(decision):
    answers = [
        {
            "caution": "cephalosporin.penicillin-severe",
            "course": "right:at-surgery:cefuroxime-chamber",
            "decision": decision,
        }
    ]
    plan = planned([], "penicillin anaphylaxis", antibiotic="cefuroxime-chamber", answers=answers)
    assert not plan.signable


def test_an_unnamed_antibiotic_in_the_chamber_is_asked_for_where_an_allergy_makes_it_matter():
    assert "antibiotic-at-surgery" in asked(planned([], "penicillin anaphylaxis", antibiotic=None))
    assert "antibiotic-at-surgery" not in asked(planned([], None, antibiotic=None))


def test_an_antibiotic_that_the_formulary_does_not_have_is_told_in_words_with_what_is_done():
    course = "right:at-surgery:antibiotic"
    open_ = planned([], "penicillin anaphylaxis", antibiotic=None)
    assert asked(open_)["antibiotic-at-surgery"].course == course
    assert not open_.signable
    answer = {"caution": "antibiotic-at-surgery", "course": course, "decision": "given"}
    words = "vancomycin 1 mg; no relation to penicillin, watched for an hour"
    settled = planned([], "penicillin anaphylaxis", antibiotic=None, answers=[answer | {"why": words}])
    assert "antibiotic-at-surgery" not in asked(settled)
    (told,) = [caution for caution in settled.cautions if caution.id == "antibiotic-at-surgery"]
    assert (told.level, told.eye) == ("warn", "right")
    assert words in told.text
    assert [notice for notice in settled.notices if "antibiotic-at-surgery" in notice] == []


@pytest.mark.parametrize("decision", ["give", "do not give"])
def test_an_antibiotic_in_the_chamber_is_not_answered_as_if_it_were_still_to_be_given(decision):
    answer = {"caution": "antibiotic-at-surgery", "decision": decision}
    plan = planned([], "penicillin anaphylaxis", antibiotic=None, answers=[answer])
    assert "antibiotic-at-surgery" in asked(plan)
