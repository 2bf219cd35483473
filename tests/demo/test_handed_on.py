"""Everybody of the sample clinic handed on as FHIR: six weeks of looks, changes and replaced plans."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time

import icalendar
from fhir.resources.R4B.bundle import Bundle
from fhir_rules import broken_rules, of_kind, repeats
from fhir_told import counted, rounds_of
from rfc5545 import read_calendar

from followup.care.exchange.agenda import patient_agenda
from followup.care.exchange.fhir import patient_bundle
from followup.care.hand import hand_for
from followup.clinical.protocol.load import load_protocol
from followup.clinical.statuses import TO_COME
from followup.recall.codes.codes import Keyring
from followup.records.desk.attempts import standings
from followup.records.people.patients import patient_by_code, record_version
from followup.records.plans.plans import active_plan, plans_of
from followup.records.trips.trips import open_trips, trips_of


def test_everybody_of_the_sample_clinic_is_read_by_a_foreign_reader_with_the_doses_of_the_plan(made, store):
    hand = hand_for(store, load_protocol(), Keyring({}, ""), now=datetime.combine(made.today, time(6), UTC))
    with store.read() as session:
        codes = sorted({trip.patient_code for trip in open_trips(session)})
    assert len(codes) > 20
    held = looks = 0
    for code in codes:
        made = patient_bundle(hand, code)
        assert json.loads(Bundle.model_validate(made).model_dump_json()) == json.loads(json.dumps(made))
        assert [one for one in repeats(made) if broken_rules(one)] == []
        with store.read() as session:
            who = patient_by_code(session, code)
            version = active_plan(session, who.id) or plans_of(session, who.id)[0]
            record = record_version(session, who.id, version.record_number).record
            visits = trips_of(session, who.id)
        requests = of_kind(made, "MedicationRequest")
        for course, request in zip(version.body.courses, requests, strict=True):
            rounds = rounds_of(version.body, course.key, record.patient.waking.rise)
            assert counted(request, course, version.body) == rounds
        (plan,) = of_kind(made, "CarePlan")
        assert plan["status"] == version.status
        told = of_kind(made, "Appointment")
        assert [one["status"] for one in told] == [one.status for one in visits]
        assert all("HTEST" in json.dumps(one["resource"]["meta"]) for one in made["entry"])
        held += sum(one["status"] == "on-hold" for one in requests)
        looks += len(of_kind(made, "Observation"))
    assert held
    assert looks > 50


def test_everybodys_visits_are_read_by_two_readers_in_the_patients_own_language(made, store):
    hand = hand_for(store, load_protocol(), Keyring({}, ""), now=datetime.combine(made.today, time(6), UTC))
    with store.read() as session:
        people = {trip.patient_code: trip.patient_id for trip in open_trips(session)}
        gone = standings(session, people.values())
    events = languages = 0
    for code, number in people.items():
        if number in gone:
            continue
        data = patient_agenda(hand, code)
        ours = read_calendar(data).all("VEVENT")
        theirs = icalendar.Calendar.from_ical(data).walk("VEVENT")
        assert [event.text("SUMMARY") for event in ours] == [str(event["SUMMARY"]) for event in theirs]
        assert len({event.value("UID") for event in ours}) == len(ours)
        with store.read() as session:
            coming = {t.day for t in trips_of(session, number) if t.status in TO_COME and t.day >= made.today}
        told = [
            event
            for event in ours
            if event.value("UID").startswith("visit") and event.value("STATUS") == "CONFIRMED"
        ]
        assert coming <= {date.fromisoformat((event.value("DTSTART") or "")[:8]) for event in told}
        events += len(ours)
        languages += any(event.text("SUMMARY") != "Visit at the clinic." for event in told)
    assert events > 60
    assert languages > 5
