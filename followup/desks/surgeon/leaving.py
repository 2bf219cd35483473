"""The check before leaving is noted: the pressure, or why the patient goes without it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from followup.care.before_leaving import checks_to_do
from followup.care.danger import look_stored
from followup.care.fields.checked import check
from followup.care.planning import draft_plan
from followup.clinical.record.findings import MOST_MMHG
from followup.clinical.review.proposal import Outcome
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go
from followup.desks.page.patient_page import patient_answer
from followup.desks.page.posted import AForm, first
from followup.errors import FollowupError
from followup.records.desk.leaving_checks import note_leaving
from followup.records.people.patients import correct_record, known, newest_record
from followup.records.plans.plans import open_draft
from followup.said import say

router = APIRouter()


@router.post("/patients/{code}/leaving")
def note(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Measured, or goes without and why. Then back to the sheet, or to what the pressure asks for."""
    key, sheet = first(form, "key"), first(form, "sheet")
    try:
        eye, outcome = note_check(hand, code, key, mmhg=first(form, "mmhg"), why=first(form, "why"))
    except FollowupError as exc:
        with hand.store.read() as session:
            who = known(session, code)
            return patient_answer(
                request, hand, session, who, error=exc.line, typed=form, status=status_of(exc)
            )
    if outcome and (outcome.senior or outcome.notes or any(p.about == "pressure" for p in outcome.proposals)):
        return go(f"/patients/{code}/eyes/{eye}/looks/{hand.today}")
    back = sheet if sheet.isascii() and sheet.isalnum() else ""
    return go(f"/sheets/{back}" if back else f"/patients/{code}")


def note_check(hand: DeskHand, code: str, key: str, *, mmhg: str, why: str) -> tuple[str, Outcome | None]:
    """Note a check before leaving; its eye, and what a pressure leads to.

    A pressure is a finding of today like any other. Errors: ``leaving.unknown``, ``leaving.said``,
    ``leaving.mmhg``, those of the record.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        open_ones = checks_to_do(unit.session, hand, who.code)
        item = next((one.check for one in open_ones if one.check.key == key), None)
        if item is None:
            raise FollowupError(
                "leaving.unknown",
                say("this check is not open today"),
                where=say("check"),
                fix=say("open the patient and look at what is still to do"),
            )
        pressure = _pressure(mmhg)
        if (pressure is None) == (not why):
            raise FollowupError(
                "leaving.said",
                say("say the pressure, or why the patient goes without it, and not both"),
                where=say("check before leaving"),
                fix=say("measure, or give the reason"),
            )
        note_leaving(unit, patient_id=who.id, key=key, mmhg=pressure, why=why)
        if pressure is None:
            return item.eye, None
        kept = newest_record(unit.session, who.id)
        data = kept.record.model_dump(mode="json", exclude_none=True)
        day = hand.today.isoformat()
        others = [r for r in data.get("reviews", []) if (r["eye"], r["date"]) != (item.eye, day)]
        mine: dict[str, Any] = next(
            (r for r in data.get("reviews", []) if (r["eye"], r["date"]) == (item.eye, day)), {}
        )
        clock = f"{hand.now.astimezone(hand.zone):%H:%M}"
        by = hand.actor.name or hand.actor.login
        seen = mine | {"eye": item.eye, "date": day, "time": clock, "by": by, "pressure": pressure}
        record = check(data | {"reviews": [*others, seen]})
        correct_record(unit, patient_id=who.id, record=record, seen=kept.number)
        if open_draft(unit.session, who.id):
            # The pressure is no reason to let a draft that waits for its signature grow stale.
            draft_plan(unit, hand, who.id)
        look = next(r for r in record.reviews if (r.eye, r.date) == (item.eye, hand.today))
        return item.eye, look_stored(unit, hand, who.id, record, look)


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
