"""What goes out of the clinic about one patient, in forms that other programs read."""

from __future__ import annotations

from fastapi import APIRouter, Response

from followup.care.exchange.fhir import patient_bundle
from followup.desks.door.hand import AnyHand
from followup.desks.page.handed_on import fhir_answer

router = APIRouter()


@router.get("/patients/{code}/fhir.json")
def fhir(hand: AnyHand, code: str) -> Response:
    return fhir_answer(patient_bundle(hand, code), code)
