"""Records that changed lately: where a week's findings are found without reading every record."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Mapping
from datetime import date, datetime, timedelta
from typing import TypeVar

from sqlalchemy import ColumnElement
from sqlmodel import Session, and_, col, select

from followup.clinical.record import Record
from followup.records.figures.followed import whose_last_day
from followup.records.store.kept import Kept
from followup.records.tables import OperationRow, PatientRow, RecordVersionRow

VersionKey = tuple[Hashable, int, datetime]
"""What it was made by, and the version of a record that it was made of."""
V = TypeVar("V")


def changed_since(since: datetime) -> ColumnElement[bool]:
    """That the record changed at or after ``since``."""
    return col(RecordVersionRow.entered_at) >= since


def operated(begin: date, end: date) -> ColumnElement[bool]:
    """That the patient was operated on one of these days, both included."""
    whose = select(OperationRow.patient_id).where(col(OperationRow.day).between(begin, end))
    return col(PatientRow.id).in_(whose)


def fell_due(begin: date, end: date) -> ColumnElement[bool]:
    """That a visit of the patient had one of these as its last day, both included."""
    return col(PatientRow.id).in_(whose_last_day(begin, end + timedelta(days=1)))


def of_records(
    session: Session,
    which: ColumnElement[bool],
    make: Callable[[Record], V],
    *,
    kept: Kept[VersionKey, V],
    by: Hashable = None,
) -> dict[int, V]:
    """What ``make`` makes of the newest record of everybody of whom ``which`` holds, by patient.

    It is made of each version once and ``kept``; ``by``: what else it depends on, such as the protocol.
    """
    newest = select(RecordVersionRow.patient_id, col(RecordVersionRow.id), RecordVersionRow.entered_at).join(
        PatientRow,
        and_(
            col(PatientRow.id) == RecordVersionRow.patient_id,
            col(PatientRow.record_number) == RecordVersionRow.number,
        ),
    )
    # Put in order here: asked for it, SQLite reads every version in the order of another index.
    rows = sorted(session.exec(newest.where(which)))
    keys = {patient: (by, version or 0, entered) for patient, version, entered in rows}

    def made(missing: Collection[VersionKey]) -> Mapping[VersionKey, V]:
        by_id = {key[1]: key for key in missing}
        bodies = select(RecordVersionRow.id, RecordVersionRow.body).where(col(RecordVersionRow.id).in_(by_id))
        return {
            by_id[number or 0]: make(Record.model_validate_json(body))
            for number, body in session.exec(bodies)
        }

    values = kept.of(session, keys.values(), made)
    return {patient: values[key] for patient, key in keys.items()}
