"""Operations as they were told, beside the record."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "telling",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("record_number", sa.Integer(), nullable=False),
        sa.Column("eye", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("language", Words(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("asked", sa.JSON(), nullable=False),
        sa.Column("told_by", Words(), nullable=False),
        sa.Column("told_at", Instant(), nullable=False),
        sa.CheckConstraint("eye IN ('right', 'left')", name=op.f("ck_telling_eye")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_telling_patient_id_patient")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_telling")),
    )
    op.create_index("ix_telling_patient_id", "telling", ["patient_id"])
