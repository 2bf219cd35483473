"""Eyes in danger, and the checks before a patient leaves on the day of surgery."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from sqlalchemy import JSON, Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from followup.clinical.record.base import BOTH_EYES
from followup.records.tables.base import check, one_of

ALERTS = ("walk-in", "senior review")


class AlertRow(SQLModel, table=True):
    """Something about a patient that stands on every page until it is closed.

    ``signs``: what was said yes to at the window, or the texts of the findings that ask for a senior.
    ``words``: what the patient said, as typed. ``day``: of the visit, or of the look.
    """

    __tablename__ = "alert"
    __table_args__ = (
        one_of("kind", ALERTS),
        one_of("eye", BOTH_EYES),
        check("closed", "(closed_at IS NULL) = (closed_by IS NULL)"),
        Index("ix_alert_closed_at", "closed_at"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id", index=True)
    kind: str
    eye: str | None = None
    day: date
    trip_id: Annotated[int | None, Field(foreign_key="trip.id")] = None
    signs: list[str] = Field(sa_type=JSON)
    words: str = Field(default="", sa_type=Text)
    opened_at: datetime
    opened_by: str
    closed_at: datetime | None = None
    closed_by: str | None = None
    closed_word: str = Field(default="", sa_type=Text)


class LeavingCheckRow(SQLModel, table=True):
    """A check of the day of surgery: ``mmhg`` is the pressure, ``why`` the reason to go without it."""

    __tablename__ = "leaving_check"
    __table_args__ = (
        UniqueConstraint("patient_id", "key", "day"),
        check("said", "mmhg IS NOT NULL OR why <> ''"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id")
    key: str
    day: date = Field(index=True)
    mmhg: float | None = None
    why: str = Field(default="", sa_type=Text)
    by: str
    at: datetime
