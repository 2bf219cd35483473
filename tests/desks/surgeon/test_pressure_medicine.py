"""A proposal of a medicine needs the medicine: asked for where it is missing, and never signed without it."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import pytest
from look_cases import record_of

from followup.care.plans.plan_view import untreated
from followup.clinical.protocol.load import load_protocol

PASSWORD = "a long enough password"
EYE = "/patients/K-104/eyes/right"


@pytest.fixture
def high(house, routine, form_of):
    """``high(**answers)``: a signed plan, 34 mmHg on day 8; browser, address of the look, plan."""
    house.sign_protocol()

    def make(**answers):
        counsellor = house.log_in("counsellor")
        form = form_of(counsellor.get("/operations/new").text) | routine
        form |= {name.replace("__", "."): [value] for name, value in answers.items()}
        plan = counsellor.post("/operations/new", data=form).headers["location"]
        surgeon = house.log_in("surgeon")
        assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
        house.clock.on(8)
        surgeon = house.log_in("surgeon")
        findings = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
        findings |= {"reviews.0.cells": ["0"], "reviews.0.pressure": ["34"]}
        answer = surgeon.post(f"{EYE}/findings", data=findings)
        assert answer.status_code == 303, answer.text
        return surgeon, answer.headers["location"], plan

    return make


def _treating(page: str) -> str:
    return page.split('name="take" value="pressure')[1].split('"')[0]


def test_a_drop_that_is_added_without_a_drop_can_not_be_stored(high, form_of, words_of):
    surgeon, look, plan = high()
    page = surgeon.get(look).text
    assert "to choose: the pressure medicine" in words_of(page)
    form = form_of(page) | {"take": [f"pressure{_treating(page)}"], "reason": ["34 mmHg"]}
    form.pop("offer", None)
    refused = surgeon.post(look, data=form | {"store": ["yes"]})
    assert refused.status_code == 422
    assert "a pressure medicine is to be added, and none is chosen" in words_of(refused.text)
    # The plan in force says so in red, until one is added.
    assert "34 mmHg on Tuesday 9 March, and this plan holds no pressure medicine" in words_of(
        surgeon.get(plan).text
    )


def test_a_product_outside_the_list_is_added_with_its_dose(high, form_of, words_of):
    surgeon, look, _ = high()
    page = surgeon.get(look).text
    form = form_of(page) | {"take": [f"pressure{_treating(page)}"], "reason": ["34 mmHg"], "store": ["yes"]}
    form |= {"other": ["dorzolamide-2"], "other_count": ["2"], "other_days": ["often"]}
    assert surgeon.post(look, data=form).status_code == 422
    made = surgeon.post(look, data=form | {"other_days": ["14"]})
    assert made.status_code == 303, words_of(made.text)
    said = words_of(surgeon.get(made.headers["location"]).text)
    assert "holds no pressure medicine" not in said
    assert "orzolamide" in said


def test_the_plan_says_so_by_json_too(high):
    surgeon, _, plan = high()
    (one,) = surgeon.get(f"/api{plan}").json()["untreated"]
    assert (one["eye"], one["mmhg"]) == ("right", 34.0)


def test_a_draft_says_so_on_the_list_of_plans_to_sign_and_is_never_quiet(high, words_of):
    surgeon, _, plan = high()
    assert surgeon.post(f"{plan}/again").status_code == 303
    assert "34 mmHg on Tuesday 9 March, and this plan holds no pressure medicine" in words_of(
        surgeon.get("/waiting").text
    )
    (line,) = surgeon.get("/api/plans/waiting").json()
    assert (line["together"], line["untreated"][0]["mmhg"]) == (False, 34.0)


def _course(eye, last, state="active", role="pressure"):
    return SimpleNamespace(eye=eye, last_day=last, state=state, role=role)


@pytest.mark.parametrize(
    ("looks", "courses", "named"),
    [
        # Common practice, no source: from 26 mmHg on, at the last look that measured it.
        ([("right", 8, 25.9)], [], None),
        ([("right", 8, 26)], [], 26),
        ([("right", 8, 34), ("right", 9, 20)], [], None),
        ([("right", 8, 34), ("right", 9, "not done")], [], 34),
        ([("right", 8, 34)], [_course("right", date(2024, 2, 11))], None),
        ([("right", 8, 34)], [_course(None, None)], None),
        ([("right", 8, 34)], [_course("right", date(2024, 2, 10))], 34),
        ([("right", 8, 34)], [_course("left", None)], 34),
        ([("right", 8, 34)], [_course("right", None, state="held")], 34),
        ([("right", 8, 34)], [_course("right", None, role="steroid")], 34),
    ],
)
def test_from_26_mmhg_on_a_plan_without_a_pressure_medicine_for_that_eye_says_so(looks, courses, named):
    before = [{"eye": e, "day": d, "pressure": p} for e, d, p in looks]
    record = record_of({"before": before, "nothing_else": True})
    plan = SimpleNamespace(courses=courses)
    view = SimpleNamespace(eyes=("right",), protocol=load_protocol(), plan=plan, today=date(2024, 2, 11))
    found = untreated(view, record)
    assert [one.mmhg for one in found] == ([] if named is None else [named])
    view.eyes = ("left",)
    assert untreated(view, record) == ()


def test_a_program_is_refused_too_and_may_name_a_product(high):
    surgeon, look, _ = high()
    leads = surgeon.get(f"/api{look}").json()
    treating = next(p for p in leads["outcome"]["proposals"] if p["treats"])
    choice = {"take": [treating["id"]], "reason": "34 mmHg", "seen": leads["plan_number"]}
    refused = surgeon.post(f"/api{look}/take", json=choice)
    assert (refused.status_code, refused.json()["code"]) == (422, "look.medicine")
    strange = choice | {"other": {"medicine": "holy-water", "times_a_day": 2, "days": 7}}
    assert surgeon.post(f"/api{look}/take", json=strange).status_code == 422
    named = choice | {"other": {"medicine": "dorzolamide-2", "times_a_day": 2, "days": 14}}
    assert surgeon.post(f"/api{look}/take", json=named).status_code == 200


def test_what_is_missing_is_asked_on_the_card_and_then_offered(high, form_of, words_of):
    surgeon, look, _ = high()
    page = surgeon.get(look).text
    if "Answer these, and more may be offered" not in words_of(page):
        pytest.fail("nothing is asked though asthma, a slow heart and the rest were never told")
    before = page.count('name="offer" value=')
    form = form_of(page)
    asked = form["answered"]
    answers = {name: ["no"] for name in form if any(name == f or name.startswith(f"{f}.") for f in asked)}
    answered = surgeon.post(look, data=form | answers | {"answer": ["yes"]})
    assert answered.status_code == 303, words_of(answered.text)
    assert surgeon.get(look).text.count('name="offer" value=') > before
