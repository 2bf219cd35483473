"""Reaching patients: attempts and what came of them, who is no longer followed, messages, sites."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from sqlalchemy import Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from followup.records.channels import CHANNELS
from followup.records.tables.base import check, one_of

WAYS = ("call", "second contact", "community worker", "surgeon")
OUTCOMES = (
    "will come",
    "no answer",
    "wrong number",
    "refused",
    "moved away",
    "died",
    "second contact told",
    "community worker sent",
    "surgeon told",
)
STANDINGS = ("followed", "refused", "moved away", "died", "lost to follow-up")
READERS = ("patient", "carer")
MESSAGE_KINDS = ("reminder", "step change", "missed")
MESSAGE_STATES = ("waiting", "sent", "failed", "left out")


class SiteRow(SQLModel, table=True):
    """One place of the clinic. What is empty here is as for the whole clinic."""

    __tablename__ = "site"
    __table_args__ = (UniqueConstraint("code"), check("code", "length(code) BETWEEN 1 AND 8"))

    id: Annotated[int | None, Field(primary_key=True)] = None
    code: str
    name: str
    phone_day: str = ""
    phone_night: str = ""
    address: str = Field(default="", sa_column_kwargs={"server_default": ""})
    calendar: str = Field(default="", sa_type=Text)


class ContactAttemptRow(SQLModel, table=True):
    """Somebody tried to reach a patient who is overdue. ``rung`` counts the ladder from 0.

    ``taken_back_at``: it was a slip; the row stays, so that its form counts once. ``number``: the telephone
    number that was tried, empty where nobody said or none was.
    """

    __tablename__ = "contact_attempt"
    __table_args__ = (
        UniqueConstraint("nonce"),
        one_of("way", WAYS),
        one_of("outcome", OUTCOMES),
        check("rung", "rung >= 0"),
        Index("ix_contact_attempt_patient_id_at", "patient_id", "at"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id")
    at: datetime
    day: date = Field(index=True)
    by: str
    rung: int
    way: str
    outcome: str
    promised: date | None = None
    note: str = Field(default="", sa_type=Text)
    nonce: str
    taken_back_at: datetime | None = None
    number: str = Field(default="", sa_column_kwargs={"server_default": ""})


class StandingRow(SQLModel, table=True):
    """Whether a patient is still followed; no row means yes. The journal tells earlier states."""

    __tablename__ = "standing"
    __table_args__ = (one_of("standing", STANDINGS),)

    patient_id: int = Field(primary_key=True, foreign_key="patient.id")
    standing: str = Field(index=True)
    since: datetime
    by: str
    reason: str = Field(default="", sa_type=Text)


class MessageChoiceRow(SQLModel, table=True):
    """What the patient agreed to: messages or not, to whom, by which way. No row: not asked, none sent."""

    __tablename__ = "message_choice"
    __table_args__ = (one_of("reader", READERS), one_of("channel", CHANNELS))

    patient_id: int = Field(primary_key=True, foreign_key="patient.id")
    consent: bool
    reader: str = "patient"
    channel: str = "paper"
    address: str = ""
    changed_by: str
    changed_at: datetime = Field(index=True)
    stopped_at: datetime | None = None


class MessageRow(SQLModel, table=True):
    """One message. ``key`` is what the gateway can tell a repeated one by."""

    __tablename__ = "message"
    __table_args__ = (
        UniqueConstraint("key"),
        one_of("kind", MESSAGE_KINDS),
        one_of("state", MESSAGE_STATES),
        one_of("channel", CHANNELS),
        one_of("reader", READERS),
        check("tries", "tries >= 0"),
        Index("ix_message_state_next_try", "state", "next_try"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    key: str
    patient_id: int = Field(foreign_key="patient.id")
    kind: str
    day: date = Field(index=True)
    last_useful: date
    language: str
    reader: str
    channel: str
    address: str
    text: str = Field(sa_type=Text)
    segments: int
    state: str
    created_at: datetime
    next_try: datetime
    tries: int = 0
    claimed_by: str = ""
    claimed_until: datetime | None = None
    sent_at: datetime | None = None
    last_error: str = Field(default="", sa_type=Text)
