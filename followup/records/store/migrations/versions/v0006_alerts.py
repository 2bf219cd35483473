"""Eyes in danger, checks before leaving, who left without findings, when a visit was cancelled."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("trip", sa.Column("left_at", Instant(), nullable=True))
    op.add_column("trip", sa.Column("ended_at", Instant(), nullable=True))
    op.create_table(
        "alert",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("kind", Words(), nullable=False),
        sa.Column("eye", Words(), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("trip_id", sa.Integer(), nullable=True),
        sa.Column("signs", sa.JSON(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("opened_at", Instant(), nullable=False),
        sa.Column("opened_by", Words(), nullable=False),
        sa.Column("closed_at", Instant(), nullable=True),
        sa.Column("closed_by", Words(), nullable=True),
        sa.Column("closed_word", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('walk-in', 'senior review')", name=op.f("ck_alert_kind")),
        sa.CheckConstraint("eye IN ('right', 'left')", name=op.f("ck_alert_eye")),
        sa.CheckConstraint("(closed_at IS NULL) = (closed_by IS NULL)", name=op.f("ck_alert_closed")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_alert_patient_id_patient")),
        sa.ForeignKeyConstraint(["trip_id"], ["trip.id"], name=op.f("fk_alert_trip_id_trip")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert")),
    )
    op.create_index("ix_alert_patient_id", "alert", ["patient_id"])
    op.create_index("ix_alert_closed_at", "alert", ["closed_at"])
    op.create_table(
        "leaving_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("key", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("mmhg", sa.Float(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.CheckConstraint("mmhg IS NOT NULL OR why <> ''", name=op.f("ck_leaving_check_said")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_leaving_check_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_leaving_check")),
        sa.UniqueConstraint("patient_id", "key", "day", name=op.f("uq_leaving_check_patient_id_key_day")),
    )
    op.create_index("ix_leaving_check_day", "leaving_check", ["day"])
