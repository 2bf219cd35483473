"""The house around the desks: health, first pages, staff, the protocol's page, the sheet's language."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from followup.desks.app import create_app
from followup.recall.jobs.sweep import sweep
from followup.records.house.staff import add_staff, bind_staff
from followup.records.plans.protocols import protocol_signature
from followup.records.store.sites import Site, put_site
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"


def test_health_tells_a_living_process_from_one_that_does_its_work(house):
    browser = house.browser()
    assert browser.get("/healthz").json() == {"status": "ok"}
    assert browser.get("/readyz").status_code == 503
    sweep(house.store, house.clock.now)
    assert browser.get("/readyz").json() == {"status": "ok", "sweep_age_seconds": 0}
    house.clock.now += timedelta(minutes=3)
    assert browser.get("/readyz").status_code == 200
    house.clock.now += timedelta(seconds=1)
    assert browser.get("/readyz").json()["status"] == "the sweep is not running"


def test_the_daily_jobs_run_as_long_as_the_application_does(house):
    happened = []

    @contextmanager
    def jobs():
        happened.append("begun")
        yield
        happened.append("ended")

    with TestClient(create_app(house.desk, jobs=jobs), base_url="http://clinic.test"):
        assert happened == ["begun"]
    assert happened == ["begun", "ended"]


@pytest.mark.parametrize(
    ("role", "page"),
    [
        ("surgeon", "/waiting"),
        ("counsellor", "/operations"),
        ("reception", "/today"),
        ("manager", "/forecast"),
        ("pharmacy", "/bottles"),
    ],
)
def test_everybody_lands_on_a_page_that_is_theirs(house, words_of, role, page):
    browser = house.log_in(role)
    assert browser.get("/").headers["location"] == page
    assert browser.get(page).status_code == 200
    assert browser.get("/help").headers["location"] == f"/help/{role}"
    assert browser.get(f"/help/{role}").status_code == 200


def test_whoever_wanted_a_page_gets_it_after_logging_in(house):
    browser = house.browser()
    wanted = browser.get("/today").headers["location"]
    assert wanted == "/log-in?then=/today"
    assert 'value="/today"' in browser.get(wanted).text
    answer = browser.post("/log-in", data={"login": "reception", "password": PASSWORD, "then": "/today"})
    assert answer.headers["location"] == "/today"


def test_a_form_sent_after_the_log_in_ended_is_not_lost_in_silence(house, words_of):
    browser = house.log_in("counsellor")
    house.clock.now += timedelta(hours=1)
    answer = browser.post("/operations/new", data={"patient.code": "K-1"})
    assert answer.status_code == 401
    assert "nothing typed is lost" in words_of(answer.text)
    assert 'name="kept.patient.code" value="K-1"' in answer.text


def test_an_empty_clinic_says_on_every_page_what_to_do(house, words_of):
    surgeon, reception = house.log_in("surgeon"), house.log_in("reception")
    assert "No plan waits for a signature" in words_of(surgeon.get("/waiting").text)
    assert "Enter an operation" in words_of(surgeon.get("/operations").text)
    assert "Nobody is expected" in words_of(reception.get("/today").text)
    assert "Nobody must be reached" in words_of(reception.get("/to-reach").text)


def test_the_manager_adds_someone_who_can_then_log_in_and_takes_it_away_again(house, words_of):
    manager = house.log_in("manager")
    new = {"login": "Nadia", "name": "Nadia Aziz", "new_password": PASSWORD, "roles": ["reception"]}
    new["password"] = PASSWORD
    assert manager.post("/staff", data=new).status_code == 303
    nadia = house.log_in("nadia")
    assert nadia.get("/today").status_code == 200
    assert (
        manager.post("/staff/nadia", data={"roles": ["reception"], "password": PASSWORD}).status_code == 303
    )
    assert nadia.get("/today").status_code == 303
    again = house.browser().post("/log-in", data={"login": "nadia", "password": PASSWORD})
    assert again.status_code == 401
    for wrong, said in (
        (new | {"login": ""}, "log-in name"),
        (new | {"login": "x", "roles": []}, "no role given"),
        (new | {"login": "x", "new_password": "short"}, "12 to 200"),
        (new | {"login": "x", "name": " "}, "no name"),
    ):
        answer = manager.post("/staff", data=wrong)
        assert answer.status_code == 422
        assert said in words_of(answer.text)


def test_the_last_manager_can_not_lock_the_door_from_inside(house):
    manager = house.log_in("manager")
    answer = manager.post("/staff/manager", data={"roles": ["reception"], "active": "yes"})
    assert answer.status_code == 422
    assert manager.get("/staff").status_code == 200


def test_the_protocol_is_signed_only_by_who_read_exactly_this_one(house, words_of):
    surgeon = house.log_in("surgeon")
    right = {"hash": house.desk.protocol.hash, "read": "yes", "password": PASSWORD}
    assert surgeon.post("/protocol/sign", data=right | {"hash": "0" * 64}).status_code == 409
    assert surgeon.post("/protocol/sign", data=right | {"read": ""}).status_code == 422
    assert "Not approved for patients" in words_of(surgeon.get("/protocol").text)
    assert surgeon.post("/protocol/sign", data=right).status_code == 303
    assert "by Dr Sen, registration R-1" in words_of(surgeon.get("/protocol").text)
    assert surgeon.post("/protocol/sign", data=right).status_code == 303


def test_a_surgeon_of_one_site_is_told_who_signs_the_protocol_and_can_not(house, words_of):
    with house.store.write(SYSTEM, house.clock.now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room"))
        bind_staff(unit, login="surgeon", site=site.id)
        unit.log("staff bound to a site", "staff:surgeon")
    surgeon = house.log_in("surgeon")
    page = surgeon.get("/protocol").text
    assert 'action="/protocol/sign"' not in page
    assert "a surgeon who works at all of them signs it" in words_of(page)
    given = {"hash": house.desk.protocol.hash, "read": "yes", "password": PASSWORD}
    assert surgeon.post("/protocol/sign", data=given).status_code == 403
    with house.store.read() as session:
        assert protocol_signature(session, house.desk.protocol.hash) is None


def test_a_protocol_with_a_medicine_that_no_sheet_can_print_is_not_approved(house, words_of, monkeypatch):
    protocol = house.desk.protocol
    odd = protocol.formulary["levofloxacin-0-5"].model_copy(update={"name": "Levo\U00010330"})
    unprinted = replace(protocol, formulary={**protocol.formulary, odd.id: odd})
    surgeon = house.log_in("surgeon")
    monkeypatch.setitem(house.desk.__dict__, "protocol", unprinted)
    given = {"hash": unprinted.hash, "read": "yes", "password": PASSWORD}
    answer = surgeon.post("/protocol/sign", data=given)
    assert (answer.status_code, "U+10330" in words_of(answer.text)) == (422, True)
    with house.store.read() as session:
        assert protocol_signature(session, unprinted.hash) is None


def test_a_person_can_change_the_own_password_only_with_the_old_one(house, words_of):
    browser = house.log_in("reception")
    wrong = browser.post("/password", data={"old": "not it at all", "new": "another long one"})
    short = browser.post("/password", data={"old": PASSWORD, "new": "short"})
    assert (wrong.status_code, short.status_code) == (422, 422)
    assert "12 to 200" in words_of(short.text)


def test_the_sheet_is_printed_in_the_language_that_was_chosen(house, routine, form_of, words_of):
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD})
    sent = form_of(counsellor.get(plan).text, f"{plan}/sheets") | {"language": ["ar"]}
    paper = counsellor.post(f"{plan}/sheets", data=sent).headers["location"]
    sheet = paper.removesuffix("/paper.pdf")
    phone = counsellor.get(f"{sheet}/phone.html")
    assert 'lang="ar"' in phone.text
    assert 'dir="rtl"' in phone.text
    assert "default-src 'none'" in phone.headers["content-security-policy"]
    assert "العربية" in words_of(counsellor.get(sheet).text)


def test_the_managers_first_page_says_what_a_new_clinic_has_left_to_do_until_all_is_done(
    house, routine, form_of, words_of
):
    manager = house.log_in("manager")
    page = manager.get(manager.get("/").headers["location"]).text
    assert "The protocol, read and signed by a surgeon who logs in" in words_of(page)
    for link in ("/staff#new", "/calendar", "/protocol", "/help/counsellor"):
        assert f'href="{link}"' in page
    left = int(re.search(r"Before the first sheet: (\d)", words_of(page))[1])

    def still() -> int:
        found = re.search(r"Before the first sheet: (\d)", words_of(manager.get("/forecast").text))
        return int(found[1]) if found else 0

    house.sign_protocol()
    assert still() == left - 1
    lines = {"on": "2027-03-01", "lines": "K-104, Wanjiru Ndegwa, right"}
    house.log_in("counsellor").post("/operations/list", data=lines)
    assert still() == left - 2
    calendar = form_of(manager.get("/calendar").text) | {"open": ["monday", "tuesday"]}
    assert manager.post("/calendar", data=calendar).status_code == 303
    assert still() == 0
    assert "Before the first sheet" not in words_of(manager.get("/staff").text)


def test_a_surgeon_without_registration_is_named_and_given_one(house, form_of, words_of):
    manager = house.log_in("manager")
    with house.store.write(SYSTEM, house.clock.now) as unit:
        add_staff(unit, login="ola", name="Ola Berg", roles=["surgeon"], password_hash="-")
    assert "can't sign: no registration" in words_of(manager.get("/staff").text)
    form = form_of(manager.get("/staff").text, "/staff/ola") | {"registration": ["R-77"]}
    form["password"] = [PASSWORD]
    assert manager.post("/staff/ola", data=form).status_code == 303
    page = manager.get("/staff").text
    assert "can't sign: no registration" not in words_of(page)
    assert form_of(page, "/staff/ola")["registration"] == ["R-77"]
