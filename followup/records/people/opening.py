"""Who opened something of a patient: one entry of the journal for each person, patient and day."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final, Literal

from sqlmodel import Session, col, delete, select

from followup.records.people.folding import fold_code
from followup.records.store.journal import JournalEntry, journal_of
from followup.records.store.store import Unit, insert_once
from followup.records.tables import CarePlanRow, ErasedRow, OpeningRow, PatientRow, SheetRow, TripRow

OPENED: Final = "record opened"
Named = Literal["code", "plan", "sheet", "trip"]
# A clock that is put right by a day must not make a second entry of the same look.
_KEPT = timedelta(days=3)


def patient_named(session: Session, by: Named, value: str) -> int | None:
    """The patient whose code, or whose plan's, sheet's or visit's number ``value`` is; None: nobody here."""
    ids = select(PatientRow.id)
    if by == "code":
        return session.exec(ids.where(PatientRow.code_key == fold_code(value))).first()
    if by == "sheet":
        sheets = ids.join(SheetRow, col(SheetRow.patient_id) == PatientRow.id)
        return session.exec(sheets.where(SheetRow.id == value)).first()
    if not (value.isascii() and value.isdigit()):
        return None
    if by == "plan":
        plans = ids.join(CarePlanRow, col(CarePlanRow.patient_id) == PatientRow.id)
        return session.exec(plans.where(CarePlanRow.id == int(value))).first()
    trips = ids.join(TripRow, col(TripRow.patient_id) == PatientRow.id)
    return session.exec(trips.where(TripRow.id == int(value))).first()


def is_noted(session: Session, *, login: str, patient_id: int, day: date) -> bool:
    """Whether the journal tells already that ``login`` opened the patient on ``day``."""
    return session.get(OpeningRow, (login, patient_id, day)) is not None


def note_opening(unit: Unit, *, patient_id: int, day: date) -> None:
    """Write into the journal that whoever acts opened the patient; once for each person, patient and day."""
    code = unit.session.exec(select(PatientRow.code).where(PatientRow.id == patient_id)).first()
    if code is None:
        return
    if insert_once(unit.session, OpeningRow, login=unit.actor.login, patient_id=patient_id, day=day):
        unit.session.execute(delete(OpeningRow).where(col(OpeningRow.day) < day - _KEPT))
        unit.log(OPENED, f"patient:{code}")


def journal_of_patient(session: Session, code: str) -> tuple[JournalEntry, ...]:
    """Every entry about the patient of this code, whatever its case, or of one who was erased; in order."""
    keys = (select(table.code).where(table.code_key == fold_code(code)) for table in (PatientRow, ErasedRow))
    known = next((found for key in keys if (found := session.exec(key).first()) is not None), None)
    return journal_of(session, f"patient:{known}") if known is not None else ()
