"""Bottles that the pharmacy has given."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "handing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("bottles", sa.JSON(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("taken_back_at", Instant(), nullable=True),
        sa.ForeignKeyConstraint(
            ["plan_id", "patient_id"],
            ["care_plan.id", "care_plan.patient_id"],
            name=op.f("fk_handing_plan_id_patient_id_care_plan"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handing")),
    )
    op.create_index("ix_handing_patient_id", "handing", ["patient_id"])
    op.create_index("ix_handing_plan_id", "handing", ["plan_id"])
