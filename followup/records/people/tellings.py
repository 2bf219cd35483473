"""Operations as they were told: kept word for word with the record, in the journal by their hash."""

from __future__ import annotations

from datetime import date
from typing import cast

from sqlmodel import Session, col, select

from followup.clinical.record import Eye
from followup.records.duties import CLINICAL
from followup.records.store.store import Unit
from followup.records.tables import PatientRow, TellingRow
from followup.records.views import KeptTelling, RecordVersion


def keep_telling(
    unit: Unit,
    version: RecordVersion,
    *,
    eye: Eye,
    day: date,
    language: str,
    text: str,
    asked: tuple[str, ...] = (),
) -> KeptTelling:
    """Keep what was told of the operation on ``eye`` on ``day`` beside this version of the record.

    The same words about the same operation are kept once. Error: ``role.missing``.
    """
    unit.need_role(*CLINICAL)
    for kept in tellings_of(unit.session, version.patient_id):
        if (kept.eye, kept.day, kept.text) == (eye, day, text):
            return kept
    row = TellingRow(
        patient_id=version.patient_id,
        record_number=version.number,
        eye=eye,
        day=day,
        language=language,
        text=text,
        asked=list(asked),
        told_by=unit.actor.login,
        told_at=unit.now,
    )
    unit.session.add(row)
    made = _view(row)
    unit.log(
        "operation told",
        f"patient:{version.record.patient.code}",
        version=version.number,
        eye=eye,
        day=day.isoformat(),
        asked=list(asked),
        # The words themselves can be erased with the record; an entry of the journal can't.
        sha256=made.sha256,
    )
    return made


def tellings_of(session: Session, patient_id: int) -> tuple[KeptTelling, ...]:
    """All that was told of the patient's operations, newest first."""
    rows = session.exec(
        select(TellingRow)
        # Named so that a session bound to a site finds its own patients' tellings alone.
        .join(PatientRow, col(PatientRow.id) == TellingRow.patient_id)
        .where(TellingRow.patient_id == patient_id)
        .order_by(col(TellingRow.told_at).desc(), col(TellingRow.id).desc())
    )
    return tuple(map(_view, rows))


def _view(row: TellingRow) -> KeptTelling:
    return KeptTelling(
        patient_id=row.patient_id,
        record_number=row.record_number,
        eye=cast(Eye, row.eye),
        day=row.day,
        language=row.language,
        text=row.text,
        asked=tuple(row.asked),
        told_by=row.told_by,
        told_at=row.told_at,
    )
