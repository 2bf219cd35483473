"""What goes out of the clinic in forms that other programs read: a patient, visits for a calendar."""

from __future__ import annotations

from fastapi import APIRouter, Response

from followup.care.exchange.agenda import day_agenda, patient_agenda
from followup.care.exchange.fhir import patient_bundle
from followup.desks.door.hand import AnyHand
from followup.desks.page.days import AskedDay
from followup.desks.page.handed_on import calendar_answer, fhir_answer

router = APIRouter()


@router.get("/patients/{code}/fhir.json")
def fhir(hand: AnyHand, code: str) -> Response:
    return fhir_answer(patient_bundle(hand, code), code)


@router.get("/patients/{code}/visits.ics")
def visits(hand: AnyHand, code: str) -> Response:
    """For the patient's own phone, in the patient's language."""
    return calendar_answer(patient_agenda(hand, code), f"visits-{code}")


@router.get("/today/visits.ics")
def day(hand: AnyHand, on: AskedDay) -> Response:
    """The day's patients by name, for the desk."""
    asked = on or hand.today
    return calendar_answer(day_agenda(hand, asked, hand.texts.told), f"visits-{asked}")
