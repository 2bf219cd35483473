"""Seen means findings: being here closes nothing, and whoever leaves without a look is on a list."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import text

from followup.care.plans.planning import with_visits
from followup.clinical.plan.build import build_plan
from followup.records.people.patients import newest_record, patient_by_code
from followup.records.trips.trips import trips_of

PASSWORD = "a long enough password"
EYE = "/patients/K-104/eyes/right"
PATIENT = "/patients/K-104"


@pytest.fixture
def here(house, routine, form_of):
    """A routine operation with a signed plan; on day 1 the patient is marked as arrived."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(1)
    _arrive(house, form_of)
    return house


def _arrive(house, form_of):
    reception = house.log_in("reception")
    page = reception.get(PATIENT).text
    action = re.search(r'action="(/trips/\d+/arrived)"', page)[1]
    assert reception.post(action, data=form_of(page, action)).status_code == 303


def _enter(house, form_of, **findings):
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    form |= {f"reviews.0.{name}": [value] for name, value in findings.items()}
    assert surgeon.post(f"{EYE}/findings", data=form).status_code == 303


def _leave(house):
    reception = house.log_in("reception")
    action = re.search(r'action="(/trips/\d+/left)"', reception.get(PATIENT).text)[1]
    assert reception.post(action).status_code == 303


def _states(house) -> list[str]:
    with house.store.read() as session:
        return list(session.execute(text("SELECT status FROM trip ORDER BY day, id")).scalars())


def test_nothing_is_ticked_beforehand_and_reception_can_not_say_what_was_looked_at(here):
    page = here.log_in("surgeon").get(PATIENT).text
    boxes = re.findall(r'<input type="checkbox" name="served"[^>]*>', page)
    assert boxes
    assert not [box for box in boxes if "checked" in box]
    reception = here.log_in("reception")
    assert 'name="served"' not in reception.get(PATIENT).text
    action = re.search(r'action="(/trips/\d+/seen)"', page)[1]
    assert reception.post(action, data={"served": ["right:first-look"]}).status_code == 403
    assert _states(here)[0] == "arrived"


def test_findings_close_the_visit_by_themselves(here, form_of):
    _enter(here, form_of, cells="1+", pressure="16")
    assert _states(here)[0] == "fulfilled"


def test_findings_close_the_visit_of_a_patient_whose_arrival_nobody_marked(house, routine, form_of, words_of):
    """Somebody who was looked at stood on the list to reach the next morning, as one who had not come."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(1)
    # The first look alone is in time; what is planned for later days stays open.
    later = _states(house)[1:]
    _enter(house, form_of, cells="not seen", pressure="not done")
    assert _states(house) == ["proposed", *later]
    _enter(house, form_of, cells="1+", pressure="16")
    assert _states(house) == ["fulfilled", *later]
    house.clock.on(4)
    assert "overdue" not in words_of(house.log_in("reception").get("/to-reach").text)


def test_a_look_that_could_not_see_closes_nothing(here, form_of):
    _enter(here, form_of, cells="not seen", flare="not seen", pressure="not done")
    assert _states(here)[0] == "arrived"


def test_who_left_without_findings_is_on_the_surgeons_list_that_evening_and_to_reach_next_morning(
    here, words_of
):
    _leave(here)
    assert _states(here)[0] == "arrived"
    assert "Left without findings" in words_of(here.log_in("surgeon").get("/my-patients").text)
    assert "Left without findings Wanjiru" in words_of(here.log_in("reception").get("/today").text)
    assert "left without findings" not in words_of(here.log_in("reception").get("/to-reach").text)
    here.clock.on(2)
    said = words_of(here.log_in("reception").get("/to-reach").text)
    assert "was here on Tuesday 2 March and left without findings" in said


def test_who_arrived_and_was_forgotten_is_on_both_lists_the_next_day_too(here, words_of):
    here.clock.on(2)
    assert "left without findings" in words_of(here.log_in("reception").get("/to-reach").text)
    assert "Left without findings" in words_of(here.log_in("surgeon").get("/my-patients").text)


def test_whoever_left_and_comes_again_is_marked_as_arrived_for_the_same_visit(here, form_of):
    _leave(here)
    here.clock.on(2)
    _arrive(here, form_of)
    _enter(here, form_of, cells="1+", pressure="16")
    assert _states(here)[0] == "fulfilled"
    assert "Left without" not in here.log_in("surgeon").get("/my-patients").text


def test_a_clinical_role_closes_one_by_one_and_says_that_nothing_was_looked_at(here, words_of):
    _leave(here)
    here.clock.on(2)
    surgeon = here.log_in("surgeon")
    page = surgeon.get(PATIENT).text
    action = re.search(r'action="(/trips/\d+/seen)"', page)[1]
    assert surgeon.post(action, data={}).status_code == 422
    assert surgeon.post(action, data={"nothing": "yes"}).status_code == 303
    assert _states(here)[0] == "proposed"
    assert "left without findings" not in words_of(here.log_in("reception").get("/to-reach").text)


@pytest.mark.parametrize(
    ("sent", "served", "status"),
    [
        ({"served": ["right:first-look"]}, ("right:first-look",), "fulfilled"),
        # Both said: nothing is closed.
        ({"served": ["right:first-look"], "nothing": "yes"}, (), "proposed"),
        ({"nothing": "yes"}, (), "proposed"),
    ],
)
def test_what_a_clinical_role_ticks_on_the_page_is_what_was_looked_at(here, sent, served, status):
    surgeon = here.enter("surgeon")
    page = surgeon.get(PATIENT).text
    assert 'name="served" value="right:first-look"' in page
    action = re.search(r'action="(/trips/\d+/seen)"', page)[1]
    assert surgeon.post(action, data=sent).status_code == 303
    with here.store.read() as session:
        trips = trips_of(session, patient_by_code(session, "K-104").id)
    first = min(trips, key=lambda trip: trip.day)
    assert (first.served, first.status) == (served, status)


def test_leaving_is_taken_back_on_its_day(here, words_of):
    _leave(here)
    reception = here.log_in("reception")
    page = reception.get(PATIENT).text
    assert "Marked: left without findings" in words_of(page)
    entry = re.search(r'name="entry" value="(\d+)"', page)[1]
    assert reception.post(f"{PATIENT}/take-back", data={"entry": entry}).status_code == 303
    assert "Here now" in words_of(reception.get(PATIENT).text)


def test_being_here_is_no_look_for_a_plan_made_again(here):
    """An arrival, and somebody who came without a visit, used to count as every look of the day."""
    with here.store.read() as session:
        who = patient_by_code(session, "K-104")
        record, trips = newest_record(session, who.id).record, trips_of(session, who.id)
    day = here.clock.now.date()
    plan = build_plan(with_visits(record, trips, day), here.desk.protocol, as_of=day)
    assert [need.kind for need in plan.needs if need.state == "served"] == []


def test_a_walk_in_is_no_look_for_a_plan_made_again(here, form_of):
    here.clock.on(7)
    reception = here.log_in("reception")
    form = form_of(reception.get(PATIENT).text, f"{PATIENT}/walk-in")
    form |= {f"sign.{i}": ["no"] for i in range(4)} | {"why": ["has lost the bottle"]}
    assert reception.post(f"{PATIENT}/walk-in", data=form).status_code == 303
    with here.store.read() as session:
        who = patient_by_code(session, "K-104")
        record, trips = newest_record(session, who.id).record, trips_of(session, who.id)
    day = here.clock.now.date()
    assert day in [t.seen_on for t in trips if t.status == "arrived"], "the walk-in is stored"
    assert [t for t in with_visits(record, trips, day).trips if t.date == day] == []


def test_the_program_interface_says_left_and_asks_for_what_was_looked_at(here):
    reception, surgeon = here.log_in("reception"), here.log_in("surgeon")
    (visit,) = [v for v in reception.get("/api/visits").json() if v["stands"] == "here"]
    assert reception.post(f"/api/visits/{visit['id']}/left").json()["stands"] == "left"
    assert [v["stands"] for v in surgeon.get("/api/my-patients").json()["left"]] == ["left"]
    assert reception.post(f"/api/visits/{visit['id']}/seen", json={"served": []}).status_code == 403
    assert surgeon.post(f"/api/visits/{visit['id']}/seen", json={"served": None}).status_code == 422
    keys = [check["key"] for check in visit["for_what"]]
    assert surgeon.post(f"/api/visits/{visit['id']}/seen", json={"served": keys}).json()["stands"] == "done"
