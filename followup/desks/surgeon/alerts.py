"""An alert is closed by a clinical role, with a word of what was done."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.hand import Visit
from followup.desks.door.visit import AnyVisit
from followup.desks.page.patient_page import known, then_patient
from followup.desks.page.posted import AForm, first
from followup.records.desk.alerts import close_alert

router = APIRouter()
AlertId = Annotated[int, Path(alias="alert", ge=1, le=2_147_483_647)]


@router.post("/patients/{code}/alerts/{alert}/close")
def close(request: Request, visit: AnyVisit, code: str, alert_id: AlertId, form: AForm) -> Response:
    """Close an alert, and back to the patient."""
    word = first(form, "word")
    return then_patient(request, visit, code, form, lambda: close_one(visit, code, alert_id, word))


def close_one(visit: Visit, code: str, alert_id: int, word: str) -> None:
    """Close an alert with a ``word`` of what was done. Errors: those of ``close_alert``."""
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        close_alert(unit, patient_id=known(unit.session, code).id, alert_id=alert_id, word=word)
