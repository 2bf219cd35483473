"""By what a patient is found: the code, each word of the name, the ends of the telephone numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import ColumnElement
from sqlmodel import Session, and_, col, delete, insert, select

from followup.records.people.folding import fold_phone
from followup.records.store.batches import batches
from followup.records.store.spelling import after, parts_of
from followup.records.tables import NamePartRow, PatientKeyRow, PatientRow

# A name has no word that begins with one of them: a blank stands in both, and none in a word.
_CODE, _PHONE = "code ", "phone "


def put_keys(session: Session, rows: Sequence[PatientRow]) -> None:
    """From now on each of these patients is found by what their row holds, and by nothing else."""
    wanted = {row.id: _keys(row) for row in rows if row.id is not None}
    before = _keys_of(session, wanted)
    for patient_id in before.keys() & wanted.keys():
        _drop(session, patient_id, before[patient_id] - wanted[patient_id])
    new = [
        {"key": key, "patient_id": patient_id}
        for patient_id, keys in wanted.items()
        for key in sorted(keys - before.get(patient_id, set()))
    ]
    if new:
        session.execute(insert(PatientKeyRow), new)
    words = {word for row in rows for word in row.search_name.split()}
    known = {
        word for some in batches(words) for word in session.exec(select(NamePartRow.part).where(_whole(some)))
    }
    if parts := [{"part": part, "word": word} for word in sorted(words - known) for part in parts_of(word)]:
        session.execute(insert(NamePartRow), parts)


def _keys(row: PatientRow) -> set[str]:
    numbers = [fold_phone(phone["number"]) for phone in row.telephones]
    return {
        *row.search_name.split(),
        _CODE + row.code_key,
        *(_PHONE + number[::-1] for number in numbers if number),
    }


def drop_keys(session: Session, patient_id: int) -> None:
    """Nobody finds the patient any more."""
    _drop(session, patient_id, _keys_of(session, [patient_id]).get(patient_id, set()))


def code_begins(code: str) -> ColumnElement[bool]:
    """That a key is that of a code which begins with the folded ``code``."""
    return begins(PatientKeyRow.key, _CODE + code)


def number_ends(digits: str) -> ColumnElement[bool]:
    """That a key is that of a telephone number which ends with ``digits``."""
    return begins(PatientKeyRow.key, _PHONE + digits[::-1])


def begins(column: str, beginning: str) -> ColumnElement[bool]:
    """That a column of keys or parts begins so; answered by its index on both databases."""
    return and_(col(column) >= beginning, col(column) < after(beginning))


def _keys_of(session: Session, patients: Iterable[int]) -> dict[int, set[str]]:
    """By patient the keys by which they are found now."""
    found: dict[int, set[str]] = {}
    for some in batches(patients):
        stored = select(PatientKeyRow.patient_id, PatientKeyRow.key)
        for patient_id, key in session.exec(stored.where(col(PatientKeyRow.patient_id).in_(some))):
            found.setdefault(patient_id, set()).add(key)
    return found


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
