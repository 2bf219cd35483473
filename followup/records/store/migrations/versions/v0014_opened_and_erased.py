"""Who opened what of a patient, who asked to be erased, and how long a record is kept."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("clinic") as clinic:
        clinic.add_column(sa.Column("keep_years", sa.Integer(), nullable=True))
        clinic.create_check_constraint(op.f("ck_clinic_keep_years"), "keep_years BETWEEN 1 AND 100")
    op.create_table(
        "opening",
        sa.Column("login", Words(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_opening_patient_id_patient")),
        sa.PrimaryKeyConstraint("login", "patient_id", "day", name=op.f("pk_opening")),
    )
    op.create_index("ix_opening_day", "opening", ["day"])
    op.create_table(
        "erased",
        sa.Column("code_key", Words(), nullable=False),
        sa.Column("code", Words(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", Instant(), nullable=False),
        sa.Column("asked_by", Words(), nullable=False),
        sa.Column("kept_until", sa.Date(), nullable=False),
        sa.Column("gone_at", Instant(), nullable=True),
        sa.Column("sheets", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_erased_site_id_site")),
        sa.PrimaryKeyConstraint("code_key", name=op.f("pk_erased")),
    )
