"""What speaks against a medicine: read as a surgeon would check the safety net, line by line."""

from __future__ import annotations

from datetime import date

import pytest

from followup.clinical.plan.contraindications import check_medicine
from followup.clinical.record import parse_record

HEART_AND_LUNGS = {
    "asthma": False,
    "severe_airway_disease": False,
    "slow_heart": False,
    "heart_block": False,
    "heart_failure": False,
}
BETA_BLOCKERS = [
    "timolol-0-5",
    "betaxolol-0-5",
    "dorzolamide-timolol",
    "brimonidine-timolol",
    "latanoprost-timolol",
]
NSAID = "ketorolac-0-5"


def levels(findings: dict) -> dict[str, str]:
    return {name: finding.level for name, finding in findings.items()}


# ---- beta-blockers: product labels of the class, secondary copy (S) ----


@pytest.mark.parametrize("medicine", BETA_BLOCKERS)
@pytest.mark.parametrize(
    ("condition", "caution"),
    [
        ("asthma", "beta-blocker.asthma"),
        ("severe_airway_disease", "beta-blocker.airways"),
        ("slow_heart", "beta-blocker.slow-heart"),
        ("heart_block", "beta-blocker.heart-block"),
        ("heart_failure", "beta-blocker.heart-failure"),
    ],
)
@pytest.mark.parametrize("new", [True, False])
def test_a_beta_blocker_alone_or_mixed_new_or_in_use_is_stopped(check, medicine, condition, caution, new):
    found = check(medicine, new=new, conditions=HEART_AND_LUNGS | {condition: True})[caution]
    assert (found.level, found.holds, found.blocks) == ("stop", True, True)
    assert found.fields == (f"patient.conditions.{condition}",)
    assert (found.source, found.mark) == ("product labels of the class, secondary copy", "S")


@pytest.mark.parametrize("missing", sorted(HEART_AND_LUNGS))
def test_a_beta_blocker_is_not_offered_while_one_answer_is_missing(check, missing):
    known = {k: v for k, v in HEART_AND_LUNGS.items() if k != missing}
    found = check("timolol-0-5", conditions=known)["beta-blocker.not-asked"]
    assert (found.level, found.holds) == ("stop", True)
    assert found.answer_fields == (f"patient.conditions.{missing}",)


def test_a_beta_blocker_in_use_is_a_question_while_the_record_is_silent(check):
    found = check("timolol-0-5", new=False)["beta-blocker.not-asked"]
    assert (found.level, found.holds, found.blocks) == ("ask", False, True)
    assert "Timolol 0.5%" in found.question


def test_sound_lungs_and_heart_leave_nothing_to_say_about_a_beta_blocker(check):
    assert check("timolol-0-5", conditions=HEART_AND_LUNGS) == {}


# ---- carbonic anhydrase inhibitors and sulfonamide allergy ----


@pytest.mark.parametrize(
    ("reaction", "medicine", "new", "expected"),
    [
        ("rash", "dorzolamide-2", True, {"sulfonamide.rash": "ask"}),
        ("rash", "acetazolamide-250-tablet", True, {"sulfonamide.not-severe-mouth": "stop"}),
        ("severe", "dorzolamide-2", True, {"sulfonamide.severe-drop": "stop"}),
        ("severe", "dorzolamide-2", False, {"sulfonamide.severe-drop": "ask"}),
        ("severe", "acetazolamide-250-tablet", True, {"sulfonamide.severe": "stop"}),
        ("severe", "acetazolamide-250-tablet", False, {"sulfonamide.severe": "stop"}),
        ("not known", "brinzolamide-1", True, {"sulfonamide.reaction-unknown": "ask"}),
        ("severe", "timolol-0-5", True, {}),
        ("severe", "sulfacetamide-10", True, {"sulfonamide.severe": "stop"}),
    ],
)
def test_a_sulfonamide_allergy_is_judged_by_its_reaction(check, reaction, medicine, new, expected):
    sound = HEART_AND_LUNGS | {"kidney_disease": False, "liver_disease": False, "sickle_cell": False}
    allergies = [{"to": "sulfonamide", "reaction": reaction}]
    assert levels(check(medicine, new=new, conditions=sound, allergies=allergies)) == expected


@pytest.mark.parametrize("text", ["Sulphur allergy", "sulfur - as a child", "SULPHUR?"])
def test_sulphur_in_the_free_text_is_asked_about_never_guessed(check, text):
    assert levels(check("dorzolamide-2", allergy_text=text)) == {"sulfur-word.sulfonamide": "ask"}
    assert check("bromfenac-0-09", allergy_text=text)["sulfur-word.sulphite"].level == "warn"


@pytest.mark.parametrize(
    "text",
    ["sulfa - as a child", "SULPHA", "sulphonamides?", "allergic to co-trimoxazole", "Cotrimoxazole tablets"],
)
def test_a_word_for_a_sulfonamide_is_a_sulfonamide_with_a_reaction_to_ask_for(check, text):
    assert levels(check("dorzolamide-2", allergy_text=text)) == {"sulfonamide.reaction-unknown": "ask"}
    sound = {"kidney_disease": False, "liver_disease": False, "sickle_cell": False}
    by_mouth = check("acetazolamide-250-tablet", conditions=sound, allergy_text=text)
    assert levels(by_mouth) == {"sulfonamide.not-severe-mouth": "stop"}


@pytest.mark.parametrize("text", ["magnesium sulphate", "iron sulfate", "eggs"])
def test_sulphate_is_none_of_these(check, text):
    assert check("dorzolamide-2", allergy_text=text) == {}


def test_the_answer_about_sulphur_leaves_a_note_behind(check):
    found = check("dorzolamide-2", allergy_text="sulphur", sulphur_is_neither=True)["sulfur-word.sulfonamide"]
    assert (found.level, found.answered, found.holds, found.blocks) == ("note", True, False, False)
    assert found.question is None


@pytest.mark.parametrize(
    ("condition", "caution"),
    [
        ("kidney_disease", "acetazolamide.kidney"),
        ("liver_disease", "acetazolamide.liver"),
        ("sickle_cell", "acetazolamide.sickle-cell"),
    ],
)
def test_acetazolamide_is_stopped_by_kidney_liver_and_sickle_cell(check, condition, caution):
    found = check("acetazolamide-250-tablet", conditions={condition: True})
    assert levels(found)[caution] == "stop"


def test_acetazolamide_waits_for_answers_that_are_missing(check):
    found = check("acetazolamide-250-capsule")["acetazolamide.not-asked"]
    assert (found.level, found.holds) == ("ask", True)
    assert set(found.answer_fields) == {
        f"patient.conditions.{name}" for name in ("kidney_disease", "liver_disease", "sickle_cell")
    }


# ---- pregnancy ----


@pytest.mark.parametrize(
    ("patient", "asked"),
    [
        ({"sex": "female", "birth_date": "1990-01-01"}, True),
        ({"sex": None, "birth_date": "1990-01-01"}, True),
        ({"sex": "male", "birth_date": "1990-01-01"}, False),
        ({"sex": "female", "birth_date": "1955-01-01"}, False),
    ],
)
def test_pregnancy_is_asked_about_only_where_it_can_be(check, patient, asked):
    sound = {"kidney_disease": False, "liver_disease": False, "sickle_cell": False}
    found = check("acetazolamide-250-tablet", conditions=sound, **patient)
    assert ("acetazolamide.not-asked" in found) is asked


def test_a_pregnancy_stops_acetazolamide_and_lengthens_pressing_the_eye(check):
    young = {"sex": "female", "birth_date": "1990-01-01", "conditions": {"pregnancy": "first trimester"}}
    assert check("acetazolamide-250-tablet", **young)["acetazolamide.pregnant"].level == "stop"
    assert check("levofloxacin-0-5", **young)["pregnancy.press"].level == "note"


@pytest.mark.parametrize(
    ("pregnancy", "held"), [("third trimester", True), ("second trimester", False), ("no", False)]
)
def test_an_nsaid_waits_in_the_last_third_of_a_pregnancy(check, pregnancy, held):
    young = {"sex": "female", "birth_date": "1990-01-01", "conditions": {"pregnancy": pregnancy}}
    assert ("nsaid.third-trimester" in check(NSAID, **young)) is held


# ---- alpha agonists, prostaglandins, miotics ----


@pytest.mark.parametrize(
    ("conditions", "expected"),
    [
        ({"mao_inhibitor": True}, {"alpha-agonist.mao": "stop"}),
        ({"mao_inhibitor": False}, {}),
        ({}, {"alpha-agonist.not-asked": "ask"}),
    ],
)
def test_an_alpha_agonist_never_meets_an_mao_inhibitor(check, conditions, expected):
    assert levels(check("brimonidine-0-2", conditions=conditions)) == expected


@pytest.mark.parametrize(
    ("parts", "caution"),
    [
        ({"eye": {"uveitis": {}}}, "prostaglandin.uveitis"),
        ({"eye": {"herpetic_keratitis": {}}}, "prostaglandin.herpes"),
        ({"eye": {"uveitis": {"herpetic": True}}}, "prostaglandin.herpes"),
        ({"eye": {"macular_oedema": True}}, "prostaglandin.macula"),
        ({"eye": {"vein_occlusion": True}}, "prostaglandin.macula"),
        ({"eye": {"after_earlier_operation": {"macular_oedema": True}}}, "prostaglandin.macula"),
        ({"reviews": [{"macula": "oedema"}]}, "prostaglandin.macula"),
        ({"operation": {"capsule_torn": True}}, "prostaglandin.torn-capsule"),
    ],
)
def test_a_prostaglandin_is_never_first_in_such_an_eye_and_one_in_use_is_a_question(check, parts, caution):
    new = check("latanoprost-0-005", **parts)[caution]
    assert (new.level, new.holds) == ("ask", True)
    used = check("latanoprost-0-005", new=False, **parts)[caution]
    assert (used.level, used.holds, used.blocks) == ("ask", False, True)


def test_the_other_eye_is_not_held_against_a_prostaglandin(check):
    assert check("latanoprost-0-005", other_eye={"uveitis": {}, "macular_oedema": True}) == {}


def test_a_look_at_the_other_eye_says_nothing_about_this_one(formulary, cautions):
    record = parse_record(
        {
            "patient": {"code": "T-1", "name": "Invented Person", "birth_date": "1955-01-01"},
            "operations": [
                {"eye": eye, "eye_drawn": eye, "date": "2025-03-03", "procedure": "phacoemulsification"}
                for eye in ("right", "left")
            ],
            "reviews": [{"eye": "left", "date": "2025-03-10", "epithelial_defect": "yes"}],
        }
    )

    def found(eye):
        return check_medicine(
            record, formulary[NSAID], eye, new=True, days=14, max_count=4, cautions=cautions
        )

    assert found("right") == ()
    assert [finding.id for finding in found("left")] == ["nsaid.corneal-defect"]


def test_a_second_operation_on_the_eye_makes_older_looks_void(formulary, cautions):
    once = {"eye": "right", "eye_drawn": "right", "procedure": "phacoemulsification"}
    record = parse_record(
        {
            "patient": {"code": "T-1", "name": "Invented Person", "birth_date": "1955-01-01"},
            "operations": [
                once | {"date": "2025-03-03"},
                once | {"date": "2025-03-20", "epithelium_scraped": True},
            ],
            "reviews": [{"eye": "right", "date": "2025-03-10", "epithelial_defect": "no"}],
        }
    )
    found = check_medicine(
        record, formulary[NSAID], "right", new=True, days=14, max_count=4, cautions=cautions
    )
    assert [(finding.id, finding.fields) for finding in found] == [
        ("nsaid.corneal-defect", ("operations.1.epithelium_scraped",))
    ]


def test_a_prostaglandin_waits_while_the_last_look_saw_cells(check):
    looks = [{"cells": "2+"}, {"date": "2025-03-17", "cells": "0"}]
    assert "prostaglandin.inflamed" in check("latanoprost-0-005", reviews=looks[:1])
    assert "prostaglandin.inflamed" not in check("latanoprost-0-005", reviews=looks)
    before = check("latanoprost-0-005", reviews=looks, as_of=date(2025, 3, 12))
    assert "prostaglandin.inflamed" in before


@pytest.mark.parametrize(
    ("operation", "reviews", "risk"),
    [
        ({"chamber": "normal"}, [], False),
        ({"chamber": "shallow"}, [], True),
        ({"chamber": "very shallow"}, [], True),
        ({}, [], True),
        ({"chamber": "normal", "pressure_from_behind": True}, [], True),
        ({"chamber": "normal"}, [{"chamber": "flat"}], True),
        ({"chamber": "normal"}, [{"chamber": "not seen"}], False),
    ],
)
def test_a_miotic_is_not_given_at_an_angle_at_risk(check, operation, reviews, risk):
    found = check("pilocarpine-2", operation=operation, reviews=reviews)
    assert levels(found) == ({"miotic.angle": "stop"} if risk else {})


def test_a_miotic_is_stopped_in_uveitis(check):
    found = check("pilocarpine-2", eye={"uveitis": {}}, operation={"chamber": "normal"})
    assert levels(found) == {"miotic.uveitis": "stop"}
