"""Herpes and infection behind the inflammation: asked, answerable, and never under a steroid unasked."""

from __future__ import annotations

import pytest

ACTIVE = {"herpetic_keratitis": {"active_epithelial_disease": True}}
TREATED = {"medicine": "aciclovir-400-tablet", "count_a_day": 5, "days": 10}
DECIDED = {"why": "aciclovir first, steroid when the dendrite has healed", "decided_by": "Dr Osei"}


def uveitic(**more):
    """Quiet for a year, not herpetic, infection excluded, unless told otherwise."""
    known = {"kind": "anterior", "last_active": "2025-03-01", "herpetic": False, "infection_excluded": True}
    return {"uveitis": {k: v for k, v in (known | more).items() if v is not None}}


ASKED = {"tuberculosis": False, "syphilis": False}


# ---- active epithelial herpes ---------------------------------------------------------------------
def test_active_herpes_stops_every_steroid_drop_the_one_in_use_too(someone, told):
    before = [{"medicine": "fluorometholone-0-1", "eye": "right", "count_a_day": 2}]
    plan = told(someone(eye=ACTIVE, in_use=before))
    assert plan.courses()["right:steroid"] == "held"
    assert plan.courses()["right:fluorometholone-0-1"] == "held"
    stops = [c for c in plan.plan.cautions if c.id == "steroid.active-herpes"]
    assert {c.level for c in stops} == {"stop"}
    assert all("No steroid drop of any kind; the surgeon decides today." in c.text for c in stops)


def test_another_steroid_is_no_answer_to_active_herpes(someone, told):
    other = [{"role": "steroid", "medicine": "loteprednol-0-5"}]
    plan = told(someone(eye=ACTIVE, operation={"products": other}))
    assert plan.courses()["right:steroid"] == "held"
    assert not plan.plan.signable


def test_active_herpes_is_looked_at_on_day_one_and_gets_no_nsaid(someone, told):
    plan = told(someone(eye=ACTIVE))
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    assert plan.courses()["right:nsaid"] == "held"
    assert plan.cautions()["nsaid.active-herpes"] == "stop"


def test_active_herpes_asks_for_a_treatment_with_its_dose_and_for_the_kidneys(someone, told):
    plan = told(someone(eye=ACTIVE))
    assert {"herpes-treatment", "herpes-kidneys"} <= plan.blocking()
    assert plan.question("herpes-treatment").fields == ("patient.eyes.right.herpetic_keratitis.treatment",)
    assert "mouth:antiviral" not in plan.courses(), "a cover does not treat"
    sick = told(someone(eye=ACTIVE, conditions={"kidney_disease": True}))
    assert "herpes-kidneys" not in sick.asks()


def test_the_ordered_treatment_stands_on_the_plan_from_the_day_of_surgery(someone, told):
    eye = {"herpetic_keratitis": {"active_epithelial_disease": True, "treatment": TREATED}}
    plan = told(someone(eye=eye, conditions={"kidney_disease": False}))
    assert plan.steps("mouth:antiviral") == "5x10"
    assert plan.starts("mouth:antiviral") == 0
    assert "herpes-treatment" not in plan.asks()
    sick = told(someone(eye=eye, conditions={"kidney_disease": True}))
    assert sick.courses()["mouth:antiviral"] == "held"
    assert "antiviral.kidney" in sick.blocking()


def test_active_herpes_is_signable_only_after_the_surgeon_says_what_instead(someone, told):
    eye = {"herpetic_keratitis": {"active_epithelial_disease": True, "treatment": TREATED}}
    more = {"eye": eye | {"corneal_feeling": "normal"}, "conditions": {"kidney_disease": False}}
    no_nsaid = [{"caution": "nsaid.active-herpes", "course": "right:nsaid", "decision": "do not give"}]
    waits = told(someone(**more, operation={"answers": no_nsaid}))
    assert not waits.plan.signable
    decided = told(someone(**more, operation={"answers": no_nsaid, "no_steroid_drop": DECIDED}))
    assert decided.plan.signable, decided.blocking()
    assert decided.courses()["right:steroid"] == "stopped"
    assert decided.caution("no-steroid-drop").decided_by == "Dr Osei"
    assert decided.windows() == waits.windows()


# ---- herpetic uveitis ---------------------------------------------------------------------------------
def test_herpetic_uveitis_holds_the_steroid_until_the_cover_is_answered(someone, told):
    plan = told(someone(eye=uveitic(herpetic=True), conditions=ASKED))
    assert plan.courses()["right:steroid"] == "held"
    assert plan.question("herpetic-uveitis-cover").holds == ("right:steroid", "mouth:antiviral")
    covered = told(someone(eye=uveitic(herpetic=True, antiviral_cover=True), conditions=ASKED))
    assert covered.courses()["right:steroid"] == "active"
    assert covered.courses()["mouth:antiviral"] == "active"
    assert covered.number(covered.course("mouth:antiviral").last_day) == covered.last() + 14


def test_herpetic_uveitis_without_cover_is_the_surgeons_and_stands_as_a_warning(someone, told):
    plan = told(someone(eye=uveitic(herpetic=True, antiviral_cover=False), conditions=ASKED))
    assert plan.courses()["right:steroid"] == "active"
    assert "mouth:antiviral" not in plan.courses()
    assert plan.cautions()["herpetic-uveitis-no-cover"] == "warn"


# ---- infection -------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("eye", "conditions", "asked"),
    [
        (uveitic(herpetic=None), ASKED, "ask-uveitis-herpetic"),
        (uveitic(infection_excluded=None), ASKED, "ask-uveitis-infection"),
        (uveitic(), {"syphilis": False}, "ask-tuberculosis"),
        (uveitic(), {"tuberculosis": False}, "ask-syphilis"),
    ],
)
def test_a_cause_that_was_not_said_is_asked_and_blocks(someone, told, eye, conditions, asked):
    assert told(someone(eye=eye, conditions=conditions)).blocking() & {
        "ask-uveitis-herpetic",
        "ask-uveitis-infection",
        "ask-tuberculosis",
        "ask-syphilis",
    } == {asked}


def test_the_causes_are_not_asked_of_an_eye_without_uveitis(someone, told):
    assert told(someone()).blocking() == set()


@pytest.mark.parametrize(
    ("answer", "caution"),
    [
        ({"infection_excluded": True}, None),
        ({"infection_treated_with": "four medicines against tuberculosis"}, "uveitis-infection-treated"),
        ({"steroid_despite_infection": "sight would be lost"}, "steroid-despite-infection"),
    ],
)
def test_infection_not_excluded_holds_the_steroid_and_each_answer_lets_it_go(someone, told, answer, caution):
    open_ = told(someone(eye=uveitic(infection_excluded=False), conditions=ASKED))
    assert open_.courses()["right:steroid"] == "held"
    assert open_.question("uveitis-infection").holds == ("right:steroid",)
    assert "stop" in open_.cautions()["uveitis-infection"]
    assert any(field.endswith(next(iter(answer))) for field in open_.question("uveitis-infection").fields)
    answered = told(someone(eye=uveitic(**{"infection_excluded": False} | answer), conditions=ASKED))
    assert answered.courses()["right:steroid"] == "active"
    assert answered.plan.signable
    if caution:
        assert answered.cautions()[caution] == "warn"
        said = {use.value for reason in answered.caution(caution).reasons for use in reason.facts}
        assert set(answer.values()) <= said, "what was answered is told with it"
