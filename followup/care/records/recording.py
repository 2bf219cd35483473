"""A record as it is stored: with its plan, in one transaction, once."""

from __future__ import annotations

from followup.care.act import Act, Number
from followup.care.danger import look_stored, newest_looks
from followup.care.hand import Hand
from followup.care.plans.planning import draft_plan
from followup.care.records.telling import OperationTold, looked_at, must_fit
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.language.entered import must_print
from followup.records.people.patients import correct_record, enter_record, newest_record, patient_by_code
from followup.records.people.tellings import tellings_of
from followup.records.plans.plans import plans_of
from followup.records.store.store import Session
from followup.records.views import KeptTelling, PatientView, RecordVersion
from followup.said import say


class NewRecord(Act):
    """``telling``: the operation as it was told, where it was."""

    record: Record
    telling: OperationTold | None = None


class Correction(Act):
    """``seen`` is the version of the record that the change was made from."""

    seen: Number
    record: Record
    telling: OperationTold | None = None


def enter(hand: Hand, act: NewRecord) -> int:
    """Store the record of a new patient with its plan; the plan's id. The same record again changes nothing.

    Errors: those of ``enter_record`` and ``draft_plan``; ``language.glyph`` for what no sheet could print;
    those of ``looked_at`` for what was told.
    """
    return _store(hand, act, None, 0)


def correct(hand: Hand, code: str, act: Correction) -> int:
    """Store the next version of a record with its plan, likewise.

    Errors: ``patient.unknown`` and those of ``enter``, with ``correct_record`` in place of ``enter_record``;
    those of ``must_fit`` where what was told before is of another eye.
    """
    return _store(hand, act, known_patient(hand, code), act.seen)


def _store(hand: Hand, act: NewRecord | Correction, known: PatientView | None, seen: int) -> int:
    record = act.record
    must_print(record)
    told = looked_at(record, act.telling) if act.telling else None
    with hand.store.write(hand.actor, hand.now) as unit:
        again = known or patient_by_code(unit.session, record.patient.code)
        if again and (plan := _same_as_stored(unit.session, again, record)):
            if told:
                told.keep(unit, newest_record(unit.session, again.id))
            return plan
        if known is None:
            before, version = None, enter_record(unit, record=record)
        else:
            before = newest_record(unit.session, known.id).record
            must_fit(record, tellings_of(unit.session, known.id), told)
            version = correct_record(unit, patient_id=known.id, record=record, seen=seen)
        if told:
            told.keep(unit, version)
        for look in newest_looks(before, record):
            look_stored(unit, hand, version.patient_id, record, look)
        return draft_plan(unit, hand, version.patient_id).id


def find_patient(hand: Hand, code: str) -> PatientView | None:
    """The patient with this code, if there is one."""
    with hand.store.read() as session:
        return patient_by_code(session, code)


def known_patient(hand: Hand, code: str) -> PatientView:
    """The patient with this code. Error: ``patient.unknown``."""
    found = find_patient(hand, code)
    if found is None:
        raise FollowupError(
            "patient.unknown", say("no patient with this code"), fix=say("look the patient up by name")
        )
    return found


def newest_version(hand: Hand, known: PatientView) -> RecordVersion:
    """The newest version of the patient's record."""
    with hand.store.read() as session:
        return newest_record(session, known.id)


def tellings(hand: Hand, patient_id: int) -> tuple[KeptTelling, ...]:
    """What was told of the patient's operations, newest first."""
    with hand.store.read() as session:
        return tellings_of(session, patient_id)


def _same_as_stored(session: Session, known: PatientView, record: Record) -> int | None:
    """The newest plan, if it was made from exactly this record: a form sent twice."""
    newest = newest_record(session, known.id)
    plans = plans_of(session, known.id)
    same = newest.record == record and plans and plans[0].record_number == newest.number
    return plans[0].id if same else None
