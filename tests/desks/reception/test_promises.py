"""A promise has a limit: a bookable day inside it, booked at once; the surgeon's list loses nobody by it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest

from followup.clinical.careplan import Tier
from followup.clinical.protocol.load import load_protocol
from followup.recall.reach.ladder import for_surgeon
from followup.recall.reach.promises import promise_days
from followup.recall.reach.worklist import worklist
from followup.records.desk.attempts import note_attempt
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.trips.trips import trips_of_plan
from followup.records.views import SYSTEM
from followup.timing.calendar import parse_calendar

PASSWORD = "a long enough password"
RULES = load_protocol().recall
CALL = "/patients/K-104/call"
SIX_DAYS = {"open_weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"]}


@pytest.fixture
def overdue(house, routine, form_of):
    """A routine patient whose first look is overdue since the day before; the clinic is closed on Sundays."""
    house.sign_protocol()
    with house.store.write(SYSTEM, house.clock.now) as unit:
        calendar = json.dumps(SIX_DAYS)
        put_clinic(unit, replace(get_clinic(unit.session), calendar=calendar))
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(3)
    return house


def _promise(house, form_of, day: str):
    reception = house.log_in("reception")
    form = form_of(reception.get(CALL).text) | {"outcome": ["will come"], "promised": [day]}
    return reception.post(CALL, data=form)


def test_a_day_years_ahead_is_refused_in_one_line_and_none_is_no_promise(overdue, form_of, words_of):
    for day, said in (
        ("2029-12-25", "25 December 2029 is too late for an overdue check"),
        ("2027-03-14", "Sunday 14 March is too late"),
        ("2027-03-07", "on Sunday 7 March there is no place"),
        ("2027-03-03", "there is no place"),
        ("", "no day is given to the promise"),
        ("soon", "not a day"),
    ):
        answer = _promise(overdue, form_of, day)
        assert answer.status_code == 422, day
        assert said in words_of(answer.text), day
    assert overdue.log_in("reception").get("/api/patients/K-104/call").json()["tried"] == []


def test_a_promised_day_books_the_visit_and_takes_its_place(overdue, form_of, words_of):
    assert _promise(overdue, form_of, "2027-03-05").status_code == 303
    (first, *_) = [
        v for v in overdue.log_in("reception").get("/api/visits?on=2027-03-05").json() if v["days"]
    ]
    assert (first["day"], first["status"], first["stands"]) == ("2027-03-05", "booked", "overdue")
    page = words_of(overdue.log_in("reception").get("/to-reach").text)
    assert "Next try on a later day" in page
    # Sent twice it is one booking.
    assert len(overdue.log_in("reception").get(f"/api{CALL}").json()["tried"]) == 1


def test_the_page_offers_the_days_that_count_and_no_others(overdue):
    page = overdue.log_in("reception").get(CALL).text
    assert '<button name="will-come" value="2027-03-06">' in page
    assert "2027-03-07" not in page
    offered = overdue.log_in("reception").get(f"/api{CALL}").json()["days"]
    assert offered == [f"2027-03-{d:02}" for d in (4, 5, 6, 8, 9, 10, 11, 12)]


@pytest.mark.parametrize(
    ("tier", "last"), [("A", date(2027, 3, 6)), ("B", date(2027, 3, 9)), ("C", date(2027, 3, 13))]
)
def test_the_limit_is_that_of_the_tier_and_closed_days_count_for_b_and_c_alone(tier: Tier, last: date):
    friday, closed = date(2027, 3, 5), parse_calendar(SIX_DAYS, "test")
    assert max(promise_days(RULES, tier, friday, closed, ["review"])) == last
    saturday = date(2027, 3, 6)
    if tier == "A":
        # Tomorrow is Sunday: today, or the surgeon decides.
        assert promise_days(RULES, tier, saturday, closed, ["review"]) == (saturday,)


def test_a_promise_at_the_end_of_the_ladder_leaves_the_patient_on_the_surgeons_list(ward):
    need = ward.need("look", 1, 2, tier="A")
    plan = ward.signed("K-1", ward.body(needs=(need,), trips=(ward.visit(1, 2, need),)))

    def attempt(outcome: str, day: int, **more):
        with ward.store.read() as session:
            line = next(one for one in worklist(session, ward.at(day), RULES) if one.kind == "overdue")
        with ward.store.write(ward.reception, ward.at(day)) as unit:
            note_attempt(
                unit,
                patient_id=plan.patient_id,
                rung=line.next.rung,
                way=line.next.way,
                outcome=outcome,
                nonce=f"{outcome} {day} {line.next.rung}",
                **more,
            )

    def causes(day: int) -> list[str]:
        with ward.store.read() as session:
            lines = worklist(session, ward.at(day), RULES)
        return [one.cause for one in for_surgeon(lines, RULES, ward.day(day))]

    for day in (3, 3, 3, 4):
        attempt("no answer", day)
    assert causes(5) == ["unreachable"]
    attempt("will come", 5, promised=ward.day(6))
    assert causes(5) != []
    assert causes(6) != []
    assert [t.status for t in _visits(ward, plan)] == ["proposed"]


def _visits(ward, plan):
    with ward.store.read() as session:
        return trips_of_plan(session, plan.id)


def test_a_second_promise_that_is_not_kept_leads_on_to_the_next_rung(ward):
    need = ward.need("look", 1, 2, tier="A")
    plan = ward.signed("K-1", ward.body(needs=(need,), trips=(ward.visit(1, 2, need),)))
    rungs = []
    for day in (3, 5, 7):
        with ward.store.read() as session:
            line = next(one for one in worklist(session, ward.at(day), RULES) if one.kind == "overdue")
        rungs.append(line.next.rung)
        with ward.store.write(ward.reception, ward.at(day)) as unit:
            note_attempt(
                unit,
                patient_id=plan.patient_id,
                rung=line.next.rung,
                way=line.next.way,
                outcome="will come",
                promised=ward.day(day + 1),
                nonce=f"promise {day}",
            )
    assert rungs == [0, 0, 1]
