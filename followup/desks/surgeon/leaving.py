"""The check before leaving is noted: the pressure, or why the patient goes without it."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.looks.before_leaving import Checked, note_check, open_check
from followup.clinical.record.findings import MOST_MMHG
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go
from followup.desks.page.patient_page import patient_answer
from followup.desks.page.posted import AForm, Posted, as_typed, first
from followup.errors import FollowupError
from followup.records.people.patients import known
from followup.said import say

router = APIRouter()


@router.post("/patients/{code}/leaving")
def note(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Measured, or goes without and why. Then back to the sheet, or to what the pressure asks for."""
    try:
        eye, outcome = note_check(hand, code, _done(hand, code, form))
    except FollowupError as exc:
        with hand.store.read() as session:
            who = known(session, code)
            return patient_answer(
                request, hand, session, who, error=exc.line, typed=form, status=status_of(exc)
            )
    if outcome and (outcome.senior or outcome.notes or any(p.about == "pressure" for p in outcome.proposals)):
        return go(f"/patients/{code}/eyes/{eye}/looks/{hand.today}")
    sheet = first(form, "sheet")
    back = sheet if sheet.isascii() and sheet.isalnum() else ""
    return go(f"/sheets/{back}" if back else f"/patients/{code}")


def _done(hand: DeskHand, code: str, form: Posted) -> Checked:
    key = first(form, "key")
    with hand.store.read() as session:
        open_check(session, hand, known(session, code).code, key)
    return as_typed(Checked, key=key, mmhg=_pressure(first(form, "mmhg")), why=first(form, "why"))


def _pressure(text: str) -> float | None:
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = -1
    if not 0 <= number <= MOST_MMHG:
        raise FollowupError(
            "leaving.mmhg",
            say("{text} is no pressure", text=text),
            where=say("mmHg"),
            fix=say("write mmHg from 0 to {most_mmhg}", most_mmhg=MOST_MMHG),
        )
    return number
