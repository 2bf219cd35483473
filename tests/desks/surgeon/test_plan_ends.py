"""A plan ends: by itself when its last visit is done and its last drop taken, or by the surgeon."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from sqlalchemy import text

from followup.clinical.careplan import Course, Step
from followup.clinical.words.gist import gist_of
from followup.recall.codes.codes import typed_code
from followup.recall.jobs.daily import Workplace, run_due
from followup.records.desk.trip_steps import mark_arrived, mark_fulfilled, mark_noshow
from followup.records.plans.completing import complete_plan, plans_to_complete
from followup.records.plans.plans import plan as plan_of
from followup.records.store.journal import journal_of
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"


def _course(ward, key: str = "right:steroid", first: int = 1, days: int = 28, **more) -> Course:
    steps = (Step(start=ward.day(first), days=days, count=4),)
    given = {"key": key, "role": "steroid", "medicine": "dexamethasone-0-1", "eye": "right", "steps": steps}
    return Course.model_validate(given | more)


def _with_drops(ward, *courses: Course, code: str = "K-1"):
    return ward.signed(code, ward.body(code, courses=courses or (_course(ward),)))


def _done(ward, plan, *numbers: int) -> None:
    for number in numbers:
        visit = ward.trips(plan)[number]
        now = ward.at((visit.day - ward.day0).days)
        with ward.store.write(ward.reception, now) as unit:
            mark_arrived(unit, trip_id=visit.id, nonce=f"n{visit.id}")
        with ward.store.write(ward.surgeon, now) as unit:
            mark_fulfilled(unit, trip_id=visit.id)


def _complete(ward, day: int) -> list[bool]:
    with ward.store.read() as session:
        over = plans_to_complete(session, ward.day(day))
    done = []
    for number in over:
        with ward.store.write(SYSTEM, ward.at(day)) as unit:
            done.append(complete_plan(unit, plan_id=number, today=ward.day(day)))
    return done


def _state(ward, plan) -> str:
    with ward.store.read() as session:
        return plan_of(session, plan.id).status


def test_it_completes_when_the_last_visit_is_done_and_the_last_drop_taken_and_not_before(ward):
    plan = _with_drops(ward, _course(ward, days=50))
    _done(ward, plan, 0, 1)
    assert _complete(ward, 60) == []
    _done(ward, plan, 2)
    assert _complete(ward, 50) == []
    assert _complete(ward, 51) == [True]
    assert _state(ward, plan) == "completed"
    with ward.store.read() as session:
        entry = journal_of(session, "patient:K-1")[-1]
    assert (entry.action, entry.actor) == ("plan completed", "system")


def test_completing_twice_changes_nothing(ward):
    plan = _with_drops(ward)
    _done(ward, plan, 0, 1, 2)
    assert _complete(ward, 60) == [True]
    with ward.store.write(SYSTEM, ward.at(61)) as unit:
        assert not complete_plan(unit, plan_id=plan.id, today=ward.day(61))
    assert _complete(ward, 61) == []


def test_a_missed_visit_keeps_it_in_force_however_long_ago(ward):
    plan = _with_drops(ward)
    _done(ward, plan, 0, 1)
    with ward.store.write(ward.reception, ward.at(42)) as unit:
        mark_noshow(unit, trip_id=ward.trips(plan)[2].id)
    assert _complete(ward, 400) == []


def test_a_visit_at_which_nobody_looked_keeps_it_in_force(ward):
    plan = _with_drops(ward)
    _done(ward, plan, 0, 1)
    with ward.store.write(ward.reception, ward.at(42)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plan)[2].id, nonce="n")
    assert _complete(ward, 400) == []


@pytest.mark.parametrize("more", [{"from_before": True}, {"goes_on": True}, {"state": "stopped"}])
def test_drops_that_go_on_from_before_do_not_keep_it_open_for_ever(ward, more):
    old = _course(ward, "right:other", first=-30, days=400, **more)
    plan = _with_drops(ward, _course(ward), old)
    _done(ward, plan, 0, 1, 2)
    assert gist_of(plan.body).last_drop == ward.day(28)
    assert _complete(ward, 43) == [True]


def test_a_held_course_may_be_released_and_keeps_it_open_while_its_steps_run(ward):
    plan = _with_drops(ward, _course(ward, days=60, state="held", held_by=("asked",)))
    _done(ward, plan, 0, 1, 2)
    assert _complete(ward, 43) == []
    assert _complete(ward, 61) == [True]


def test_a_draft_that_waits_for_the_surgeon_keeps_it_in_force(ward):
    plan = _with_drops(ward)
    _done(ward, plan, 0, 1, 2)
    ward.draft(plan.patient_id)
    assert _complete(ward, 60) == []


def test_the_daily_work_completes_it_once(ward, protocol, tmp_path):
    plan = _with_drops(ward)
    _done(ward, plan, 0, 1, 2)
    place = Workplace(ward.store, protocol, tmp_path)
    run_due(place, ward.at(60))
    run_due(place, ward.at(60, 9))
    assert _state(ward, plan) == "completed"
    with ward.store.read() as session:
        entries = journal_of(session, "patient:K-1")
    assert sum(entry.action == "plan completed" for entry in entries) == 1


@pytest.fixture
def signed(house, routine, form_of):
    """A routine patient with a signed plan and a sheet in hand: house, plan, sheet."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    sheet = counsellor.post(f"{plan}/sheets", data=form_of(counsellor.get(plan).text, f"{plan}/sheets"))
    address = sheet.headers["location"].removesuffix("/paper.pdf")
    counsellor.post(f"{address}/handed-over", data={"to": "patient", "how": "paper"})
    return house, plan, address


def test_the_surgeon_ends_it_with_a_reason_and_then_no_list_reads_it(signed, words_of):
    house, plan, sheet = signed
    house.clock.on(9)
    surgeon, reception = house.log_in("surgeon"), house.log_in("reception")
    assert "Wanjiru" in words_of(reception.get("/to-reach").text)
    assert house.log_in("counsellor").post(f"{plan}/end", data={"end_reason": "x"}).status_code == 403
    assert surgeon.post(f"{plan}/end", data={"end_reason": " "}).status_code == 422
    assert surgeon.post(f"{plan}/end", data={"end_reason": "followed at home"}).status_code == 303
    assert surgeon.post(f"{plan}/end", data={"end_reason": "again"}).status_code == 303
    for browser, page in ((reception, "/to-reach"), (reception, "/today"), (surgeon, "/my-patients")):
        assert "Wanjiru" not in words_of(browser.get(page).text), page
    assert "followed at home" in words_of(surgeon.get(plan).text)
    assert reception.get("/api/calls").json() == []
    # Its old sheet says so when it is scanned, and does not speak of a newer plan.
    scanned = words_of(reception.get(sheet.replace("sheets", "found")).text)
    assert "this plan is completed since Wednesday 10 March" in scanned
    assert "newer plan" not in scanned
    found = reception.post("/api/find", json={"text": typed_code(sheet.rpartition("/")[2])}).json()
    assert found["current"] is False
    assert found["completed_at"].startswith("2027-03-10T")
    assert [one["code"] for one in found["people"]] == ["K-104"]
    assert found["current"] in (False, None)


def test_a_program_ends_it_too_and_a_draft_can_not_end(signed, form_of):
    house, plan, _ = signed
    surgeon = house.log_in("surgeon")
    address = f"/api{plan}/end"
    assert surgeon.post(address, json={}).status_code == 422
    ended = surgeon.post(address, json={"reason": "moved to another clinic"}).json()
    assert (ended["about"]["status"], ended["about"]["ended_reason"]) == (
        "completed",
        "moved to another clinic",
    )
    draft = surgeon.post(f"{plan}/again").headers["location"]
    assert surgeon.post(f"{draft}/end", data={"end_reason": "no"}).status_code == 422


def test_whoever_comes_in_pain_after_the_plan_has_ended_is_seen_now(signed, form_of, words_of):
    house, plan, _ = signed
    house.log_in("surgeon").post(f"{plan}/end", data={"end_reason": "healed"})
    house.clock.on(80)
    reception = house.log_in("reception")
    form = form_of(reception.get(PATIENT).text, f"{PATIENT}/walk-in")
    form |= {f"sign.{i}": ["yes" if i == 1 else "no"] for i in range(4)} | {"why": ["it hurts"]}
    assert reception.post(f"{PATIENT}/walk-in", data=form).status_code == 303
    assert "See now: pain" in words_of(house.log_in("surgeon").get("/my-patients").text)
    with house.store.read() as session:
        states = session.execute(text("SELECT status FROM care_plan")).scalars().all()
    assert "active" not in states
    assert not re.search(r"plan is in force", words_of(reception.get(PATIENT).text))
    assert date(2027, 3, 1) + timedelta(days=80) == house.clock.now.date()
