"""A told operation handed on as FHIR R4, read by a foreign library and by rules written from the standard."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle
from fhir_rules import broken_rules, of_kind, repeats
from fhir_told import CLINIC, SAMPLE, SIGNER, bundle, changed, counted, rounds_of
from fhir_told import told as handed_on
from told_sheets import CASES, told

from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record

DAY0 = date(2026, 3, 2)
FULLEST = max(CASES, key=lambda case: len(told(case).plan.courses))


def record_of(**more: Any) -> Any:
    """A routine operation with whatever is said."""
    patient = {"code": "T-1", "name": "Invented Person", "birth_date": "1954-06-11"} | more.pop("patient", {})
    operation = {
        "eye": "right",
        "eye_drawn": "right",
        "date": DAY0.isoformat(),
        "pad": True,
        "procedure": "phacoemulsification",
        "antibiotic_in_chamber": True,
    } | more.pop("operation", {})
    return parse_record({"patient": patient, "operations": [operation], **more})


def planned(record: Any, day: int = 0) -> Any:
    return build_plan(record, SAMPLE, as_of=DAY0 + timedelta(days=day))


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("signed", [True, False])
def test_a_foreign_reader_takes_the_bundle_of_every_told_operation_whole(case, signed):
    """Source: the classes of the library fhir.resources (R4B; R4 and R4B don't differ in these resources)."""
    of = told(case)
    made = bundle(of.record, of.plan, signed=signed)
    read = Bundle.model_validate(made)
    assert json.loads(read.model_dump_json()) == json.loads(json.dumps(made))
    kinds = Counter(entry["resource"]["resourceType"] for entry in made["entry"])
    assert kinds["Patient"] == kinds["CarePlan"] == kinds["Provenance"] == 1
    assert kinds["Practitioner"] == signed
    assert kinds["MedicationRequest"] == len(of.plan.courses)
    assert kinds["Appointment"] == len(of.plan.trips)
    assert kinds["Procedure"] == len(of.record.operations)


@pytest.mark.parametrize("case", CASES)
def test_every_timing_keeps_the_rules_of_the_standard(case):
    of = told(case)
    found = list(repeats(bundle(of.record, of.plan)))
    assert found
    assert [(repeat, broken_rules(repeat)) for repeat in found if broken_rules(repeat)] == []


def test_each_rule_of_the_standard_can_fail():
    """The reader of the rules reads: a Timing that breaks one rule is told by that rule's name."""
    broken = {
        "tim-1": {"duration": 1},
        "tim-2": {"period": 1},
        "tim-4": {"duration": -1, "durationUnit": "h"},
        "tim-5": {"period": -1, "periodUnit": "d"},
        "tim-6": {"periodMax": 2},
        "tim-7": {"durationMax": 2},
        "tim-8": {"countMax": 2},
        "tim-9": {"offset": 30, "when": ["C"]},
        "tim-10": {"timeOfDay": ["08:00:00"], "when": ["MORN"]},
        "timeOfDay stands alone": {"timeOfDay": ["08:00:00"], "frequency": 1},
    }
    assert [rule for rule, repeat in broken.items() if rule not in broken_rules(repeat)] == []


@pytest.mark.parametrize("case", CASES)
def test_the_doses_of_the_bundle_are_those_of_the_plans_rounds_day_by_day(case):
    of = told(case)
    same_as_the_rounds(of.record, of.plan)


def same_as_the_rounds(record: Any, plan: Any) -> None:
    requests = of_kind(bundle(record, plan), "MedicationRequest")
    assert len(requests) == len(plan.courses)
    for course, request in zip(plan.courses, requests, strict=True):
        assert counted(request, course, plan) == rounds_of(plan, course.key, record.patient.waking.rise)


def test_rounds_after_midnight_stand_on_the_day_they_really_are():
    record = record_of(patient={"waking": {"rise": "16:00", "bedtime": "09:00"}})
    plan = planned(record)
    (steroid,) = [course for course in plan.courses if course.role == "steroid"]
    assert any(time < "16:00" for phase in plan.rounds for time in phase.times)
    same_as_the_rounds(record, plan)
    (request,) = [
        one
        for one in of_kind(bundle(record, plan), "MedicationRequest")
        if one["medicationCodeableConcept"]["text"].lower().startswith(steroid.medicine.split("-")[0])
    ]
    first = [dosage for dosage in request["dosageInstruction"] if dosage["sequence"] == 1]
    begins = [dosage["timing"]["repeat"]["boundsPeriod"]["start"] for dosage in first]
    start = steroid.steps[0].start
    assert begins == [start.isoformat(), (start + timedelta(days=1)).isoformat()]
    assert "after midnight" in first[1]["text"]


def test_a_drop_from_before_has_neither_a_first_nor_a_last_day():
    used = {"medicine": "dorzolamide-2", "eye": "left", "count_a_day": 2}
    record = record_of(in_use=[used])
    plan = planned(record)
    same_as_the_rounds(record, plan)
    (request,) = [
        one for one in of_kind(bundle(record, plan), "MedicationRequest") if "reportedBoolean" in one
    ]
    repeats_ = [dosage["timing"]["repeat"] for dosage in request["dosageInstruction"]]
    assert "start" not in repeats_[0].get("boundsPeriod", {})
    assert "end" not in repeats_[-1].get("boundsPeriod", {})


def test_a_course_that_waits_is_on_hold_with_what_it_waits_for_and_has_no_days():
    of = told("03-amina")
    held = [course for course in of.plan.courses if course.state == "held"]
    assert held
    requests = of_kind(bundle(of.record, of.plan), "MedicationRequest")
    waiting = [one for one in requests if one["status"] == "on-hold"]
    assert len(waiting) == len(held)
    for request, course in zip(waiting, held, strict=True):
        assert request["statusReason"]["text"]
        steps = [dosage["timing"]["repeat"] for dosage in request["dosageInstruction"]]
        told_steps = [
            (r["boundsDuration"]["value"], r["boundsDuration"]["code"], r["frequency"]) for r in steps
        ]
        assert told_steps == [(step.days, "d", step.count) for step in course.steps]
        assert not any("boundsPeriod" in step for step in steps)


@pytest.mark.parametrize("case", CASES)
def test_nothing_of_a_plan_without_a_signature_is_more_than_a_draft(case):
    of = told(case)
    made = bundle(of.record, of.plan, signed=False)
    (plan,) = of_kind(made, "CarePlan")
    assert (plan["status"], plan["intent"]) == ("draft", "proposal")
    requests = of_kind(made, "MedicationRequest")
    assert {one["status"] for one in requests} <= {"draft", "cancelled"}
    assert {one["intent"] for one in requests} == {"proposal"}
    assert of_kind(made, "Practitioner") == []
    (source,) = of_kind(made, "Provenance")
    assert source["activity"]["text"] == "plan drafted, not signed"
    assert SIGNER not in json.dumps(made)


def test_a_plan_that_waits_to_be_made_by_hand_is_a_draft_too():
    record = record_of(patient={"birth_date": "2015-06-11"})
    plan = planned(record)
    assert plan.status == "on-hold"
    (told_plan,) = of_kind(bundle(record, plan, signed=False), "CarePlan")
    assert told_plan["status"] == "draft"
    assert any("by hand" in note["text"] for note in told_plan["note"])


def test_a_signed_plan_says_who_signed_it_and_by_which_protocol():
    of = told(FULLEST)
    made = bundle(of.record, of.plan)
    (plan,) = of_kind(made, "CarePlan")
    assert (plan["status"], plan["intent"]) == ("active", "plan")
    (source,) = of_kind(made, "Provenance")
    assert [agent["type"]["text"] for agent in source["agent"]] == ["made", "drafted", "signed"]
    assert source["agent"][2]["who"]["display"] == SIGNER
    what = source["entity"][0]["what"]
    assert what["identifier"]["value"] == of.plan.protocol_hash
    assert "approved by nobody" in what["display"]


def test_a_course_is_completed_once_its_last_day_has_passed_and_not_on_it():
    record = record_of()
    plan = planned(record)
    antibiotic = next(course for course in plan.courses if course.role == "antibiotic")
    at = plan.courses.index(antibiotic)
    for now, status in (
        (antibiotic.last_day, "active"),
        (antibiotic.last_day + timedelta(days=1), "completed"),
    ):
        assert of_kind(bundle(record, plan, now=now), "MedicationRequest")[at]["status"] == status


def test_a_plan_lasts_from_its_first_day_to_its_last_and_without_an_end_where_a_drop_goes_on():
    record = record_of()
    plan = planned(record)
    days = [trip.date for trip in plan.trips] + [course.first_day for course in plan.courses]
    ends = [trip.date for trip in plan.trips] + [course.last_day for course in plan.courses]
    (told_plan,) = of_kind(bundle(record, plan), "CarePlan")
    assert told_plan["period"] == {"start": min(days).isoformat(), "end": max(ends).isoformat()}
    going_on = record_of(in_use=[{"medicine": "dorzolamide-2", "eye": "left", "count_a_day": 2}])
    (told_plan,) = of_kind(bundle(going_on, planned(going_on)), "CarePlan")
    assert "end" not in told_plan["period"]
    child = record_of(patient={"birth_date": "2015-06-11"})
    empty = planned(child).model_copy(update={"trips": (), "courses": ()})
    (told_plan,) = of_kind(bundle(child, empty, signed=False), "CarePlan")
    assert told_plan["period"] == {"start": "2026-03-02"}


def test_every_link_of_a_bundle_leads_to_a_resource_of_it_and_the_same_patient_has_the_same_names():
    of = told(FULLEST)
    made, again = bundle(of.record, of.plan), bundle(of.record, of.plan)
    assert made == again
    names = [entry["fullUrl"] for entry in made["entry"]]
    assert len(set(names)) == len(names)
    links = set()
    waiting: list[Any] = [made]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            links |= {one["reference"]} if isinstance(one.get("reference"), str) else set()
            waiting += one.values()
        elif isinstance(one, list):
            waiting += one
    assert len(links) > 5
    assert links <= set(names)


def test_what_a_sample_clinic_gives_out_is_marked_as_test_data_and_a_real_ones_is_not():
    of = told(FULLEST)
    sample = bundle(of.record, of.plan, clinic=replace(CLINIC, is_sample=True))
    everything = [sample, *(entry["resource"] for entry in sample["entry"])]
    assert {one["meta"]["security"][0]["code"] for one in everything} == {"HTEST"}
    assert "HTEST" not in json.dumps(bundle(of.record, of.plan))


def test_a_visit_without_an_hour_is_any_time_of_its_local_day_and_one_with_an_hour_begins_then():
    record = record_of()
    of = handed_on(record, planned(record))
    (bare, *_) = of_kind(changed(of), "Appointment")
    day = of.plan.visits[0].day
    assert bare["start"] == f"{day}T00:00:00+05:30"
    assert bare["end"] == f"{day + timedelta(days=1)}T00:00:00+05:30"
    assert "No hour is given" in bare["comment"]
    (timed, *_) = of_kind(changed(of, hour="09:40", status="booked"), "Appointment")
    assert timed["start"] == timed["end"] == f"{day}T09:40:00+05:30"
    assert {one["status"] for one in timed["participant"]} == {"accepted"}
    (ended, *_) = of_kind(changed(of, status="cancelled", ended_reason="plan 2 signed"), "Appointment")
    assert ended["cancelationReason"]["text"] == "plan 2 signed"


def test_findings_are_told_as_they_were_written_and_what_was_not_done_as_that():
    look = {"eye": "right", "date": "2026-03-09", "time": "09:30", "by": "Dr Noor Example"}
    seen = {"pressure": 17.5, "pressure_device": "applanation", "vision": "6/9", "cells": "0.5+"}
    record = record_of(reviews=[look | seen, look | {"date": "2026-03-16", "pressure": "not done"}])
    found = of_kind(bundle(record, planned(record, 14)), "Observation")
    assert len(found) == 4
    pressure, vision, cells, missing = found
    assert pressure["valueQuantity"] == {
        "value": 17.5, "unit": "mmHg", "system": "http://unitsofmeasure.org", "code": "mm[Hg]"
    }  # fmt: skip
    assert pressure["code"]["coding"][0]["code"] == "79892-6"
    assert pressure["method"]["text"] == "applanation"
    assert pressure["effectiveDateTime"] == "2026-03-09T09:30:00+05:30"
    assert vision["valueString"] == "6/9"
    assert cells["valueCodeableConcept"]["text"].startswith("0.5+ (SUN")
    assert missing["dataAbsentReason"]["coding"][0]["code"] == "not-performed"
    assert not any(name.startswith("value") for name in missing)


def test_refraction_and_best_vision_are_told_as_they_were_written():
    look = {"eye": "right", "date": "2026-04-06", "refraction": "-0.50/-1.00x90", "best_corrected": "6/6"}
    record = record_of(reviews=[look])
    best, power = of_kind(bundle(record, planned(record, 35)), "Observation")
    assert (best["valueString"], best["code"]["text"]) == ("6/6", "vision with best glasses, right eye")
    assert (power["valueString"], power["code"]["text"]) == ("-0.50/-1.00x90", "refraction, right eye")


def test_allergies_are_told_one_by_one_and_none_only_where_that_was_said():
    allergies = [{"to": "sulfonamide", "reaction": "severe"}, {"to": "other", "described": "strawberries"}]
    record = record_of(patient={"allergies": allergies, "allergy_text": "itches from plaster"})
    severe, other, words = of_kind(bundle(record, planned(record)), "AllergyIntolerance")
    assert (severe["code"]["text"], severe["criticality"]) == ("sulfonamide", "high")
    assert other["code"]["text"] == "strawberries"
    assert "reaction" not in other
    assert words["code"]["text"] == "itches from plaster"
    silent = record_of()
    assert of_kind(bundle(silent, planned(silent)), "AllergyIntolerance") == []
    asked = record_of(patient={"no_other_allergy": True})
    (none,) = of_kind(bundle(asked, planned(asked)), "AllergyIntolerance")
    assert none["code"]["coding"][0]["code"] == "716186003"


def test_birth_is_told_as_far_as_it_is_known_and_an_operation_past_midnight_ends_the_next_day():
    record = record_of(
        patient={"birth_date": None, "birth_year": 1950},
        operation={"start": "23:40", "end": "00:10", "halted": True},
    )
    made = bundle(record, planned(record))
    assert of_kind(made, "Patient")[0]["birthDate"] == "1950"
    (done,) = of_kind(made, "Procedure")
    assert done["status"] == "stopped"
    assert done["performedPeriod"] == {
        "start": "2026-03-02T23:40:00+05:30", "end": "2026-03-03T00:10:00+05:30"
    }  # fmt: skip
    assert done["bodySite"][0]["coding"][0]["code"] == "18944008"
