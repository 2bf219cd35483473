"""The journal, the protocol's signatures, and what the daily jobs need to know of each other."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from sqlalchemy import Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from followup.records.tables.base import check


class JournalRow(SQLModel, table=True):
    """One entry of the append-only, hash-chained journal. Triggers refuse UPDATE and DELETE."""

    __tablename__ = "journal"
    __table_args__ = (
        UniqueConstraint("hash"),
        check("number", "number >= 1"),
        check("hash", "length(hash) = 64 AND length(previous) = 64"),
    )

    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: datetime
    actor: str
    action: str
    subject: str = Field(index=True)
    details: str = Field(sa_type=Text)
    previous: str
    hash: str


class ProtocolSignatureRow(SQLModel, table=True):
    """A licensed clinician approved the protocol with exactly this hash."""

    __tablename__ = "protocol_signature"
    __table_args__ = (check("hash", "length(hash) = 64"),)

    hash: str = Field(primary_key=True)
    name: str
    version: str
    signer: str
    registration: str
    signed_by: str
    signed_at: datetime


class HeartbeatRow(SQLModel, table=True):
    """The last sign of life of a recurring job."""

    __tablename__ = "heartbeat"

    name: str = Field(primary_key=True)
    at: datetime
    ok: bool
    rows: int
    message: str = ""


class LeaseRow(SQLModel, table=True):
    """Who may run a job until when; taken by conditional UPDATE."""

    __tablename__ = "lease"

    name: str = Field(primary_key=True)
    owner: str
    expires_at: datetime


class DailyRunRow(SQLModel, table=True):
    """A job of one local day, claimed once by its unique key."""

    __tablename__ = "daily_run"
    __table_args__ = (UniqueConstraint("job", "day"),)

    id: Annotated[int | None, Field(primary_key=True)] = None
    job: str
    day: date = Field(index=True)
    claimed_at: datetime
    finished_at: datetime | None = None
    outcome: str = ""
