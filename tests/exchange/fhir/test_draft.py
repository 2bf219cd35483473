"""A bundle handed in: what is taken over, what is listed, and what is refused with a line."""

from __future__ import annotations

import copy
import json
import tomllib
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fhir.resources.R4B import get_fhir_model_class
from fhir_told import SAMPLE, bundle
from hypothesis import given
from hypothesis import strategies as st
from told_sheets import CASES, told

from followup.clinical.plan.build import build_plan
from followup.clinical.record import parse_record
from followup.errors import FollowupError
from followup.exchange.fhir import draft as draft_room
from followup.exchange.fhir.draft import draft_record
from followup.exchange.fhir.readable import KINDS, MOST_ENTRIES, elements

KOLKATA = ZoneInfo("Asia/Kolkata")
PATIENT: dict[str, Any] = {
    "resourceType": "Patient",
    "id": "p1",
    "identifier": [{"value": "N-1"}],
    "name": [{"use": "old", "text": "Earlier Name"}, {"family": "Ndegwa", "given": ["Wanjiru", "M."]}],
    "gender": "female",
    "birthDate": "1954-06-11",
    "telecom": [{"system": "phone", "value": "+44 20 7946 0102"}, {"system": "email", "value": "x@y.test"}],
    "communication": [
        {"language": {"coding": [{"code": "en"}]}},
        {"language": {"coding": [{"code": "bn"}]}, "preferred": True},
    ],
}
SUBJECT = {"reference": "Patient/p1"}
RIGHT = {"coding": [{"system": "http://snomed.info/sct", "code": "18944008"}]}
PROCEDURE: dict[str, Any] = {
    "resourceType": "Procedure",
    "status": "completed",
    "code": {"text": "phacoemulsification"},
    "subject": SUBJECT,
    "bodySite": [RIGHT],
    "performedDateTime": "2026-03-02",
}


def of(*resources: dict[str, Any], **head: Any) -> dict[str, Any]:
    entries = [{"resource": copy.deepcopy(one)} for one in resources]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries} | head


def draft(*resources: dict[str, Any], **head: Any):
    return draft_record(of(*resources, **head), "it.json", KOLKATA)


def refused(*resources: dict[str, Any], **head: Any) -> str:
    with pytest.raises(FollowupError) as caught:
        draft(*resources, **head)
    line = str(caught.value.line)
    assert "\n" not in line
    return f"{caught.value.code} {line}"


def condition(code: str, **more: Any) -> dict[str, Any]:
    coded = {"coding": [{"system": "http://hl7.org/fhir/sid/icd-10", "code": code}], "text": f"it is {code}"}
    return {"resourceType": "Condition", "code": coded, "subject": SUBJECT} | more


def allergy(text: str, **more: Any) -> dict[str, Any]:
    return {"resourceType": "AllergyIntolerance", "code": {"text": text}, "patient": SUBJECT} | more


def status(code: str) -> dict[str, Any]:
    return {"coding": [{"code": code}]}


@pytest.mark.parametrize("kind", [*KINDS, "Bundle"])
def test_the_elements_that_are_read_as_r4_are_those_of_a_foreign_library(kind):
    """Source: the classes of fhir.resources (R4B; for these kinds the same as R4)."""
    theirs = set(get_fhir_model_class(kind).elements_sequence())
    assert elements(kind) - {"resourceType"} == theirs - {"resourceType"}


@pytest.mark.parametrize("case", CASES)
def test_what_we_hand_out_comes_back_as_far_as_fhir_tells_it(case):
    of_case = told(case)
    made = json.loads(json.dumps(bundle(of_case.record, of_case.plan)))
    back = draft_record(made, "it.json", KOLKATA)
    was, patient = of_case.record, back.record["patient"]
    assert (patient["code"], patient["name"]) == (was.patient.code, was.patient.name)
    assert patient.get("birth_date") == (was.patient.birth_date and was.patient.birth_date.isoformat())
    assert patient.get("birth_year") == was.patient.birth_year
    assert patient.get("sex") == was.patient.sex
    assert patient.get("language") == was.patient.language
    # An operation in two clock zones is one in the clinic's: nothing moves by a day.
    assert [(one["eye"], one["date"], one["procedure"]) for one in back.record["operations"]] == [
        (one.eye, one.date.isoformat(), one.procedure) for one in was.operations
    ]
    drawn = [gap for gap in back.gaps if gap.endswith(".eye_drawn: point at the eye on the drawing")]
    assert len(drawn) == len(was.operations)
    assert any(gap.startswith("MedicationRequest,") for gap in back.gaps)
    # Drawn eye and all: the rest is what FHIR has no place for.
    for one in back.record["operations"]:
        one["eye_drawn"] = one["eye"]
    assert parse_record(back.record).patient.code == was.patient.code


def test_a_draft_with_its_gaps_filled_by_a_person_is_a_record_that_plans():
    made = draft(PATIENT, PROCEDURE)
    made.record["operations"][0]["eye_drawn"] = "right"
    record = parse_record(made.record)
    assert record.patient.name == "Wanjiru M. Ndegwa"
    assert (record.patient.language, record.patient.speaks) == ("bn", ("en", "bn"))
    assert [phone.number for phone in record.patient.telephones] == ["+44 20 7946 0102"]
    assert build_plan(record, SAMPLE, as_of=date(2026, 3, 2)).status == "draft"


def test_nothing_stands_in_the_draft_that_the_bundle_does_not_tell():
    made = draft({"resourceType": "Patient", "id": "p1"})
    assert made.record == {"patient": {}, "operations": []}
    told_gaps = {gap.partition(":")[0] for gap in made.gaps}
    assert {"patient.code", "patient.name", "operations", "patient.allergies"} <= told_gaps


def test_a_record_that_is_not_in_use_and_several_numbers_are_asked_about():
    numbers = [{"value": "N-1"}, {"value": "N-2"}, {"value": "no number of ours"}]
    made = draft(PATIENT | {"active": False, "identifier": numbers})
    assert "patient: the bundle says that this record is not in use" in made.gaps
    assert "patient.code: 2 numbers of the bundle could be it; enter the right one" in made.gaps
    assert "code" not in made.record["patient"]
    assert "patient: the bundle says that this record is not in use" not in draft(PATIENT).gaps


def test_an_operation_stands_on_the_day_of_the_clinics_clock():
    """23:40 in London is the next morning in Kolkata (+05:30)."""
    period = {"start": "2026-03-02T23:40:00Z", "end": "2026-03-03T00:10:00Z"}
    one = {name: value for name, value in PROCEDURE.items() if name != "performedDateTime"}
    (operation,) = draft(PATIENT, one | {"performedPeriod": period}).record["operations"]
    assert (operation["date"], operation["start"], operation["end"]) == ("2026-03-03", "05:10", "05:40")
    made = draft(PATIENT, one | {"performedDateTime": "2026-03"})
    assert "date" not in made.record["operations"][0]
    assert any(gap.startswith("operations.0.date") for gap in made.gaps)


@pytest.mark.parametrize(
    ("changed", "gap"),
    [
        ({"status": "entered-in-error"}, "entered-in-error; not taken over"),
        ({"status": "not-done"}, "not-done; not taken over"),
        ({"status": "in-progress"}, "in-progress; not taken over"),
        ({"code": {"text": "appendectomy"}, "bodySite": []}, "no operation that this record knows"),
    ],
)
def test_what_is_no_operation_of_this_record_is_listed_and_left_out(changed, gap):
    made = draft(PATIENT, PROCEDURE | changed)
    assert made.record["operations"] == []
    assert any(gap in line for line in made.gaps)


def test_an_eye_is_taken_only_where_one_is_told_and_another_procedure_is_asked():
    both = draft(PATIENT, PROCEDURE | {"bodySite": [RIGHT, {"text": "left eye"}]})
    assert "eye" not in both.record["operations"][0]
    assert any(gap.startswith("operations.0.eye:") for gap in both.gaps)
    other = draft(PATIENT, PROCEDURE | {"code": {"text": "Cataract extraction"}})
    assert "procedure" not in other.record["operations"][0]
    assert "operations.0.procedure: the bundle says Cataract extraction" in other.gaps
    assert draft(PATIENT, PROCEDURE | {"status": "stopped"}).record["operations"][0]["halted"] is True


@pytest.mark.parametrize(
    "changed",
    [
        {"bodySite": [RIGHT, {"text": "both eyes"}]},
        {"bodySite": [RIGHT | {"text": "Left eye (LE)"}]},
        {"bodySite": [{"coding": [{"system": "http://example.test/own", "code": "18944008"}]}]},
        {"code": {"text": "phacoemulsification", "coding": [{"display": "Phaco of LEFT lens"}]}},
    ],
)
def test_no_eye_is_taken_where_the_bundle_speaks_of_the_other_one_too(changed):
    made = draft(PATIENT, PROCEDURE | changed)
    assert "eye" not in made.record["operations"][0]
    assert any(gap.startswith("operations.0.eye:") for gap in made.gaps)
    glaucoma = draft(PATIENT, condition("H40.1", bodySite=changed.get("bodySite", [])))
    assert "eyes" not in glaucoma.record["patient"]


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("2026-03-02T10:00:00Z", "2026-03-04T11:00:00Z"),
        ("2026-03-02T10:00:00Z", "2026-03-02T09:00:00Z"),
        ("2026-03-02T10:00:00+05:30", "2026-03-03T10:00:00+05:30"),
    ],
)
def test_hours_that_no_operation_has_are_asked_about(start, end):
    one = {name: value for name, value in PROCEDURE.items() if name != "performedDateTime"}
    made = draft(PATIENT, one | {"performedPeriod": {"start": start, "end": end}})
    assert not {"date", "start", "end"} & made.record["operations"][0].keys()
    assert any(gap.endswith("enter day and hours") for gap in made.gaps)


@pytest.mark.parametrize(
    "told_at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "2026-05", "2026-05-04T10:00:00"]
)
def test_a_day_that_can_not_be_told_on_the_clinics_clock_is_a_gap(told_at):
    made = draft(PATIENT, PROCEDURE | {"performedDateTime": told_at})
    assert "date" not in made.record["operations"][0]
    assert any(gap.startswith("operations.0.date") for gap in made.gaps)


def test_names_and_numbers_that_are_no_longer_in_use_are_not_taken():
    """Source: the value sets name-use, contact-point-use and identifier-use of FHIR R4, from memory."""
    over = {"period": {"end": "2020-01-01"}}
    made = draft(
        PATIENT
        | {
            "identifier": [{"value": "N-1"}, {"value": "N-0", "use": "old"}],
            "name": [{"text": "Maiden Name", "use": "maiden"}, {"text": "Left Name"} | over],
            "telecom": [
                {"system": "phone", "value": "+44 20 7946 0102", "use": "old"},
                {"system": "phone", "value": "+44 20 7946 0103"} | over,
                {"system": "phone", "value": "+44 20 7946 0104"},
            ],
        }
    )
    patient = made.record["patient"]
    assert (patient["code"], "name" in patient) == ("N-1", False)
    assert [phone["number"] for phone in patient["telephones"]] == ["+44 20 7946 0104"]
    assert "patient.telephones: +44 20 7946 0102 is told as no longer in use" in made.gaps
    assert any(gap.startswith("patient.name") for gap in made.gaps)


def test_a_status_in_words_or_of_no_known_code_is_asked_about():
    made = draft(
        PATIENT,
        condition("J45", verificationStatus={"text": "Refuted"}),
        condition("I50", clinicalStatus={"text": "perhaps"}),
        condition("E11", abatementDateTime="2020"),
        allergy("latex", verificationStatus={"text": "entered-in-error"}),
    )
    assert "conditions" not in made.record["patient"]
    assert "allergy_text" not in made.record["patient"]
    for words in (
        "J45: the bundle says refuted",
        "I50: the bundle says perhaps: ask",
        "E11: the bundle says that it ended",
        "latex: the bundle says entered-in-error",
    ):
        assert [gap for gap in made.gaps if words in gap], words


def test_that_there_is_no_allergy_is_taken_only_by_its_code_and_without_a_doubt():
    own = {"coding": [{"system": "http://example.test/own", "code": "716186003"}]}
    assert "no_other_allergy" not in draft(PATIENT, allergy("", code=own)).record["patient"]
    none = {"coding": [{"system": "http://snomed.info/sct", "code": "716186003"}]}
    made = draft(PATIENT, allergy("", code=none, verificationStatus=status("unconfirmed")))
    assert "no_other_allergy" not in made.record["patient"]
    assert "patient.allergies: none is told, but the bundle says unconfirmed: ask" in made.gaps
    bare = {name: value for name, value in allergy("").items() if name != "code"}
    said = draft(PATIENT, bare | {"reaction": [{"substance": {"text": "strawberry"}}]})
    assert said.record["patient"]["allergy_text"] == "strawberry"


def test_allergies_are_taken_in_plain_words_only_and_others_go_into_the_free_text_that_is_asked_about():
    shown = [{"manifestation": [{"text": "itching"}]}]
    made = draft(
        PATIENT,
        allergy("Sulfonamide", reaction=[{"severity": "severe", "manifestation": [{"text": "blisters"}]}]),
        allergy("co-trimoxazole", reaction=shown),
        allergy("penicillin", verificationStatus=status("refuted")),
        allergy("latex", clinicalStatus=status("resolved")),
    )
    assert made.record["patient"]["allergies"] == [{"to": "sulfonamide", "reaction": "severe"}]
    assert made.record["patient"]["allergy_text"] == "co-trimoxazole (itching)"
    assert "allergy penicillin: the bundle says refuted; not taken over" in made.gaps
    assert "patient.allergies: the bundle tells of none; ask" not in made.gaps
    assert "patient.allergies: the bundle tells of none; ask" not in draft(PATIENT, allergy("latex")).gaps
    assert "allergy latex: the bundle says resolved; not taken over" in made.gaps
    none = {"coding": [{"system": "http://snomed.info/sct", "code": "716186003"}]}
    nothing = draft(PATIENT, allergy("", code=none))
    assert nothing.record["patient"]["no_other_allergy"] is True
    both = draft(PATIENT, allergy("", code=none), allergy("latex"))
    assert "no_other_allergy" not in both.record["patient"]
    assert any("says none and names some" in gap for gap in both.gaps)


def test_conditions_are_taken_by_their_code_and_of_an_eye_only_with_the_eye():
    made = draft(
        PATIENT,
        condition("E11.3"),
        condition("J45"),
        condition("H40.1", bodySite=[RIGHT]),
        condition("H40.2"),
        condition("I10"),
        condition("J33", clinicalStatus=status("resolved")),
        condition("I50", verificationStatus=status("provisional")),
        condition("J459"),
    )
    told_patient = made.record["patient"]
    assert told_patient["conditions"] == {"diabetes": "retinopathy not known", "asthma": True}
    assert told_patient["eyes"] == {"right": {"glaucoma": True}}
    for words in ("it is H40.2: of which eye", "it is I10: no code", "J33: the bundle says resolved",
                  "I50: the bundle says provisional: ask", "it is J459: no code"):  # fmt: skip
        assert [gap for gap in made.gaps if words in gap], words


def test_unknown_extensions_are_listed_once_and_stop_nothing():
    extension = {"url": "http://example.test/ward", "valueString": "3"}
    deep = {"url": "http://example.test/deep", "valueString": "x"}
    name = [{"text": "Invented Person", "extension": [deep]}]
    made = draft(PATIENT | {"extension": [extension], "name": name}, PROCEDURE | {"extension": [extension]})
    assert [gap for gap in made.gaps if gap.startswith("extension")] == [
        "extension http://example.test/deep: not read",
        "extension http://example.test/ward: not read",
    ]
    assert made.record["patient"]["name"] == "Invented Person"


@pytest.mark.parametrize(
    ("resources", "line"),
    [
        ((PATIENT, PROCEDURE | {"modifierExtension": [{"url": "http://x.test"}]}), "fhir.modifier"),
        ((PATIENT | {"name": [{"modifierExtension": []}]},), "fhir.modifier"),
        ((PATIENT | {"implicitRules": "http://x.test"},), "fhir.modifier"),
        ((), "fhir.patients it.json: 0 patients in the bundle, not one"),
        ((PATIENT, PATIENT | {"id": "p2"}), "fhir.patients it.json: 2 patients in the bundle"),
        ((PATIENT, PROCEDURE | {"subject": {"reference": "Patient/p2"}}), "not of the patient"),
        ((PATIENT, {k: v for k, v in PROCEDURE.items() if k != "subject"}), "not of the patient"),
        (
            (PATIENT | {"deceasedBoolean": True},),
            "the bundle says that this patient died",
        ),
        ((PATIENT | {"deceasedBoolean": "true"},), "the bundle says that this patient died"),
        ((PATIENT | {"link": [{"type": "replaced-by"}]},), "another record replaces this one"),
    ],
)
def test_what_could_turn_the_meaning_round_is_refused(resources, line):
    assert line in refused(*resources)


@pytest.mark.parametrize(
    "kind", ["history", "message", "transaction-response", "batch-response", None, ["collection"]]
)
def test_a_bundle_that_holds_what_was_before_or_what_was_asked_is_refused(kind):
    assert "fhir.kind it.json: a bundle of the type" in refused(PATIENT, type=kind)


@pytest.mark.parametrize("method", ["DELETE", "PATCH", None])
def test_an_entry_that_takes_something_away_is_refused(method):
    entry = [{"resource": PATIENT}, {"resource": PROCEDURE, "request": {"method": method}}]
    assert "fhir.modifier it.json: entry.1: request.method" in refused(type="transaction", entry=entry)
    entry[1]["request"] = {"method": "POST", "url": "Procedure"}
    assert draft(type="transaction", entry=entry).record["operations"]


def test_what_tells_that_the_bundle_is_not_the_whole_is_said():
    tagged = {"meta": {"tag": [{"code": "SUBSETTED"}]}, "contained": [{"resourceType": "Practitioner"}]}
    more = draft(PATIENT, PROCEDURE | tagged, type="searchset", link=[{"relation": "next", "url": "x"}])
    assert "the bundle says that more of it follows on another page: ask for the whole" in more.gaps
    assert "the bundle says that parts of it were left out: ask for the whole" in more.gaps
    assert "Practitioner, 1 contained in others: not read" in more.gaps
    sample = draft(PATIENT | {"meta": {"security": [{"code": "HTEST"}]}})
    assert "the bundle says that it is test data, of no true patient" in sample.gaps
    assert not [gap for gap in draft(PATIENT, PROCEDURE).gaps if "the bundle says" in gap]


def test_a_patient_is_the_same_by_each_way_to_name_one_and_never_of_another_server():
    """Source: references in bundles, FHIR R4, from memory: a relative one is of its own resource's server."""
    one, done = "https://a.test/fhir/Patient/p1", "https://a.test/fhir/Procedure/1"

    def operations(reference: str, patient: str = one, procedure: str = done) -> Any:
        whose = PROCEDURE | {"subject": {"reference": reference}}
        both = [{"fullUrl": patient, "resource": PATIENT}, {"fullUrl": procedure, "resource": whose}]
        return draft(entry=both).record["operations"]

    for reference in ("Patient/p1", one, f"{one}/_history/3", "Patient/p1/_history/3"):
        assert operations(reference), reference
    assert operations("urn:uuid:7", "urn:uuid:7", "urn:uuid:8")
    for reference, procedure in (
        ("Patient/p1", "https://b.test/fhir/Procedure/1"),
        ("https://b.test/fhir/Patient/p1", done),
        ("#p1", done),
    ):
        with pytest.raises(FollowupError, match="not of the patient"):
            operations(reference, procedure=procedure)


@pytest.mark.parametrize(
    ("one", "what"),
    [
        # R5: occurrence for performed, a concept for AllergyIntolerance.type, issues of a bundle.
        (PROCEDURE | {"occurrenceDateTime": "2026-03-02"}, "Procedure.occurrenceDateTime"),
        (allergy("latex", type={"text": "allergy"}), "AllergyIntolerance.type"),
        (condition("J45", participant=[]), "Condition.participant"),
        # STU3: codes instead of concepts, context; DSTU2: a substance, a patient.
        (condition("J45", clinicalStatus="active"), "Condition.clinicalStatus"),
        (PROCEDURE | {"context": {}}, "Procedure.context"),
        (allergy("latex", substance={}), "AllergyIntolerance.substance"),
        (condition("J45", patient=SUBJECT), "Condition.patient"),
    ],
)
def test_another_version_of_fhir_is_refused_by_a_line(one, what):
    said = refused(PATIENT, one)
    assert said.startswith(f"fhir.version it.json: entry.1: {what} is not as in FHIR R4 (4.0.1)")
    assert "issues" in refused(PATIENT, issues={})


def test_half_a_bundle_another_resource_and_too_many_entries_are_refused_by_a_line():
    assert "fhir.kind it.json: entry.1.resource" in refused(PATIENT, entry=[{"resource": PATIENT}, {}])
    assert "fhir.kind" in refused(entry="x")
    assert "fhir.kind it.json: this is no bundle" in refused(resourceType="Patient")
    many = [{"resource": {"resourceType": "Basic"}}] * (MOST_ENTRIES + 1)
    assert "fhir.size" in refused(entry=many)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(st.data())
def test_whatever_stands_in_an_element_the_answer_is_a_draft_or_one_line(data):
    resources = [copy.deepcopy(one) for one in (PATIENT, PROCEDURE, condition("J45"), allergy("latex"))]
    for _ in range(data.draw(st.integers(1, 4))):
        one = data.draw(st.sampled_from(resources))
        name = data.draw(st.sampled_from(sorted(elements(one["resourceType"]) - {"resourceType"})))
        one[name] = data.draw(ANYTHING)
    with suppress(FollowupError):
        made = draft_record(of(*resources), "it.json", KOLKATA)
        json.dumps(made.record)
        assert all("\n" not in gap for gap in made.gaps)


def test_the_codes_of_conditions_name_fields_of_the_record():
    table = tomllib.loads(Path(draft_room.__file__).with_name("conditions.toml").read_text("utf-8"))
    for one in table["condition"]:
        made = draft(PATIENT, condition(one["codes"][0], bodySite=[RIGHT]), PROCEDURE)
        made.record["operations"][0]["eye_drawn"] = "right"
        assert not [gap for gap in made.gaps if "it is" in gap]
        parse_record(made.record)
