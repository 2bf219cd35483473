"""How people are followed: messages agreed to, who is not followed any more, slips taken back, help."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from sqlalchemy import text

from followup.records.people.messages import message_choice
from followup.records.people.patients import patient_by_code
from followup.records.store.journal import journal_of

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"


@pytest.fixture
def signed(house, routine, form_of):
    """A routine patient whose plan is signed; visits on day 1, 7 and about a month later."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    plan = browser.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house


@pytest.fixture
def sending(signed):
    """The same where text messages and e-mail are set up."""
    signed.desk = replace(signed.desk, ways_out=frozenset({"paper", "gateway", "mail"}))
    signed.__post_init__()
    return signed


def _choice(house):
    with house.store.read() as session:
        who = patient_by_code(session, "K-104")
        return message_choice(session, who.id), [e.action for e in journal_of(session, "patient:K-104")][-1]


def _take_back(browser, words: str = "Take back") -> int:
    page = browser.get(PATIENT).text
    entry = re.search(r'name="entry" value="(\d+)"', page)[1]
    return browser.post(f"{PATIENT}/take-back", data={"entry": entry}).status_code


@pytest.mark.parametrize("role", ["counsellor", "reception"])
def test_the_desk_stores_what_the_patient_wants_and_stops_it(sending, words_of, form_of, role):
    browser = sending.log_in(role)
    page = browser.get(PATIENT).text
    assert "not asked yet until then the patient is called" in words_of(page)
    form = {"answer": "yes", "channel": "gateway", "address": "+44 20 7946 0123", "reader": "carer"}
    assert browser.post(f"{PATIENT}/messages", data=form).status_code == 303
    choice, journal = _choice(sending)
    assert (choice.consent, choice.channel, choice.address, choice.reader) == (
        True,
        "gateway",
        "+44 20 7946 0123",
        "carer",
    )
    assert journal == "messages chosen"
    page = words_of(browser.get(PATIENT).text)
    assert "agreed by text message: +44 20 7946 0123 , written to the helper" in page
    assert browser.post(f"{PATIENT}/messages", data={"answer": "stop"}).status_code == 303
    choice, journal = _choice(sending)
    assert (choice.wants_messages, journal) == (False, "messages stopped")
    assert "the patient is called instead" in words_of(browser.get(PATIENT).text)


def test_a_patient_who_wants_none_is_written_down_as_such(sending, words_of):
    browser = sending.log_in("counsellor")
    browser.post(f"{PATIENT}/messages", data={"answer": "no", "channel": "mail", "address": "x"})
    choice, _ = _choice(sending)
    assert (choice.consent, choice.channel, choice.address) == (False, "paper", "")
    assert "no messages the patient is called instead" in words_of(browser.get(PATIENT).text)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"answer": "yes", "channel": "gateway", "address": ""}, "no address"),
        ({"answer": "yes", "channel": "mail", "address": "no mail"}, "no mail address"),
        ({"answer": "yes", "channel": "folder", "address": "kept +1 555 0100"}, "not set up here"),
        ({"answer": "", "address": "kept +1 555 0100"}, "not said what the patient wants"),
    ],
)
def test_an_answer_that_can_not_be_stored_is_said_and_kept(sending, words_of, form, said):
    answer = sending.log_in("reception").post(f"{PATIENT}/messages", data=form)
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert form["address"] in answer.text
    assert _choice(sending)[0] is None


def test_the_surgeon_does_not_answer_for_the_desk(sending):
    assert sending.log_in("surgeon").post(f"{PATIENT}/messages", data={"answer": "no"}).status_code == 403


def test_whoever_died_leaves_every_list_in_quiet_words_and_a_mistake_is_mended(signed, words_of):
    signed.clock.on(3)
    browser = signed.log_in("reception")
    assert "Wanjiru" in words_of(browser.get("/to-reach").text)
    no_reason = browser.post(f"{PATIENT}/following", data={"standing": "died", "reason": " "})
    assert no_reason.status_code == 422
    assert 'value="died" checked' in no_reason.text
    told = {"standing": "died", "reason": "the son called"}
    assert browser.post(f"{PATIENT}/following", data=told).status_code == 303
    page = words_of(browser.get(PATIENT).text)
    assert "Noted as died" in page
    assert "the son called" in page
    for word in ("overdue", "Mark arrived", "Overdue", "Next visit", "Reach now", "What the patient wants"):
        assert word not in page, word
    for address in ("/to-reach", "/today", "/today?on=2027-03-02", "/calls"):
        assert "Wanjiru" not in words_of(browser.get(address).text), address
    assert "1 person is not followed any more" in words_of(browser.get("/to-reach").text)
    assert "Wanjiru Ndegwa , 71-72, right eye · K-104 died" in words_of(browser.get("/not-followed").text)
    again = {"standing": "followed", "reason": "it was her neighbour"}
    assert browser.post(f"{PATIENT}/following", data=again).status_code == 303
    assert "Wanjiru" in words_of(browser.get("/to-reach").text)
    assert "Everybody is followed" in words_of(browser.get("/not-followed").text)


@pytest.mark.parametrize("word", ["refused", "lost to follow-up", "", "gone"])
def test_what_only_the_surgeon_decides_the_desk_can_not_say(signed, word):
    form = {"standing": word, "reason": "x"}
    assert signed.log_in("reception").post(f"{PATIENT}/following", data=form).status_code == 422


def test_what_was_marked_by_mistake_is_taken_back_on_the_patients_page(signed, form_of, words_of):
    signed.clock.on(1)
    browser = signed.log_in("reception")
    page = browser.get(PATIENT).text
    arrive = re.search(r'action="(/trips/\d+/arrived)"', page)[1]
    assert browser.post(arrive, data=form_of(page, arrive)).status_code == 303
    assert "Noted today Marked as arrived" in words_of(browser.get(PATIENT).text)
    assert "Noted today" not in words_of(signed.log_in("surgeon").get(PATIENT).text)
    assert _take_back(browser) == 303
    page = words_of(browser.get(PATIENT).text)
    assert "Mark arrived" in page
    assert "Noted today" not in page


def test_after_its_day_nothing_is_taken_back(signed, words_of):
    signed.clock.on(1)
    browser = signed.log_in("reception")
    missed = re.search(r'action="(/trips/\d+/no-show)"', browser.get(PATIENT).text)[1]
    browser.post(missed)
    entry = re.search(r'name="entry" value="(\d+)"', browser.get(PATIENT).text)[1]
    signed.clock.on(1, hours=18.6)
    answer = signed.log_in("reception").post(f"{PATIENT}/take-back", data={"entry": entry})
    assert answer.status_code == 422
    assert "its day is over" in words_of(answer.text)
    for wrong in ("", "0", "99999999", "x"):
        answer = signed.log_in("reception").post(f"{PATIENT}/take-back", data={"entry": wrong})
        assert answer.status_code == 422


def test_a_moved_visit_and_a_booked_day_go_back(signed, words_of):
    signed.clock.on(4)
    browser = signed.log_in("reception")
    with signed.store.read() as session:
        trip = session.execute(text("SELECT id FROM trip WHERE number = 2")).scalar_one()
    page = browser.get(f"/trips/{trip}/move").text
    planned = re.search(r'name="day" value="([^"]+)" checked', page)[1]
    other = next(d for d in re.findall(r'name="day" value="([^"]+)">', page) if d != planned)
    assert browser.post(f"/trips/{trip}/move", data={"day": other}).status_code == 303
    assert browser.post(f"/trips/{trip}/book").status_code == 303
    assert "Day booked" in words_of(browser.get(PATIENT).text)
    assert _take_back(browser) == 303
    assert "Visit moved from" in words_of(browser.get(PATIENT).text)
    assert _take_back(browser) == 303
    assert f'value="{planned}" checked' in browser.get(f"/trips/{trip}/move").text


def test_the_outcome_of_a_call_is_taken_back_on_the_list(signed, form_of, words_of):
    signed.clock.on(3)
    browser = signed.log_in("reception")
    form = form_of(browser.get(f"{PATIENT}/call").text) | {"outcome": ["died"]}
    browser.post(f"{PATIENT}/call", data=form)
    page = browser.get("/to-reach").text
    assert "Nobody must be reached today" in words_of(page)
    assert "Tried today Wanjiru Ndegwa , 71-72, right eye · K-104 Tried to reach: Died" in words_of(page)
    entry = re.search(r'name="entry" value="(\d+)"', page)[1]
    assert browser.post(f"{PATIENT}/take-back", data={"entry": entry}).status_code == 303
    listed = words_of(browser.get("/to-reach").text)
    assert "Call +44" in listed
    assert "Tried today" not in listed


def test_the_calls_of_a_day_are_a_list_to_print(signed, words_of, sending):
    reception = signed.log_in("reception")
    assert "No calls are due on this day" in words_of(reception.get("/calls?on=2027-03-20").text)
    page = words_of(reception.get("/calls").text)
    assert "Their visit is near" in page
    assert "Wanjiru Ndegwa , 71-72, right eye, K-104 +44 20 7946 0123 (" in page
    form = {"answer": "yes", "channel": "gateway", "address": "+44 20 7946 0123", "reader": "patient"}
    sending.log_in("reception").post(f"{PATIENT}/messages", data=form)
    assert "Wanjiru" not in words_of(reception.get("/calls").text)


@pytest.mark.parametrize("desk", ["counsellor", "reception", "surgeon", "pharmacy", "manager"])
def test_every_desk_has_its_page_of_help_and_each_of_its_pages_leads_there(house, words_of, desk):
    browser = house.log_in(desk)
    first = browser.get("/").headers["location"]
    assert f'href="/help/{desk}"' in browser.get(first).text
    assert browser.get("/help").headers["location"] == f"/help/{desk}"
    assert f"Help: {desk.capitalize()}" in words_of(browser.get(f"/help/{desk}").text)
    assert browser.get("/help/kitchen").status_code == 404


def test_a_pasted_list_says_what_it_takes_out_before_it_does(house, form_of, words_of):
    browser = house.log_in("counsellor")
    both = "K-1, Asha Rao, left\nK-2, Tom Ashby, right"
    browser.post("/operations/list", data={"on": "2027-03-01", "lines": both})
    one = {"on": "2027-03-01", "lines": "K-1, Asha Rao, left\nK-3, Ines Sol, left"}
    asked = browser.post("/operations/list", data=one)
    assert asked.status_code == 200
    assert "This takes 1 line out of the stored list. Nothing was stored yet. Tom Ashby" in words_of(
        asked.text
    )
    assert "Ines Sol" not in words_of(browser.get("/operations").text.split("<main")[1].split("<details")[0])
    form = form_of(asked.text, "/operations/list")
    assert form["lines"] == [one["lines"]]
    # Somebody adds a line meanwhile: the confirmation was not about that one.
    browser.post("/operations/list", data={"on": "2027-03-01", "lines": f"{both}\nK-4, Rui Paz, left"})
    again = browser.post("/operations/list", data=form)
    assert "This takes 2 lines out" in words_of(again.text)
    assert browser.post("/operations/list", data=form_of(again.text, "/operations/list")).status_code == 303
    listed = words_of(browser.get("/operations").text.split("<main")[1].split("<details")[0])
    assert "Ines Sol" in listed
    assert "Tom Ashby" not in listed


def test_the_fonts_of_scripts_that_a_computer_may_lack_come_from_here(house):
    style = house.browser().get("/static/desk.css").text
    named = re.findall(r'url\("(/fonts/[a-z-]+)"\)', style)
    assert len(named) == 7
    for address in named:
        assert house.browser().get(address).headers["content-type"] == "font/ttf"
    assert house.browser().get("/fonts/other").status_code == 404
    assert not re.search(r"url\((?!\"/fonts/)", style)
