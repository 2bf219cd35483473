"""A look that no offered day can see: decided on the plan's page and over JSON, and then it stands."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from uneventful import uneventful

from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.store.store import Store
from followup.records.trips.closed import visits_to_move
from followup.records.trips.trips import open_trips
from followup.records.views import Actor

PASSWORD = "a long enough password"
MANAGER = Actor("manager", frozenset({"manager"}), "Manager")
# Operated on Monday 1 March 2027; the two days of the first look are closed.
CLOSED = ("2027-03-02", "2027-03-03")
ON_CALL = {"first_look": "on call", "place": "Ward 3, side door", "opens": "09:00", "closes": "11:00"}


@pytest.fixture
def record():
    """An uneventful operation, told so far that nothing is asked."""
    return {
        "patient": {
            "code": "K-104",
            "name": "Wanjiru Ndegwa",
            "birth_year": 1955,
            "language": "en",
            "telephones": [{"number": "+44 20 7946 0123"}],
            "drops_by": {"who": "relative"},
        },
        "operations": [uneventful("2027-03-01")],
    }


def _calendar(house, **calendar) -> None:
    with house.store.write(MANAGER, house.clock.now) as unit:
        clinic = get_clinic(unit.session)
        put_clinic(unit, replace(clinic, calendar=json.dumps(calendar)))


@pytest.fixture
def stuck(house, routine, form_of):
    """A plan whose first look has no open day."""
    house.sign_protocol()
    _calendar(house, holidays=list(CLOSED))
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    return house, counsellor.post("/operations/new", data=form).headers["location"]


def test_the_day_after_is_taken_with_a_reason_then_the_plan_is_signed_and_the_visit_stands(
    stuck, form_of, words_of
):
    house, plan = stuck
    surgeon = house.log_in("surgeon")
    page = surgeon.get(plan).text
    assert "can't be signed yet" in words_of(page)
    assert "first look after surgery" in words_of(page)
    form = form_of(page, f"{plan}/decisions")
    form |= {"day": ["2027-03-04"], "why": ["closed for two days; no pain, nearby"]}
    answer = surgeon.post(f"{plan}/decisions", data=form)
    assert answer.status_code == 303, words_of(answer.text)
    plan = answer.headers["location"]
    after = surgeon.get(plan).text
    assert "closed for two days; no pain, nearby" in words_of(after)
    assert "Dr Sen" in words_of(after)
    signing = form_of(after, f"{plan}/sign") | {"password": [PASSWORD]}
    assert surgeon.post(f"{plan}/sign", data=signing).status_code == 303
    with house.store.read() as session:
        first = open_trips(session)[0]
        assert (first.day, first.given, first.window_end) == (date(2027, 3, 4), True, date(2027, 3, 4))
    again = surgeon.post(f"{plan}/again").headers["location"]
    assert "closed for two days" in words_of(surgeon.get(again).text)
    with house.store.read() as session:
        assert open_trips(session)[0].day == date(2027, 3, 4)


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"day": ["2027-03-04"], "why": [""]}, "no reason"),
        ({"day": ["2027-03-09"], "why": ["some other day"]}, "not one of those offered"),
        ({"day": ["none"], "why": ["no look needed"]}, "not one of those offered"),
        ({"day": ["tomorrow"], "why": ["some day"]}, "no day is chosen"),
        ({"need": ["right:nothing"], "day": ["2027-03-04"], "why": ["some look"]}, "no such look"),
        # It has days here: without another clinic there is nothing to decide.
        ({"need": ["right:wound"], "day": ["2027-03-08"], "why": ["some look"]}, "no such look"),
    ],
)
def test_a_decision_that_is_none_stores_nothing_and_keeps_what_was_typed(
    stuck, form_of, words_of, sent, says
):
    house, plan = stuck
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/decisions") | sent
    answer = surgeon.post(f"{plan}/decisions", data=form)
    assert answer.status_code == 422
    assert says in words_of(answer.text)
    if "need" not in sent and sent["why"] != [""]:
        assert form_of(answer.text, f"{plan}/decisions")["why"] == sent["why"]
    assert form_of(surgeon.get(plan).text, f"{plan}/decisions")["seen"] == form["seen"]


def test_a_decision_is_taken_back_and_the_plan_cannot_be_signed_any_more(stuck, form_of, words_of):
    house, plan = stuck
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/decisions") | {"day": ["2027-03-04"], "why": ["closed"]}
    plan = surgeon.post(f"{plan}/decisions", data=form).headers["location"]
    back = form_of(surgeon.get(plan).text, f"{plan}/decisions/take-back")
    plan = surgeon.post(f"{plan}/decisions/take-back", data=back).headers["location"]
    page = surgeon.get(plan).text
    assert "can't be signed yet" in words_of(page)
    assert form_of(page, f"{plan}/decisions")["need"] == ["right:first-look"]


def test_a_correction_of_the_record_keeps_the_decision(stuck, form_of, words_of):
    house, plan = stuck
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/decisions") | {"day": ["2027-03-04"], "why": ["closed"]}
    surgeon.post(f"{plan}/decisions", data=form)
    counsellor = house.log_in("counsellor")
    record = form_of(counsellor.get("/patients/K-104/record").text) | {"patient.name": ["Wanjiru N"]}
    answer = counsellor.post("/patients/K-104/record", data=record)
    assert answer.status_code == 303, words_of(answer.text)
    assert "Decided:" in words_of(counsellor.get(answer.headers["location"]).text)


def test_the_same_over_json_with_the_day_before_and_a_look_elsewhere(house, record):
    house.sign_protocol()
    _calendar(house, holidays=list(CLOSED))
    surgeon, counsellor = house.log_in("surgeon"), house.log_in("counsellor")
    plan = counsellor.post("/api/records", json={"record": record}).json()["plan"]
    whole = surgeon.get(f"/api/plans/{plan}").json()
    (item,) = whole["body"]["impossible"]
    sent = {
        "seen": whole["record_number"],
        "need": item["need"],
        "day": item["before"],
        "why": "not far",
    }
    decided = surgeon.post(f"/api/plans/{plan}/decisions", json=sent)
    assert decided.status_code == 200, decided.text
    body = decided.json()
    assert body["body"]["impossible"] == []
    assert body["body"]["decided"][0]["by"] == "Dr Sen"
    away = {
        "seen": body["record_number"],
        "need": "right:wound",
        "day": "2027-03-08",
        "why": "lives far away",
        "place": "District eye unit",
    }
    far = surgeon.post(f"/api/plans/{body['about']['id']}/decisions", json=away)
    assert far.status_code == 200, far.text
    assert "District eye unit" in [t["place"] for t in far.json()["body"]["trips"]]
    signed = surgeon.post(f"/api/plans/{far.json()['about']['id']}/sign", json={"password": PASSWORD})
    assert signed.status_code == 200, signed.text
    stale = surgeon.post(f"/api/plans/{plan}/decisions", json=sent)
    assert stale.status_code == 409
    back = {"seen": far.json()["record_number"], "need": "right:wound", "day": "2027-03-08"}
    number = signed.json()["about"]["id"]
    without = surgeon.post(f"/api/plans/{number}/decisions/take-back", json=back)
    assert without.status_code == 200, without.text
    assert [d["need"] for d in without.json()["body"]["decided"]] == ["right:first-look"]


def test_only_the_surgeon_decides(stuck):
    house, plan = stuck
    for role in ("counsellor", "reception", "manager"):
        answer = house.log_in(role).post(f"{plan}/decisions", data={"need": ["right:first-look"]})
        assert answer.status_code == 403


def test_the_calendar_page_says_who_looks_on_closed_days_and_the_plan_follows(
    house, routine, form_of, words_of
):
    house.sign_protocol()
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text)
    form |= {"holidays": ["\n".join(CLOSED)], "first_look": ["on call"]}
    refused = manager.post("/calendar", data=form)
    assert refused.status_code == 422
    assert "place and hours" in words_of(refused.text)
    form |= {f"on_call_{name}": [ON_CALL[name]] for name in ("place", "opens", "closes")}
    assert manager.post("/calendar", data=form).status_code == 303
    assert form_of(manager.get("/calendar").text)["on_call_place"] == [ON_CALL["place"]]

    counsellor = house.log_in("counsellor")
    filled = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=filled).headers["location"]
    surgeon = house.log_in("surgeon")
    page = surgeon.get(plan).text
    assert "Ward 3, side door" in words_of(page)
    signing = form_of(page, f"{plan}/sign") | {"password": [PASSWORD]}
    assert surgeon.post(f"{plan}/sign", data=signing).status_code == 303
    with house.store.read() as session:
        first = open_trips(session)[0]
        assert (first.day, first.place, first.opens) == (date(2027, 3, 2), ON_CALL["place"], "09:00")
        # It stands on a closed day on purpose: nobody has to move it.
        assert visits_to_move(session, date(2027, 3, 1)) == ()
    # Reception sends the patient to the right door at the right hour.
    house.clock.on(1)
    reception = house.log_in("reception")
    for path in ("/today", "/today/list", "/patients/K-104", f"/trips/{first.id}/move"):
        assert "Ward 3, side door , 09:00 – 11:00" in words_of(reception.get(path).text), path
    told = next(v for v in reception.get("/api/visits").json() if v["id"] == first.id)
    assert (told["place"], told["opens"], told["closes"]) == (ON_CALL["place"], "09:00", "11:00")


def test_a_visit_on_a_day_that_became_closed_is_still_to_be_moved(store: Store, house, routine, form_of):
    house.sign_protocol()
    counsellor, surgeon = house.log_in("counsellor"), house.log_in("surgeon")
    filled = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=filled).headers["location"]
    signing = form_of(surgeon.get(plan).text, f"{plan}/sign") | {"password": [PASSWORD]}
    surgeon.post(f"{plan}/sign", data=signing)
    closed = [(date(2027, 3, 2) + timedelta(days=n)).isoformat() for n in range(3)]
    _calendar(house, holidays=closed, closed_days=ON_CALL)
    with house.store.read() as session:
        assert [t.day for t in visits_to_move(session, date(2027, 3, 1))] == [date(2027, 3, 2)]
