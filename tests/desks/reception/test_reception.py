"""Reception: who comes, who is late, and what may be stored at the window."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlalchemy import event, text

PASSWORD = "a long enough password"


@pytest.fixture
def signed(house, routine, form_of):
    """A routine patient whose plan is signed; visits on day 1, 7 and about a month later."""
    house.sign_protocol()
    _patient(house, routine, form_of)
    return house


def _patient(house, routine, form_of, **changes) -> str:
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine | changes
    plan = browser.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return plan


def _page(house, words_of, address: str = "/today") -> str:
    return words_of(house.log_in("reception").get(address).text)


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (0, "Nobody is expected on this day"),
        (1, "To come Wanjiru Ndegwa , 71-72, right eye · K-104 first look after surgery"),
        (2, "Wanjiru Ndegwa , 71-72, right eye · K-104 late last day Wednesday 3 March first look"),
        (3, "Wanjiru Ndegwa , 71-72, right eye · K-104 overdue 1 day first look"),
        (4, "Wanjiru Ndegwa , 71-72, right eye · K-104 overdue 2 days first look"),
    ],
)
def test_the_day_shows_who_comes_and_who_has_not_come(signed, words_of, day, said):
    signed.clock.on(day)
    assert said in _page(signed, words_of)


def test_the_clinics_midnight_and_not_that_of_utc_turns_the_day(signed, words_of):
    # 18:30 UTC is midnight in Kolkata (UTC+5:30).
    signed.clock.on(0, hours=18.499)
    assert "Monday 1 March 2027" in _page(signed, words_of)
    signed.clock.on(0, hours=18.5)
    assert "Tuesday 2 March 2027" in _page(signed, words_of)


def test_a_visit_before_its_first_right_day_can_not_be_marked(signed, words_of):
    reception = signed.log_in("reception")
    page = reception.get("/patients/K-104").text
    assert "Too early for this visit" in words_of(page)
    assert "Mark arrived" not in page
    with signed.store.read() as session:
        first = session.execute(text("SELECT min(id) FROM trip")).scalar_one()
    answer = reception.post(f"/trips/{first}/arrived", data={"nonce": "n" * 20})
    assert answer.status_code == 422
    assert "not before Tuesday 2 March" in words_of(answer.text)
    assert _states(signed)[0] == "proposed"


def test_only_reception_says_that_someone_did_not_come_and_the_patient_stays_on_the_list(signed, words_of):
    signed.clock.on(1)
    reception = signed.log_in("reception")
    page = reception.get("/patients/K-104").text
    action = re.search(r'action="(/trips/\d+/no-show)"', page)[1]
    assert signed.log_in("surgeon").post(action).status_code == 403
    assert reception.post(action).status_code == 303
    assert _states(signed)[0] == "noshow"
    signed.clock.on(4)
    assert "The patient did not come to the visit." in _page(signed, words_of, "/to-reach")


def test_a_nonce_of_another_visit_is_refused(signed, routine, form_of):
    changes = {"patient.code": ["K-105"], "patient.name": ["Tom Ashby"]}
    _patient(signed, routine, form_of, **changes)
    signed.clock.on(1)
    reception = signed.log_in("reception")
    nonces = []
    for code in ("K-104", "K-105"):
        page = reception.get(f"/patients/{code}").text
        action = re.search(r'action="(/trips/\d+/arrived)"', page)[1]
        nonces.append((action, form_of(page, action)["nonce"]))
    (first, nonce), (second, _) = nonces
    assert reception.post(first, data={"nonce": nonce}).status_code == 303
    assert reception.post(second, data={"nonce": nonce}).status_code == 422
    assert reception.post(second, data={"nonce": ["short"]}).status_code == 422


@pytest.mark.parametrize("typed", ["wanjiru", "NDEGWA wan", "7946 0123", "k-104", "+44 (20) 7946-0123"])
def test_a_patient_is_found_by_name_telephone_or_code(signed, typed):
    answer = signed.log_in("reception").post("/find", data={"text": typed})
    assert answer.headers["location"] == "/patients/K-104"


def test_several_of_one_name_are_listed_to_choose_from(signed, routine, form_of, words_of):
    changes = {"patient.code": ["K-105"], "patient.birth_year": ["1949"]}
    _patient(signed, routine, form_of, **changes)
    answer = signed.log_in("reception").post("/find", data={"text": "wanjiru"})
    page = words_of(answer.text)
    assert answer.status_code == 200
    assert "Wanjiru Ndegwa , 71-72, right eye · K-104" in page
    assert "Wanjiru Ndegwa , 77-78, right eye · K-105" in page


def test_looking_changes_nothing_but_that_the_journal_tells_who_looked(signed):
    signed.clock.on(2)
    browsers = [signed.log_in(role) for role in ("counsellor", "reception", "surgeon")]
    before = _all_rows(signed)
    signed.clock.now += timedelta(seconds=30)
    pages = ("/today", "/to-reach", "/operations", "/patients/K-104", "/patients/K-104/record", "/plans/1")
    for browser in browsers:
        for page in (*pages, "/plans/1/steps?course=right:steroid", "/waiting", "/protocol"):
            browser.get(page)
        browser.post("/find", data={"text": "wanjiru"})
    after = _all_rows(signed)
    looked = after["journal"][len(before["journal"]) :]
    assert after | {"journal": after["journal"][: len(before["journal"])]} == before
    assert [(one.actor, one.action) for one in looked] == [
        (role, "record opened") for role in ("counsellor", "reception", "surgeon")
    ]


def test_the_days_page_asks_the_store_as_often_for_one_visit_as_for_three(signed, routine, form_of):
    signed.clock.on(1)
    one = _statements(signed)
    signed.clock.on(0)
    for number in (5, 6):
        _patient(signed, routine, form_of, **{"patient.code": [f"K-10{number}"]})
    signed.clock.on(1)
    assert _statements(signed) == one


def _statements(house) -> int:
    reception = house.log_in("reception")
    counted = []

    def count(*_args):
        counted.append(1)

    event.listen(house.store.engine, "before_cursor_execute", count)
    reception.get("/today")
    event.remove(house.store.engine, "before_cursor_execute", count)
    return len(counted)


def _states(house) -> list[str]:
    with house.store.read() as session:
        return list(session.execute(text("SELECT status FROM trip ORDER BY day, id")).scalars())


def _all_rows(house) -> dict[str, list]:
    tables = ("patient", "record_version", "care_plan", "trip", "sheet", "place", "journal", "login_session")
    with house.store.read() as session:
        return {table: list(session.execute(text(f"SELECT * FROM {table} ORDER BY 1"))) for table in tables}
