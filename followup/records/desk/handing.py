"""Bottles that the pharmacy has given, as the plan in force named them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from followup.clinical.careplan import Course
from followup.clinical.record import Eye
from followup.records.duties import STORE
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit
from followup.records.tables import HandingRow, PatientRow

# A bottle may go home on the day before its course begins; what was given earlier was another operation's.
_AHEAD = timedelta(days=1)


@dataclass(frozen=True)
class GivenBottle:
    """One bottle, or the tablets of one visit, by the names of its plan."""

    course: str
    medicine: str
    eye: Eye | None
    number: int


@dataclass(frozen=True)
class Handing:
    """Bottles that one person was given at one time."""

    id: int
    patient_id: int
    plan_id: int
    bottles: tuple[GivenBottle, ...]
    day: date
    by: str
    at: datetime

    def holds(self, course: Course, number: int) -> bool:
        """Whether this bottle of a course was among them; a plan made again keeps its bottles' numbers."""
        begins = course.first_day
        if begins is None or self.day < begins - _AHEAD:
            return False
        return any(
            (one.medicine, one.eye, one.number) == (course.medicine, course.eye, number)
            for one in self.bottles
        )


def note_given(unit: Unit, *, patient_id: int, plan_id: int, bottles: Collection[GivenBottle]) -> None:
    """Store that somebody was given these bottles today. Error ``role.missing``."""
    unit.need_role(*STORE)
    patient = lock_patient(unit, patient_id)
    row = HandingRow(
        patient_id=patient_id,
        plan_id=plan_id,
        bottles=[asdict(one) for one in bottles],
        day=unit.now.astimezone(clinic_zone(unit.session)).date(),
        by=unit.actor.login,
        at=unit.now,
    )
    unit.session.add(row)
    unit.session.flush()
    medicines = sorted({one.medicine for one in bottles})
    unit.log(
        "bottles given", f"patient:{patient.code}", handing=row.id, count=len(bottles), medicines=medicines
    )


def handings(session: Session, patients: Collection[int]) -> tuple[Handing, ...]:
    """What these people were given and nobody has taken back, oldest first."""
    rows = session.exec(
        select(HandingRow)
        .where(col(HandingRow.patient_id).in_(patients), col(HandingRow.taken_back_at).is_(None))
        .order_by(col(HandingRow.id))
    )
    return tuple(
        Handing(
            row.id or 0,
            row.patient_id,
            row.plan_id,
            tuple(GivenBottle(**one) for one in row.bottles),
            row.day,
            row.by,
            row.at,
        )
        for row in rows
    )


def given_on(session: Session, day: date) -> set[str]:
    """The codes of everybody who was given something on this day of the clinic."""
    rows = session.exec(
        select(PatientRow.code)
        .join(HandingRow, col(HandingRow.patient_id) == PatientRow.id)
        .where(HandingRow.day == day, col(HandingRow.taken_back_at).is_(None))
    )
    return set(rows)
