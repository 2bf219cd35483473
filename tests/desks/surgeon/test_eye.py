"""An eye's page: findings in one row, proposals taken, changed or refused, plans signed together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.people.patients import newest_record, patient_by_code
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
EYE = "/patients/K-104/eyes/right"
CALM = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)


@pytest.fixture
def followed(house, routine, form_of):
    """A routine operation with a signed plan, a week later; the surgeon is at the desk."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine | {"operations.0.surgeon": ["Dr Sen"]}
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    answer = house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD})
    assert answer.status_code == 303
    house.clock.on(7)
    return house


def _enter(house, form_of, **findings):
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    form |= {f"reviews.0.{name}": [value] for name, value in findings.items()}
    answer = surgeon.post(f"{EYE}/findings", data=form)
    assert answer.status_code == 303, answer.text
    return surgeon, answer.headers["location"]


def test_cells_lead_to_proposals_whose_effect_is_said_before_they_are_stored_and_signed(
    followed, form_of, words_of
):
    surgeon, look = _enter(followed, form_of, cells="2+", flare="2+", pressure="18", vision="6/12", **CALM)
    page = surgeon.get(look).text
    assert "Proposals" in words_of(page)
    form = form_of(page)
    first = page.split('name="take" value="')[1].split('"')[0]
    form |= {"take": [first], "reason": ["cells for the first time"]}
    form.pop("store", None)
    shown = surgeon.post(look, data=form | {"show": ["yes"]})
    assert "What this change does" in words_of(shown.text)
    assert "drops more" in words_of(shown.text)
    stored = surgeon.post(look, data=form | {"store": ["yes"]})
    assert stored.status_code == 303, words_of(stored.text)
    plan = stored.headers["location"]
    assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD, "reason": "cells"}).status_code == 303
    after = words_of(surgeon.get(EYE).text)
    assert "cells for the first time" in after
    listed = words_of(surgeon.get("/my-patients").text)
    assert "Cells 2+, flare 2+" in listed
    versions = surgeon.get(f"{plan}/against/1")
    assert versions.status_code == 200
    assert "From plan 1 to plan" in words_of(versions.text)


def test_signs_of_infection_are_asked_before_more_steroid_is_shown(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="2+", pressure="18", pain="no")
    page = words_of(surgeon.get(look).text)
    assert "Raise the steroid" not in page
    assert "only then are the proposals for the steroid shown" in page
    assert "Are the lids swelling?" in page
    surgeon, look = _enter(followed, form_of, **CALM)
    assert "Raise the steroid" in words_of(surgeon.get(look).text)


def test_one_press_says_no_to_each_sign_left_open_and_overrides_no_answer(followed, form_of):
    surgeon, _ = _enter(followed, form_of, cells="1+", pressure="18", pain="yes")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings") | {"signs_none": ["yes"]}
    assert surgeon.post(f"{EYE}/findings", data=form).status_code == 303
    found = surgeon.get(f"/api{EYE}").json()["looks"][0]
    assert {name: found[name] for name in CALM} == CALM | {"pain": "yes"}
    # What is no sign of an infection stays as it was: not seen.
    assert found["epithelial_defect"] is None
    assert found["eye_confirmed"] is None


def test_a_reason_is_asked_only_where_it_is_done_otherwise_than_proposed(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="2+", pressure="18", **CALM)
    page = surgeon.get(look).text
    form = form_of(page)
    name = next(key for key in form if key.startswith("steps."))
    only = form | {"only": [name.split(".")[1]]}
    other = surgeon.post(look, data=only | {name: ["9 x 5, 7 x 5"]})
    assert other.status_code == 422
    assert "no reason given" in words_of(other.text)
    assert "say why it is done otherwise than proposed" in words_of(other.text)
    assert surgeon.post(look, data=only).status_code == 303


def test_a_look_with_something_to_decide_can_not_just_go_on(followed, form_of):
    surgeon, look = _enter(followed, form_of, cells="2+", pressure="18", **CALM)
    page = surgeon.get(look).text
    assert 'name="go_on"' not in page
    assert surgeon.post(look, data=form_of(page) | {"go_on": ["yes"]}).status_code == 422
    refused = surgeon.post(f"/api{look}/go-on")
    assert (refused.status_code, refused.json()["code"]) == (422, "look.choose")


def test_a_quiet_look_goes_on_as_planned_and_that_is_kept_with_the_eye(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="0", flare="0", pressure="15", **CALM)
    page = surgeon.get(look).text
    assert 'name="take"' not in page
    assert surgeon.post(look, data=form_of(page) | {"go_on": ["yes"]}).status_code == 303
    after = words_of(surgeon.get(EYE).text).partition("What was decided")[2]
    assert "go on with the taper" in after
    assert surgeon.get(f"/api{EYE}").json()["plan_number"] == 1


def test_steps_of_a_proposal_can_be_changed_in_place(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="2+", pressure="18", **CALM)
    page = surgeon.get(look).text
    form = form_of(page)
    name = next(key for key in form if key.startswith("steps."))
    form |= {"take": [name.split(".")[1]], "reason": ["stronger"], "store": ["yes"]}
    wrong = surgeon.post(look, data=form | {name: ["often"]})
    assert wrong.status_code == 422
    assert "times a day x days" in words_of(wrong.text)
    assert form_of(wrong.text)[name] == ["often"]
    stored = surgeon.post(look, data=form | {name: ["9 x 5, 7 x 5"]})
    assert stored.status_code == 303, words_of(stored.text)
    plan = surgeon.get(stored.headers["location"]).text
    assert 9 in [row.count(">S</span>") for row in plan.split("<tbody")]


def test_refusing_every_proposal_needs_a_reason_and_is_kept(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="2+", pressure="18", **CALM)
    form = form_of(surgeon.get(look).text)
    assert surgeon.post(look, data=form | {"refuse": ["yes"]}).status_code == 422
    done = surgeon.post(look, data=form | {"refuse": ["yes"], "reason": ["drops were not taken"]})
    assert done.status_code == 303
    assert "no proposal followed – drops were not taken" in words_of(surgeon.get(EYE).text)


def test_pus_stops_every_proposal_and_asks_for_a_senior(followed, form_of, words_of):
    surgeon, look = _enter(followed, form_of, cells="4+", hypopyon="yes", pain="yes", pressure="20")
    page = surgeon.get(look).text
    assert "Senior review today" in words_of(page)
    assert 'name="take"' not in page
    assert "What to do now" in words_of(page)
    assert "Call the senior surgeon now" in words_of(page)
    assert "Dexamethasone 0.1% 4 a day" in words_of(page)
    assert "Not seen, and needed" not in words_of(page)


def test_a_wrong_pressure_is_named_and_nothing_typed_is_lost(followed, form_of, words_of):
    surgeon = followed.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    form |= {"reviews.0.pressure": ["very high"], "reviews.0.vision": ["6/9"]}
    answer = surgeon.post(f"{EYE}/findings", data=form)
    assert answer.status_code == 422
    assert "write the pressure in mmHg" in words_of(answer.text)
    kept = form_of(answer.text, f"{EYE}/findings")
    assert (kept["reviews.0.pressure"], kept["reviews.0.vision"]) == (["very high"], ["6/9"])


def test_a_second_row_of_the_same_day_corrects_the_first(followed, form_of):
    _enter(followed, form_of, cells="1+", pressure="18")
    surgeon, _ = _enter(followed, form_of, cells="2+")
    page = form_of(surgeon.get("/patients/K-104/record").text)
    assert page["reviews.0.cells"] == ["2+"]
    assert page["reviews.0.pressure"] == ["18"]
    assert "reviews.1.cells" not in page


def test_the_second_of_two_who_enter_findings_is_told_and_keeps_the_typing(followed, form_of, words_of):
    surgeon = followed.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    _enter(followed, form_of, cells="1+")
    answer = surgeon.post(f"{EYE}/findings", data=form | {"reviews.0.cells": ["3+"]})
    assert answer.status_code == 409
    assert form_of(answer.text, f"{EYE}/findings")["reviews.0.cells"] == ["3+"]


def test_plans_without_a_question_are_signed_together_and_the_others_stay(house, routine, form_of, words_of):
    house.sign_protocol()
    counsellor, surgeon = house.log_in("counsellor"), house.log_in("surgeon")
    plans = []
    for code in ("K-104", "K-105", "K-106"):
        form = form_of(counsellor.get("/operations/new").text) | routine | {"patient.code": [code]}
        if code == "K-106":
            form |= {"patient.conditions.asthma": ["yes"]}
        plans.append(counsellor.post("/operations/new", data=form).headers["location"])
    page = surgeon.get("/waiting").text
    assert page.count('name="plan"') == 2
    ids = [plan.rsplit("/", 1)[1] for plan in plans]
    assert surgeon.post("/waiting/sign", data={"plan": ids[:2], "password": "wrong"}).status_code == 403
    answer = surgeon.post("/waiting/sign", data={"plan": ids, "password": PASSWORD})
    assert answer.status_code == 200
    assert "2 plans were signed" in words_of(answer.text)
    assert "open question" in words_of(answer.text)
    again = surgeon.post("/waiting/sign", data={"plan": ids[:2], "password": PASSWORD})
    assert again.status_code == 303


def test_what_was_not_measured_is_written_in_the_words_of_the_staff(followed, form_of, words_of):
    """The row asks for it in French where the page is French; the record keeps its own word."""
    with followed.store.write(SYSTEM, followed.clock()) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), staff_language="fr"))
    surgeon, look = _enter(followed, form_of, cells="0", pressure="Pas mesurée")
    assert "not done" not in words_of(surgeon.get(EYE).text)
    assert "pas mesurée" in words_of(surgeon.get(look).text)
    with followed.store.read() as session:
        person = patient_by_code(session, "K-104")
        assert newest_record(session, person.id).record.reviews[0].pressure == "not done"


def _beside(page):
    """What stands open in the row, before what folds away."""
    return page.split("More findings")[0]


def test_refraction_and_best_vision_stand_open_only_once_that_check_is_due(followed):
    surgeon = followed.log_in("surgeon")
    names = [f'name="reviews.0.{name}"' for name in ("refraction", "best_corrected", "infection_treated")]
    week = surgeon.get(EYE).text
    assert [name in _beside(week) for name in names] == [False] * 3
    assert [name in week for name in names] == [True] * 3
    followed.clock.on(35)
    assert [name in _beside(followed.log_in("surgeon").get(EYE).text) for name in names] == [
        True,
        True,
        False,
    ]


def test_the_word_on_infection_stands_open_after_a_look_in_danger(followed, form_of):
    surgeon, _ = _enter(followed, form_of, cells="4+", hypopyon="yes", pain="yes", pressure="20")
    assert 'name="reviews.0.infection_treated"' in _beside(surgeon.get(EYE).text)


def test_a_refraction_without_its_signs_is_refused_and_words_are_kept(followed, form_of, words_of):
    surgeon = followed.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    wrong = surgeon.post(f"{EYE}/findings", data=form | {"reviews.0.refraction": ["1.00 -0.50x90"]})
    assert wrong.status_code == 422
    assert "the refraction \u20681.00 -0.50x90\u2069 can't be read" in words_of(wrong.text)
    assert form_of(wrong.text, f"{EYE}/findings")["reviews.0.refraction"] == ["1.00 -0.50x90"]
    for written in ("+1.00 -0.50x90", "reflex too dim"):
        sent = form_of(surgeon.get(EYE).text, f"{EYE}/findings") | {"reviews.0.refraction": [written]}
        assert surgeon.post(f"{EYE}/findings", data=sent).status_code == 303
