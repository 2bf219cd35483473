"""Everything of one patient as a bundle of FHIR R4, of the type collection."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from followup.exchange.fhir.done import observations, procedure
from followup.exchange.fhir.given import PatientToTell, PlanToTell
from followup.exchange.fhir.medicines import medication_request
from followup.exchange.fhir.person import allergies, patient
from followup.exchange.fhir.plan import care_plan, practitioner, provenance
from followup.exchange.fhir.values import Json, coding, instant
from followup.exchange.fhir.visits import appointment

Keyed = tuple[str, object, Json]
"""A resource with its kind and what names it among its kind."""


def bundle_of(of: PatientToTell) -> Json:
    """The bundle, ready for JSON. The same views give the same bytes.

    What a sample clinic gives out is marked as test data, every resource of it.
    """
    mark: Json = {"meta": {"security": [coding("test-data")], "tag": [coding("test-data")]}}
    marked = mark if of.clinic.is_sample else {}
    entries = []
    for kind, key, body in _resources(of):
        name = str(of.named.id(kind, key))
        resource: Json = {"resourceType": kind, "id": name} | marked | {"language": "en"} | body
        entries.append({"fullUrl": f"urn:uuid:{name}", "resource": resource})
    head: dict[str, Any] = {"resourceType": "Bundle", "language": "en"} | marked
    return head | {"type": "collection", "timestamp": instant(of.now.astimezone(of.zone)), "entry": entries}


def _resources(of: PatientToTell) -> Iterator[Keyed]:
    yield "Patient", of.who.code, patient(of)
    for at, allergy in enumerate(allergies(of)):
        yield "AllergyIntolerance", (of.who.code, at), allergy
    for operation in of.record.operations:
        yield "Procedure", (of.who.code, operation.eye, operation.date), procedure(of, operation)
    yield from _seen(of)
    if of.plan is not None:
        yield from _plan(of, of.plan)


def _seen(of: PatientToTell) -> Iterator[Keyed]:
    """Findings by eye and moment, so that a look entered later renames no other; of two at once by number."""
    told: Counter[tuple[object, ...]] = Counter()
    for look in of.record.reviews:
        moment = (of.who.code, look.eye, look.date, look.time)
        for what, seen in observations(of, look):
            yield "Observation", (*moment, told[moment], what), seen
        told[moment] += 1


def _plan(of: PatientToTell, told: PlanToTell) -> Iterator[Keyed]:
    requests: list[Keyed] = [
        ("MedicationRequest", (told.version.id, course.key), medication_request(of, told, course))
        for course in told.plan.courses
    ]
    visits: list[Keyed] = [("Appointment", visit.key, appointment(of, told, visit)) for visit in told.visits]
    links = [of.named.reference(kind, key) for kind, key, _ in (*requests, *visits)]
    whole = of.named.reference("CarePlan", told.version.id)
    yield "CarePlan", told.version.id, care_plan(of, told, links)
    yield from requests
    yield from visits
    if told.version.signed_by:
        yield "Practitioner", told.version.signed_by, practitioner(of, told)
    targets = [whole, *links[: len(requests)]]
    yield "Provenance", told.version.id, provenance(of, told, targets)
