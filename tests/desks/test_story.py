"""One patient's way through the desks, from the operation to an old sheet at the window."""

from __future__ import annotations

import re
import threading

import pypdfium2
import pytest
import zxingcpp
from sqlalchemy import text

PASSWORD = "a long enough password"


@pytest.fixture
def story(house):
    """A clinic whose protocol is signed, with all three desks open."""
    house.sign_protocol()
    return house


def _enter(house, routine, form_of, **changes) -> str:
    """Enter the operation as a counsellor does; the address of the plan."""
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    form |= {name.replace("__", "."): value for name, value in changes.items()}
    answer = browser.post("/operations/new", data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def _sign(house, plan: str, **more) -> str:
    answer = house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD, **more})
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def _print(house, plan: str, form_of, **more) -> str:
    browser = house.log_in("counsellor")
    form = form_of(browser.get(plan).text, f"{plan}/sheets") | more
    answer = browser.post(f"{plan}/sheets", data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].removesuffix("/paper.pdf")


def _qr_text(pdf: bytes) -> str:
    page = pypdfium2.PdfDocument(pdf)[0]
    found = zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())
    return found[0].text


@pytest.mark.usefixtures("database_kind")
def test_from_the_operation_to_an_old_sheet_at_the_window(story, routine, form_of, words_of):
    counsellor, surgeon = story.log_in("counsellor"), story.log_in("surgeon")

    # The counsellor enters an operation on an eye that once had herpetic keratitis.
    history = {"patient__eyes__right__herpetic_keratitis__year": ["2019"]}
    history |= {"patient__eyes__right__herpetic_keratitis": ["yes"]}
    plan = _enter(story, routine, form_of, **history)
    page = words_of(counsellor.get(plan).text)
    assert "Wanjiru Ndegwa" in page
    assert "questions for the surgeon" in page
    assert "Possible answers" not in page
    assert counsellor.get(f"{plan}/draft.pdf").content.startswith(b"%PDF")

    # The surgeon can't sign before they are answered; the answers make a new draft.
    refused = surgeon.post(f"{plan}/sign", data={"password": PASSWORD})
    assert refused.status_code == 422
    assert "open question" in words_of(refused.text)
    answers = form_of(surgeon.get(plan).text, f"{plan}/answers")
    herpes = "patient.eyes.right.herpetic_keratitis"
    answers |= {f"{herpes}.active_epithelial_disease": ["no"], f"{herpes}.antiviral_cover": ["yes"]}
    answers |= {"patient.eyes.right.corneal_feeling": ["normal"]}
    answered = surgeon.post(f"{plan}/answers", data=answers)
    assert answered.status_code == 303
    plan = answered.headers["location"]
    assert "question for the surgeon" not in words_of(surgeon.get(plan).text)
    _sign(story, plan)
    assert "signed by Dr Sen" in words_of(surgeon.get(plan).text)

    # The sheet is printed with a code, and handed over.
    sheet = _print(story, plan, form_of)
    pdf = counsellor.get(f"{sheet}/paper.pdf").content
    code = re.search(r'class="code"><bdi dir="ltr">([0-9A-Z-]+)<', counsellor.get(sheet).text)[1]
    phone = counsellor.get(f"{sheet}/phone.html")
    assert "Wanjiru Ndegwa" in phone.text
    assert counsellor.get(f"{sheet}/paper.pdf").content == pdf
    given = counsellor.post(f"{sheet}/handed-over", data={"to": "her daughter", "how": "paper"})
    assert given.status_code == 303
    assert "to her daughter" in words_of(counsellor.get(sheet).text)

    # Day 1: reception scans the square. Who it is stands there before anything is stored.
    story.clock.on(1)
    reception, surgeon = story.log_in("reception"), story.log_in("surgeon")
    scanned = _qr_text(pdf)
    assert "Wanjiru" not in scanned
    found = reception.post("/find", data={"text": f"{scanned}\r"})
    assert found.headers["location"] == f"/found/{sheet.rpartition('/')[2]}"
    page = reception.get(found.headers["location"])
    assert "Wanjiru Ndegwa , 71-72, right eye" in words_of(page.text)
    assert "is the one in force" in words_of(page.text)
    assert "due today" in words_of(page.text)
    assert _arrivals(story) == 0
    trip = re.search(r'action="(/trips/\d+/arrived)"', page.text)[1]
    nonce = form_of(page.text, trip)
    assert reception.post(trip, data=nonce).status_code == 303
    assert reception.post(trip, data=nonce).status_code == 303
    assert _arrivals(story) == 1

    # The typed code leads to the same patient, in small letters and without its hyphens.
    typed = reception.post("/find", data={"text": code.replace("-", " ").lower()})
    assert typed.headers["location"] == found.headers["location"]

    # The surgeon's findings close the visit; reception only says that the patient has left.
    eye = "/patients/K-104/eyes/right"
    findings = form_of(surgeon.get(eye).text, f"{eye}/findings") | {"reviews.0.cells": ["1+"]}
    assert surgeon.post(f"{eye}/findings", data=findings).status_code == 303
    page = words_of(reception.get("/patients/K-104").text)
    assert "Here now" not in page
    assert "Tuesday 2 March seen" in page

    # The surgeon changes the taper: the effect is said, then stored, then signed with a reason.
    change = f"{plan}/steps"
    form = form_of(surgeon.get(change, params={"course": "right:steroid"}).text)
    form |= {"count": ["6", "4", "2"], "days": ["7", "7", "14"], "reason": ["cells 1+ at the first look"]}
    shown = words_of(surgeon.post(change, data=form | {"show": ["yes"]}).text)
    assert "drops more" in shown
    assert _plans(story) == 2
    stored = surgeon.post(change, data=form | {"store": ["yes"]})
    assert stored.status_code == 303
    newer = stored.headers["location"]
    assert "What changes against plan" in words_of(surgeon.get(newer).text)
    _sign(story, newer)

    # A new sheet replaces the old one; a scan of the old one says so and names the new one.
    new_sheet = _print(story, newer, form_of)
    page = words_of(reception.get(found.headers["location"]).text)
    assert "is an old one: a newer plan exists. Take it away." in page
    assert "Give sheet 2 instead" in page
    assert "sheet is not in the patient's hands yet" in words_of(reception.get("/to-reach").text)
    reception.post(f"{new_sheet}/handed-over", data={"to": "Wanjiru", "how": "telephone"})
    assert "Wanjiru Ndegwa" not in words_of(reception.get("/to-reach").text)

    # Nobody comes again: late, then overdue, on the list with the reason.
    story.clock.on(60)
    reception = story.log_in("reception")
    page = words_of(reception.get("/to-reach").text)
    assert "Overdue for" in page
    assert "Wanjiru Ndegwa" in page
    assert "+44 20 7946 0123" in page


def test_of_two_surgeons_who_sign_at_once_one_is_told(story, routine, form_of):
    plan = _enter(story, routine, form_of)
    desks = [story.log_in("surgeon"), story.log_in("surgeon")]
    gate = threading.Barrier(2)
    answers = []

    def sign(browser):
        gate.wait()
        answers.append(browser.post(f"{plan}/sign", data={"password": PASSWORD}))

    threads = [threading.Thread(target=sign, args=(browser,)) for browser in desks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with story.store.read() as session:
        signatures = session.execute(
            text("SELECT count(*) FROM journal WHERE action = 'plan signed'")
        ).scalar_one()
    assert signatures == 1
    # The slower one is told, or finds the plan signed by the same name already.
    assert sorted(answer.status_code for answer in answers) in ([303, 303], [303, 409])


def test_a_form_sent_twice_has_one_effect(story, routine, form_of):
    browser = story.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    first = browser.post("/operations/new", data=form)
    second = browser.post("/operations/new", data=form)
    assert first.headers["location"] == second.headers["location"]
    plan = first.headers["location"]
    surgeon = story.log_in("surgeon")
    for _ in range(2):
        assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    page = form_of(browser.get(plan).text, f"{plan}/sheets")
    sheets = {browser.post(f"{plan}/sheets", data=page).headers["location"] for _ in range(2)}
    assert len(sheets) == 1
    with story.store.read() as session:
        counts = [
            session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one()
            for table in ("patient", "record_version", "care_plan", "sheet")
        ]
    assert counts == [1, 1, 1, 1]


def test_a_sheet_is_printed_again_only_with_a_reason(story, routine, form_of, words_of):
    plan = _enter(story, routine, form_of)
    _sign(story, plan)
    first = _print(story, plan, form_of)
    browser = story.log_in("counsellor")
    form = form_of(browser.get(plan).text, f"{plan}/sheets")
    refused = browser.post(f"{plan}/sheets", data=form | {"reason": [""]})
    assert refused.status_code == 422
    again = browser.post(f"{plan}/sheets", data=form | {"reason": ["the daughter lost it"]})
    assert again.headers["location"] != f"{first}/paper.pdf"
    assert "the daughter lost it" in words_of(
        browser.get(again.headers["location"].removesuffix("/paper.pdf")).text
    )
    # The lost sheet is of the same plan: it still opens the same patient and is not called old.
    assert "is the one in force" in words_of(browser.get(first.replace("sheets", "found")).text)


def test_no_plan_is_signed_under_a_protocol_that_nobody_has_signed(house, routine, form_of, words_of):
    plan = _enter(house, routine, form_of)
    surgeon = house.log_in("surgeon")
    page = surgeon.get(plan).text
    assert "Sample protocol, not approved for patients" in words_of(page)
    refused = surgeon.post(f"{plan}/sign", data={"password": PASSWORD})
    assert refused.status_code == 422
    assert "not approved for patients" in words_of(refused.text)
    # The surgeon signs the protocol, has the plan made again, and signs it.
    form = form_of(surgeon.get("/protocol").text, "/protocol/sign")
    signed = surgeon.post("/protocol/sign", data=form | {"read": ["yes"], "password": [PASSWORD]})
    assert signed.status_code == 303
    again = surgeon.post(f"{plan}/again")
    assert _sign(house, again.headers["location"]) == again.headers["location"]


def test_a_draft_of_another_day_must_be_made_again_before_it_is_signed(story, routine, form_of, words_of):
    plan = _enter(story, routine, form_of)
    story.clock.on(1)
    surgeon = story.log_in("surgeon")
    assert "has changed since this draft was made" in words_of(surgeon.get(plan).text)
    refused = surgeon.post(f"{plan}/sign", data={"password": PASSWORD})
    assert refused.status_code == 409
    again = surgeon.post(f"{plan}/again").headers["location"]
    _sign(story, again)


def test_a_child_gets_no_plan_but_stays_on_the_list_to_reach(story, routine, form_of, words_of):
    plan = _enter(story, routine, form_of, patient__birth_year=["2018"])
    page = words_of(story.log_in("surgeon").get(plan).text)
    assert "Plan by hand" in page
    listed = words_of(story.log_in("reception").get("/to-reach").text)
    assert "plan by hand" in listed
    assert "Wanjiru Ndegwa" in listed
    assert story.log_in("counsellor").get(f"{plan}/draft.pdf").status_code == 422


def _arrivals(house) -> int:
    with house.store.read() as session:
        found = session.execute(text("SELECT count(*) FROM trip WHERE arrived_at IS NOT NULL"))
        return found.scalar_one()


def _plans(house) -> int:
    with house.store.read() as session:
        return session.execute(text("SELECT count(*) FROM care_plan")).scalar_one()
