"""Before a patient leaves on the day of surgery: the checks with their hours, on top until they are done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line
from followup.care.danger import look_stored
from followup.care.hand import Hand
from followup.care.looks.looks import look_of_today, with_look
from followup.care.plans.planning import draft_plan
from followup.clinical.careplan import BeforeLeaving
from followup.clinical.record import Eye
from followup.clinical.record.findings import MOST_MMHG
from followup.clinical.review.proposal import Outcome
from followup.errors import FollowupError
from followup.records.desk.leaving_checks import checks_noted, note_leaving, operated_on
from followup.records.people.patients import (
    correct_record,
    known,
    newest_record,
    patient_by_code,
    patients_by_id,
)
from followup.records.plans.listed import newest_plans
from followup.records.plans.plans import open_draft
from followup.records.store.store import Session
from followup.records.views import PatientView
from followup.said import say


@dataclass(frozen=True)
class ToDo:
    """A check of today that nobody has noted yet."""

    who: PatientView
    check: BeforeLeaving


def checks_to_do(session: Session, hand: Hand, code: str | None = None) -> list[ToDo]:
    """The checks of the operations of today, of one patient or of all; by the hour from which they are due.

    They end with the day of the operation: what was not noted by midnight is no check before leaving.
    """
    operated = operated_on(session, hand.today)
    whose = {number for number, _ in operated}
    if code is not None:
        who = patient_by_code(session, code)
        whose &= {who.id} if who else set()
    plans = newest_plans(session, whose)
    people = patients_by_id(session, plans)
    noted = checks_noted(session, hand.today)
    found = [
        ToDo(people[number], item)
        for number, plan in plans.items()
        for item in plan.gist.before_leaving
        if (number, item.eye) in operated and (number, item.key) not in noted
    ]
    return sorted(found, key=lambda one: (one.check.earliest or "", one.who.name.casefold()))


class Checked(Act):
    """The pressure in mmHg, or why the patient goes without it; exactly one of the two."""

    key: Annotated[Line, Field(min_length=1)]
    mmhg: Annotated[float, Field(strict=True, ge=0, le=MOST_MMHG)] | None = None
    why: Line = ""


def note_check(hand: Hand, code: str, sent: Checked) -> tuple[Eye, Outcome | None]:
    """Note a check before leaving; its eye, and what a pressure leads to.

    A pressure is a finding of today like any other. Errors: ``leaving.unknown``, ``leaving.said``, those
    of the record.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        item = open_check(unit.session, hand, who.code, sent.key)
        if (sent.mmhg is None) == (not sent.why):
            raise FollowupError(
                "leaving.said",
                say("say the pressure, or why the patient goes without it, and not both"),
                where=say("check before leaving"),
                fix=say("measure, or give the reason"),
            )
        note_leaving(unit, patient_id=who.id, key=sent.key, mmhg=sent.mmhg, why=sent.why)
        if sent.mmhg is None:
            return item.eye, None
        kept = newest_record(unit.session, who.id)
        clock = f"{hand.now.astimezone(hand.zone):%H:%M}"
        record = with_look(hand, kept.record, item.eye, {"time": clock, "pressure": sent.mmhg}, beside=True)
        correct_record(unit, patient_id=who.id, record=record, seen=kept.number)
        if open_draft(unit.session, who.id):
            # The pressure is no reason to let a draft that waits for its signature grow stale.
            draft_plan(unit, hand, who.id)
        look = look_of_today(hand, record, item.eye)
        return item.eye, look_stored(unit, hand, who.id, record, look)


def open_check(session: Session, hand: Hand, code: str, key: str) -> BeforeLeaving:
    """The check of today that nobody has noted yet. Error ``leaving.unknown``."""
    item = next((one.check for one in checks_to_do(session, hand, code) if one.check.key == key), None)
    if item is None:
        raise FollowupError(
            "leaving.unknown",
            say("this check is not open today"),
            where=say("check"),
            fix=say("open the patient and look at what is still to do"),
        )
    return item
