"""Records that changed lately: where a week's findings are found without reading every record."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, and_, col, select

from followup.clinical.record import Record
from followup.records.tables import PatientRow, RecordVersionRow


def records_since(session: Session, since: datetime) -> dict[int, Record]:
    """The newest record of every patient whose record changed at or after ``since``, by patient."""
    rows = session.exec(
        select(RecordVersionRow.patient_id, RecordVersionRow.body)
        .join(
            PatientRow,
            and_(
                col(PatientRow.id) == RecordVersionRow.patient_id,
                col(PatientRow.record_number) == RecordVersionRow.number,
            ),
        )
        .where(RecordVersionRow.entered_at >= since)
        .order_by(col(RecordVersionRow.patient_id))
    )
    return {patient_id: Record.model_validate_json(body) for patient_id, body in rows}
