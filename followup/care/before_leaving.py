"""Before a patient leaves on the day of surgery: the checks with their hours, on top until they are done."""

from __future__ import annotations

from dataclasses import dataclass

from followup.care.hand import Hand
from followup.clinical.careplan import BeforeLeaving
from followup.records.desk.leaving_checks import checks_noted, operated_on
from followup.records.people.patients import patients_by_id
from followup.records.plans.plans import newest_plan_bodies
from followup.records.store.store import Session
from followup.records.views import PatientView


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
    bodies = newest_plan_bodies(session, {number for number, _ in operated})
    people = patients_by_id(session, bodies)
    noted = checks_noted(session, hand.today)
    found = [
        ToDo(people[number], item)
        for number, body in bodies.items()
        for item in body.before_leaving
        if (number, item.eye) in operated and (number, item.key) not in noted
        if code is None or people[number].code == code
    ]
    return sorted(found, key=lambda one: (one.check.earliest or "", one.who.name.casefold()))
