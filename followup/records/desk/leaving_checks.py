"""The checks before leaving on the day of surgery: which were done, and who went without and why."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session, col, select

from followup.records.duties import CLINICAL
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit
from followup.records.tables import LeavingCheckRow, OperationRow, PatientRow

LONGEST_REASON = 300


def note_leaving(unit: Unit, *, patient_id: int, key: str, mmhg: float | None, why: str) -> None:
    """Note a check of today: the pressure, or why the patient goes without. Noted twice, the first stands.

    Error ``role.missing``.
    """
    unit.need_role(*CLINICAL)
    patient = lock_patient(unit, patient_id)
    day = unit.now.astimezone(clinic_zone(unit.session)).date()
    known = unit.session.exec(
        select(LeavingCheckRow).where(
            LeavingCheckRow.patient_id == patient_id, LeavingCheckRow.key == key, LeavingCheckRow.day == day
        )
    ).first()
    if known is not None:
        return
    reason = why.strip()[:LONGEST_REASON]
    by = unit.actor.name or unit.actor.login
    unit.session.add(
        LeavingCheckRow(patient_id=patient_id, key=key, day=day, mmhg=mmhg, why=reason, by=by, at=unit.now)
    )
    unit.session.flush()
    unit.log(
        "checked before leaving",
        f"patient:{patient.code}",
        check=key,
        mmhg=f"{mmhg:g}" if mmhg is not None else "",
        why=reason,
    )


def checks_noted(session: Session, day: date) -> frozenset[tuple[int, str]]:
    """Patient and key of every check of ``day`` that was noted."""
    rows = session.exec(
        select(LeavingCheckRow.patient_id, LeavingCheckRow.key).where(LeavingCheckRow.day == day)
    )
    return frozenset((patient, key) for patient, key in rows)


def operated_on(session: Session, day: date) -> frozenset[tuple[int, str]]:
    """Patient and eye of every operation of ``day`` that is entered."""
    rows = session.exec(
        select(OperationRow.patient_id, OperationRow.eye)
        .join(PatientRow, col(PatientRow.id) == OperationRow.patient_id)
        .where(OperationRow.day == day)
    )
    return frozenset((patient, eye) for patient, eye in rows)
