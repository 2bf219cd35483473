"""The surgeon signs what he sees: who and why stand on the plan and on each line of the plans to sign."""

from __future__ import annotations

import pytest

from followup.desks.words.texts import Texts

PASSWORD = "a long enough password"


@pytest.fixture
def entered(house, routine, form_of):
    """``entered(code, **answers)``: a record stored by the counsellor; the address of its plan."""
    house.sign_protocol()

    def make(code="K-104", **answers):
        counsellor = house.log_in("counsellor")
        form = form_of(counsellor.get("/operations/new").text) | routine | {"patient.code": [code]}
        form |= {name.replace("__", "."): [value] for name, value in answers.items()}
        answer = counsellor.post("/operations/new", data=form)
        assert answer.status_code == 303, answer.text
        return answer.headers["location"]

    return make


TOLD = {
    "patient__conditions__diabetes": "without retinopathy",
    "patient__allergies__0__to": "other",
    "patient__allergies__0__described": "way of giving: seafood",
    "patient__eyes__right__glaucoma": "yes",
    "operations__0__capsule_torn": "yes",
    "operations__0__watertight": "no",
    "patient__travel__hours": "1.5",
}


def test_what_was_told_and_is_not_routine_stands_on_the_plan_and_on_its_line(house, entered, words_of):
    plan = entered(**TOLD)
    surgeon = house.log_in("surgeon")
    for page in (plan, "/waiting"):
        said = words_of(surgeon.get(page).text)
        for words in (
            "right eye, diagnosis",
            "laucoma",
            "right eye, operation",
            "apsule",
            "Allergies",
            "way of giving: seafood",
            "Illnesses",
            "without retinopathy",
            "Who gives the drops",
            "Way home",
            "1.5",
        ):
            assert words in said, (page, words)
        # A routine answer goes without saying; a wound that is not watertight does not.
        assert "Watertight at the end : no" in said
        assert "hooks" not in said
    (line,) = surgeon.get("/api/plans/waiting").json()
    assert line["glance"] == surgeon.get(f"/api{plan}").json()["glance"]
    assert any("seafood" in text for part in line["glance"] for text in part["told"])


def test_a_day_is_written_as_people_say_it(house, entered, words_of):
    told = {"uveitis": "yes", "uveitis__last_active": "2026-06-01", "uveitis__kind": "anterior"}
    plan = entered(**{f"patient__eyes__right__{name}": value for name, value in told.items()})
    said = words_of(house.log_in("surgeon").get(plan).text)
    glance = said.partition("right eye, diagnosis")[2].partition("right eye, operation")[0]
    assert "Monday 1 June 2026" in glance
    assert "2026-06-01" not in glance


def test_that_no_allergy_was_found_when_asked_is_not_the_same_as_nothing_told(house, entered, words_of):
    page = words_of(house.log_in("surgeon").get(entered(patient__no_other_allergy="yes")).text)
    assert "Allergies Asked: no other allergy" in page


def test_what_is_routine_is_left_out_of_the_summary_and_what_is_not_is_said(house, entered, words_of):
    told = {"operations__0__viscoelastic__removed": "all", "operations__0__capsulorhexis_mm": "5.2"}
    plan = entered(**told, operations__0__pupil_before_mm="3.5", patient__eyes__right__pressure_before="16")
    glance = house.log_in("surgeon").get(f"/api{plan}").json()["glance"]
    diagnosis, operation = (part["told"] for part in glance[:2])
    assert diagnosis == []
    assert operation == ["phacoemulsification", "Pupil before, mm: 3.5"]


def test_where_nothing_was_told_that_is_said(house, entered, words_of):
    said = words_of(house.log_in("surgeon").get(entered()).text)
    assert "Allergies none told" in said
    assert "Way home not told" in said


@pytest.mark.parametrize(
    "answers",
    [
        {"patient__eyes__right__uveitis": "yes", "patient__eyes__right__uveitis__last_active": "2026-01-01"},
        {"patient__eyes__right__glaucoma": "yes"},
        # A caution that nobody has answered before, here of an only eye.
        {"patient__eyes__right__only_seeing": "yes"},
    ],
)
def test_uveitis_and_a_high_pressure_risk_are_never_among_the_quiet_ones(house, entered, answers):
    entered("K-105")
    entered("K-106", **answers)
    surgeon = house.log_in("surgeon")
    together = {one["patient"]["code"]: one["together"] for one in surgeon.get("/api/plans/waiting").json()}
    assert together == {"K-105": True, "K-106": False}


def test_each_of_several_answers_to_one_field_is_told_in_the_staffs_language():
    """How the pupil was widened stood in English on a plan in Arabic."""
    texts = Texts("ar")
    for word in ("stretched", "hooks", "ring"):
        said = texts.found(word, "some of", "Operation.pupil_widened")
        assert said == texts.choice(word, "Operation.pupil_widened")
        assert said != word
