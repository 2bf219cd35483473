"""A plan completes by itself when its last visit is done and its last drop taken."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session, col, select

from followup.clinical.careplan import CarePlan, read_stored
from followup.records.duties import PROGRAM
from followup.records.people.patients import lock_patient
from followup.records.plans.plans import plans_in_force_ids
from followup.records.store.store import Unit
from followup.records.tables import AlertRow, CarePlanRow, TripRow
from followup.records.trips.trips import OPEN

OVER = "last visit done, last drop taken"


def last_day_of_drops(body: CarePlan) -> date | None:
    """The last day on which the plan itself has something given; None where it gives nothing.

    What goes on from before the operation goes on after the plan too, and keeps none open. A held course
    counts as long as its steps run: it may be released.
    """
    own = (c for c in body.courses if c.state != "stopped" and not c.from_before and not c.goes_on)
    return max((course.last_day for course in own if course.last_day), default=None)


def plans_to_complete(session: Session, today: date) -> tuple[int, ...]:
    """The plans in force that may be over on ``today``; each is looked at again before it completes."""
    return tuple(plan for plan in plans_in_force_ids(session) if _is_over(session, plan, today))


def complete_plan(unit: Unit, *, plan_id: int, today: date) -> bool:
    """Complete a plan in force that is over on ``today``; whether it was. Again it changes nothing.

    Nobody completes a plan by hand but a surgeon with a reason (``end_plan``). Error ``role.missing``.
    """
    unit.need_role(PROGRAM)
    row = unit.session.get(CarePlanRow, plan_id)
    if row is None:
        return False
    patient = lock_patient(unit, row.patient_id)
    unit.session.refresh(row)
    if row.status != "active" or not _is_over(unit.session, plan_id, today):
        return False
    row.status, row.ended_at, row.ended_reason = "completed", unit.now, OVER
    unit.session.add(row)
    unit.session.flush()
    unit.log("plan completed", f"patient:{patient.code}", plan=row.number, reason=OVER)
    return True


def _is_over(session: Session, plan_id: int, today: date) -> bool:
    """No visit is open or under way, the last drop was taken before ``today``, and nothing waits.

    A draft that waits for the surgeon, and an eye in danger, keep the plan in force.
    """
    row = session.get(CarePlanRow, plan_id)
    if row is None or _waits(session, row.patient_id):
        return False
    body = read_stored(row.body)
    last = last_day_of_drops(body)
    return last is None or last < today


def _waits(session: Session, patient_id: int) -> bool:
    visits = select(TripRow.id).where(
        TripRow.patient_id == patient_id, col(TripRow.status).in_((*OPEN, "arrived"))
    )
    drafts = select(CarePlanRow.id).where(
        CarePlanRow.patient_id == patient_id, col(CarePlanRow.status).in_(("draft", "on-hold"))
    )
    alerts = select(AlertRow.id).where(AlertRow.patient_id == patient_id, col(AlertRow.closed_at).is_(None))
    return any(session.exec(query).first() is not None for query in (visits, drafts, alerts))
