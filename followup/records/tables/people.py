"""Patients, their operative records by version, and the day's operation list."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from sqlalchemy import JSON, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from followup.clinical.record.base import BOTH_EYES
from followup.records.tables.base import BY_CODE_POINT, check, one_of


class PatientRow(SQLModel, table=True):
    """Who the patient is, as in the newest record version, folded for search.

    ``code_key`` is the code in lower case; ``search_name`` the name without case, accents or vowel points.
    """

    __tablename__ = "patient"
    __table_args__ = (
        UniqueConstraint("code_key"),
        one_of("sex", ("female", "male", "other")),
        check("birth", "birth_date IS NOT NULL OR birth_year IS NOT NULL"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    code: str
    code_key: str
    name: str
    search_name: str = Field(index=True)
    birth_date: date | None = None
    birth_year: int | None = None
    sex: str | None = None
    language: str | None = None
    telephones: list[dict[str, str]] = Field(default_factory=list, sa_type=JSON)
    record_number: int = 1
    entered_at: datetime
    site_id: int = Field(default=1, foreign_key="site.id", index=True)


class PatientKeyRow(SQLModel, table=True):
    """By what the patient is found: a word of the name, or the code or a number backwards, marked as such."""

    __tablename__ = "patient_key"

    key: str = Field(primary_key=True, sa_type=BY_CODE_POINT)
    patient_id: int = Field(primary_key=True, foreign_key="patient.id", index=True)


class NamePartRow(SQLModel, table=True):
    """A part by which a word of any patient's name is found (``records/store/spelling.py``)."""

    __tablename__ = "name_part"

    part: str = Field(primary_key=True, sa_type=BY_CODE_POINT)
    word: str = Field(primary_key=True, sa_type=BY_CODE_POINT)


class RecordVersionRow(SQLModel, table=True):
    """One version of the operative record; nothing is ever overwritten."""

    __tablename__ = "record_version"
    __table_args__ = (UniqueConstraint("patient_id", "number"), check("number", "number >= 1"))

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id")
    number: int
    body: str = Field(sa_type=Text)
    entered_by: str
    entered_at: datetime = Field(index=True)


class TellingRow(SQLModel, table=True):
    """An operation as it was told, kept with the version of the record that was stored with it.

    ``language``: the one it was read in; ``asked``: the fields that were doubtful and that a person answered.
    """

    __tablename__ = "telling"
    __table_args__ = (one_of("eye", BOTH_EYES),)

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id", index=True)
    record_number: int
    eye: str
    day: date
    language: str
    text: str = Field(sa_type=Text)
    asked: list[str] = Field(default_factory=list, sa_type=JSON)
    told_by: str
    told_at: datetime


class OperationRow(SQLModel, table=True):
    """Index of the operations in the newest record version of each patient."""

    __tablename__ = "operation"
    __table_args__ = (UniqueConstraint("patient_id", "eye", "day"), one_of("eye", BOTH_EYES))

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id")
    eye: str
    day: date = Field(index=True)
    surgeon: str | None = None


class OperationListRow(SQLModel, table=True):
    """What the theatre's list says for a day; the entered side is checked against it."""

    __tablename__ = "operation_list"
    __table_args__ = (UniqueConstraint("day", "code_key", "eye"), one_of("eye", BOTH_EYES))

    id: Annotated[int | None, Field(primary_key=True)] = None
    site_id: int = Field(default=1, foreign_key="site.id")
    day: date
    patient_code: str
    code_key: str
    name: str
    eye: str
    position: int = 0


class OpeningRow(SQLModel, table=True):
    """On ``day``, the clinic's, ``login`` opened something of the patient: its entry is in the journal.

    Kept for a few days, only so that nobody's second look writes a second entry.
    """

    __tablename__ = "opening"

    login: str = Field(primary_key=True)
    patient_id: int = Field(primary_key=True, foreign_key="patient.id")
    day: date = Field(primary_key=True, index=True)


class ErasedRow(SQLModel, table=True):
    """Somebody asked that the patient be erased: what was not the record went at ``asked_at``.

    ``kept_until``: the last day on which the record must be kept. ``gone_at``: when it went too; from then
    on the patient has no row, and ``sheets`` are the recall ids of the sheets that were printed.
    """

    __tablename__ = "erased"

    code_key: str = Field(primary_key=True)
    code: str
    site_id: int = Field(default=1, foreign_key="site.id")
    asked_at: datetime
    asked_by: str
    kept_until: date
    gone_at: datetime | None = None
    sheets: list[str] = Field(default_factory=list, sa_type=JSON)
