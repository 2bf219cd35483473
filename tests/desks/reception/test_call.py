"""The call: its words in both languages, the number that was tried, one press for what came of it."""

from __future__ import annotations

import re

import pytest

from followup.records.desk.attempts import attempts_on

PASSWORD = "a long enough password"
CALL = "/patients/K-104/call"
OWN, DAUGHTER = "+44 20 7946 0123", "+44 20 7946 0124"


@pytest.fixture
def overdue(house, routine, form_of):
    """A patient who reads French, with two numbers, who did not come to the first visit."""
    house.sign_protocol()
    counsellor = house.enter("counsellor")
    more = {
        **{"patient.language": ["fr"], "patient.telephones.1.number": [DAUGHTER]},
        "patient.telephones.1.whose": ["carer"],
    }
    form = form_of(counsellor.get("/operations/new").text) | routine | more
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(3)
    return house


def _tried(house):
    with house.store.read() as session:
        return attempts_on(session, house.clock.now.date())


def test_the_words_stand_in_the_patients_language_and_in_the_callers(overdue):
    browser = overdue.enter("reception")
    page = browser.get(CALL).text
    theirs = re.search(r'class="big-words" lang="fr" dir="ltr">([^<]+)', page)[1]
    ours = re.search(r'class="soft" lang="en">([^<]+)', page)[1]
    assert "vous n" in theirs
    assert "you did not come to your visit" in ours
    told = browser.get(f"/api{CALL}").json()
    assert told["own_script"].startswith("Riverbend Eye Clinic: you did not come")
    browser.post("/language", data={"language": "fr"})
    assert 'class="soft" lang=' not in browser.get(CALL).text


def test_the_number_whose_button_was_pressed_is_the_one_that_is_noted(overdue, form_of):
    browser = overdue.enter("reception")
    address = re.search(r'href="(/patients/K-104/call[^"]*)"', browser.get("/to-reach").text)[1]
    form = form_of(browser.get(address).text)
    assert form["number"] == [OWN]
    assert browser.post(CALL, data=form | {"outcome": ["no answer"]}).status_code == 303
    assert [one.number for one in _tried(overdue)] == [OWN]


def test_whoever_opens_the_call_otherwise_says_which_number_was_tried(overdue, form_of):
    page = overdue.enter("reception").get(CALL).text
    assert "number" not in form_of(page)
    assert page.count('name="number"') == page.count(" required") == 2
    assert page.index(OWN) < page.index(DAUGHTER)


def test_a_number_of_somebody_else_is_refused_and_nothing_is_noted(overdue, form_of, words_of):
    browser = overdue.enter("reception")
    form = form_of(browser.get(CALL).text) | {"number": ["+44 20 7946 0999"], "outcome": ["no answer"]}
    answer = browser.post(CALL, data=form)
    assert answer.status_code == 422
    assert "this is no telephone number of the patient" in words_of(answer.text)
    assert _tried(overdue) == ()


def test_a_promise_is_one_press_on_its_day(overdue, form_of):
    browser = overdue.enter("reception")
    page = browser.get(CALL).text
    days = re.findall(r'<button name="will-come" value="([^"]+)">', page)
    assert days[0] == "2027-03-04"
    form = form_of(page) | {"number": [OWN], "will-come": [days[1]]}
    assert browser.post(CALL, data=form).status_code == 303
    (one,) = _tried(overdue)
    assert (one.outcome, one.promised.isoformat(), one.number) == ("will come", days[1], OWN)


def test_enter_in_the_note_promises_nothing(overdue):
    """A browser presses the first button of a form; where that is disabled, it sends nothing."""
    form = overdue.enter("reception").get(CALL).text.split('class="call"')[1]
    assert re.search(r"<button[^>]*>", form)[0] == "<button disabled hidden>"


def test_the_number_stands_with_what_was_tried_before(overdue, form_of, words_of):
    browser = overdue.enter("reception")
    form = form_of(browser.get(CALL).text) | {"number": [DAUGHTER], "outcome": ["no answer"]}
    browser.post(CALL, data=form)
    assert f"reception , {DAUGHTER} : No answer" in words_of(browser.get(CALL).text)


def test_the_list_says_the_reason_in_few_words_and_the_next_act_is_its_button(overdue, words_of):
    page = overdue.enter("reception").get("/to-reach").text
    line = page.split('class="lines reach"')[1]
    said = words_of(line.split("<details")[0])
    assert "Wanjiru Ndegwa , 71-72, right eye · K-104 first look after surgery, overdue 1 day" in said
    assert "2027" not in said
    assert [" ".join(one.split()) for one in re.findall(r"class=.button[^>]*>([^<]+)", line)] == [
        f"Call {OWN}"
    ]


def test_each_further_reason_is_only_counted(overdue, words_of):
    overdue.clock.on(30)
    page = overdue.enter("reception").get("/to-reach").text
    said = words_of(page.split('class="lines reach"')[1].split("<details")[0])
    assert said.count("overdue") == 1
    assert "and 2 more" in said
