"""Which looks were done when they fell due: the figures of how completely patients are followed up.

A look is counted once, by the visit of the plan in force on its last day. A plan made again does not
take a missed look away: a visit of the new plan that catches it up makes it late, never a new one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, NamedTuple, get_args

from sqlalchemy import select as sql_select
from sqlmodel import Session, col, or_, select
from sqlmodel.sql.expression import SelectOfScalar

from followup.clinical.statuses import TripStatus
from followup.records.desk.taking_back import TAKEN_BACK
from followup.records.house.clinics import clinic_zone
from followup.records.plans.listed import plan_gists
from followup.records.tables import CarePlanRow, OperationRow, PatientRow, TripRow

# Being here is not being seen: a visit is done by findings, or by a clinical role.
_DONE = ("fulfilled",)


@dataclass(frozen=True)
class ClosedVisit:
    """A visit whose last day has passed: what it was for was seen in time, seen late, or never.

    ``seen``: the day on which all of it had been looked at.
    """

    tier: str
    result: Literal["in time", "late", "never"]
    patient: int
    last: date
    seen: date | None


class _Look(NamedTuple):
    """A need of one operation: an eye that is operated again begins anew."""

    key: str
    operation: int


# A visit that serves no need of its own keeps the time between two checks short.
_BETWEEN = _Look("", 0)


class _Visit(NamedTuple):
    """What the figures read of a visit's row."""

    patient_id: int
    care_plan_id: int
    status: str
    tier: str
    window_end: date
    seen_on: date | None
    serves: list[str]
    services: list[str]
    served: list[str]


class _Kept(NamedTuple):
    """A visit with the day on which its plan ended and the one for which it was made."""

    row: _Visit
    ended: date | None
    as_of: date


@dataclass
class _Due:
    """A visit that fell due: its looks with the day on which each was done, if it was."""

    tier: str
    last: date
    plan: int
    seen: dict[_Look, date | None] = field(default_factory=dict)

    @property
    def done(self) -> date | None:
        days = [day for day in self.seen.values() if day is not None]
        return max(days) if len(days) == len(self.seen) else None

    @property
    def result(self) -> Literal["in time", "late", "never"]:
        done = self.done
        if done is None:
            return "never"
        return "in time" if done <= self.last else "late"


def visits_with_closed_window(session: Session, start: date, today: date) -> tuple[ClosedVisit, ...]:
    """What fell due from ``start`` on and before ``today``, however often plans were made again."""
    operations = _operations(session, start, today)
    found = {
        patient: _fallen_due(visits, operations.get(patient, []), today)
        for patient, visits in _by_patient(session, start, today).items()
    }
    _told_by_later_plans(session, found, operations)
    return tuple(
        ClosedVisit(due.tier, due.result, patient, due.last, due.done)
        for patient, dues in found.items()
        for due in dues
        if start <= due.last < today
    )


def whose_last_day(start: date, today: date) -> SelectOfScalar[int]:
    """The patients of whom a visit's last day lies from ``start`` on and before ``today``."""
    # Every status, named: the index by last days begins with it.
    return select(TripRow.patient_id).where(
        col(TripRow.status).in_(get_args(TripStatus)),
        col(TripRow.window_end) >= start,
        col(TripRow.window_end) < today,
    )


def _by_patient(session: Session, start: date, today: date) -> dict[int, list[_Kept]]:
    """All visits of those patients, by their last day; one that was taken back never was."""
    zone = clinic_zone(session)
    whose = whose_last_day(start, today)
    plans = session.exec(
        select(col(CarePlanRow.id), col(CarePlanRow.ended_at), col(CarePlanRow.as_of)).where(
            col(CarePlanRow.patient_id).in_(whose)
        )
    )
    made = {number: (ended and ended.astimezone(zone).date(), as_of) for number, ended, as_of in plans}
    # Columns alone: of thousands of visits each row as an object is what costs.
    rows = session.execute(
        sql_select(*(col(getattr(TripRow, name)) for name in _Visit.__annotations__))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(col(TripRow.patient_id).in_(whose))
        .where(or_(col(TripRow.ended_reason).is_(None), col(TripRow.ended_reason) != TAKEN_BACK))
        .order_by(col(TripRow.patient_id), col(TripRow.window_end), col(TripRow.id))
    )
    found: dict[int, list[_Kept]] = defaultdict(list)
    for row in rows:
        found[row.patient_id].append(_Kept(_Visit(*row), *made[row.care_plan_id]))
    return found


def _operations(session: Session, start: date, today: date) -> dict[int, list[tuple[str, date]]]:
    """Eye and day of each operation of those patients."""
    rows = session.exec(
        select(col(OperationRow.patient_id), col(OperationRow.eye), col(OperationRow.day)).where(
            col(OperationRow.patient_id).in_(whose_last_day(start, today))
        )
    )
    found: dict[int, list[tuple[str, date]]] = defaultdict(list)
    for patient, eye, day in rows:
        found[patient].append((eye, day))
    return found


def _look(key: str, operations: Iterable[tuple[str, date]], as_of: date) -> _Look:
    """The need of a plan for ``as_of``: of the first operation of its eye, or of a later one."""
    eye = key.partition(":")[0]
    return _Look(key, max(1, len([day for each, day in operations if each == eye and day <= as_of])))


def _fallen_due(visits: Iterable[_Kept], operations: list[tuple[str, date]], today: date) -> list[_Due]:
    """The visits on whose last day their plan was in force, each look with the first that was for it."""
    found: list[_Due] = []
    missed: dict[_Look, _Due] = {}
    for row, ended, as_of in visits:
        done = row.seen_on if row.status in _DONE else None
        if not row.services and not row.serves:
            continue  # came without a visit: nothing fell due
        keys = row.served if row.status == "fulfilled" else row.serves
        looks = [_look(key, operations, as_of) for key in keys] or [_BETWEEN]
        new = [look for look in looks if look not in missed or _again(look, missed[look], row)]
        if done is not None:
            _catch_up(missed, looks, row.care_plan_id, done)
        end = today if row.status != "cancelled" else min(ended or date.min, today)
        if row.window_end >= end:
            continue  # its last day was still to come when the plan was replaced, or still is
        if new:
            due = _Due(row.tier, row.window_end, row.care_plan_id, dict.fromkeys(new, done))
            found.append(due)
            missed |= {look: due for look in new if done is None}
    return found


def _again(look: _Look, before: _Due, row: _Visit) -> bool:
    """Two visits of one plan between the same checks are two; elsewhere the later one catches up."""
    return look == _BETWEEN and before.plan == row.care_plan_id


def _catch_up(missed: dict[_Look, _Due], looks: Iterable[_Look], plan: int, day: date) -> None:
    """What was missed is done now. Every visit measures the pressure, as those between checks do."""
    for look in {*looks, _BETWEEN} & missed.keys():
        if look != _BETWEEN or missed[look].plan != plan:
            missed.pop(look).seen[look] = day


def _told_by_later_plans(
    session: Session, found: Mapping[int, list[_Due]], operations: Mapping[int, list[tuple[str, date]]]
) -> None:
    """A look that was written down though its visit was not marked: a later signed plan knows its day."""
    open_ones = {
        patient: missed
        for patient, dues in found.items()
        if (missed := [due for due in dues if None in due.seen.values()])
    }
    rows = session.exec(
        select(col(CarePlanRow.id), col(CarePlanRow.patient_id), col(CarePlanRow.as_of))
        .where(col(CarePlanRow.patient_id).in_(open_ones), col(CarePlanRow.signed_at).is_not(None))
        .order_by(col(CarePlanRow.id))
    ).all()
    later = [
        (plan, patient, as_of)
        for plan, patient, as_of in rows
        if plan is not None and any(plan > due.plan for due in open_ones[patient])
    ]
    gists = plan_gists(session, {plan for plan, _, _ in later})
    for plan, patient, as_of in later:
        for need in gists[plan].needs if plan in gists else ():
            look = _look(need.key, operations.get(patient, []), as_of)
            for due in open_ones[patient]:
                if need.served_on and plan > due.plan and look in due.seen and due.seen[look] is None:
                    due.seen[look] = need.served_on
