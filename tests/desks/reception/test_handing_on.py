"""A patient handed on: the surgeon's way to the file, what it holds, and that it stands in the journal."""

from __future__ import annotations

import json

import pytest
from fhir_rules import of_kind

from followup.records.people.opening import OPENED
from followup.records.store.journal import journal_of

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"


@pytest.fixture
def drafted(house, routine, form_of):
    """A routine patient whose plan waits for a signature."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    house.plan = browser.post("/operations/new", data=form).headers["location"]
    return house


def _opened(house, login):
    with house.store.read() as session:
        entries = journal_of(session, "patient:K-104")
    return [entry.action for entry in entries if entry.actor == login].count(OPENED)


def test_the_surgeon_takes_a_patient_along_as_fhir_and_nobody_else_is_offered_it(drafted):
    surgeon = drafted.log_in("surgeon")
    assert f'href="{PATIENT}/fhir.json"' in surgeon.get(PATIENT).text
    answer = surgeon.get(f"{PATIENT}/fhir.json")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/fhir+json"
    assert answer.headers["content-disposition"] == 'attachment; filename="K-104.fhir.json"'
    bundle = answer.json()
    assert of_kind(bundle, "Patient")[0]["identifier"][0]["value"] == "K-104"
    assert surgeon.get("/api/patients/K-104/fhir").json() == bundle
    for other in ("counsellor", "reception"):
        assert "fhir" not in drafted.enter(other).get(PATIENT).text


def test_whoever_takes_a_patient_along_stands_in_the_journal(drafted):
    surgeon = drafted.log_in("surgeon")
    assert _opened(drafted, "surgeon") == 0
    surgeon.get("/api/patients/K-104/fhir")
    assert _opened(drafted, "surgeon") == 1


def test_a_draft_goes_out_as_a_draft_and_is_signed_once_somebody_has_signed(drafted):
    surgeon = drafted.log_in("surgeon")
    before = surgeon.get(f"{PATIENT}/fhir.json").json()
    (plan,) = of_kind(before, "CarePlan")
    assert plan["status"] == "draft"
    assert {one["status"] for one in of_kind(before, "MedicationRequest")} == {"draft"}
    assert {one["status"] for one in of_kind(before, "Appointment")} == {"proposed"}
    assert surgeon.post(f"{drafted.plan}/sign", data={"password": PASSWORD}).status_code == 303
    after = surgeon.get(f"{PATIENT}/fhir.json").json()
    (signed,) = of_kind(after, "CarePlan")
    assert (signed["status"], signed["id"]) == ("active", plan["id"])
    (who,) = of_kind(after, "Practitioner")
    assert (who["name"][0]["text"], who["identifier"][0]["value"]) == ("Dr Sen", "R-1")
    (source,) = of_kind(after, "Provenance")
    assert "approved by Dr Sen on" in json.dumps(source)


def test_a_moved_visit_goes_out_on_its_new_day_and_who_died_as_that(drafted):
    surgeon = drafted.log_in("surgeon")
    surgeon.post(f"{drafted.plan}/sign", data={"password": PASSWORD})
    reception = drafted.log_in("reception")
    trip = surgeon.get("/api/patients/K-104").json()["visits"][-1]
    moved = reception.post(f"/trips/{trip['id']}/move", data={"day": "2027-04-01"})
    assert moved.status_code == 303, moved.text
    told = of_kind(surgeon.get(f"{PATIENT}/fhir.json").json(), "Appointment")[-1]
    assert told["start"].startswith("2027-04-01T00:00:00")
    assert told["requestedPeriod"] == [{"start": trip["window_start"], "end": trip["window_end"]}]
    form = {"standing": "died", "reason": "her son said so"}
    assert reception.post(f"{PATIENT}/following", data=form).status_code == 303
    assert of_kind(surgeon.get(f"{PATIENT}/fhir.json").json(), "Patient")[0]["deceasedBoolean"] is True
