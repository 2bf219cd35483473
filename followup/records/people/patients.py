"""Patients and the versions of their operative records."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import select as sql_select
from sqlalchemy import union
from sqlmodel import Session, and_, col, delete, func, select
from sqlmodel.sql.expression import SelectOfScalar

from followup.clinical.record import Eye, Phone, Record
from followup.errors import FollowupError
from followup.records.duties import CLINICAL, PROGRAM, SURGEON
from followup.records.people.addresses import refuse_phones
from followup.records.people.folding import fold_code, fold_name, fold_phone
from followup.records.people.keys import begins, code_begins, number_ends, put_keys
from followup.records.people.oplist import EyeCheck, check_against_lists, other_eye, refuse_other_eye
from followup.records.store.batches import batches
from followup.records.store.binding import ALL_SITES, site_of_session
from followup.records.store.store import Unit
from followup.records.tables import (
    ErasedRow,
    NamePartRow,
    OperationRow,
    PatientKeyRow,
    PatientRow,
    RecordVersionRow,
)
from followup.records.views import PatientView, RecordVersion
from followup.said import say
from followup.typed import typed

_MIN_PHONE_DIGITS = 4
_READ = (
    *("id", "code", "name", "birth_date", "birth_year", "sex", "language"),
    *("record_number", "telephones"),
)
# What only a surgeon decides of an operation, by the name that the record's form gives it.
_DECISIONS = {
    "choices": "The surgeon's choices",
    "products": "Products that the surgeon picked",
    "no_steroid_drop": "No steroid drop in this eye",
    "answers": "Cautions that the surgeon answered",
    "released": "Held medicines released",
}
_DECIDED_VISITS = "Visits decided by the surgeon"
DECIDED_OF_OPERATION = frozenset(_DECISIONS)


def enter_record(unit: Unit, *, record: Record) -> RecordVersion:
    """A new patient with the first version of the record.

    Errors: ``role.missing``, also for decisions of the surgeon in it that a surgeon does not store;
    ``record.exists`` when the code is known or was that of somebody who was erased, ``record.eye`` when the
    operation list of the day names the other eye.
    """
    return enter_records(unit, [record])[0]


def enter_records(unit: Unit, records: Sequence[Record]) -> list[RecordVersion]:
    """Several new patients, each as :func:`enter_record` says; a few statements however many they are."""
    unit.need_role(*CLINICAL, PROGRAM)
    if not unit.actor.roles & {*SURGEON, PROGRAM}:
        for said in filter(None, map(surgeons_words, records)):
            raise _surgeon_decides(said)
    for error in refusals(unit.session, records):
        if error is not None:
            raise error
    site = site_of_session(unit.session)
    rows = [
        PatientRow(
            code=record.patient.code,
            code_key=fold_code(record.patient.code),
            name="",
            search_name="",
            entered_at=unit.now,
            site_id=site,
        )
        for record in records
    ]
    return _store(unit, list(zip(rows, records, strict=True)), number=1)


def refusals(session: Session, records: Sequence[Record]) -> list[FollowupError | None]:
    """Of each what keeps it from being the record of a new patient, as :func:`enter_record` says."""
    keys = [fold_code(record.patient.code) for record in records]
    used, gone = _used_codes(session, keys), _erased_codes(session, keys)
    checks = check_against_lists(session, records)
    seen: set[str] = set()
    found = []
    for key, record, check in zip(keys, records, checks, strict=True):
        twin = used.get(key) or (record.patient.code if key in seen else None)
        found.append(_refusal(record, twin, erased=key in gone, check=check))
        if found[-1] is None:
            seen.add(key)
    return found


def _refusal(
    record: Record, used: str | None, *, erased: bool, check: Iterable[EyeCheck]
) -> FollowupError | None:
    if used is not None:
        return in_use(used)
    if erased:
        # The journal still speaks of that patient by this code.
        return FollowupError(
            "record.exists",
            say("the code {code} was that of a patient who was erased", code=typed(record.patient.code)),
            where=say("patient.code"),
            fix=say("give another code"),
        )
    try:
        refuse_phones(record.patient.telephones)
    except FollowupError as error:
        return error
    return other_eye(check)


def in_use(code: str) -> FollowupError:
    """The error for a new patient whose code somebody has."""
    return FollowupError(
        "record.exists",
        say("the code {code} is already in use", code=typed(code)),
        where=say("patient.code"),
        fix=say("open that patient and add the operation there, or correct the code"),
    )


def _used_codes(session: Session, keys: Iterable[str]) -> dict[str, str]:
    """By folded code the code of whoever has it, at whatever site."""
    found: dict[str, str] = {}
    for some in batches(keys):
        known = select(PatientRow.code_key, PatientRow.code).where(col(PatientRow.code_key).in_(some))
        found |= dict(session.exec(known, execution_options=ALL_SITES).all())
    return found


def _erased_codes(session: Session, keys: Iterable[str]) -> set[str]:
    found: set[str] = set()
    for some in batches(keys):
        gone = select(ErasedRow.code_key).where(col(ErasedRow.code_key).in_(some))
        gone = gone.where(col(ErasedRow.gone_at).is_not(None))
        found |= {*session.exec(gone, execution_options=ALL_SITES)}
    return found


def correct_record(unit: Unit, *, patient_id: int, record: Record, seen: int) -> RecordVersion:
    """The next version of the record; ``seen`` is the version that the change was made from.

    Errors: ``role.missing`` and ``record.eye`` as in :func:`enter_record`, ``record.changed`` when a newer
    version exists, ``record.code`` when the code differs. An unchanged record makes no new version.
    """
    unit.need_role(*CLINICAL, PROGRAM)
    row = lock_patient(unit, patient_id)
    newest = newest_record(unit.session, patient_id)
    if newest.number != seen:
        raise FollowupError(
            "record.changed",
            say(
                "{entered_by} changed this record meanwhile (version {number})",
                entered_by=typed(newest.entered_by),
                number=newest.number,
            ),
            fix=say("look at the newest version and repeat what is still needed"),
        )
    if fold_code(record.patient.code) != row.code_key:
        raise FollowupError(
            "record.code",
            say("this is the record of {code}", code=typed(row.code)),
            where=say("patient.code"),
            fix=say("keep the code"),
        )
    if record == newest.record:
        return newest
    if not unit.actor.roles & {*SURGEON}:
        refuse_decisions(record, newest.record)
    refuse_phones(record.patient.telephones, newest.record.patient.telephones)
    refuse_other_eye(unit.session, record)
    return _store(unit, [(row, record)], number=seen + 1)[0]


def newest_record(session: Session, patient_id: int) -> RecordVersion:
    """The newest version of the patient's record."""
    row = session.exec(_versions(patient_id).limit(1)).first()
    if row is None:
        raise unknown_patient()
    return _version(row)


def record_version(session: Session, patient_id: int, number: int) -> RecordVersion:
    """One version of the patient's record. Error ``patient.unknown`` where there is none."""
    row = session.exec(_versions(patient_id).where(RecordVersionRow.number == number)).first()
    if row is None:
        raise unknown_patient()
    return _version(row)


def newest_records(session: Session, patients: Iterable[int]) -> dict[int, RecordVersion]:
    """The newest version of several patients' records at once."""
    rows = session.exec(
        select(RecordVersionRow)
        .join(
            PatientRow,
            and_(
                col(PatientRow.id) == RecordVersionRow.patient_id,
                col(PatientRow.record_number) == RecordVersionRow.number,
            ),
        )
        .where(col(PatientRow.id).in_(set(patients)))
    )
    return {row.patient_id: _version(row) for row in rows}


def record_versions(session: Session, patient_id: int) -> tuple[RecordVersion, ...]:
    """Every version, newest first."""
    return tuple(_version(row) for row in session.exec(_versions(patient_id)))


def patient(session: Session, patient_id: int) -> PatientView:
    """The patient. Error: ``patient.unknown``."""
    row = session.get(PatientRow, patient_id)
    if row is None:
        raise unknown_patient()
    return _views(session, [row])[0]


def patients_by_id(session: Session, patients: Iterable[int]) -> dict[int, PatientView]:
    """Several patients at once."""
    # Columns alone: of hundreds on a list each row as an object is what costs.
    columns = [col(getattr(PatientRow, name)) for name in _READ]
    rows = session.execute(sql_select(*columns).where(col(PatientRow.id).in_(set(patients))))
    return {view.id: view for view in _views(session, rows)}


def every_patient(session: Session) -> tuple[int, ...]:
    """Everybody who has a record at the session's site, by id."""
    return tuple(session.exec(select(PatientRow.id).order_by(col(PatientRow.id))))  # type: ignore[arg-type]


def bare_patient(session: Session, patient_id: int) -> PatientView:
    """Code and name alone, for where the rest of the entry can't be read."""
    found = session.exec(select(PatientRow.code, PatientRow.name).where(PatientRow.id == patient_id)).first()
    if found is None:
        raise unknown_patient()
    return PatientView(patient_id, found[0], found[1], None, None, None, None, (), (), 0)


def patient_by_code(session: Session, code: str) -> PatientView | None:
    """The patient with this code, whatever its case."""
    row = session.exec(select(PatientRow).where(PatientRow.code_key == fold_code(code))).first()
    return _views(session, [row])[0] if row else None


def known(session: Session, code: str) -> PatientView:
    """The patient of this code. Error ``patient.unknown``."""
    who = patient_by_code(session, code)
    if who is None:
        raise unknown_patient()
    return who


def search_patients(session: Session, text: str, *, limit: int = 20) -> tuple[PatientView, ...]:
    """Patients by code, by parts of the name in any order, or by the last digits of a telephone, at least
    four."""
    words = fold_name(text).split()
    if not words:
        return ()
    ways = [select(PatientKeyRow.patient_id).where(code_begins(fold_code(text))), _called(words)]
    digits = fold_phone(text)
    if len(digits) >= _MIN_PHONE_DIGITS and not any(c.isalpha() for c in text):
        ways.append(select(PatientKeyRow.patient_id).where(number_ends(digits)))
    rows = session.exec(
        select(PatientRow)
        .where(col(PatientRow.id).in_(union(*ways)))
        .order_by(PatientRow.search_name, PatientRow.code_key)
        .limit(limit)
    )
    return _views(session, rows)


def _called(words: Sequence[str]) -> SelectOfScalar[int]:
    """Whose name holds each of these words or parts of words."""
    first, *others = (
        select(PatientKeyRow.patient_id)
        .join(NamePartRow, col(NamePartRow.word) == PatientKeyRow.key)
        .where(begins(NamePartRow.part, word))
        for word in words
    )
    for other in others:
        first = first.where(col(PatientKeyRow.patient_id).in_(other))
    return first


def names_of_several(session: Session, people: Iterable[PatientView]) -> frozenset[int]:
    """The ids of those whose name another patient has too, however it is written."""
    folded = {who.id: fold_name(who.name) for who in people}
    several = set(
        session.exec(
            select(PatientRow.search_name)
            .where(col(PatientRow.search_name).in_(set(folded.values())))
            .group_by(PatientRow.search_name)
            .having(func.count() > 1)
        )
    )
    return frozenset(number for number, name in folded.items() if name in several)


def lock_patient(unit: Unit, patient_id: int) -> PatientRow:
    """The patient's row, held until the unit ends, so that plans of one patient change one by one."""
    held = select(PatientRow).where(PatientRow.id == patient_id).with_for_update()
    # Read anew: what this unit saw before it held the row may have changed since.
    row = unit.session.exec(held.execution_options(populate_existing=True)).first()
    if row is None:
        raise unknown_patient()
    return row


def unknown_patient() -> FollowupError:
    """The error for a patient who is not in the store."""
    return FollowupError("patient.unknown", say("no such patient"), fix=say("search again"))


def surgeons_words(record: Record) -> tuple[tuple[str, str], ...]:
    """What only a surgeon decides: field and content of each, by the eye and not by the record's line."""
    found = [(_DECIDED_VISITS, one.model_dump_json()) for one in record.decisions]
    for operation in record.operations:
        told = operation.model_dump(mode="json", include=set(_DECISIONS), exclude_defaults=True)
        for name, said in told.items():
            parts = said if isinstance(said, list) else [said]
            found += [(_DECISIONS[name], json.dumps([operation.eye, one])) for one in parts if one]
    return tuple(found)


def refuse_decisions(record: Record, before: Record) -> None:
    """Refuse what only a surgeon changes from one version to the next. Error ``role.missing``."""
    if other := set(surgeons_words(record)) ^ set(surgeons_words(before)):
        raise _surgeon_decides(other)


def _surgeon_decides(said: Iterable[tuple[str, str]]) -> FollowupError:
    return FollowupError(
        "role.missing",
        say("only a surgeon decides this"),
        where=min(said)[0],
        fix=say("leave it as it was; the plan asks the surgeon"),
    )


def _store(unit: Unit, told: Sequence[tuple[PatientRow, Record]], *, number: int) -> list[RecordVersion]:
    """The version ``number`` of each patient's record, with all by which the patient is found."""
    session = unit.session
    for row, record in told:
        _take_over(row, record, number)
    session.add_all(row for row, _ in told)
    session.flush()
    put_keys(session, [row for row, _ in told])
    if number > 1:
        ids = [row.id for row, _ in told]
        session.execute(delete(OperationRow).where(col(OperationRow.patient_id).in_(ids)))
    versions = [_version_row(unit, row, record) for row, record in told]
    session.add_all(versions)
    session.add_all(one for row, record in told for one in _operations(row, record))
    session.flush()
    action = "record entered" if number == 1 else "record corrected"
    for row, _ in told:
        unit.log(action, f"patient:{row.code}", version=number)
    return [_version(row, record) for row, (_, record) in zip(versions, told, strict=True)]


def _take_over(row: PatientRow, record: Record, number: int) -> None:
    who = record.patient
    row.name, row.search_name = who.name, fold_name(who.name)
    row.birth_date, row.birth_year = who.birth_date, who.birth_year
    row.sex, row.language = who.sex, who.language
    row.telephones = [phone.model_dump() for phone in who.telephones]
    row.record_number = number


def _version_row(unit: Unit, row: PatientRow, record: Record) -> RecordVersionRow:
    assert row.id is not None
    return RecordVersionRow(
        patient_id=row.id,
        number=row.record_number,
        body=record.model_dump_json(exclude_defaults=True),
        entered_by=unit.actor.login,
        entered_at=unit.now,
    )


def _operations(row: PatientRow, record: Record) -> Iterator[OperationRow]:
    assert row.id is not None
    for one in record.operations:
        yield OperationRow(patient_id=row.id, eye=one.eye, day=one.date, surgeon=one.surgeon)


def _versions(patient_id: int) -> SelectOfScalar[RecordVersionRow]:
    return (
        select(RecordVersionRow)
        # Named so that a session bound to a site finds its own patients' records alone.
        .join(PatientRow, col(PatientRow.id) == RecordVersionRow.patient_id)
        .where(RecordVersionRow.patient_id == patient_id)
        .order_by(col(RecordVersionRow.number).desc())
    )


def _version(row: RecordVersionRow, record: Record | None = None) -> RecordVersion:
    """The version; ``record``: what its row holds, where that is known."""
    return RecordVersion(
        patient_id=row.patient_id,
        number=row.number,
        record=record or Record.model_validate_json(row.body),
        entered_by=row.entered_by,
        entered_at=row.entered_at,
    )


def _views(session: Session, rows: Iterable[Any]) -> tuple[PatientView, ...]:
    """``rows``: of the table, or of its columns ``_READ``."""
    found = list(rows)
    eyes: dict[int, set[str]] = {}
    operations = session.execute(
        sql_select(col(OperationRow.patient_id), col(OperationRow.eye)).where(
            col(OperationRow.patient_id).in_([row.id for row in found])
        )
    )
    for patient_id, eye in operations:
        eyes.setdefault(patient_id, set()).add(eye)
    return tuple(_view(row, eyes.get(row.id, set())) for row in found)


def _view(row: Any, eyes: set[str]) -> PatientView:
    both: tuple[Eye, ...] = ("right", "left")
    return PatientView(
        id=row.id,
        code=row.code,
        name=row.name,
        birth_date=row.birth_date,
        birth_year=row.birth_year,
        sex=row.sex,
        language=row.language,
        telephones=tuple(Phone.model_validate(phone) for phone in row.telephones),
        eyes=tuple(eye for eye in both if eye in eyes),
        record_number=row.record_number,
    )
