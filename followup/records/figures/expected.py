"""Who is to be expected at the clinic: visits of plans, and operations that no plan covers yet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from followup.clinical.statuses import CAME, TO_COME
from followup.records.people.patients import patients_by_id
from followup.records.plans.listed import ListedPlan, drafts_waiting
from followup.records.plans.plans import plans_in_force
from followup.records.tables import CarePlanRow, OperationListRow, OperationRow, PatientRow, TripRow
from followup.records.trips.trips import is_followed

_COMES = (*TO_COME, *CAME)


@dataclass(frozen=True)
class WhoComes:
    """Somebody who is expected: by whom a list names them, on which day, what for; ``tier`` of their plan."""

    code: str
    name: str
    day: date
    services: tuple[str, ...]
    tier: str | None = None


def people_in_force(session: Session, start: date, end: date) -> tuple[WhoComes, ...]:
    """Who comes by a plan in force, both days included; whoever was seen too."""
    columns = (PatientRow.code, PatientRow.name, TripRow.day, TripRow.services, TripRow.tier, TripRow.status)
    # Asked for by the days alone: beside a status SQLite takes the index of all visits ever done.
    rows = session.execute(
        sql_select(*map(col, columns))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(col(TripRow.day).between(start, end), is_followed())
    )
    return tuple(
        WhoComes(code, name, day, tuple(services), tier)
        for code, name, day, services, tier, status in rows
        if status in _COMES
    )


def visits_to_sign(session: Session) -> tuple[tuple[date, tuple[str, ...]], ...]:
    """Day and services of the visits of drafts whose patient has no plan in force yet."""
    return tuple(visit for one in _drafts_alone(session) for visit in one.gist.to_come)


def people_to_sign(session: Session, day: date) -> tuple[WhoComes, ...]:
    """Who comes on ``day`` by a draft, and has no plan in force yet."""
    drafts = _drafts_alone(session)
    people = patients_by_id(session, [one.patient_id for one in drafts])
    return tuple(
        WhoComes(people[one.patient_id].code, people[one.patient_id].name, day, services)
        for one in drafts
        for on, services in one.gist.to_come
        if on == day
    )


def _drafts_alone(session: Session) -> list[ListedPlan]:
    drafts = drafts_waiting(session)
    covered = plans_in_force(session, [one.patient_id for one in drafts])
    return [one for one in drafts if one.patient_id not in covered]


def operations_without_plan(session: Session, start: date, end: date) -> Counter[date]:
    """How many listed or entered operations of each day no draft and no plan in force covers yet."""
    return Counter(one.day for one in people_without_plan(session, start, end))


def people_without_plan(session: Session, start: date, end: date) -> tuple[WhoComes, ...]:
    """Whoever is listed or entered for an operation on these days that no plan covers, by that day."""
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
    keys = {(each.day, who.code_key, each.eye): who for each, who in entered}
    covered = {key for key, who in keys.items() if who.id in planned}
    known = {(line.day, line.code_key, line.eye): (line.patient_code, line.name) for line in listed}
    known |= {key: (who.code, who.name) for key, who in keys.items()}
    return tuple(
        WhoComes(code, name, key[0], ()) for key, (code, name) in known.items() if key not in covered
    )


def has_operations(session: Session) -> bool:
    """Whether any operation was ever listed or entered."""
    listed = select(col(OperationListRow.day)).limit(1)
    entered = select(col(OperationRow.day)).limit(1)
    return session.exec(listed).first() is not None or session.exec(entered).first() is not None
