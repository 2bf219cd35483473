"""The window: scanner and photo, moved visits, people without one, calls and their outcome."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
import qrcode
from scanner import typed_on

from followup.recall.codes.codes import new_sheet_id, qr_payload
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"


@pytest.fixture
def coming(house, routine, form_of):
    """A signed plan with its sheet handed over; reception's desk is open. Gives house, browser, sheet."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD})
    sheet = counsellor.post(f"{plan}/sheets", data=form_of(counsellor.get(plan).text, f"{plan}/sheets"))
    address = sheet.headers["location"].removesuffix("/paper.pdf")
    counsellor.post(f"{address}/handed-over", data={"to": "patient", "how": "paper"})
    return house, house.log_in("reception"), address.rsplit("/", 1)[1]


@pytest.mark.parametrize("layout", ["French", "German", "Arabic"])
def test_a_scanner_finds_the_sheet_through_a_foreign_keyboard(coming, layout):
    house, browser, sheet = coming
    burst = typed_on(layout, qr_payload(sheet, house.desk.keyring, "RBE"))
    answer = browser.post("/find", data={"text": burst})
    assert (answer.status_code, answer.headers.get("location")) == (303, f"/found/{sheet}")


def _photo(text: str) -> bytes:
    out = io.BytesIO()
    qrcode.make(text).save(out)
    return out.getvalue()


def test_a_photo_of_the_sheet_finds_it(coming, words_of):
    house, browser, sheet = coming
    picture = _photo(qr_payload(sheet, house.desk.keyring, "RBE"))
    answer = browser.post("/photo", files={"photo": ("sheet.png", picture)})
    assert answer.headers.get("location") == f"/found/{sheet}"
    stranger = _photo(qr_payload(new_sheet_id(), house.desk.keyring, "RBE"))
    answer = browser.post("/photo", files={"photo": ("sheet.png", stranger)})
    assert answer.status_code == 404
    assert "no such sheet was issued here" in words_of(answer.text)


def test_a_photo_without_a_code_or_of_forty_megabytes_gets_a_sentence(coming, words_of):
    _, browser, _ = coming
    answer = browser.post("/photo", files={"photo": ("cat.png", _photo("a cat"))})
    assert answer.status_code == 422
    assert "hold the sheet flat" in words_of(answer.text)
    answer = browser.post("/photo", files={"photo": ("huge.jpg", b"\0" * 40_000_000)})
    assert answer.status_code == 413
    assert "12 MB" in words_of(answer.text)
    assert browser.post("/photo", files={"photo": ("none.jpg", b"")}).status_code == 422


def _move_address(browser) -> str:
    return re.search(r"/trips/\d+/move", browser.get("/patients/K-104").text)[0]


def test_a_visit_moves_inside_its_window_and_never_out_of_it(coming, form_of, words_of):
    house, _, _ = coming
    house.clock.on(1)
    browser = house.log_in("reception")
    nonce = form_of(browser.get("/patients/K-104").text, _arrive(browser))
    trip = browser.post(_arrive(browser), data=nonce)
    assert trip.status_code == 303
    surgeon = house.log_in("surgeon")
    there = surgeon.get("/patients/K-104").text
    surgeon.post(
        re.search(r"/trips/\d+/seen", there)[0],
        data={"served": re.findall(r'name="served" value="([^"]+)"', there)},
    )
    page = browser.get(_move_address(browser)).text
    days = re.findall(r'name="day" value="(\d{4}-\d\d-\d\d)"( checked)?', page)
    planned = next(day for day, checked in days if checked)
    other = next(day for day, checked in days if not checked)
    assert "Only the days from" in words_of(page)
    assert browser.post(_move_address(browser), data={"day": other}).status_code == 303
    assert planned != other
    refused = browser.post(_move_address(browser), data={"day": "2027-06-30"})
    assert refused.status_code == 422
    assert "outside the window" in words_of(refused.text)
    assert browser.post(_move_address(browser), data={"day": "soon"}).status_code == 422


def _arrive(browser) -> str:
    return re.search(r"/trips/\d+/arrived", browser.get("/patients/K-104").text)[0]


def test_a_visit_is_not_moved_to_a_holiday(coming, words_of):
    house, browser, _ = coming
    page = browser.get(_move_address(browser)).text
    day = re.search(r'name="day" value="([^"]+)" checked', page)[1]
    trips = _move_address(browser)
    days = [d for d in re.findall(r'name="day" value="([^"]+)"', page) if d != day]
    assert days, "a visit with one day alone can be moved nowhere"
    target = days[0]
    with house.store.write(SYSTEM, house.clock.now) as unit:
        clinic = get_clinic(unit.session)
        closed = f'{{"holidays": ["{target}"]}}'
        put_clinic(unit, replace(clinic, calendar=closed))
    answer = browser.post(trips, data={"day": target})
    assert answer.status_code == 422
    assert "is not offered on" in words_of(answer.text)


def test_somebody_without_a_visit_is_on_todays_list_at_once(coming, form_of, words_of):
    house, _, _ = coming
    house.clock.on(3)
    browser = house.log_in("reception")
    page = browser.get("/patients/K-104").text
    form = form_of(page, "/patients/K-104/walk-in") | {f"sign.{i}": ["no"] for i in range(4)}
    assert browser.post("/patients/K-104/walk-in", data=form | {"why": [""]}).status_code == 422
    for _ in range(2):
        answer = browser.post("/patients/K-104/walk-in", data=form | {"why": ["something in the eye"]})
        assert answer.status_code == 303
    listed = words_of(browser.get("/today").text)
    assert listed.count("Wanjiru Ndegwa") >= 1
    assert "here since" in listed
    assert words_of(browser.get("/today/list").text).count("Wanjiru Ndegwa") == 1


def test_a_call_is_made_in_two_clicks_and_the_ladder_says_what_is_next(coming, form_of, words_of):
    house, _, _ = coming
    house.clock.on(3)
    browser = house.log_in("reception")
    assert "Overdue" in words_of(browser.get("/to-reach").text)
    page = browser.get("/patients/K-104/call").text
    assert "you did not come to your visit" in words_of(page)
    form = form_of(page)
    wrong = browser.post("/patients/K-104/call", data=form | {"outcome": ["surgeon told"], "note": ["kept"]})
    assert wrong.status_code == 422
    assert form_of(wrong.text)["note"] == ["kept"]
    for _ in range(2):
        assert browser.post("/patients/K-104/call", data=form | {"outcome": ["no answer"]}).status_code == 303
    listed = words_of(browser.get("/to-reach").text)
    assert listed.count("Tried to reach: No answer") == listed.count("4 March: No answer") == 1
    assert "Next:" in listed
