"""What no font prints is refused when it is entered, by whichever way, with one line that names it."""

from __future__ import annotations

SAYS = "no shipped font can print U+AC15 (hangul syllable gang)"
NAME = "강민"


def test_a_name_is_refused_in_the_records_form_and_stored_with_latin_letters_beside_it(
    house, routine, form_of, words_of
):
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine | {"patient.name": [NAME]}
    refused = browser.post("/operations/new", data=form)
    assert refused.status_code == 422
    assert SAYS in words_of(refused.text)
    assert NAME in refused.text, "what was typed is not lost"
    stored = browser.post("/operations/new", data=form | {"patient.name_latin": ["Kang Min"]})
    assert stored.status_code == 303


def test_words_about_an_allergy_are_refused_by_form_and_by_json(house, routine, form_of, words_of):
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    refused = browser.post("/operations/new", data=form | {"patient.allergy_text": [NAME]})
    assert (refused.status_code, SAYS in words_of(refused.text)) == (422, True)
    lines = {"patient.allergy_text": ["two lines\r\nof words"]}
    assert browser.post("/operations/new", data=form | lines).status_code == 303


def test_a_record_by_json_is_refused_with_the_field(house):
    browser = house.browser()
    browser.post("/api/session", json={"login": "counsellor", "password": "a long enough password"})
    operation = {"eye": "right", "eye_drawn": "right", "date": "2027-03-01"}
    record = {
        "patient": {"code": "K-105", "name": NAME, "birth_year": 1955, "language": "en"},
        "operations": [operation | {"procedure": "phacoemulsification"}],
    }
    refused = browser.post("/api/records", json={"record": record})
    assert refused.status_code == 422, refused.text
    assert "U+AC15" in refused.text
    assert "patient.name" in refused.text


def test_staff_and_the_clinics_address_are_refused_too(house, form_of, words_of):
    manager = house.log_in("manager")
    word = "a long enough password"
    person = {"login": "kang", "name": NAME, "roles": ["surgeon"], "new_password": word, "password": word}
    assert SAYS in words_of(manager.post("/staff", data=person).text)
    assert "U+AC15" in manager.post("/api/staff", json=person).text
    form = form_of(manager.get("/calendar").text) | {"address": [NAME]}
    refused = manager.post("/calendar", data=form)
    assert (refused.status_code, SAYS in words_of(refused.text)) == (422, True)
