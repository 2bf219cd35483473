"""A plan completes by itself when its last visit is done and its last drop taken."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from followup.clinical.careplan import read_stored
from followup.clinical.words.gist import PlanGist, gist_of
from followup.records.duties import PROGRAM
from followup.records.people.patients import lock_patient
from followup.records.plans.listed import plan_gists
from followup.records.store.store import Unit
from followup.records.tables import AlertRow, CarePlanRow, PatientRow, TripRow
from followup.records.trips.trips import OPEN

OVER = "last visit done, last drop taken"


def plans_to_complete(session: Session, today: date) -> tuple[int, ...]:
    """The plans in force that may be over on ``today``; each is looked at again before it completes."""
    waits = (own.exists() for own in _waiting(CarePlanRow.patient_id))
    plans = session.exec(
        select(col(CarePlanRow.id))
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(CarePlanRow.status == "active", *(~one for one in waits))
    )
    gists = plan_gists(session, (plan for plan in plans if plan is not None))
    return tuple(sorted(plan for plan, gist in gists.items() if _is_past(gist, today)))


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
    if row is None or any(session.exec(own).first() is not None for own in _waiting(row.patient_id)):
        return False
    return _is_past(gist_of(read_stored(row.body)), today)


def _is_past(gist: PlanGist, today: date) -> bool:
    return gist.last_drop is None or gist.last_drop < today


def _waiting(patient: int) -> tuple[SelectOfScalar[Any], ...]:
    """The patient's visits that are open or under way, drafts, and eyes in danger."""
    draft = aliased(CarePlanRow)
    return (
        select(TripRow.id).where(TripRow.patient_id == patient, col(TripRow.status).in_((*OPEN, "arrived"))),
        select(draft.id).where(draft.patient_id == patient, col(draft.status).in_(("draft", "on-hold"))),
        select(AlertRow.id).where(AlertRow.patient_id == patient, col(AlertRow.closed_at).is_(None)),
    )
