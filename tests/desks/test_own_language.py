"""Whoever works here reads the pages, and what programs are told, in a language of the own choice."""

from __future__ import annotations

import pytest
from sqlalchemy import text

from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import staff_by_login
from followup.records.views import SYSTEM


def _language_of(house, login: str) -> str:
    with house.store.read() as session:
        return staff_by_login(session, login).language


def _chosen(browser, tag: str, then: str = "/today"):
    return browser.post("/language", data={"language": tag, "then": then})


def test_one_press_in_the_strip_turns_every_page_of_that_person_and_of_nobody_else(house, form_of):
    mine, other = house.enter("reception"), house.enter("counsellor")
    page = mine.get("/today").text
    assert '<html lang="en"' in page
    assert 'name="language" value="fr"' in page
    sent = form_of(page, "/language") | {"language": ["fr"]}
    answer = mine.post("/language", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, "/today")
    for path in ("/today", "/to-reach", "/find", "/help/reception", "/password", "/nothing-here"):
        assert '<html lang="fr"' in mine.get(path).text, path
    assert '<html lang="en"' in other.get("/operations").text
    assert _language_of(house, "counsellor") == ""


def test_it_holds_at_the_next_log_in_and_wherever_the_person_is_logged_in(house):
    one, elsewhere = house.enter("reception"), house.enter("reception")
    _chosen(one, "ar")
    assert 'dir="rtl"' in elsewhere.get("/today").text
    one.post("/log-out")
    assert 'dir="rtl"' in house.log_in("reception").get("/today").text
    assert '<html lang="en"' in house.browser().get("/log-in").text


def test_programs_are_told_in_the_same_language_and_can_choose_it(house):
    browser = house.enter("reception")
    assert browser.get("/api/session").json()["language"] == "en"
    assert browser.put("/api/session/language", json={"language": "hi"}).status_code == 204
    assert browser.get("/api/session").json()["language"] == "hi"
    assert '<html lang="hi"' in browser.get("/today").text


def test_whoever_chose_nothing_follows_the_clinics_language(house):
    with house.store.write(SYSTEM, house.clock.now) as unit:
        put_clinic(unit, _with_language(house, "bn"))
    nobody, chose = house.enter("reception"), house.enter("counsellor")
    _chosen(chose, "en")
    assert '<html lang="bn"' in nobody.get("/today").text
    assert '<html lang="en"' in chose.get("/operations").text


def _with_language(house, tag: str):
    with house.store.read() as session:
        clinic = get_clinic(session)
    return type(clinic)(**{**vars(clinic), "staff_language": tag})


@pytest.mark.parametrize("tag", ["", "xx", "de", "en<script>", "sw"])
def test_a_language_without_pages_is_refused_in_words_and_changes_nothing(house, tag):
    browser = house.enter("reception")
    answer = _chosen(browser, tag)
    assert answer.status_code == 422
    assert "en, " in answer.text
    assert _language_of(house, "reception") == ""
    assert browser.put("/api/session/language", json={"language": tag}).status_code == 422


@pytest.mark.parametrize("then", ["https://elsewhere.test/", "//elsewhere.test", "/\\elsewhere.test", ""])
def test_choosing_a_language_leads_nowhere_else(house, then):
    assert _chosen(house.enter("reception"), "fr", then).headers["location"] == "/"


def test_the_question_of_a_page_is_asked_again_in_the_new_language(house, form_of):
    page = house.enter("reception").get("/today?on=2027-03-08").text
    assert form_of(page, "/language")["then"] == ["/today?on=2027-03-08"]


def test_a_page_that_only_a_form_leads_to_offers_the_way_to_the_first_page(house, form_of):
    answer = house.enter("reception").post("/trips/999/left", data={})
    assert answer.status_code != 303
    assert form_of(answer.text, "/language")["then"] == ["/"]


def test_the_journal_says_who_chose_which_language(house):
    _chosen(house.enter("reception"), "fr")
    with house.store.read() as session:
        told = session.execute(
            text("SELECT actor, subject FROM journal WHERE action = 'language chosen'")
        ).all()
    assert [tuple(one) for one in told] == [("reception", "staff:reception")]
