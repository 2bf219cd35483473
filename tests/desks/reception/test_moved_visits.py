"""A sheet shows a visit where it is now: moved, and with the hour that reception gave it."""

from __future__ import annotations

import re

import pytest

PASSWORD = "a long enough password"


@pytest.fixture
def story(house, routine, form_of):
    """A signed plan in a clinic on SQLite: the house, and the address of the plan."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    plan = browser.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house, plan


def _print(house, plan, form_of, **more) -> str:
    browser = house.log_in("counsellor")
    form = form_of(browser.get(plan).text, f"{plan}/sheets") | more
    answer = browser.post(f"{plan}/sheets", data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].removesuffix("/paper.pdf")


def _phone(house, sheet: str, words_of) -> str:
    return words_of(house.log_in("counsellor").get(f"{sheet}/phone.html").text)


def _second_visit(house) -> tuple[int, str]:
    visits = house.log_in("reception").get("/api/patients/K-104").json()["visits"]
    visit = sorted(visits, key=lambda v: v["day"])[1]
    return visit["id"], visit["window_end"]


def test_a_sheet_printed_after_a_move_has_the_new_day_and_the_hour_and_the_old_one_stays(
    story, form_of, words_of
):
    house, plan = story
    first = _print(house, plan, form_of)
    before = _phone(house, first, words_of)
    visit, last = _second_visit(house)
    moved = house.log_in("reception").post(f"/trips/{visit}/move", data={"day": last, "hour": "14:30"})
    assert moved.status_code == 303, moved.text
    again = _print(house, plan, form_of, reason=["the visit was moved"])
    assert "Wed 10 March, at 14:30" in _phone(house, again, words_of)
    assert "○ Mon 8 March" in before
    assert _phone(house, first, words_of) == before, "the first sheet is told again as it was printed"


def test_an_hour_is_booked_changed_and_refused_where_it_is_none(story, words_of):
    house, _ = story
    reception, (visit, _last) = house.log_in("reception"), _second_visit(house)
    assert reception.post(f"/api/visits/{visit}/book", json={"hour": "09:00"}).json()["hour"] == "09:00"
    day = reception.get("/api/patients/K-104").json()["visits"]
    here = next(v["day"] for v in day if v["id"] == visit)
    assert reception.post(f"/api/visits/{visit}/move", json={"day": here, "hour": "11:15"}).json()["hour"]
    page = reception.post(f"/trips/{visit}/move", data={"day": here, "hour": "25:00"})
    assert page.status_code == 422
    assert re.search("25:00.*is no time of day", words_of(page.text))
    assert reception.post(f"/api/visits/{visit}/move", json={"day": here, "hour": "9"}).status_code == 422


def test_the_clinics_address_is_kept_with_its_calendar_and_stands_on_sheets(story, form_of, words_of):
    house, plan = story
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text) | {"address": ["4 Mill Road, by the bridge"]}
    assert manager.post("/calendar", data=form).status_code == 303
    assert "4 Mill Road, by the bridge" in manager.get("/calendar").text
    assert "Address: 4 Mill Road, by the bridge" in _phone(house, _print(house, plan, form_of), words_of)
