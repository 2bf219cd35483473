"""What the store knows of the people whom a table names: asked for many at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import cast

from sqlalchemy import select
from sqlmodel import Session, col

from followup.clinical.record import Eye
from followup.records.people.folding import fold_code
from followup.records.people.oplist import ListLine
from followup.records.store.batches import batches
from followup.records.store.binding import site_of_session
from followup.records.tables import OperationListRow, OperationRow, PatientRow, StandingRow

_PATIENT = [col(getattr(PatientRow, name)) for name in ("id", "code_key", "code", "name", "record_number")]
_OPERATION = [col(getattr(OperationRow, name)) for name in ("patient_id", "day", "eye")]
_LINE = [col(getattr(OperationListRow, name)) for name in ("day", "patient_code", "name", "eye")]


@dataclass(frozen=True)
class KnownPatient:
    """A patient as a table's row is compared with: ``standing`` as the list to reach has it."""

    id: int
    code: str
    name: str
    record_number: int
    standing: str
    operations: set[tuple[date, str]] = field(default_factory=set)


def known_patients(session: Session, codes: Iterable[str]) -> dict[str, KnownPatient]:
    """By folded code those of ``codes`` who are in the store, with their operations as (day, eye)."""
    found: dict[str, KnownPatient] = {}
    by_id: dict[int, KnownPatient] = {}
    for some in batches(fold_code(code) for code in codes):
        rows = session.execute(
            select(*_PATIENT, col(StandingRow.standing))
            .outerjoin(StandingRow, col(StandingRow.patient_id) == PatientRow.id)
            .where(col(PatientRow.code_key).in_(some))
        )
        for number, key, code, name, record_number, standing in rows:
            known = KnownPatient(number, code, name, record_number, standing or "followed")
            found[key] = by_id[number] = known
    for ids in batches(by_id):
        operated = session.execute(select(*_OPERATION).where(col(OperationRow.patient_id).in_(ids)))
        for patient_id, day, eye in operated:
            by_id[patient_id].operations.add((day, eye))
    return found


def lists_of_days(session: Session, days: Iterable[date]) -> dict[date, tuple[ListLine, ...]]:
    """The lists of these days as they were put, each in its order; a day without one is left out."""
    here = col(OperationListRow.site_id) == site_of_session(session)
    found: dict[date, list[ListLine]] = {}
    for some in batches(days):
        rows = session.execute(
            select(*_LINE)
            .where(here, col(OperationListRow.day).in_(some))
            .order_by(col(OperationListRow.day), col(OperationListRow.position))
        )
        for day, code, name, eye in rows:
            found.setdefault(day, []).append(ListLine(code, name, cast(Eye, eye)))
    return {day: tuple(lines) for day, lines in found.items()}
