"""``followup export``: one patient as a file that other programs read."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest
from fhir.resources.R4B.bundle import Bundle
from rfc5545 import read_calendar

from followup.recall.codes.codes import Keyring, save_keyring
from followup.records.people.opening import OPENED
from followup.records.store.journal import journal_of, newest_seal


@pytest.fixture
def clinic_of_one(sqlite_ward, inside, tmp_path):
    """K-1 with a signed plan; runs commands on their clinic."""
    visits = sqlite_ward.trips(sqlite_ward.signed("K-1"))
    keys = tmp_path / "keys"
    save_keyring(keys, Keyring.fresh())
    address = sqlite_ward.store.engine.url.render_as_string(hide_password=False)
    where = {"FOLLOWUP_DATABASE_URL": address, "FOLLOWUP_KEY_FILE": str(keys)}
    return SimpleNamespace(
        store=sqlite_ward.store, visit=visits[-1], run=lambda *said: inside(*said, **where)
    )


def test_a_patient_is_written_to_a_file_and_the_journal_says_so(clinic_of_one, tmp_path):
    said = clinic_of_one.run("export", "fhir", "K-1")
    assert (said.returncode, said.stderr) == (0, "")
    file = tmp_path / "K-1.fhir.json"
    assert said.stdout == "K-1.fhir.json: the patient K-1 as FHIR R4.\n"
    bundle = json.loads(file.read_text("utf-8"))
    assert Bundle.model_validate(bundle).type == "collection"
    with clinic_of_one.store.read() as session:
        entries = journal_of(session, "patient:K-1")
    assert [(one.actor, one.action) for one in entries][-1] == ("command line", OPENED)


def test_a_file_that_is_there_is_kept_unless_it_is_named(clinic_of_one, tmp_path):
    file = tmp_path / "K-1.fhir.json"
    file.write_text("mine")
    said = clinic_of_one.run("export", "fhir", "K-1")
    assert said.returncode == 2
    assert "it exists already" in said.stderr
    assert file.read_text() == "mine"
    assert clinic_of_one.run("export", "fhir", "K-1", "--out", str(file)).returncode == 0
    assert json.loads(file.read_text("utf-8"))["resourceType"] == "Bundle"


def test_a_bundle_may_go_to_standard_output_and_nobody_unknown_is_written(clinic_of_one, tmp_path):
    said = clinic_of_one.run("export", "fhir", "K-1", "--out", "-")
    assert json.loads(said.stdout)["type"] == "collection"
    unknown = clinic_of_one.run("export", "fhir", "../K-1")
    assert (unknown.returncode, unknown.stdout) == (2, "")
    assert unknown.stderr.count("\n") == 1
    assert "no such patient" in unknown.stderr
    assert list(tmp_path.glob("*.json")) == []


def test_visits_are_written_for_a_phone_and_a_day_for_the_desk(clinic_of_one, tmp_path):
    said = clinic_of_one.run("export", "ical", "K-1")
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout == "visits-K-1.ics: visits for a calendar.\n"
    mine = read_calendar((tmp_path / "visits-K-1.ics").read_bytes()).all("VEVENT")
    assert {event.text("SUMMARY") for event in mine} <= {"Visit at the clinic."}
    with clinic_of_one.store.read() as session:
        entries = journal_of(session, "patient:K-1")
    assert [(one.actor, one.action) for one in entries][-1] == ("command line", OPENED)
    day = clinic_of_one.visit.day
    said = clinic_of_one.run("export", "ical", "--day", str(day), "--out", str(tmp_path / "day.ics"))
    assert (said.returncode, said.stderr) == (0, "")
    (event,) = read_calendar((tmp_path / "day.ics").read_bytes()).all("VEVENT")
    assert event.text("SUMMARY") == clinic_of_one.visit.patient_name
    assert event.text("DESCRIPTION").splitlines()[0] == "K-1"
    neither = clinic_of_one.run("export", "ical")
    assert neither.returncode == 2
    assert "Give CODE or --day" in neither.stderr


def test_a_bundle_comes_in_as_a_draft_file_with_its_gaps_and_nothing_is_stored(clinic_of_one, tmp_path):
    clinic_of_one.run("export", "fhir", "K-1")
    with clinic_of_one.store.read() as session:
        before = newest_seal(session)
    # A letter cut in half, as a program that counts in UTF-16 can leave it, is no text and stops nothing.
    bundle = json.loads((tmp_path / "K-1.fhir.json").read_text("utf-8"))
    (name,) = bundle["entry"][0]["resource"]["name"]
    name["text"] += "\ud83d"
    (tmp_path / "K-1.fhir.json").write_text(json.dumps(bundle))
    said = clinic_of_one.run("import", "--fhir", "K-1.fhir.json")
    assert (said.returncode, said.stderr) == (0, "")
    head, *gaps = said.stdout.splitlines()
    assert head.startswith("K-1.draft.json: a draft, nothing is stored.")
    assert head.endswith(f"{len(gaps)} gaps:")
    assert "  operations.0.eye_drawn: point at the eye on the drawing" in gaps
    made = json.loads((tmp_path / "K-1.draft.json").read_text("utf-8"))
    assert made["patient"]["code"] == "K-1"
    assert made["patient"]["name"] == name["text"]
    assert any(gap.startswith("  patient.name:") for gap in gaps)
    with clinic_of_one.store.read() as session:
        assert newest_seal(session) == before


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('{"resourceType": "Bundle", "entry": [', "not valid JSON"),
        ('{"resourceType": "Patient"}', "this is no bundle of FHIR"),
        ("[" * 100_000, "not valid JSON"),
        ('{"resourceType": "Bundle", "text": "' + "x" * 1_100_000, "larger than"),
    ],
)
def test_half_a_file_another_one_and_one_too_large_are_refused_by_a_line(clinic_of_one, tmp_path, text, line):
    (tmp_path / "it.json").write_text(text)
    said = clinic_of_one.run("import", "--fhir", "it.json")
    assert (said.returncode, said.stdout) == (2, "")
    assert said.stderr.count("\n") == 1
    assert line in said.stderr
    assert list(tmp_path.glob("*.draft.json")) == []
