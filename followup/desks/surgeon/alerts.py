"""An alert is closed by a clinical role, with a word of what was done."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, first
from followup.records.desk.alerts import close_alert
from followup.records.people.patients import known

router = APIRouter()
AlertId = Annotated[int, Path(alias="alert", ge=1, le=2_147_483_647)]


@router.post("/patients/{code}/alerts/{alert}/close")
def close(request: Request, hand: AnyHand, code: str, alert_id: AlertId, form: AForm) -> Response:
    """Close an alert, and back to the patient."""
    word = first(form, "word")
    return then_patient(request, hand, code, form, lambda: close_one(hand, code, alert_id, word))


def close_one(hand: DeskHand, code: str, alert_id: int, word: str) -> None:
    """Close an alert with a ``word`` of what was done. Errors: those of ``close_alert``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        close_alert(unit, patient_id=known(unit.session, code).id, alert_id=alert_id, word=word)
