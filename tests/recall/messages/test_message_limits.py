"""Messages just before, at and after each of their limits, and what happens while they are going out."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.clinical.careplan import Course, Step
from followup.language.catalogues import offered
from followup.recall.messages.sending import queue_day, send_due
from followup.recall.messages.wanted import earliest_try, may_go_out, wanted
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.taking_back import steps_of_day, take_back
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_noshow
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.people.messages import choose_messages, stop_messages
from followup.records.plans.plans import end_plan

NOON = 6.5
TICK = timedelta(microseconds=1)
OWN, OTHER = "+44 20 7946 0101", "+44 20 7946 0102"
STEPS = {  # of the right eye, by days of the operation
    "right": ((1, 6, 6), (7, 7, 4)),
    "left": ((1, 13, 3),),
}


def _wanted(ward, kind, day, protocol):
    with ward.store.read() as session:
        return wanted(session, kind, ward.day(day), protocol)


def _days(ward, kind, protocol, days):
    return [day for day in days if _wanted(ward, kind, day, protocol)]


# What a day asks for


def test_a_visit_is_reminded_of_on_the_day_before_it_alone(sqlite_ward, patient, protocol):
    patient()
    assert _days(sqlite_ward, "reminder", protocol, (-1, 0, 1, 5, 6, 7, 40, 41, 42)) == [0, 6, 41]


def test_a_missed_visit_is_written_about_from_the_day_after_its_last_one_for_fourteen_days_more(
    sqlite_ward, patient, protocol
):
    plan = patient()
    with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.at(7)) as unit:
        mark_arrived(unit, trip_id=sqlite_ward.trips(plan)[1].id, nonce="n")
    # Seen since, so the first visit is one to plan again: nobody is told that he did not come.
    assert _days(sqlite_ward, "missed", protocol, (2, 7, 10)) == []
    with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.at(7)) as unit:
        (step,) = steps_of_day(unit.session, unit.now, ["K-1"], actions=["arrived"])
        take_back(unit, patient_id=plan.patient_id, entry=step.number)
    found = {day: _wanted(sqlite_ward, "missed", day, protocol) for day in (1, 2, 3, 15, 16, 17)}
    assert [day for day, messages in found.items() if messages] == [2, 3, 15, 16]
    assert {(one.key, one.last_useful) for messages in found.values() for one in messages} == {
        (f"m-{sqlite_ward.trips(plan)[0].id}-2027-03-03", sqlite_ward.day(16))
    }


@pytest.mark.parametrize("outcome", ["no answer", "wrong number", "refused"])
@pytest.mark.parametrize(("called_on", "written"), [(1, True), (2, False), (5, False)])
def test_a_missed_visit_is_not_written_about_once_somebody_called(
    sqlite_ward, patient, protocol, outcome, called_on, written
):
    plan = patient()
    now = sqlite_ward.at(called_on)
    with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
        note_attempt(
            unit, patient_id=plan.patient_id, rung=0, way="call", outcome=outcome, nonce="a form's own"
        )
    assert bool(_wanted(sqlite_ward, "missed", 6, protocol)) is written
    with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
        (step,) = steps_of_day(unit.session, unit.now, ["K-1"], actions=["tried to reach"])
        take_back(unit, patient_id=plan.patient_id, entry=step.number)
    assert len(_wanted(sqlite_ward, "missed", 6, protocol)) == 1, "the call was a slip"


def test_nobody_is_reminded_of_a_visit_that_is_over_and_everybody_of_one_that_was_promised(
    sqlite_ward, patient, protocol
):
    def about(code):
        return [one for one in _wanted(sqlite_ward, "reminder", 6, protocol) if one.patient.code == code]

    plans = {code: patient(code) for code in ("K-1", "K-2", "K-3", "K-4")}
    trips = {code: sqlite_ward.trips(plan)[1].id for code, plan in plans.items()}
    assert [len(about(code)) for code in plans] == [1, 1, 1, 1]
    with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.at(7)) as unit:
        book_trip(unit, trip_id=trips["K-1"])
        mark_arrived(unit, trip_id=trips["K-2"], nonce="n")
        mark_noshow(unit, trip_id=trips["K-3"])
    with sqlite_ward.store.write(sqlite_ward.surgeon, sqlite_ward.at(7)) as unit:
        end_plan(unit, plan_id=plans["K-4"].id, completed=False, reason="goes elsewhere")
    assert [len(about(code)) for code in plans] == [1, 0, 0, 0]


@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize(
    ("visit", "open_day", "closed_day"),
    [
        ({}, True, False),
        # The surgeon set its day: it is kept on a day on which nothing is offered.
        ({"decided": True}, True, True),
        # Elsewhere: told on paper alone, which says where. A message names the clinic.
        ({"place": "Hill Street 4, on call", "hours": ("09:00", "10:00")}, False, False),
        ({"place": "Hill Street 4", "hours": ("09:00", "10:00"), "decided": True}, False, False),
    ],
)
def test_nobody_is_sent_to_a_closed_door_or_to_another_one(
    sqlite_ward, in_hand, agreed, protocol, visit, open_day, closed_day, closed
):
    need = sqlite_ward.need("week", 5, 9)
    trips = (sqlite_ward.visit(1, 7, need, **visit),)
    plan = sqlite_ward.signed("K-1", sqlite_ward.body(needs=(need,), trips=trips))
    in_hand(sqlite_ward, plan)
    agreed(sqlite_ward, plan.patient_id, "gateway", OWN)
    if closed:
        with sqlite_ward.store.write(sqlite_ward.manager, sqlite_ward.now) as unit:
            calendar = json.dumps({"holidays": [sqlite_ward.day(7).isoformat()]})
            put_clinic(unit, replace(get_clinic(unit.session), calendar=calendar))
    assert bool(_wanted(sqlite_ward, "reminder", 6, protocol)) is (closed_day if closed else open_day)


@pytest.mark.parametrize("standing", ["moved away", "died", "refused", "lost to follow-up"])
def test_nobody_who_is_not_followed_is_written_to(sqlite_ward, patient, protocol, standing):
    plan = patient(courses=_courses(sqlite_ward))

    def asked():
        days = {"reminder": 6, "step change": 6, "missed": 3}
        return [kind for kind, day in days.items() if _wanted(sqlite_ward, kind, day, protocol)]

    for word, found in (("", 3), (standing, 0), ("followed", 3)):
        if word:
            with sqlite_ward.store.write(sqlite_ward.surgeon, sqlite_ward.now) as unit:
                set_standing(unit, patient_id=plan.patient_id, standing=word, reason="said so")
        assert len(asked()) == found, f"{word or 'at first'}: {asked()}"


# What they say


def _courses(ward):
    return tuple(
        Course(
            key=f"{eye}:steroid",
            role="steroid",
            medicine="prednisolone-1",
            eye=eye,
            steps=tuple(Step(start=ward.day(first), days=days, count=count) for first, days, count in steps),
        )
        for eye, steps in STEPS.items()
    )


def test_a_change_of_both_eyes_is_one_message_that_names_each(sqlite_ward, patient, protocol):
    patient(courses=_courses(sqlite_ward))
    # The first day of a course is told at discharge; a plan's last day is one too.
    assert _days(sqlite_ward, "step change", protocol, (0, 1, 5, 6, 7, 12, 13, 14)) == [6, 13]
    (sixth,), (last,) = (_wanted(sqlite_ward, "step change", day, protocol) for day in (6, 13))
    assert (sixth.text.isascii(), 160 < len(sixth.text) <= 2 * 153, sixth.segments) == (True, True, 2)
    assert sixth.text.splitlines()[1:-1] == ["Right eye, prednisolone-1: 4 times a day."]
    assert last.text.splitlines()[1:-1] == [
        "Right eye, prednisolone-1: do not use it any more.",
        "Left eye, prednisolone-1: do not use it any more.",
    ]


@pytest.mark.parametrize("language", [one.tag for one in offered()])
def test_a_message_holds_nothing_of_the_record_a_telephone_may_be_read_by_anyone(
    sqlite_ward, patient, protocol, language
):
    """Two people who share nothing but language and days get the same words."""
    patient("K-1", name="Wanjiru Ndegwa", birth_year=1955, language=language)
    patient("K-2", name="Peter Otieno", birth_year=1978, language=language, courses=_courses(sqlite_ward))
    for kind, day in (("reminder", 6), ("missed", 3)):
        one, other = _wanted(sqlite_ward, kind, day, protocol)
        assert one.text == other.text, kind
        assert (one.language, other.language) == (language, language)


# While they go out


class Sender:
    """Hands on what it is given, and lets something happen in between."""

    def __init__(self, between=lambda: None) -> None:
        self.sent, self.between = [], between

    def send(self, message) -> None:
        self.sent.append((message.patient_code, message.address))
        if len(self.sent) == 1:
            self.between()


def _send(ward, protocol, sender, clock):
    return send_due(ward.store, {"gateway": sender}, protocol, owner="a", clock=clock)


def _states(ward, day=6):
    with ward.store.read() as session:
        return {
            one.patient_code: (one.state, one.last_error) for one in messages_of_day(session, ward.day(day))
        }


@pytest.mark.parametrize(
    ("happens", "state", "why"),
    [
        ("died", "left out", "no longer wanted: moved, seen, planned again or not followed"),
        ("stops", "left out", "stopped by the patient"),
        ("does not agree", "left out", "stopped by the patient"),
        ("another number", "waiting", ""),
    ],
)
def test_what_is_said_while_messages_go_out_holds_for_those_still_to_go(
    sqlite_ward, patient, protocol, happens, state, why
):
    patient("K-1")
    number, now = patient("K-2").patient_id, sqlite_ward.at(6, NOON)

    def said():
        with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
            if happens == "died":
                set_standing(unit, patient_id=number, standing="died", reason="the son called")
            elif happens == "stops":
                stop_messages(unit, patient_id=number)
            else:
                agrees = happens == "another number"
                choose_messages(unit, patient_id=number, consent=agrees, channel="gateway", address=OTHER)

    assert queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol).new == 2
    sender = Sender(said)
    _send(sqlite_ward, protocol, sender, lambda: now)
    assert sender.sent == [("K-1", OWN)], "written to after it was said"
    assert _states(sqlite_ward) == {"K-1": ("sent", ""), "K-2": (state, why)}
    _send(sqlite_ward, protocol, sender, lambda: now)
    assert sender.sent[1:] == ([("K-2", OTHER)] if happens == "another number" else [])


def test_a_pass_that_the_quiet_hours_overtake_stops_where_they_begin(sqlite_ward, patient, protocol):
    for code in ("K-1", "K-2"):
        patient(code)
    # 20:00 at the clinic.
    evening = sqlite_ward.at(6, 14.5)
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), evening - TICK, protocol)
    passed = []
    sender = Sender(lambda: passed.append(1))
    _send(sqlite_ward, protocol, sender, lambda: evening if passed else evening - TICK)
    assert sender.sent == [("K-1", OWN)]
    assert _states(sqlite_ward)["K-2"] == ("waiting", "")
    _send(sqlite_ward, protocol, sender, lambda: sqlite_ward.at(7, 2.5) - TICK)
    assert len(sender.sent) == 1
    _send(sqlite_ward, protocol, sender, lambda: sqlite_ward.at(7, 2.5))
    assert sender.sent == [("K-1", OWN), ("K-2", OWN)]


@pytest.mark.parametrize(
    ("local", "goes", "earliest"),
    [
        ("2027-03-07 00:00", False, "2027-03-07 08:00"),
        ("2027-03-07 07:59", False, "2027-03-07 08:00"),
        ("2027-03-07 08:00", True, "2027-03-07 08:00"),
        ("2027-03-07 19:59", True, "2027-03-07 19:59"),
        ("2027-03-07 20:00", False, "2027-03-08 08:00"),
        ("2027-03-07 23:59", False, "2027-03-08 08:00"),
    ],
)
@pytest.mark.parametrize("zone", ["Asia/Kolkata", "Pacific/Kiritimati", "America/Lima"])
def test_nothing_goes_out_from_eight_in_the_evening_to_eight_in_the_morning(
    protocol, local, goes, earliest, zone
):
    here = ZoneInfo(zone)
    now, first = (datetime.fromisoformat(one).replace(tzinfo=here) for one in (local, earliest))
    assert may_go_out(now.astimezone(UTC), here, protocol) is goes
    assert earliest_try(now.astimezone(UTC), here, protocol) == first


def test_a_message_to_what_can_not_be_dialled_goes_nowhere_and_is_named(sqlite_ward, patient, protocol):
    """Such an address is from before it was looked at where it is typed."""
    patient()
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE message_choice SET address = '5----'"))
    now, sender = sqlite_ward.at(6, NOON), Sender()
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol)
    assert _send(sqlite_ward, protocol, sender, lambda: now).failed == 1
    assert sender.sent == []
    assert _states(sqlite_ward)["K-1"] == ("failed", "5---- is none that a message can go to")
