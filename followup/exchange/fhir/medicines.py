"""A medicine request for each course of the plan: what goes in when, or why it does not."""

from __future__ import annotations

from followup.clinical.careplan import Course
from followup.clinical.protocol.formulary import label_of
from followup.exchange.fhir.dosage import dosages
from followup.exchange.fhir.given import PatientToTell, PlanToTell
from followup.exchange.fhir.values import Json, concept, instant, notes, only

_OF_PLAN = {"revoked": "cancelled", "completed": "completed"}


def medication_request(of: PatientToTell, told: PlanToTell, course: Course) -> Json:
    """The request. Nothing of a plan without a signature is more than a draft."""
    version, named = told.version, of.named
    waits = told.names.waits_for(course.held_by) if course.state == "held" else ""
    signed = version.signed_at
    return only(
        status=_status(told, course, of),
        statusReason=concept(waits) if waits else None,
        # The bundle tells of an order; it is none by itself.
        intent="plan" if told.signed else "proposal",
        reportedBoolean=course.from_before or None,
        medicationCodeableConcept=concept(label_of(course.medicine, of.formulary)),
        subject=named.reference("Patient", of.who.code, of.who.name),
        authoredOn=instant((signed or version.drafted_at).astimezone(of.zone)),
        requester=named.reference("Practitioner", version.signed_by, version.signed_by)
        if version.signed_by
        else None,
        reasonCode=[concept(text) for text in dict.fromkeys(reason.because for reason in course.reasons)],
        note=notes(_notes(course)),
        dosageInstruction=dosages(course, told.table, of.formulary, told.planned_from.patient.waking.rise),
    )


def _status(told: PlanToTell, course: Course, of: PatientToTell) -> str:
    if course.state == "stopped":
        return "stopped" if told.signed else "cancelled"
    if not told.signed:
        return "draft"
    if course.state == "held":
        return "on-hold"
    if told.version.status in _OF_PLAN:
        return _OF_PLAN[told.version.status]
    over = not course.goes_on and course.last_day is not None and course.last_day < of.today
    return "completed" if over else "active"


def _notes(course: Course) -> list[str]:
    found = []
    if course.from_before:
        found.append("In use before the operation.")
    if course.ordered_by:
        found.append(f"As ordered by {course.ordered_by}.")
    if course.above_label:
        found.append(course.above_label)
    if course.state == "held":
        found.append("Held: not to be given before the surgeon has decided.")
    if course.state == "stopped":
        found.append("Not to be given.")
    return found
