"""What holds for every record: a new fact may answer a caution by name; none disappears silently."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from followup.clinical.plan.contraindications import check_medicine
from followup.clinical.protocol.cautions import SEVERITY
from followup.clinical.record import Conditions, parse_record

YES_NO = [True, False]
FACTS: dict[str, list[Any]] = {
    **{
        f"patient.conditions.{name}": YES_NO
        for name, field in Conditions.model_fields.items()
        if field.annotation == bool | None
    },
    "patient.conditions.diabetes": ["no", "with retinopathy"],
    "patient.conditions.pregnancy": ["no", "first trimester", "third trimester"],
    "patient.conditions.cyp3a4_inhibitor": ["no", "ritonavir or cobicistat", "other strong inhibitor"],
    "patient.sex": ["female", "male"],
    "patient.allergy_text": ["sulphur", "timolol and eggs", "none"],
    "patient.sulphur_is_neither": YES_NO,
    "patient.eyes.right.uveitis": [{}, {"herpetic": True}],
    "patient.eyes.right.herpetic_keratitis": [{}, {"active_epithelial_disease": True}],
    "patient.eyes.right.macular_oedema": YES_NO,
    "patient.eyes.right.steroid_responder": YES_NO,
    "patient.eyes.left.steroid_responder": YES_NO,
    "patient.eyes.right.corneal_feeling": ["normal", "reduced"],
    "patient.eyes.right.surface_disease": ["none", "severe dry eye"],
    "operations.0.capsule_torn": YES_NO,
    "operations.0.chamber": ["normal", "shallow"],
    "operations.0.pressure_from_behind": YES_NO,
    "operations.0.epithelium_scraped": YES_NO,
    "operations.0.bandage_lens": YES_NO,
    "operations.0.choices.nsaid": ["give", "do not give"],
    "operations.0.choices.steroid_with_inhibitor": ["give"],
}
LOOKS: dict[str, list[str]] = {
    "epithelial_defect": ["yes", "no", "not seen"],
    "cornea": ["clear", "whole oedema"],
    "cells": ["0", "2+", "not seen"],
    "macula": ["dry", "oedema"],
    "chamber": ["deep", "flat"],
}
ALLERGIES = st.fixed_dictionaries(
    {
        "to": st.sampled_from(["sulfonamide", "sulphite", "benzalkonium", "aspirin"]),
        "reaction": st.sampled_from(["rash", "severe", "wheeze", "other", "not known"]),
    }
) | st.just({"to": "medicine", "medicine": "timolol-0-5", "reaction": "rash"})


@st.composite
def facts(draw: st.DrawFn, most: int = 8) -> dict[str, Any]:
    names = draw(st.lists(st.sampled_from(sorted(FACTS)), unique=True, max_size=most))
    return {name: draw(st.sampled_from(FACTS[name])) for name in names}


def blank() -> dict[str, Any]:
    return {
        "patient": {
            "code": "T-1",
            "name": "Invented Person",
            "birth_date": "1985-01-01",
            "allergies": [],
            "conditions": {},
            "eyes": {"right": {}, "left": {}},
        },
        "operations": [
            {
                "eye": "right",
                "eye_drawn": "right",
                "date": "2025-03-03",
                "procedure": "phacoemulsification",
                "choices": {},
            }
        ],
        "reviews": [],
    }


def put(data: dict[str, Any], path: str, value: Any) -> None:
    here: Any = data
    *way, last = path.split(".")
    for name in way:
        here = here[int(name)] if name.isdigit() else here[name]
    here[last] = value


def record_with(known: dict[str, Any], allergies: list[dict], looks: list[dict]) -> Any:
    data = blank()
    for path, value in known.items():
        put(data, path, value)
    data["patient"]["allergies"] = allergies
    data["reviews"] = [{"eye": "right", "date": f"2025-03-{10 + n}", **look} for n, look in enumerate(looks)]
    return parse_record(data)


def names_the(field: str, answers: tuple[str, ...]) -> bool:
    """Whether ``field`` is one of the fields named, or the list or part that one stands in."""
    return any(re.match(re.escape(field) + r"(\.|$)", a) or field.startswith(a + ".") for a in answers)


def vanished(before: Any, after: Any) -> list[Any]:
    kept = {f.id: SEVERITY[f.level] for f in after}
    return [f for f in before if kept.get(f.id, -1) < SEVERITY[f.level]]


@pytest.fixture(scope="session", params=[True, False], ids=["new", "in use"])
def findings(request, formulary, cautions):
    def _findings(record: Any, medicine: str) -> Any:
        product = formulary[medicine]
        eye = None if product.route == "mouth" else "right"
        return check_medicine(
            record, product, eye, new=request.param, days=42, max_count=6, cautions=cautions
        )

    return _findings


OF_MEDICINES = [
    "bromfenac-0-09",
    "nepafenac-0-1",
    "dorzolamide-timolol",
    "brimonidine-0-2",
    "latanoprost-0-005",
    "pilocarpine-2",
    "prednisolone-acetate-1",
    "difluprednate-0-05",
    "dexamethasone-0-1",
    "acetazolamide-250-tablet",
    "prednisolone-5-tablet",
    "aciclovir-400-tablet",
    "chloramphenicol-1-ointment",
    "sulfacetamide-10",
]
MEDICINES = st.sampled_from(OF_MEDICINES)


# What is known before: nothing, or one thing that asks something of a medicine.
KNOWN: tuple[dict[str, Any], ...] = (
    {},
    {"patient.conditions.asthma": True},
    {"patient.allergy_text": "sulphur"},
    {"operations.0.epithelium_scraped": True},
)


def test_a_new_fact_removes_a_caution_only_by_answering_it_by_name(findings):
    """Every fact with each of its values, for every medicine, on every ground: nothing left to chance."""
    lifted = set()
    for known in KNOWN:
        ground = record_with(known, [], [])
        before = {medicine: findings(ground, medicine) for medicine in OF_MEDICINES}
        for new, values in FACTS.items():
            for value in values if new not in known else ():
                told = record_with(known | {new: value}, [], [])
                for medicine in OF_MEDICINES:
                    for finding in vanished(before[medicine], findings(told, medicine)):
                        assert names_the(new, finding.answer_fields), (finding, known, new, value)
                        lifted.add(finding.id)
    assert sorted(lifted) == [
        "acetazolamide.not-asked",
        "alpha-agonist.not-asked",
        "beta-blocker.not-asked",
        "miotic.angle",
        "nsaid.aspirin-not-asked",
        "nsaid.past-label",
        "sulfur-word.sulfonamide",
        "sulfur-word.sulphite",
    ]


@given(known=facts(), allergies=st.lists(ALLERGIES, max_size=2), one=ALLERGIES, medicine=MEDICINES)
@example(
    known={"patient.conditions.tolerates_aspirin": False},
    allergies=[],
    one={"to": "aspirin", "reaction": "wheeze"},
    medicine="bromfenac-0-09",
)
def test_one_more_allergy_never_lowers_a_caution_but_by_naming_the_sulphur(
    findings, known, allergies, one, medicine
):
    before = findings(record_with(known, allergies, []), medicine)
    after = findings(record_with(known, [*allergies, one], []), medicine)
    for finding in vanished(before, after):
        assert names_the("patient.allergies", finding.answer_fields), finding


def test_one_more_look_removes_only_what_it_has_looked_at(findings):
    """The same for every finding of a look, after no look and after one that saw something bad."""
    lifted = set()
    looks = [{name: value} for name, values in LOOKS.items() for value in values]
    bad = [{"epithelial_defect": "yes"}, {"cells": "2+"}, {"macula": "oedema"}, {"chamber": "flat"}]
    for known in ({}, {"operations.0.epithelium_scraped": True}):
        for earlier in ([], *([look] for look in bad)):
            ground = record_with(known, [], earlier)
            before = {medicine: findings(ground, medicine) for medicine in OF_MEDICINES}
            for look in looks:
                told = record_with(known, [], [*earlier, look])
                (seen,) = look
                for medicine in OF_MEDICINES:
                    for finding in vanished(before[medicine], findings(told, medicine)):
                        assert names_the(f"reviews.{seen}", finding.answer_fields), (finding, known, look)
                        lifted.add(finding.id)
    assert sorted(lifted) == [
        "nsaid.corneal-defect",
        "phosphate.defect",
        "prostaglandin.inflamed",
        "prostaglandin.macula",
    ]


@pytest.mark.parametrize(
    ("medicine", "known", "new", "caution"),
    [
        ("acetazolamide-250-tablet", {}, ("patient.sex", "male"), "acetazolamide.not-asked"),
        ("acetazolamide-250-tablet", {}, ("patient.conditions.pregnancy", "no"), "acetazolamide.not-asked"),
        ("pilocarpine-2", {}, ("operations.0.chamber", "normal"), "miotic.angle"),
        ("brimonidine-0-2", {}, ("patient.conditions.mao_inhibitor", False), "alpha-agonist.not-asked"),
        (
            "bromfenac-0-09",
            {"patient.conditions.asthma": True},
            ("patient.conditions.tolerates_aspirin", True),
            "nsaid.aspirin-not-asked",
        ),
        (
            "sulfacetamide-10",
            {"patient.allergy_text": "sulphur"},
            ("patient.sulphur_is_neither", True),
            "sulfur-word.sulfonamide",
        ),
        (
            "bromfenac-0-09",
            {"operations.0.epithelium_scraped": True},
            ("reviews.epithelial_defect", "no"),
            "nsaid.corneal-defect",
        ),
    ],
)
def test_a_caution_that_an_answer_lifts_has_named_its_field(
    formulary, cautions, medicine, known, new, caution
):
    product, (field, value) = formulary[medicine], new
    eye = None if product.route == "mouth" else "right"
    sound = {f"patient.conditions.{n}": False for n in ("kidney_disease", "liver_disease", "sickle_cell")}
    look = [{field.removeprefix("reviews."): value}] if field.startswith("reviews.") else []
    more = {} if look else {field: value}

    def found(record):
        results = check_medicine(record, product, eye, new=True, days=14, max_count=2, cautions=cautions)
        return {f.id: f for f in results}

    before = found(record_with(sound | known, [], []))[caution]
    after = found(record_with(sound | known | more, [], look)).get(caution)
    assert before.holds
    assert after is None or after.answered
    assert field in before.answer_fields


@given(known=facts(), medicine=MEDICINES)
def test_every_finding_says_why_from_where_and_what_to_do(findings, known, medicine):
    for finding in findings(record_with(known, [], []), medicine):
        assert finding.text
        assert finding.because
        assert finding.source
        assert finding.fields
        assert "{" not in finding.text + (finding.question or "")
        if finding.level == "ask":
            assert finding.question
            assert finding.blocks
        if finding.holds:
            assert finding.level in ("stop", "ask")


@given(known=facts(most=20), medicine=MEDICINES)
def test_more_days_or_drops_never_mean_fewer_cautions(formulary, cautions, known, medicine):
    product = formulary[medicine]
    eye = None if product.route == "mouth" else "right"
    record = record_with(known, [], [])

    def ids(days: int, count: int) -> set[str]:
        found = check_medicine(record, product, eye, new=True, days=days, max_count=count, cautions=cautions)
        return {finding.id for finding in found}

    assert ids(7, 2) <= ids(28, 2) <= ids(28, 6)
