"""A patient asks to be erased: at once what is not the record, and the record when the law lets it go.

The journal is never touched: it holds codes, what was done, and reasons that staff typed, no names and no
numbers. Its entry of the erasing says what a plan's hash is from then on, or that a plan and a sheet are
gone, so that the rest is verified as before (``records/plans/bound.py``).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, delete, or_, select, update

from followup.errors import FollowupError
from followup.records.desk.attempts import standing_word
from followup.records.duties import MANAGER, PROGRAM
from followup.records.house.clinics import clinic_zone, get_clinic
from followup.records.people.folding import fold_code
from followup.records.people.keeping import kept_until
from followup.records.people.keys import drop_keys, put_keys
from followup.records.people.patients import lock_patient, newest_record, patient_by_code, unknown_patient
from followup.records.plans.bound import ERASED, plan_hash
from followup.records.store.store import Unit
from followup.records.tables import (
    AlertRow,
    CarePlanRow,
    ContactAttemptRow,
    ErasedRow,
    HandingRow,
    HandOutDayRow,
    LeavingCheckRow,
    MessageChoiceRow,
    MessageRow,
    OpeningRow,
    OperationListRow,
    OperationRow,
    PatientRow,
    RecordVersionRow,
    SheetChoiceRow,
    SheetRow,
    StandingRow,
    TeachBackRow,
    TellingRow,
    TripRow,
    TripTransitionRow,
)
from followup.said import say

# Everything that is kept of a patient, children before the rows that they belong to.
_OF_A_SHEET = (TeachBackRow, SheetChoiceRow)
_OF_A_PATIENT = (
    *(MessageRow, MessageChoiceRow, ContactAttemptRow, StandingRow, OpeningRow, AlertRow, LeavingCheckRow),
    *(HandingRow, SheetRow, TripRow, CarePlanRow, OperationRow, TellingRow, RecordVersionRow),
)


@dataclass(frozen=True)
class Erasing:
    """What erasing does, or did. ``name`` is empty once it is gone.

    ``last_seen``: None where the patient is gone. ``asked_at``: None: nobody asked yet. ``record_goes``: the
    record goes too, because ``kept_until`` is over. ``gone_at``: when it went. ``followed``: not before every
    plan has ended or somebody has said why the patient is not followed any more.
    """

    code: str
    name: str
    last_seen: date | None
    kept_until: date
    record_goes: bool
    asked_at: datetime | None = None
    asked_by: str = ""
    gone_at: datetime | None = None
    followed: bool = False


def erasing_of(session: Session, code: str, now: datetime) -> Erasing:
    """What erasing the patient of this code would do now, or that it was done. Error ``patient.unknown``."""
    gone = _erased(session, code)
    if gone is not None and gone.gone_at is not None:
        return _told(gone, name="", last_seen=None)
    row = session.exec(select(PatientRow).where(PatientRow.code_key == fold_code(code))).first()
    if row is None or row.id is None:
        raise unknown_patient()
    zone = clinic_zone(session)
    seen = _days_seen(session, row, now)
    until = kept_until(
        seen, born=row.birth_date, birth_year=row.birth_year, years=get_clinic(session).keep_years
    )
    goes = until < now.astimezone(zone).date()
    return Erasing(
        code=row.code,
        name=row.name,
        last_seen=max(seen),
        kept_until=until,
        record_goes=goes,
        asked_at=gone.asked_at if gone else None,
        asked_by=gone.asked_by if gone else "",
        followed=standing_word(session, row.id) == "followed" and _has_a_plan(session, row.id),
    )


def erase(unit: Unit, *, code: str) -> Erasing:
    """Erase what may be erased now.

    Errors: ``role.missing``, ``patient.unknown``, ``erase.followed`` where the patient is still looked after,
    ``erase.gone`` where nothing is left that may go now.
    """
    unit.need_role(*MANAGER, PROGRAM)
    found = erasing_of(unit.session, code, unit.now)
    if found.followed:
        raise FollowupError(
            "erase.followed",
            say("this patient is followed"),
            fix=say("end the plan, or write down why the patient is not followed any more"),
        )
    if found.gone_at is not None:
        raise _gone()
    here = patient_by_code(unit.session, found.code)
    assert here is not None
    row = lock_patient(unit, here.id)
    assert row.id is not None
    if not found.record_goes and found.asked_at is not None and not _has_contact(unit.session, row):
        raise _gone()
    kept = unit.session.get(ErasedRow, row.code_key) or ErasedRow(
        code_key=row.code_key,
        code=row.code,
        site_id=row.site_id,
        asked_at=unit.now,
        asked_by=unit.actor.login,
        kept_until=found.kept_until,
    )
    kept.kept_until = found.kept_until
    if found.record_goes:
        _all_goes(unit, row, kept)
    else:
        _contact_goes(unit, row)
        unit.session.add(kept)
        unit.session.flush()
    return _told(kept, name="" if kept.gone_at else row.name, last_seen=found.last_seen)


def asked_to_be_erased(session: Session) -> tuple[Erasing, ...]:
    """Everybody who asked, first those whose record goes first."""
    rows = session.exec(select(ErasedRow).order_by(col(ErasedRow.kept_until), col(ErasedRow.code_key)))
    return tuple(_told(row, name="", last_seen=None) for row in rows)


def erased_sheet(session: Session, sheet_id: str) -> datetime | None:
    """When the patient of a sheet that was printed here was erased; None: no such sheet is known."""
    rows = session.exec(select(ErasedRow).where(col(ErasedRow.gone_at).is_not(None)))
    return next((row.gone_at for row in rows if sheet_id in row.sheets), None)


def contact_erased(session: Session, patient_id: int) -> Erasing | None:
    """Of a patient whose record is still kept: that somebody asked, and until when it is kept."""
    mine = select(ErasedRow).join(PatientRow, col(PatientRow.code_key) == ErasedRow.code_key)
    row = session.exec(mine.where(PatientRow.id == patient_id)).first()
    return _told(row, name="", last_seen=None) if row else None


def _gone() -> FollowupError:
    return FollowupError(
        "erase.gone",
        say("what may be erased now is erased already"),
        fix=say("nothing to do"),
    )


def _has_a_plan(session: Session, patient_id: int) -> bool:
    """Whether a plan is in force, waits for its signature or is made by hand: somebody must be reached."""
    open_plans = select(CarePlanRow.id).where(
        CarePlanRow.patient_id == patient_id, col(CarePlanRow.status).in_(("draft", "active", "on-hold"))
    )
    return session.exec(open_plans).first() is not None


def _has_contact(session: Session, row: PatientRow) -> bool:
    """Whether anything that goes at once has been written down again since."""
    assert row.id is not None
    helper = newest_record(session, row.id).record.patient.drops_by
    calls = select(ContactAttemptRow.id).where(
        ContactAttemptRow.patient_id == row.id,
        or_(col(ContactAttemptRow.note) != "", col(ContactAttemptRow.number) != ""),
    )
    asked = (
        select(MessageChoiceRow.patient_id).where(MessageChoiceRow.patient_id == row.id),
        select(MessageRow.id).where(MessageRow.patient_id == row.id),
        calls,
    )
    told = any(session.exec(one).first() is not None for one in asked)
    return bool(row.telephones or (helper and helper.name)) or told


def _erased(session: Session, code: str) -> ErasedRow | None:
    return session.exec(select(ErasedRow).where(ErasedRow.code_key == fold_code(code))).first()


def _told(row: ErasedRow, *, name: str, last_seen: date | None) -> Erasing:
    return Erasing(
        code=row.code,
        name=name,
        last_seen=last_seen,
        kept_until=row.kept_until,
        record_goes=row.gone_at is not None,
        asked_at=row.asked_at,
        asked_by=row.asked_by,
        gone_at=row.gone_at,
    )


def _days_seen(session: Session, row: PatientRow, now: datetime) -> list[date]:
    """Every day of the past on which something was done with the patient, or at least written down."""
    assert row.id is not None
    zone = clinic_zone(session)
    record = newest_record(session, row.id)
    days = [record.entered_at.astimezone(zone).date(), row.entered_at.astimezone(zone).date()]
    days += [operation.date for operation in record.record.operations]
    days += [review.date for review in record.record.reviews]
    for trip in session.exec(select(TripRow).where(TripRow.patient_id == row.id)):
        days += [trip.seen_on] if trip.seen_on else []
        moments = (trip.arrived_at, trip.fulfilled_at)
        days += [moment.astimezone(zone).date() for moment in moments if moment]
    today = now.astimezone(zone).date()
    return [day for day in days if day <= today] or [today]


def _contact_goes(unit: Unit, row: PatientRow) -> None:
    """Telephones, who helps, consent and messages, numbers and notes of calls; nothing is sent any more."""
    session = unit.session
    row.telephones = []
    session.add(row)
    put_keys(session, [row])
    for version in session.exec(select(RecordVersionRow).where(RecordVersionRow.patient_id == row.id)):
        version.body = _without_contact(version.body)
        session.add(version)
    session.flush()
    for table in (MessageRow, MessageChoiceRow):
        session.execute(delete(table).where(col(table.patient_id) == row.id))
    calls = update(ContactAttemptRow).where(col(ContactAttemptRow.patient_id) == row.id)
    session.execute(calls.values(note="", number=""))
    plans = select(CarePlanRow).where(CarePlanRow.patient_id == row.id)
    signed = session.exec(plans.where(col(CarePlanRow.signed_at).is_not(None)))
    left = [f"{plan.id} {plan_hash(session, plan)}" for plan in signed]
    unit.log(ERASED, f"patient:{row.code}", what="contact", plans=left, sheets=[])


def _without_contact(body: str) -> str:
    """The record without telephones and without the helper's name; else as it lay there."""
    data = json.loads(body)
    data["patient"].pop("telephones", None)
    if isinstance(helper := data["patient"].get("drops_by"), dict):
        helper.pop("name", None)
    return json.dumps(data, separators=(",", ":"), ensure_ascii=False)


def _all_goes(unit: Unit, row: PatientRow, kept: ErasedRow) -> None:
    """Every row of the patient; what stays is the code, when it went, and which sheets were printed."""
    session = unit.session
    assert row.id is not None
    sheets = list(session.exec(select(SheetRow.id).where(SheetRow.patient_id == row.id)))
    plans = session.exec(select(CarePlanRow.id).where(CarePlanRow.patient_id == row.id))
    gone = [str(number) for number in plans]
    trips = select(TripRow.id).where(TripRow.patient_id == row.id)
    session.execute(delete(TripTransitionRow).where(col(TripTransitionRow.trip_id).in_(trips)))
    for of_sheet in _OF_A_SHEET:
        session.execute(delete(of_sheet).where(col(of_sheet.sheet_id).in_(sheets)))
    # A plan names the one that replaced it.
    session.execute(update(CarePlanRow).where(col(CarePlanRow.patient_id) == row.id).values(replaced_by=None))
    session.execute(update(SheetRow).where(col(SheetRow.patient_id) == row.id).values(replaced_by_plan=None))
    of_plans = select(CarePlanRow.id).where(CarePlanRow.patient_id == row.id)
    session.execute(delete(HandOutDayRow).where(col(HandOutDayRow.plan_id).in_(of_plans)))
    drop_keys(session, row.id)
    for table in _OF_A_PATIENT:
        session.execute(delete(table).where(col(table.patient_id) == row.id))
    listed = delete(OperationListRow).where(col(OperationListRow.code_key) == row.code_key)
    session.execute(listed.where(col(OperationListRow.site_id) == row.site_id))
    kept.gone_at, kept.sheets = unit.now, sheets
    session.add(kept)
    session.flush()
    session.delete(row)
    session.flush()
    unit.log(ERASED, f"patient:{kept.code}", what="all", plans=gone, sheets=sheets)
