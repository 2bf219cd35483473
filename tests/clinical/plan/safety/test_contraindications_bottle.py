"""NSAIDs, steroids, what else is in the bottle, allergies by name: the safety net, line by line."""

from __future__ import annotations

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
NSAID = "ketorolac-0-5"


def levels(findings: dict) -> dict[str, str]:
    return {name: finding.level for name, finding in findings.items()}


# ---- NSAIDs: product labels of the class, secondary copy (S) ----


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"operation": {"epithelium_scraped": True}}, {"nsaid.corneal-defect": "stop"}),
        ({"reviews": [{"epithelial_defect": "yes"}]}, {"nsaid.corneal-defect": "stop"}),
        (
            {"operation": {"epithelium_scraped": True}, "reviews": [{"epithelial_defect": "not seen"}]},
            {"nsaid.corneal-defect": "stop"},
        ),
        ({"operation": {"epithelium_scraped": True}, "reviews": [{"epithelial_defect": "no"}]}, {}),
        ({"allergies": [{"to": "aspirin", "reaction": "wheeze"}]}, {"nsaid.aspirin-wheeze": "stop"}),
        ({"allergies": [{"to": "aspirin", "reaction": "severe"}]}, {"nsaid.aspirin-wheeze": "stop"}),
        ({"allergies": [{"to": "aspirin", "reaction": "not known"}]}, {"nsaid.aspirin-other": "ask"}),
        ({"conditions": {"tolerates_aspirin": False}}, {"nsaid.aspirin-other": "ask"}),
        ({"conditions": {"asthma": True}}, {"nsaid.aspirin-not-asked": "ask"}),
        ({"conditions": {"nasal_polyps": True}}, {"nsaid.aspirin-not-asked": "ask"}),
        ({"conditions": {"asthma": True, "tolerates_aspirin": True}}, {"nsaid.aspirin-not-asked": "note"}),
        (
            {"conditions": {"asthma": True, "tolerates_aspirin": False}},
            {
                "nsaid.aspirin-wheeze": "stop",
                "nsaid.aspirin-not-asked": "note",
                "nsaid.aspirin-other": "note",
            },
        ),
        ({"eye": {"corneal_feeling": "reduced"}}, {"nsaid.numb-cornea": "ask"}),
        ({"eye": {"corneal_feeling": "normal"}}, {}),
        ({"conditions": {"rheumatoid": True}}, {"nsaid.joint-disease": "ask"}),
        ({"conditions": {"sjogren": True}}, {"nsaid.joint-disease": "ask"}),
        ({"eye": {"surface_disease": "severe dry eye"}}, {"nsaid.dry-eye": "ask"}),
        ({"eye": {"surface_disease": "mild"}}, {}),
        ({"conditions": {"blood_thinner": True}}, {"nsaid.blood-thinner": "warn"}),
    ],
)
def test_an_nsaid_is_blocked_held_or_warned_about(check, parts, expected):
    assert levels(check(NSAID, **parts)) == expected


@pytest.mark.parametrize(
    ("choice", "level", "holds"), [("give", "note", False), ("do not give", "ask", True)]
)
def test_the_surgeons_choice_to_give_answers_the_question_about_the_nsaid(check, choice, level, holds):
    parts = {"conditions": {"rheumatoid": True}, "operation": {"choices": {"nsaid": choice}}}
    found = check(NSAID, **parts)["nsaid.joint-disease"]
    assert (found.level, found.holds, found.question is not None) == (level, holds, holds)
    assert "operations.0.choices.nsaid" in found.answer_fields


def test_an_eye_without_operation_has_its_history_but_no_events_or_choices(formulary, cautions):
    record = parse_record(
        {
            "patient": {
                "code": "T-1",
                "name": "Invented Person",
                "birth_date": "1955-01-01",
                "conditions": {"rheumatoid": True},
                "eyes": {"left": {"uveitis": {}}},
            },
            "operations": [
                {
                    "eye": "right",
                    "eye_drawn": "right",
                    "date": "2025-03-03",
                    "procedure": "phacoemulsification",
                    "epithelium_scraped": True,
                    "choices": {"nsaid": "give"},
                }
            ],
        }
    )

    def levels_in_left_eye(medicine):
        found = check_medicine(
            record, formulary[medicine], "left", new=False, days=14, max_count=2, cautions=cautions
        )
        return [(finding.id, finding.level) for finding in found]

    assert levels_in_left_eye(NSAID) == [("nsaid.joint-disease", "ask")]
    assert levels_in_left_eye("pilocarpine-2") == [("miotic.uveitis", "ask")]


def test_no_choice_lifts_the_block_of_a_corneal_defect(check):
    parts = {"operation": {"epithelium_scraped": True, "choices": {"nsaid": "give"}}}
    assert levels(check(NSAID, **parts)) == {"nsaid.corneal-defect": "stop"}


@pytest.mark.parametrize(
    ("medicine", "days", "diabetes", "off_label"),
    [
        (NSAID, 14, None, False),
        (NSAID, 15, None, True),
        ("nepafenac-0-1", 60, "with retinopathy", False),
        ("nepafenac-0-1", 61, "with retinopathy", True),
        ("nepafenac-0-1", 60, "no", True),
        ("nepafenac-0-1", 60, None, True),
    ],
)
def test_a_course_past_the_label_is_said_to_be_off_label(check, medicine, days, diabetes, off_label):
    found = check(medicine, days=days, conditions={"diabetes": diabetes})
    assert ("nsaid.past-label" in found) is off_label
    if off_label:
        assert f"for {days} days" in found["nsaid.past-label"].text


# ---- steroids ----


@pytest.mark.parametrize(
    ("medicine", "course", "asks"),
    [
        ("dexamethasone-0-1", {"days": 28, "max_count": 4, "counts": [(4, 7), (3, 21)]}, False),
        ("dexamethasone-0-1", {"days": 28, "max_count": 4, "counts": [(4, 14), (3, 14)]}, False),
        ("dexamethasone-0-1", {"days": 28, "max_count": 4, "counts": [(4, 15), (3, 13)]}, True),
        ("dexamethasone-0-1", {"days": 15, "max_count": 4}, True),
        ("dexamethasone-0-1", {"days": 60, "max_count": 3}, False),
    ],
)
def test_ritonavir_with_a_dense_steroid_asks(check, medicine, course, asks):
    """Regulator's notice (P): four a day or more for over 14 days."""
    found = check(medicine, conditions={"cyp3a4_inhibitor": "ritonavir or cobicistat"}, **course)
    assert levels(found) == ({"steroid.inhibitor": "ask"} if asks else {})


@pytest.mark.parametrize("medicine", ["dexamethasone-depot", "triamcinolone-injection"])
def test_ritonavir_with_any_depot_asks(check, medicine):
    found = check(medicine, conditions={"cyp3a4_inhibitor": "ritonavir or cobicistat"})
    assert levels(found) == {"steroid.inhibitor-depot": "ask"}


def test_the_surgeons_choice_answers_the_question_about_ritonavir(check):
    found = check(
        "dexamethasone-0-1",
        days=42,
        max_count=6,
        conditions={"cyp3a4_inhibitor": "ritonavir or cobicistat"},
        operation={"choices": {"steroid_with_inhibitor": "give"}},
    )
    assert levels(found) == {"steroid.inhibitor": "note"}


@pytest.mark.parametrize(
    "parts",
    [
        {"eye": {"steroid_responder": True}},
        {"other_eye": {"after_earlier_operation": {"pressure_rise_on_steroid": True}}},
    ],
)
def test_the_strongest_steroid_is_never_given_to_a_responder(check, parts):
    """Published comparison (P): difluprednate raises the pressure more."""
    assert levels(check("difluprednate-0-05", **parts)) == {"steroid.strongest-in-responder": "stop"}
    assert check("fluorometholone-0-1", **parts) == {}


def test_no_steroid_goes_on_active_epithelial_herpes(check):
    """Product label (P)."""
    active = {"herpetic_keratitis": {"active_epithelial_disease": True}}
    assert levels(check("prednisolone-acetate-1", eye=active))["steroid.active-herpes"] == "stop"
    assert "steroid.active-herpes" not in check("prednisolone-acetate-1", other_eye=active)


def test_steroid_tablets_count_both_eyes_and_the_whole_person(check):
    active = {"herpetic_keratitis": {"active_epithelial_disease": True}}
    conditions = {"diabetes": "without retinopathy", "tuberculosis": True}
    found = check("prednisolone-5-tablet", other_eye=active, conditions=conditions)
    asked = {"steroid-tablet.diabetes", "steroid-tablet.tuberculosis"}
    assert set(found) == {*asked, "steroid-tablet.never-suddenly"}


# ---- what else is in the bottle, and allergies by name ----


@pytest.mark.parametrize(
    ("parts", "asks"),
    [
        ({"operation": {"epithelium_scraped": True}}, True),
        ({"reviews": [{"cornea": "whole oedema"}]}, True),
        ({"reviews": [{"cornea": "central haze"}]}, False),
    ],
)
def test_phosphate_is_kept_off_a_damaged_cornea(check, parts, asks):
    found = check("dexamethasone-phosphate-0-1", **parts)
    assert levels(found) == ({"phosphate.defect": "ask"} if asks else {})
    assert "phosphate.defect" not in check("prednisolone-acetate-1", **parts)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"allergies": [{"to": "sulphite", "reaction": "severe"}]}, {"sulphite.severe": "stop"}),
        ({"allergies": [{"to": "sulphite", "reaction": "rash"}]}, {"sulphite.other": "ask"}),
        ({"allergies": [{"to": "sulphite"}]}, {"sulphite.other": "ask"}),
        ({"conditions": {"asthma": True}}, {"sulphite.asthma": "warn"}),
        ({"allergies": [{"to": "sulfonamide", "reaction": "severe"}]}, {}),
    ],
)
def test_sulphite_in_the_bottle_is_warned_about(check, parts, expected):
    """Product label of prednisolone acetate, secondary copy (S)."""
    assert levels(check("prednisolone-acetate-1", **parts)) == expected


def test_an_allergy_to_benzalkonium_leaves_only_bottles_without_it(check):
    allergies = [{"to": "benzalkonium"}]
    assert levels(check("levofloxacin-0-5", allergies=allergies)) == {"benzalkonium.allergy": "stop"}
    assert check("moxifloxacin-0-5", allergies=allergies) == {}


@pytest.mark.parametrize(
    ("allergic_to", "medicine"),
    [
        ("levofloxacin-0-5", "levofloxacin-0-5"),
        ("timolol-0-5", "dorzolamide-timolol"),
        ("dorzolamide-timolol", "timolol-0-25"),
        ("prednisolone-5-tablet", "prednisolone-acetate-1"),
        ("cefuroxime", "cefuroxime-chamber"),
    ],
)
def test_an_allergy_to_a_named_medicine_stops_every_product_with_its_substance(check, allergic_to, medicine):
    allergies = [{"to": "medicine", "medicine": allergic_to, "reaction": "rash"}]
    for new in (True, False):
        found = check(medicine, new=new, allergies=allergies, conditions=HEART_AND_LUNGS)["allergy.medicine"]
        assert (found.level, found.holds) == ("stop", True)
        assert found.fields == ("patient.allergies.0.medicine",)


def test_an_allergy_to_a_medicine_of_another_class_stops_nothing(check):
    assert check("chloramphenicol-0-5", allergies=[{"to": "medicine", "medicine": "levofloxacin-0-5"}]) == {}


def test_a_medicine_named_in_the_free_text_is_asked_about_and_forbidden_after_a_severe_reaction(check):
    mild = check("chloramphenicol-0-5", allergy_text="itchy after Chloramphenicol once")
    assert levels(mild) == {"allergy.in-words": "ask"}
    severe = check("chloramphenicol-0-5", allergy_text="swollen after Chloramphenicol once")
    assert levels(severe) == {"allergy.in-words-severe": "stop"}


def test_an_ointment_is_not_put_on_a_bandage_lens(check):
    """Product labels, secondary copy (S)."""
    found = check("chloramphenicol-1-ointment", operation={"bandage_lens": True})
    assert levels(found) == {"ointment.bandage-lens": "stop"}
    assert check("chloramphenicol-0-5", operation={"bandage_lens": True}) == {}


def test_a_plain_record_gives_the_usual_medicines_without_a_word(check):
    for medicine in ("dexamethasone-0-1", "levofloxacin-0-5", "bromfenac-0-09", "cyclopentolate-1"):
        assert check(medicine) == {}, medicine


def test_the_gravest_finding_comes_first(formulary, cautions, check):
    order = ["stop", "ask", "warn", "note"]
    found = list(
        check(
            "bromfenac-0-09",
            days=42,
            conditions={"asthma": True, "rheumatoid": True},
            operation={"epithelium_scraped": True},
        ).values()
    )
    assert [f.level for f in found] == sorted((f.level for f in found), key=order.index)
    assert {f.level for f in found} == set(order)
