"""By what a patient is found: the code, each word of the name, the ends of the telephone numbers."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import ColumnElement
from sqlmodel import Session, and_, col, delete, insert, select
from sqlmodel.sql.expression import SelectOfScalar

from followup.records.people.folding import fold_phone
from followup.records.store.spelling import after, parts_of
from followup.records.tables import NamePartRow, PatientKeyRow, PatientRow

# A name has no word that begins with one of them: a blank stands in both, and none in a word.
_CODE, _PHONE = "code ", "phone "


def put_keys(session: Session, row: PatientRow) -> None:
    """From now on the patient is found by what ``row`` holds, and by nothing else."""
    assert row.id is not None
    words = set(row.search_name.split())
    numbers = [fold_phone(phone["number"]) for phone in row.telephones]
    keys = {*words, _CODE + row.code_key, *(_PHONE + number[::-1] for number in numbers if number)}
    before = set(session.exec(_keys_of(row.id)))
    _drop(session, row.id, before - keys)
    if new := sorted(keys - before):
        session.execute(insert(PatientKeyRow), [{"key": key, "patient_id": row.id} for key in new])
    known = set(session.exec(select(NamePartRow.part).where(_whole(words))))
    if parts := [{"part": part, "word": word} for word in sorted(words - known) for part in parts_of(word)]:
        session.execute(insert(NamePartRow), parts)


def drop_keys(session: Session, patient_id: int) -> None:
    """Nobody finds the patient any more."""
    _drop(session, patient_id, set(session.exec(_keys_of(patient_id))))


def code_begins(code: str) -> ColumnElement[bool]:
    """That a key is that of a code which begins with the folded ``code``."""
    return begins(PatientKeyRow.key, _CODE + code)


def number_ends(digits: str) -> ColumnElement[bool]:
    """That a key is that of a telephone number which ends with ``digits``."""
    return begins(PatientKeyRow.key, _PHONE + digits[::-1])


def begins(column: str, beginning: str) -> ColumnElement[bool]:
    """That a column of keys or parts begins so; answered by its index on both databases."""
    return and_(col(column) >= beginning, col(column) < after(beginning))


def _keys_of(patient_id: int) -> SelectOfScalar[str]:
    return select(PatientKeyRow.key).where(PatientKeyRow.patient_id == patient_id)


def _whole(words: Iterable[str]) -> ColumnElement[bool]:
    """The part of each of these words that is all of it, where the word is known."""
    return and_(col(NamePartRow.part).in_(words), col(NamePartRow.part) == NamePartRow.word)


def _drop(session: Session, patient_id: int, keys: set[str]) -> None:
    """A word that nobody is called by any more is forgotten: it may be all that is left of somebody."""
    if not keys:
        return
    own = delete(PatientKeyRow).where(col(PatientKeyRow.patient_id) == patient_id)
    session.execute(own.where(col(PatientKeyRow.key).in_(keys)))
    still = set(session.exec(select(PatientKeyRow.key).where(col(PatientKeyRow.key).in_(keys)).distinct()))
    for word in sorted(keys - still):
        gone = col(NamePartRow.part).in_(parts_of(word))
        session.execute(delete(NamePartRow).where(gone, col(NamePartRow.word) == word))
