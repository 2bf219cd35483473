"""A patient handed on in forms that other programs read."""

from __future__ import annotations

from typing import Any

from fastapi import Response

from followup.care.exchange.fhir import patient_bundle
from followup.desks.api.base import Code, router_of
from followup.desks.door.hand import AnyHand
from followup.desks.page.handed_on import FHIR, fhir_answer

router = router_of("Handing on")
_BUNDLE: dict[int | str, dict[str, Any]] = {200: {"content": {FHIR: {"schema": {"type": "object"}}}}}


@router.get("/patients/{code}/fhir", response_class=Response, responses=_BUNDLE)
def fhir(hand: AnyHand, code: Code) -> Response:
    """The patient as a bundle of FHIR R4: the plan in force, else the newest, with what was done and seen.

    Nothing of a plan without a signature is more than a draft.
    """
    return fhir_answer(patient_bundle(hand, code), code)
