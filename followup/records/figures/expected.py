"""Who is to be expected at the clinic: visits of plans, and operations that no plan covers yet."""

from __future__ import annotations

from collections import Counter
from datetime import date

from sqlmodel import Session, col, select

from followup.clinical.careplan import Trip
from followup.clinical.statuses import CAME, TO_COME
from followup.records.plans.plans import plans_in_force, plans_waiting_for_signature
from followup.records.tables import CarePlanRow, OperationListRow, OperationRow, PatientRow, TripRow
from followup.records.trips.trips import is_followed

_COMES = (*TO_COME, *CAME)


def visits_in_force(session: Session, start: date, end: date) -> tuple[tuple[date, tuple[str, ...]], ...]:
    """Day and services of every visit of a plan in force, both days included; seen ones of ``start`` too."""
    rows = session.exec(
        select(TripRow)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(TripRow.day >= start, TripRow.day <= end, col(TripRow.status).in_(_COMES), is_followed())
    )
    return tuple((row.day, tuple(row.services)) for row in rows)


def visits_to_sign(session: Session) -> tuple[Trip, ...]:
    """The visits of drafts whose patient has no plan in force yet."""
    covered = plans_in_force(session)
    drafts = (one for one in plans_waiting_for_signature(session) if one.patient_id not in covered)
    return tuple(t for one in drafts for t in one.body.trips if t.status in ("proposed", "booked"))


def operations_without_plan(session: Session, start: date, end: date) -> Counter[date]:
    """How many listed or entered operations of each day no draft and no plan in force covers yet."""
    listed = session.exec(
        select(OperationListRow).where(OperationListRow.day >= start, OperationListRow.day <= end)
    )
    entered = session.exec(
        select(OperationRow, PatientRow)
        .join(PatientRow, col(PatientRow.id) == OperationRow.patient_id)
        .where(OperationRow.day >= start, OperationRow.day <= end)
    ).all()
    planned = set(
        session.exec(select(CarePlanRow.patient_id).where(col(CarePlanRow.status).in_(("draft", "active"))))
    )
    keys = {(each.day, who.code_key, each.eye): who.id for each, who in entered}
    covered = {key for key, patient in keys.items() if patient in planned}
    known = {(line.day, line.code_key, line.eye) for line in listed} | keys.keys()
    return Counter(day for day, _code, _eye in known - covered)
