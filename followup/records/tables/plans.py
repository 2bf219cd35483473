"""Care plans by version, the trips that come of them, places at the clinic, printed sheets."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, get_args

from sqlalchemy import JSON, ForeignKeyConstraint, Index, Text, UniqueConstraint, false, text
from sqlmodel import Field, SQLModel

from followup.clinical.careplan import Tier
from followup.clinical.statuses import PlanStatus, TripStatus
from followup.records.tables.base import check, one_of

TIERS = get_args(Tier)
_ACTIVE = text("status = 'active'")


class CarePlanRow(SQLModel, table=True):
    """One version of a patient's plan. At most one is active; a replaced one is revoked.

    ``gist``: what lists say of it (``clinical/words/gist.py``), made of ``body`` when that is stored.
    """

    __tablename__ = "care_plan"
    __table_args__ = (
        UniqueConstraint("patient_id", "number"),
        UniqueConstraint("id", "patient_id"),
        ForeignKeyConstraint(
            ["patient_id", "record_number"], ["record_version.patient_id", "record_version.number"]
        ),
        Index(
            "uq_care_plan_active", "patient_id", unique=True, sqlite_where=_ACTIVE, postgresql_where=_ACTIVE
        ),
        one_of("status", get_args(PlanStatus)),
        check("number", "number >= 1"),
        check("signed", "status <> 'active' OR (signed_by IS NOT NULL AND signed_at IS NOT NULL)"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id")
    number: int
    status: str = Field(index=True)
    record_number: int
    as_of: date
    body: str = Field(sa_type=Text)
    edits: str = Field(default="[]", sa_type=Text)
    reason: str = ""
    protocol_hash: str
    engine: str
    drafted_by: str
    drafted_at: datetime
    signed_by: str | None = None
    signed_at: datetime | None = None
    ended_at: datetime | None = None
    ended_reason: str | None = None
    replaced_by: Annotated[int | None, Field(foreign_key="care_plan.id")] = None
    gist: str = Field(default="", sa_type=Text, sa_column_kwargs={"server_default": ""})


class HandOutDayRow(SQLModel, table=True):
    """A day on which a signed plan hands out a bottle."""

    __tablename__ = "hand_out_day"

    plan_id: int = Field(primary_key=True, foreign_key="care_plan.id")
    day: date = Field(primary_key=True, index=True)


class TripRow(SQLModel, table=True):
    """One visit of a signed plan. Status words are those of FHIR R4 Appointment.status.

    ``left_at``: the patient went home. Whoever left while the visit is still "arrived" was not looked at,
    or nobody wrote it down. ``ended_at``: when it was cancelled.
    """

    __tablename__ = "trip"
    __table_args__ = (
        UniqueConstraint("care_plan_id", "number"),
        UniqueConstraint("arrival_nonce"),
        ForeignKeyConstraint(["care_plan_id", "patient_id"], ["care_plan.id", "care_plan.patient_id"]),
        one_of("status", get_args(TripStatus)),
        one_of("tier", TIERS),
        check("window", "window_start <= window_end"),
        check("arrived", "status <> 'arrived' OR arrived_at IS NOT NULL"),
        check("fulfilled", "status <> 'fulfilled' OR fulfilled_at IS NOT NULL"),
        Index("ix_trip_status_window_end", "status", "window_end"),
        Index("ix_trip_status_seen_on", "status", "seen_on"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(foreign_key="patient.id", index=True)
    care_plan_id: int
    number: int
    day: date = Field(index=True)
    hour: str | None = None
    window_start: date
    window_end: date
    status: str
    serves: list[str] = Field(sa_type=JSON)
    services: list[str] = Field(sa_type=JSON)
    overbooked: list[str] = Field(default_factory=list, sa_type=JSON)
    tier: str
    cannot_move: bool = False
    holds_places: bool = False
    arrived_at: datetime | None = None
    arrival_nonce: str | None = None
    seen_on: date | None = None
    fulfilled_at: datetime | None = None
    served: list[str] = Field(default_factory=list, sa_type=JSON)
    ended_reason: str | None = None
    left_at: datetime | None = None
    ended_at: datetime | None = None
    given: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    place: str | None = None
    opens: str | None = None
    closes: str | None = None


class PlaceRow(SQLModel, table=True):
    """How many places of a service are taken on a day at a site; ``capacity`` NULL is no limit."""

    __tablename__ = "place"
    __table_args__ = (check("taken", "taken >= 0"), check("capacity", "capacity IS NULL OR capacity >= 0"))

    site_id: int = Field(default=1, primary_key=True, foreign_key="site.id")
    service: str = Field(primary_key=True)
    day: date = Field(primary_key=True)
    capacity: int | None = None
    taken: int = 0


class SheetRow(SQLModel, table=True):
    """A printed sheet; ``id`` is the recall id (without its check character)."""

    __tablename__ = "sheet"
    __table_args__ = (
        UniqueConstraint("patient_id", "issue"),
        ForeignKeyConstraint(["care_plan_id", "patient_id"], ["care_plan.id", "care_plan.patient_id"]),
        one_of("how", ("paper", "telephone")),
        check("id", "length(id) = 10"),
        check("issue", "issue >= 1"),
        check("handed_over", "(handed_over_at IS NULL) = (handed_to IS NULL)"),
    )

    id: str = Field(primary_key=True)
    patient_id: int = Field(foreign_key="patient.id")
    care_plan_id: int = Field(index=True)
    issue: int
    language: str
    printed_at: datetime
    printed_by: str
    reason: str = ""
    handed_over_at: datetime | None = None
    handed_over_by: str | None = None
    handed_to: str | None = None
    how: str | None = None
    replaced_at: datetime | None = None
    replaced_by_plan: Annotated[int | None, Field(foreign_key="care_plan.id")] = None


class TripTransitionRow(SQLModel, table=True):
    """A trip turned late or overdue: when that became true, and when it was noticed."""

    __tablename__ = "trip_transition"
    __table_args__ = (UniqueConstraint("trip_id", "kind", "became_at"), one_of("kind", ("late", "overdue")))

    id: Annotated[int | None, Field(primary_key=True)] = None
    trip_id: int = Field(foreign_key="trip.id")
    kind: str
    became_at: datetime = Field(index=True)
    noticed_at: datetime
