"""A patient's visits in the calendar of a phone, from the first sheet through moves and new plans."""

from __future__ import annotations

from datetime import date

import icalendar
import pytest
from rfc5545 import Component, read_calendar

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"
FILE = f"{PATIENT}/visits.ics"


@pytest.fixture
def signed(house, routine, form_of):
    """A routine patient with a plan in force on the day of surgery, 1 March 2027."""
    house.sign_protocol()
    house.clock.on(0)
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    house.plan = browser.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{house.plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house


def events(browser, address: str = FILE) -> list[Component]:
    """As our strict reader finds them; the library reads the same of them."""
    answer = browser.get(address)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    found = read_calendar(answer.content).all("VEVENT")
    others = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    assert [str(other["UID"]) for other in others] == [event.value("UID") for event in found]
    return found


def told(found: list[Component], kind: str = "visit") -> dict[str, tuple[str, str, int]]:
    """By UID the day, the status and the sequence."""
    return {
        event.value("UID"): (event.value("DTSTART")[:8], event.value("STATUS"), int(event.value("SEQUENCE")))
        for event in found
        if event.value("UID").startswith(kind)
    }


def issue(house, browser):
    """Print the sheet of the plan in force and hand it over; its code as it is typed."""
    sheet = browser.post(f"/api{house.plan}/sheets", json={"printed": 0}).json()
    assert (
        browser.post(
            f"/api/sheets/{sheet['id']}/handed-over", json={"to": "the patient", "how": "paper"}
        ).status_code
        == 200
    )
    return sheet["code"]


def test_the_visits_of_the_plan_stand_in_the_file_with_the_clinic_and_its_telephone(signed):
    browser = signed.log_in("reception")
    visits = browser.get("/api/patients/K-104").json()["visits"]
    found = events(browser)
    assert [value[0] for value in told(found).values()] == [visit["day"].replace("-", "") for visit in visits]
    assert {value[1:] for value in told(found).values()} == {("CONFIRMED", 0)}
    assert all("Riverbend Eye Clinic" in event.text("LOCATION") for event in found)
    assert all("+44 20 7946 0100" in event.text("DESCRIPTION") for event in found)
    assert f'href="{FILE}"' in browser.get(PATIENT).text


def test_neither_name_nor_medicine_nor_what_is_looked_at_stands_in_a_file_for_a_phone(signed):
    browser = signed.log_in("counsellor")
    issue(signed, browser)
    whole = browser.get(FILE).content.decode().replace("\r\n ", "").casefold()
    assert "drops change" in whole
    patient = browser.get("/api/patients/K-104").json()
    forbidden = {*patient["patient"]["name"].casefold().split(), "k-104", "eye,", "steroid", "dexamethasone"}
    forbidden |= {"pressure", "right eye", "left eye", "cataract"}
    forbidden |= {check["text"].casefold() for visit in patient["visits"] for check in visit["for_what"]}
    assert {word for word in forbidden if word in whole} == set()


def test_the_code_in_the_file_is_that_of_the_sheet(signed):
    browser = signed.log_in("counsellor")
    assert "Return code" not in events(browser)[0].text("DESCRIPTION")
    code = issue(signed, browser)
    visits = [event for event in events(browser) if event.value("UID").startswith("visit")]
    for event in visits:
        lines = event.text("DESCRIPTION").splitlines()
        assert lines[lines.index("Return code") + 1] == code
    found = browser.post("/api/find", json={"text": code}).json()
    assert (found["read_as"], found["people"][0]["code"]) == ("ours", "K-104")


def test_a_moved_visit_keeps_its_name_and_counts_up_and_so_does_one_that_is_given_an_hour(signed):
    browser = signed.log_in("reception")
    before = told(events(browser))
    trip = browser.get("/api/patients/K-104").json()["visits"][-1]
    assert browser.post(f"/trips/{trip['id']}/move", data={"day": "2027-04-01"}).status_code == 303
    after = told(events(browser))
    assert after.keys() == before.keys()
    (moved,) = [uid for uid in after if after[uid] != before[uid]]
    assert after[moved] == ("20270401", "CONFIRMED", 1)
    booked = browser.post(f"/trips/{trip['id']}/book", data={"hour": "09:40", "seen": "2027-04-01"})
    assert booked.status_code == 303, booked.text
    event = next(event for event in events(browser) if event.value("UID") == moved)
    assert (event.value("DTSTART"), event.value("SEQUENCE")) == ("20270401T094000", "2")
    assert event.parameters("DTSTART") == {"TZID": "Asia/Kolkata"}
    assert "09:40" in event.text("DESCRIPTION")


def test_a_new_plan_keeps_the_names_of_its_visits_and_a_plan_that_ends_cancels_them(signed):
    surgeon, browser = signed.log_in("surgeon"), signed.log_in("counsellor")
    issue(signed, browser)
    before = told(events(browser))
    drops = told(events(browser), "drops")
    assert {value[1] for value in drops.values()} == {"CONFIRMED"}
    change = {"course": "right:steroid", "starts": "2027-03-09", "reason": "more cells"}
    change |= {"steps": [{"times_a_day": 6, "days": 14}, {"times_a_day": 3, "days": 14}]}
    draft = surgeon.post(f"/api{signed.plan}/steps", json=change)
    assert draft.status_code == 200, draft.text
    number = draft.json()["about"]["id"]
    sign = {"password": PASSWORD, "reason": "more cells"}
    answer = surgeon.post(f"/api/plans/{number}/sign", json=sign)
    assert answer.status_code == 200, answer.text
    after = told(events(browser))
    same = before.keys() & after.keys()
    assert len(same) >= 2
    assert all(after[uid][2] > before[uid][2] for uid in same)
    assert {after[uid][1] for uid in before.keys() & after.keys() if after[uid][0] == before[uid][0]} == {
        "CONFIRMED"
    }
    # The new sheet is in nobody's hands yet: what the old one said of drops is taken back.
    assert {value[1] for value in told(events(browser), "drops").values()} == {"CANCELLED"}
    signed.plan = f"/plans/{number}"
    issue(signed, browser)
    again = told(events(browser), "drops")
    assert {value[1] for uid, value in again.items() if uid not in drops} <= {"CONFIRMED"}
    assert all(again[uid][2] > drops[uid][2] for uid in drops)
    end = surgeon.post(f"/api/plans/{number}/end", json={"reason": "goes on elsewhere"})
    assert end.status_code == 200, end.text
    gone = events(browser)
    assert {event.value("STATUS") for event in gone} == {"CANCELLED"}
    assert all(told(gone)[uid][2] > after[uid][2] for uid in after)
    assert {event.text("DESCRIPTION") for event in gone} == {""}


def test_the_file_is_in_the_patients_language_and_nobody_who_died_is_written_to(signed, form_of):
    browser = signed.log_in("counsellor")
    record = browser.get("/api/patients/K-104/record").json()
    record["record"]["patient"]["language"] = "bn"
    sent = {"seen": record["number"], "record": record["record"]}
    assert browser.put("/api/patients/K-104/record", json=sent).status_code == 200
    assert "ক্লিনিক" in events(browser)[0].text("DESCRIPTION") + events(browser)[0].text("SUMMARY")
    form = {"standing": "died", "reason": "her son said so"}
    assert browser.post(f"{PATIENT}/following", data=form).status_code == 303
    assert browser.get(FILE).status_code in (409, 422)
    assert FILE not in browser.get(PATIENT).text


def test_a_days_visits_are_the_desks_with_their_names_in_the_language_of_the_staff(signed):
    browser = signed.log_in("reception")
    visit = browser.get("/api/patients/K-104").json()["visits"][0]
    day = date.fromisoformat(visit["day"])
    (event,) = events(browser, f"/today/visits.ics?on={day}")
    assert event.text("SUMMARY") == visit["patient"]["name"]
    code, *looks = event.text("DESCRIPTION").splitlines()
    assert code == "K-104"
    assert len(looks) == len(visit["for_what"])
    assert event.value("DTSTART") == f"{day:%Y%m%d}"
    assert events(browser, f"/api/visits.ics?on={day}")[0].lines == event.lines
    assert f"/today/visits.ics?on={day}" in browser.get(f"/today?on={day}").text
    empty = browser.get("/today/visits.ics?on=2027-02-02")
    assert read_calendar(empty.content).parts == []
