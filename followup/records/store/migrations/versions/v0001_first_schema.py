"""The first schema: the clinic, its staff, patients, plans, visits, sheets and the journal."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    _clinic()
    _people()
    _plans()
    _trips()
    _sheets()
    _upkeep()
    _protect_the_journal()


def _clinic() -> None:
    op.create_table(
        "clinic",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("code", Words(), nullable=False),
        sa.Column("phone_day", Words(), nullable=False),
        sa.Column("phone_night", Words(), nullable=False),
        sa.Column("nearest_eye_clinic", Words(), nullable=False),
        sa.Column("zone", Words(), nullable=False),
        sa.Column("sheet_languages", sa.JSON(), nullable=False),
        sa.Column("staff_language", Words(), nullable=False),
        sa.Column("is_sample", sa.Boolean(), nullable=False),
        sa.Column("calendar", sa.Text(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_clinic_single")),
        sa.CheckConstraint(
            "length(code) BETWEEN 1 AND 8 AND code = upper(code)", name=op.f("ck_clinic_code")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic")),
    )
    op.create_table(
        "staff",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("login", Words(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("registration", Words(), nullable=False),
        sa.Column("roles", sa.JSON(), nullable=False),
        sa.Column("password_hash", Words(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("failed_logins", sa.Integer(), nullable=False),
        sa.Column("locked_until", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint("failed_logins >= 0", name=op.f("ck_staff_failed_logins")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staff")),
        sa.UniqueConstraint("login", name=op.f("uq_staff_login")),
    )
    op.create_table(
        "login_session",
        sa.Column("id", Words(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("last_seen", Instant(), nullable=False),
        sa.Column("expires_at", Instant(), nullable=False),
        sa.Column("revoked_at", Instant(), nullable=True),
        sa.Column("reauthenticated_at", Instant(), nullable=True),
        sa.CheckConstraint("length(id) = 64", name=op.f("ck_login_session_id")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_login_session_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_session")),
    )
    op.create_index(op.f("ix_login_session_staff_id"), "login_session", ["staff_id"], unique=False)
    op.create_table(
        "protocol_signature",
        sa.Column("hash", Words(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("version", Words(), nullable=False),
        sa.Column("signer", Words(), nullable=False),
        sa.Column("registration", Words(), nullable=False),
        sa.Column("signed_by", Words(), nullable=False),
        sa.Column("signed_at", Instant(), nullable=False),
        sa.CheckConstraint("length(hash) = 64", name=op.f("ck_protocol_signature_hash")),
        sa.PrimaryKeyConstraint("hash", name=op.f("pk_protocol_signature")),
    )


def _people() -> None:
    op.create_table(
        "patient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", Words(), nullable=False),
        sa.Column("code_key", Words(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("search_name", Words(), nullable=False),
        sa.Column("birth_date", sa.Date(), nullable=True),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        sa.Column("sex", Words(), nullable=True),
        sa.Column("language", Words(), nullable=True),
        sa.Column("telephones", sa.JSON(), nullable=False),
        sa.Column("search_phones", Words(), nullable=False),
        sa.Column("record_number", sa.Integer(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.CheckConstraint("sex IN ('female', 'male', 'other')", name=op.f("ck_patient_sex")),
        sa.CheckConstraint("birth_date IS NOT NULL OR birth_year IS NOT NULL", name=op.f("ck_patient_birth")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_patient")),
        sa.UniqueConstraint("code_key", name=op.f("uq_patient_code_key")),
    )
    op.create_index(op.f("ix_patient_search_name"), "patient", ["search_name"], unique=False)
    op.create_table(
        "record_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("entered_by", Words(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.CheckConstraint("number >= 1", name=op.f("ck_record_version_number")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_record_version_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_version")),
        sa.UniqueConstraint("patient_id", "number", name=op.f("uq_record_version_patient_id_number")),
    )
    op.create_table(
        "operation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("eye", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("surgeon", Words(), nullable=True),
        sa.CheckConstraint("eye IN ('right', 'left')", name=op.f("ck_operation_eye")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_operation_patient_id_patient")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_operation")),
        sa.UniqueConstraint("patient_id", "eye", "day", name=op.f("uq_operation_patient_id_eye_day")),
    )
    op.create_index(op.f("ix_operation_day"), "operation", ["day"], unique=False)
    op.create_table(
        "operation_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("patient_code", Words(), nullable=False),
        sa.Column("code_key", Words(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("eye", Words(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.CheckConstraint("eye IN ('right', 'left')", name=op.f("ck_operation_list_eye")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_operation_list")),
        sa.UniqueConstraint("day", "code_key", "eye", name=op.f("uq_operation_list_day_code_key_eye")),
    )


def _plans() -> None:
    op.create_table(
        "care_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("status", Words(), nullable=False),
        sa.Column("record_number", sa.Integer(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("edits", sa.Text(), nullable=False),
        sa.Column("reason", Words(), nullable=False),
        sa.Column("protocol_hash", Words(), nullable=False),
        sa.Column("engine", Words(), nullable=False),
        sa.Column("drafted_by", Words(), nullable=False),
        sa.Column("drafted_at", Instant(), nullable=False),
        sa.Column("signed_by", Words(), nullable=True),
        sa.Column("signed_at", Instant(), nullable=True),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("ended_reason", Words(), nullable=True),
        sa.Column("replaced_by", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "status <> 'active' OR (signed_by IS NOT NULL AND signed_at IS NOT NULL)",
            name=op.f("ck_care_plan_signed"),
        ),
        sa.CheckConstraint(
            "status IN ('draft', 'active', 'on-hold', 'revoked', 'completed')",
            name=op.f("ck_care_plan_status"),
        ),
        sa.CheckConstraint("number >= 1", name=op.f("ck_care_plan_number")),
        sa.ForeignKeyConstraint(
            ["patient_id", "record_number"],
            ["record_version.patient_id", "record_version.number"],
            name=op.f("fk_care_plan_patient_id_record_number_record_version"),
        ),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_care_plan_patient_id_patient")),
        sa.ForeignKeyConstraint(
            ["replaced_by"], ["care_plan.id"], name=op.f("fk_care_plan_replaced_by_care_plan")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_care_plan")),
        sa.UniqueConstraint("id", "patient_id", name=op.f("uq_care_plan_id_patient_id")),
        sa.UniqueConstraint("patient_id", "number", name=op.f("uq_care_plan_patient_id_number")),
    )
    op.create_index(op.f("ix_care_plan_status"), "care_plan", ["status"], unique=False)
    op.create_index(
        "uq_care_plan_active",
        "care_plan",
        ["patient_id"],
        unique=True,
        sqlite_where=sa.text("status = 'active'"),
        postgresql_where=sa.text("status = 'active'"),
    )


def _trips() -> None:
    op.create_table(
        "trip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("care_plan_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("window_start", sa.Date(), nullable=False),
        sa.Column("window_end", sa.Date(), nullable=False),
        sa.Column("status", Words(), nullable=False),
        sa.Column("serves", sa.JSON(), nullable=False),
        sa.Column("services", sa.JSON(), nullable=False),
        sa.Column("overbooked", sa.JSON(), nullable=False),
        sa.Column("tier", Words(), nullable=False),
        sa.Column("cannot_move", sa.Boolean(), nullable=False),
        sa.Column("holds_places", sa.Boolean(), nullable=False),
        sa.Column("arrived_at", Instant(), nullable=True),
        sa.Column("arrival_nonce", Words(), nullable=True),
        sa.Column("seen_on", sa.Date(), nullable=True),
        sa.Column("fulfilled_at", Instant(), nullable=True),
        sa.Column("served", sa.JSON(), nullable=False),
        sa.Column("ended_reason", Words(), nullable=True),
        sa.CheckConstraint("status <> 'arrived' OR arrived_at IS NOT NULL", name=op.f("ck_trip_arrived")),
        sa.CheckConstraint(
            "status <> 'fulfilled' OR fulfilled_at IS NOT NULL", name=op.f("ck_trip_fulfilled")
        ),
        sa.CheckConstraint(
            "status IN ('proposed', 'booked', 'arrived', 'fulfilled', 'noshow', 'cancelled')",
            name=op.f("ck_trip_status"),
        ),
        sa.CheckConstraint("tier IN ('A', 'B', 'C')", name=op.f("ck_trip_tier")),
        sa.CheckConstraint("window_start <= window_end", name=op.f("ck_trip_window")),
        sa.ForeignKeyConstraint(
            ["care_plan_id", "patient_id"],
            ["care_plan.id", "care_plan.patient_id"],
            name=op.f("fk_trip_care_plan_id_patient_id_care_plan"),
        ),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_trip_patient_id_patient")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip")),
        sa.UniqueConstraint("arrival_nonce", name=op.f("uq_trip_arrival_nonce")),
        sa.UniqueConstraint("care_plan_id", "number", name=op.f("uq_trip_care_plan_id_number")),
    )
    op.create_index(op.f("ix_trip_day"), "trip", ["day"], unique=False)
    op.create_index(op.f("ix_trip_patient_id"), "trip", ["patient_id"], unique=False)
    op.create_index("ix_trip_status_window_end", "trip", ["status", "window_end"], unique=False)
    op.create_table(
        "trip_transition",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trip_id", sa.Integer(), nullable=False),
        sa.Column("kind", Words(), nullable=False),
        sa.Column("became_at", Instant(), nullable=False),
        sa.Column("noticed_at", Instant(), nullable=False),
        sa.CheckConstraint("kind IN ('late', 'overdue')", name=op.f("ck_trip_transition_kind")),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_trip_transition_trip_id_trip")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trip_transition")),
        sa.UniqueConstraint(
            "trip_id", "kind", "became_at", name=op.f("uq_trip_transition_trip_id_kind_became_at")
        ),
    )
    op.create_table(
        "place",
        sa.Column("service", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=True),
        sa.Column("taken", sa.Integer(), nullable=False),
        sa.CheckConstraint("capacity IS NULL OR capacity >= 0", name=op.f("ck_place_capacity")),
        sa.CheckConstraint("taken >= 0", name=op.f("ck_place_taken")),
        sa.PrimaryKeyConstraint("service", "day", name=op.f("pk_place")),
    )


def _sheets() -> None:
    op.create_table(
        "sheet",
        sa.Column("id", Words(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("care_plan_id", sa.Integer(), nullable=False),
        sa.Column("issue", sa.Integer(), nullable=False),
        sa.Column("language", Words(), nullable=False),
        sa.Column("printed_at", Instant(), nullable=False),
        sa.Column("printed_by", Words(), nullable=False),
        sa.Column("reason", Words(), nullable=False),
        sa.Column("handed_over_at", Instant(), nullable=True),
        sa.Column("handed_over_by", Words(), nullable=True),
        sa.Column("handed_to", Words(), nullable=True),
        sa.Column("how", Words(), nullable=True),
        sa.Column("replaced_at", Instant(), nullable=True),
        sa.Column("replaced_by_plan", sa.Integer(), nullable=True),
        sa.CheckConstraint("how IN ('paper', 'telephone')", name=op.f("ck_sheet_how")),
        sa.CheckConstraint(
            "(handed_over_at IS NULL) = (handed_to IS NULL)", name=op.f("ck_sheet_handed_over")
        ),
        sa.CheckConstraint("issue >= 1", name=op.f("ck_sheet_issue")),
        sa.CheckConstraint("length(id) = 10", name=op.f("ck_sheet_id")),
        sa.ForeignKeyConstraint(
            ["care_plan_id", "patient_id"],
            ["care_plan.id", "care_plan.patient_id"],
            name=op.f("fk_sheet_care_plan_id_patient_id_care_plan"),
        ),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_sheet_patient_id_patient")),
        sa.ForeignKeyConstraint(
            ["replaced_by_plan"], ["care_plan.id"], name=op.f("fk_sheet_replaced_by_plan_care_plan")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet")),
        sa.UniqueConstraint("patient_id", "issue", name=op.f("uq_sheet_patient_id_issue")),
    )
    op.create_index(op.f("ix_sheet_care_plan_id"), "sheet", ["care_plan_id"], unique=False)


def _upkeep() -> None:
    op.create_table(
        "journal",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("actor", Words(), nullable=False),
        sa.Column("action", Words(), nullable=False),
        sa.Column("subject", Words(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.Column("previous", Words(), nullable=False),
        sa.Column("hash", Words(), nullable=False),
        sa.CheckConstraint("length(hash) = 64 AND length(previous) = 64", name=op.f("ck_journal_hash")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_journal_number")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_journal")),
        sa.UniqueConstraint("hash", name=op.f("uq_journal_hash")),
    )
    op.create_index(op.f("ix_journal_subject"), "journal", ["subject"], unique=False)
    op.create_table(
        "heartbeat",
        sa.Column("name", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("ok", sa.Boolean(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("message", Words(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_heartbeat")),
    )
    op.create_table(
        "lease",
        sa.Column("name", Words(), nullable=False),
        sa.Column("owner", Words(), nullable=False),
        sa.Column("expires_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_lease")),
    )
    op.create_table(
        "daily_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("claimed_at", Instant(), nullable=False),
        sa.Column("finished_at", Instant(), nullable=True),
        sa.Column("outcome", Words(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_daily_run")),
        sa.UniqueConstraint("job", "day", name=op.f("uq_daily_run_job_day")),
    )


_ONLY_GROWS = "the journal can only grow"


def _protect_the_journal() -> None:
    """Refuse UPDATE and DELETE (and TRUNCATE where it exists), whoever asks."""
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER journal_no_{change.lower()} BEFORE {change} ON journal "
                f"BEGIN SELECT RAISE(ABORT, '{_ONLY_GROWS}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION journal_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_ONLY_GROWS}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER journal_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON journal "
        "FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows()"
    )
