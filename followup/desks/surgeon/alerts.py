"""An alert is closed by a clinical role, with a word of what was done."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.danger import Closed, close_one
from followup.desks.door.hand import AnyHand
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, as_typed, first

router = APIRouter()
AlertId = Annotated[int, Path(alias="alert", ge=1, le=2_147_483_647)]


@router.post("/patients/{code}/alerts/{alert}/close")
def close(request: Request, hand: AnyHand, code: str, alert_id: AlertId, form: AForm) -> Response:
    """Close an alert, and back to the patient."""
    done = as_typed(Closed, word=first(form, "word"))
    return then_patient(request, hand, code, form, lambda: close_one(hand, code, alert_id, done))
